"""Questions to a memory, answered by DuckDB over its Parquet: exposure, yields, alarms. Each stands in a `.sql` file.

Promise: an answer is of one moment, also while somebody gathers; nothing is fetched from anywhere, and nothing but
the memory is read.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from datetime import date, datetime
from glob import escape
from importlib.resources import files
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import duckdb

from monitor.errors import RefusalError
from monitor.memory.store import FILE, Store, changes, is_changing, whole_path
from monitor.memory.tables import TABLES

Question = Literal["exposure", "yields", "alarms"]
By = Literal["bench", "month"]
PATIENCE_S: Final = 10.0  # for a change that is being made; it lasts milliseconds
LOOK_S: Final = 0.05


class Answer(NamedTuple):
    """Rows under their heads, in order; `invented` is how many of the memory's runs are."""

    columns: tuple[str, ...]
    rows: list[tuple[Any, ...]]
    runs: int
    invented: int


def ask(
    folder: Path, question: Question, since: date | None = None, zone: str = "UTC", by: frozenset[By] = frozenset()
) -> Answer:
    """Ask a memory. Weeks, months and `since` are those of the time zone `zone`, by its IANA name.

    Raises:
        RefusalError: no memory, one that cannot be read, or no such zone.
    """
    try:
        its = ZoneInfo(zone)
        since_s = 0.0 if since is None else datetime(since.year, since.month, since.day, tzinfo=its).timestamp()
    except (ZoneInfoNotFoundError, ValueError, OSError) as why:
        raise RefusalError(_zone_words(zone)) from why
    given = {"since_s": since_s, "zone": zone, "by_bench": "bench" in by, "by_month": "month" in by}
    text = (files("monitor.memory") / f"{question}.sql").read_text("utf-8")
    answer = _of_one_moment(folder, text, {name: value for name, value in given.items() if f"${name}" in text})
    if question != "alarms":
        return answer
    shown = [i for i, name in enumerate(answer.columns) if name not in ("bench", "month") or name in by]
    return answer._replace(
        columns=tuple(answer.columns[i] for i in shown), rows=[tuple(row[i] for i in shown) for row in answer.rows]
    )


def _zone_words(zone: str) -> str:
    return f"found time zone {zone[:64]!r}, wanted a name like Europe/Berlin or UTC"


def _of_one_moment(folder: Path, text: str, given: Mapping[str, object]) -> Answer:
    """Answer, and again if the memory was changed meanwhile."""
    deadline_s = time.monotonic() + PATIENCE_S
    while True:
        before = changes(folder)
        if not is_changing(folder):
            failed: duckdb.Error | None = None
            try:
                answer = _answer(folder, text, given)
            except duckdb.Error as why:
                failed = why
            if changes(folder) == before and not is_changing(folder):
                if isinstance(failed, duckdb.NotImplementedException) and "TimeZone" in str(failed):
                    raise RefusalError(_zone_words(str(given["zone"]))) from failed
                if failed is not None:
                    said = str(failed).splitlines()[0]
                    raise RefusalError(f"{folder}: the memory cannot be read: {said}") from failed
                return answer
        elif time.monotonic() > deadline_s:
            Store(folder).close()  # cut short by its writer's end: opening it moves the rest to its place
        time.sleep(LOOK_S)


def _answer(folder: Path, text: str, given: Mapping[str, object]) -> Answer:
    with connect(folder) as db:
        runs, invented = db.execute("SELECT count(*), count(*) FILTER (invented) FROM run").fetchall()[0]
        got = db.execute(text, given)
        columns = tuple(column[0] for column in got.description or ())
        return Answer(columns, got.fetchall(), runs, invented)


def connect(folder: Path) -> duckdb.DuckDBPyConnection:
    """A connection in which each table of the memory is a view, and which reads nothing else.

    Raises:
        RefusalError: nothing was gathered yet.
    """
    whole = whole_path(folder)
    if not any(whole.glob(f"run/*/*/{FILE}")):
        raise RefusalError(f"{folder}: nothing was gathered into this memory yet")
    db = duckdb.connect(config={"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"})
    for table in TABLES:
        place = _quoted(f"{escape(whole.as_posix())}/{table}/*/*/{FILE}")
        db.execute(
            f"CREATE VIEW {table} AS SELECT * FROM read_parquet({place}, hive_partitioning = true, "
            "hive_types = {bench: VARCHAR, month: VARCHAR})"
        )
    allowed = ", ".join(_quoted(place) for place in (whole.as_posix(), escape(whole.as_posix())))
    db.execute(f"SET allowed_directories = [{allowed}]")  # a pattern is held against them as it is written
    db.execute("SET enable_external_access = false")
    db.execute("SET TimeZone = 'UTC'")
    return db


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
