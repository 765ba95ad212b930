"""A run's tables as files for other programs: CSV, or Parquet with pyarrow. Each column's head names its unit.

Promise: every row of a table is in its file, as it was recorded; what is there already is never written over; a log
that is being written is exported as far as it is.
"""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any, Final, Literal

from monitor.core.events import Instant
from monitor.edges.logreader import LogReader
from monitor.errors import LogError, RefusalError

# The raw inputs and the summed-up traces stay in the log, which is their form.
TABLES: Final = (
    *("sample", "account", "correction", "exposure", "alarm", "permit", "phase", "note", "answer", "rejected"),
)
CHUNK: Final = 10_000  # rows in memory at once
UNITS: Final = {
    "_mol": "mol",
    "_ml": "mL",
    "_ul": "µL",
    "_ppm": "ppm",
    "_s": "s",
    "_c": "°C",
    "_g": "g",
}
BARE: Final = {"grams": "g", "gas_span": "counts", "drops": "1", "rejects": "1"}
TYPES: Final = {"INTEGER": "int64", "REAL": "float64", "TEXT": "string", "BLOB": "string"}
TIME: Final = "time_utc"
FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # a spreadsheet works such a text out

Format = Literal["csv", "parquet"]
Row = list[Any]
Write = Callable[[list[Row]], None]
Opener = Callable[[ExitStack, Path, list[str], list[str]], Write]


def export(
    log: Path, form: Format = "csv", folder: Path | None = None, progress: Callable[[float], None] = lambda _: None
) -> list[Path]:
    """Write a log's tables into a new folder; gives the files. `progress` hears the part done, 0 to 1.

    Raises:
        RefusalError: the log cannot be read, the folder is there already, it cannot be written, or Parquet is asked
            for without pyarrow.
    """
    opened = _csv if form == "csv" else _parquet()
    reader = LogReader(log)
    start = reader.header().start
    into = folder if folder is not None else log.with_name(f"{log.stem}-{form}")
    if into.exists():
        raise LogError(f"{into} is there already: an export never overwrites; name a new folder with --out")
    part = into.with_name(f"{into.name}.part")  # takes its name when it is whole: no half export looks like one
    if part.exists():
        raise LogError(
            f"{part} is there already: an export that was cut short left it; take it away, or name another folder "
            "with --out"
        )
    try:
        part.mkdir(parents=True)
        try:
            _write(reader, part, form, opened, start, progress)
            part.rename(into)
        except BaseException:
            shutil.rmtree(part, ignore_errors=True)
            raise
    except OSError as why:
        raise LogError(f"{why.filename or into} cannot be written: {why.strerror or why}") from why
    progress(1.0)
    return [into / f"{table}.{form}" for table in TABLES]


def _write(
    reader: LogReader, folder: Path, form: Format, opened: Opener, start: Instant, progress: Callable[[float], None]
) -> None:
    whole, done = max(1, sum(reader.count(table) for table in TABLES)), 0
    for table in TABLES:
        columns = reader.columns(table)
        types = [TYPES[kind] for kind in reader.types(table)]
        at = columns.index("t_s")
        with ExitStack() as stack:
            write = opened(stack, folder / f"{table}.{form}", [TIME, *map(head, columns)], ["string", *types])
            for rows in _chunks(reader.rows(table)):
                write([[_utc(start.utc_s + row[at] - start.mono_s), *map(_plain, row)] for row in rows])
                done += len(rows)
                progress(min(0.999, done / whole))


def head(column: str) -> str:
    """A column's name with its unit in brackets: `plate_c [°C]`; words and marks have none."""
    unit = BARE.get(column) or next((unit for ending, unit in UNITS.items() if column.endswith(ending)), None)
    return column if unit is None else f"{column} [{unit}]"


def _utc(utc_s: float) -> str:
    """RFC 3339, to the millisecond."""
    try:
        return datetime.fromtimestamp(utc_s, tz=UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    except (ValueError, OverflowError, OSError):
        return ""


def _plain(value: Any) -> Any:
    """Lines that were thrown away are bytes; they are given as Latin-1, so that each byte is one character."""
    return value.decode("latin-1") if isinstance(value, bytes) else value


def _chunks(rows: Iterator[tuple[Any, ...]]) -> Iterator[list[tuple[Any, ...]]]:
    while chunk := list(islice(rows, CHUNK)):
        yield chunk


def _csv(stack: ExitStack, path: Path, heads: list[str], types: list[str]) -> Write:  # noqa: ARG001 - CSV has no types
    file = stack.enter_context(path.open("x", encoding="utf-8", newline=""))
    writer = csv.writer(file)  # RFC 4180; a value not to be believed is an empty cell
    writer.writerow(heads)
    return lambda rows: writer.writerows([full(value) for value in row] for row in rows)


def full(value: Any) -> Any:
    """A float to its last digit. A text that a spreadsheet would take for a formula begins with ' instead, so that
    nobody's note or board's noise is worked out there (OWASP, "CSV Injection"); numbers are left as they are.
    """
    if isinstance(value, str) and value.startswith(FORMULA):
        return f"'{value}"
    return repr(value) if isinstance(value, float) else value


def _parquet() -> Opener:
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError as why:
        raise RefusalError("Parquet needs pyarrow: pip install '.[export]', or --format csv") from why

    def opened(stack: ExitStack, path: Path, heads: list[str], types: list[str]) -> Write:
        kinds = {"int64": pyarrow.int64(), "float64": pyarrow.float64(), "string": pyarrow.string()}
        schema = pyarrow.schema([(name, kinds[kind]) for name, kind in zip(heads, types, strict=True)])
        writer = stack.enter_context(parquet.ParquetWriter(path, schema))

        def write(rows: list[Row]) -> None:
            columns = [
                pyarrow.array(column, kinds[t]) for column, t in zip(zip(*rows, strict=True), types, strict=True)
            ]
            writer.write_table(pyarrow.Table.from_arrays(columns, schema=schema))

        return write

    return opened
