"""Reading a run log: for the dashboard, for replay, for taking a run up again. Never writes to it.

Every question opens its own short-lived connection and reads everything it asks for at once, so a reader holds
nothing open under the writer.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from monitor.core.events import Corrected, Instant, Request
from monitor.core.requests import BadRequestError, from_json
from monitor.errors import LogError

FORMAT = 2
ENDING = "*.so2log"
LEVELS_S = (1, 10, 60, 600)
_NO_SHARING = (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)  # primary result codes
UTC_MAX_S = 253_402_214_400.0  # the last day of the year 9999, where calendars here end
NAMED = 5  # of the logs in a folder that was given for a log


class Header(NamedTuple):
    """What the log says of its run."""

    bench_toml: str
    run_toml: str
    start: Instant
    last: Instant
    closed: bool
    made_by: str


class Trace(NamedTuple):
    """Traces in buckets of `level_s`: one list a column, None where nothing was measured.

    `t_s` is the middle of each bucket. A bucket that is missing altogether is there as a row of None, so that a
    gap stays a gap.
    """

    level_s: int
    t_s: list[float]
    plate_lo: list[float | None]
    plate_hi: list[float | None]
    plate: list[float | None]
    gas_lo: list[float | None]
    gas_hi: list[float | None]
    gas: list[float | None]
    delivered_mol: list[float | None]
    held_mol: list[float | None]


def written_utc_s(log: Path) -> float:
    """When a log was last written, Unix seconds: a reader's own empty side files do not count; 0 if it is gone."""
    newest = 0.0
    for path in (log, log.with_name(f"{log.name}-wal")):
        try:
            stat = path.stat()
        except OSError:
            continue
        if stat.st_size or path is log:
            newest = max(newest, stat.st_mtime)
    return newest


def logs_in(folder: Path) -> list[Path]:
    """The run logs of a folder, the newest written first."""
    return sorted(folder.glob(ENDING), key=lambda log: (-written_utc_s(log), log.name))


def folder_words(folder: Path) -> str:
    """Why a folder is no run log, and which files in it look as though they were, the newest first."""
    logs = logs_in(folder)
    named = ", ".join(path.name for path in logs[:NAMED])
    more = f" and {len(logs) - NAMED} more" if len(logs) > NAMED else ""
    inside = f"in it are {named}{more}" if logs else "none is in it"
    return f"{folder}: found a folder, wanted one run log ({ENDING}); {inside}"


