"""The report's file: made beside the log under its name, and never over another file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from monitor.edges.logreader import LogReader
from monitor.edges.newfile import write_new
from monitor.errors import LogError
from monitor.report.facts import gather
from monitor.report.page import page


def write_report(log: Path, out: Path | None = None, progress: Callable[[float], None] = lambda _: None) -> Path:
    """Write the report of a run log; gives the file. By default it is the log's name with .html.

    Raises:
        RefusalError: the log cannot be read, the file is there already, or it cannot be written.
    """
    LogReader(log)  # what is no log is refused before a name is made of its own
    target = out if out is not None else log.with_suffix(".html")
    if target.exists():
        raise LogError(f"{target} is there already: a report never overwrites; name a new file with --out")
    made = page(gather(log, progress))
    try:
        write_new(target, made.encode("utf-8", "replace"))  # the log's own name may be no text
    except OSError as why:
        raise LogError(f"{target} cannot be written: {why.strerror or why}") from why
    return target
