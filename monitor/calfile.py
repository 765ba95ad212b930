"""A calibration's outcome put into its settings file, for the command and the page alike."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from monitor.calibrated import Outcome
from monitor.edges import benchfile
from monitor.settings import bench_from, parse_toml, run_from

RUN_TABLE = "generator"  # of run.toml; bench.toml has none of that name


def write(path: Path, found: Outcome, now: datetime) -> str:
    """Put it in; gives what was written and where the file as it was is kept, in a sentence.

    Raises:
        SettingsError: the file cannot be read or written, or would be refused with this in it.
    """

    def check(text: str) -> None:
        data = parse_toml(text, path.name)
        if found.table == RUN_TABLE:
            run_from(data, path.name)
        else:
            bench_from(data, path.name)

    old = benchfile.read_text(path)
    kept = benchfile.replace_text(path, old, benchfile.with_values(old, found.table, found.values), now, check)
    written = ", ".join(f"{found.table}.{key} = {value}" for key, value in found.values.items())
    return f"{path}: {written}; as it was: {kept.name}"