class LogReader:
    """One run log, opened for reading.

    Raises:
        LogError: no such file, not a run log, or one of another format.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        if not path.exists():
            raise LogError(f"{path}: there is no such run log")
        if path.is_dir():
            raise LogError(folder_words(path))
        try:
            with closing(self._open()) as db:
                version = db.execute("PRAGMA user_version").fetchone()[0]
                tables = {row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type='table'")}
        except sqlite3.OperationalError as why:
            raise LogError(f"{path}: cannot be read: {why}{self._unclosed_words()}") from why
        except sqlite3.DatabaseError as why:
            raise LogError(
                f"{path}: found a file that is no run log ({why}), wanted one that so2bench wrote"
            ) from why
        if "meta" not in tables or "input" not in tables:
            raise LogError(f"{path}: found a database without a run in it, wanted a run log that so2bench wrote")
        if version != FORMAT:
            newer = "a newer so2bench wrote it" if version > FORMAT else "an older so2bench wrote it"
            raise LogError(f"{path}: found run log format {version} ({newer}), wanted format {FORMAT}")

    def _open(self) -> sqlite3.Connection:
        """A connection that writes nothing but, in a folder where it may, the small file by which readers share."""
        uri = f"{self.path.resolve().as_uri()}?mode=ro"
        db = sqlite3.connect(uri, uri=True, timeout=2.0)
        try:
            db.execute("PRAGMA schema_version").fetchone()  # only with this the file is opened
        except sqlite3.OperationalError as why:
            db.close()
            if why.sqlite_errorcode & 0xFF not in _NO_SHARING or self._unclosed_words():
                raise
            # A log that was closed well, in a folder that cannot be written: nobody writes to it while it is read.
            return sqlite3.connect(f"{uri}&immutable=1", uri=True)
        except sqlite3.Error:
            db.close()
            raise
        return db

    def _unclosed_words(self) -> str:
        """What to do about a log in a folder that cannot be written, whose last part is in a file beside it."""
        beside = self.path.with_name(f"{self.path.name}-wal")
        if not beside.exists() or beside.stat().st_size == 0:
            return ""
        return f"; it was not closed, so copy it together with {beside.name} to a folder that can be written"

    def _all(self, query: str, *args: object) -> list[tuple[Any, ...]]:
        try:
            with closing(self._open()) as db:
                return db.execute(query, args).fetchall()
        except sqlite3.Error as why:
            raise LogError(f"{self.path}: cannot be read: {why}") from why

    @contextmanager
    def standing_still(self) -> Iterator[sqlite3.Connection]:
        """A connection to which the log does not grow while it is read; its -wal file does, so be quick.

        Raises:
            LogError: the log cannot be read, or its pages do not hang together.
        """
        try:
            with closing(self._open()) as db:
                db.execute("BEGIN")
                found = db.execute("PRAGMA quick_check(1)").fetchone()[0]
                if found != "ok":
                    raise LogError(f"{self.path}: is damaged: {' '.join(found.split())}")
                yield db
        except sqlite3.Error as why:
            raise LogError(f"{self.path}: cannot be read: {why}") from why

    def header(self) -> Header:
        """The run's settings, its start and how far it got."""
        meta: dict[str, str] = dict(self._all("SELECT key, value FROM meta"))
        try:
            start = Instant(float(meta["start_mono_s"]), float(meta["start_utc_s"]))
            last = Instant(float(meta.get("last_mono_s", start.mono_s)), float(meta.get("last_utc_s", start.utc_s)))
            bench, run, made_by = meta["bench_toml"], meta["run_toml"], meta["made_by"]
        except (KeyError, ValueError) as why:
            raise LogError(f"{self.path}: its header lacks {why}") from why
        for name, at in (("start", start), ("last", last)):
            if not (0.0 <= at.utc_s <= UTC_MAX_S and 0.0 <= at.mono_s <= UTC_MAX_S):
                raise LogError(f"{self.path}: found a {name} in its header that no calendar has, wanted a moment")
        closed = bool(self._all("SELECT 1 FROM phase WHERE phase = 'closed' LIMIT 1"))
        return Header(bench, run, start, last, closed, made_by)

    def overview(self) -> dict[str, Any] | None:
        """The newest overview, keys as `monitor.core.events.Overview`; None before the first.

        Raises:
            LogError: it cannot be read.
        """
        rows = self._all("SELECT json FROM overview")
        if not rows:
            return None
        try:
            got: dict[str, Any] = json.loads(rows[0][0])
        except ValueError as why:
            raise LogError(f"{self.path}: is damaged: its newest overview is not JSON ({why})") from why
        return got

    def inputs(self) -> Iterator[tuple[Instant, bytes | Request]]:
        """Everything that went into the run, in order.

        Raises:
            LogError: an entry cannot be understood.
        """
        after, size = 0, 5000
        while True:
            rows = self._all(
                "SELECT id, mono_s, utc_s, kind, data FROM input WHERE id > ? ORDER BY id LIMIT ?", after, size
            )
            for number, mono_s, utc_s, kind, data in rows:
                at = Instant(mono_s, utc_s)
                if kind == "bytes":
                    yield at, data
                else:
                    try:
                        yield at, from_json(data.decode())
                    except BadRequestError as why:
                        raise LogError(f"{self.path}: input {number}: {why}") from why
            if len(rows) < size:
                return
            after = rows[-1][0]

    def requests(self) -> list[tuple[Instant, Request]]:
        """What was asked of the run, in order, and each was answered once.

        Raises:
            LogError: an entry cannot be understood.
        """
        rows = self._all("SELECT id, mono_s, utc_s, data FROM input WHERE kind = 'request' ORDER BY id")
        try:
            return [(Instant(mono_s, utc_s), from_json(data.decode())) for _, mono_s, utc_s, data in rows]
        except BadRequestError as why:
            raise LogError(f"{self.path}: a request in it: {why}") from why

    def count_inputs(self) -> int:
        """How many inputs there are, for a progress bar."""
        return int(self._all("SELECT coalesce(max(id), 0) FROM input")[0][0])

    def columns(self, table: str) -> list[str]:
        """The columns of a table, in order.

        Raises:
            LogError: there is no such table.
        """
        return [name for name, _, _ in self._table(table)]

    def types(self, table: str) -> list[str]:
        """The types of a table's columns, in order: INTEGER, REAL, TEXT or BLOB.

        Raises:
            LogError: there is no such table.
        """
        return [kind for _, kind, _ in self._table(table)]

    def rows(self, table: str, size: int = 5000) -> Iterator[tuple[Any, ...]]:
        """Every row of a table in the order of its key, read in pages, so that a running writer is not held up.

        Raises:
            LogError: there is no such table.
        """
        columns = self._table(table)
        key = [name for name, _, place in sorted(columns, key=lambda c: c[2]) if place]
        at = [[name for name, _, _ in columns].index(name) for name in key]
        order, marks = ", ".join(key), ", ".join("?" * len(key))
        page = self._all(f"SELECT * FROM {table} ORDER BY {order} LIMIT ?", size)
        after = f"SELECT * FROM {table} WHERE ({order}) > ({marks}) ORDER BY {order} LIMIT ?"
        while page:
            yield from page
            page = self._all(after, *(page[-1][i] for i in at), size) if len(page) == size else []

    def count(self, table: str) -> int:
        """How many rows a table has.

        Raises:
            LogError: there is no such table.
        """
        self._table(table)
        return int(self._all(f"SELECT count(*) FROM {table}")[0][0])

    def _table(self, table: str) -> list[tuple[str, str, int]]:
        """Columns, types, and places in the key (0 for none). Only names that the schema has pass through here."""
        got = self._all("SELECT name, type, pk FROM pragma_table_info(?)", table)
        if not got or not table.isidentifier():
            raise LogError(f"{self.path}: has no table '{table}'")
        return [(name, kind, place) for name, kind, place in got]

    def samples(self, from_s: float, to_s: float, most: int = 6000) -> list[tuple[Any, ...]]:
        """The samples between two run seconds, the first `most`: t_s, drops, plate_c, gas_ppm."""
        query = "SELECT t_s, drops, plate_c, gas_ppm FROM sample WHERE t_s BETWEEN ? AND ? ORDER BY t_s LIMIT ?"
        return self._all(query, from_s, to_s, most)

    def alarms(self, limit: int = 200) -> list[tuple[Any, ...]]:
        """The newest alarm changes, newest first: t_s, utc_s, tag, priority, before, after, cause, who, detail."""
        return self._all(
            "SELECT t_s, utc_s, tag, priority, before, after, cause, who, detail FROM alarm ORDER BY id DESC LIMIT ?",
            limit,
        )

    def raised(self) -> dict[str, int]:
        """How often an alarm was raised, by priority."""
        query = "SELECT priority, count(*) FROM alarm WHERE after = 'unacknowledged' GROUP BY priority"
        return dict(self._all(query))

    def notes(self, limit: int = 50) -> list[tuple[float, str, str]]:
        """The newest notes, newest first: t_s, what, text."""
        return [
            (t_s, what, text)
            for t_s, what, text in self._all("SELECT t_s, what, text FROM note ORDER BY id DESC LIMIT ?", limit)
        ]

    def corrections(self, limit: int = 50) -> list[Corrected]:
        """The newest weighings and undoings with the steps that they made, newest first."""
        rows = self._all("SELECT * FROM correction ORDER BY id DESC LIMIT ?", limit)
        return [Corrected(*row[1:]) for row in rows]

    def answer(self, request_id: str) -> tuple[bool, str] | None:
        """What became of a request: accepted or not, and the words; None while there is no answer."""
        rows = self._all("SELECT accepted, text FROM answer WHERE request_id = ? LIMIT 1", request_id)
        return (bool(rows[0][0]), rows[0][1]) if rows else None

    def trace(self, from_s: float, to_s: float, most: int = 750) -> Trace:
        """The traces between two run seconds in at most `most` buckets (or the coarsest there are)."""
        span_s = max(1.0, to_s - from_s)
        level_s = next((level for level in LEVELS_S if span_s / level <= most), LEVELS_S[-1])
        first, last = int(from_s // level_s), int(to_s // level_s)
        rows = self._all(
            "SELECT bucket, plate_lo, plate_hi, plate_sum, plate_n, gas_lo, gas_hi, gas_sum, gas_n, delivered_mol, "
            "held_mol FROM roll WHERE level_s = ? AND bucket BETWEEN ? AND ? ORDER BY bucket",
            level_s,
            first,
            last,
        )
        trace = Trace(level_s, [], [], [], [], [], [], [], [], [])
        expected: int | None = None
        for bucket, plo, phi, psum, pn, glo, ghi, gsum, gn, delivered, held in rows:
            if expected is not None and bucket > expected:
                _append(trace, (expected + 0.5) * level_s, *(None,) * 8)
            plate, gas = (psum / pn if pn else None), (gsum / gn if gn else None)
            _append(trace, (bucket + 0.5) * level_s, plo, phi, plate, glo, ghi, gas, delivered, held)
            expected = bucket + 1
        return trace


def _append(trace: Trace, t_s: float, *values: float | None) -> None:
    trace.t_s.append(t_s)
    for column, value in zip(trace[2:], values, strict=True):
        column.append(value)
