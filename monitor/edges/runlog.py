"""The run log's one writer: events in, one SQLite file a run out.

Promise: what was given more than a second ago survives a crash at any instant; nothing recorded is ever
overwritten; while the disk refuses, everything waits in memory, in order, and says so. The file alone recomputes
the run: raw bytes, requests and both settings files are in it. One writer; readers are in `monitor.edges.logreader`.
"""

from __future__ import annotations

import json
import sqlite3
import threading
import time
import uuid
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from importlib.resources import files
from pathlib import Path
from typing import Any

from monitor.core.events import (
    Accounted,
    AlarmChanged,
    Answered,
    Corrected,
    Event,
    Exposed,
    Instant,
    Noted,
    Overview,
    PermitChanged,
    PhaseChanged,
    Reading,
    Rejected,
    Sampled,
    Send,
    Taken,
)
from monitor.core.requests import to_json
from monitor.edges.lock import FileLock
from monitor.errors import LogError

FORMAT = 2  # PRAGMA user_version; a reader refuses another
YIELD_S = 0.02  # before what is urgent is written: the board and people hear of it first
COMMIT_S = 0.4  # how long a batch may grow; with the write itself, under the second that is promised
COMMIT_MAX = 2_000  # batches in one transaction
RETRY_S = 1.0
FULL_S = 0.01  # between looks whether a full queue has room again
QUEUE_MAX = 20_000  # batches, over half an hour; when it is full the run waits, and the board takes the permit away
JOURNAL_MAX = 16_000_000  # bytes that the -wal file is cut back to
LEVELS_S = (1, 10, 60, 600)
EXPOSURE_EVERY_S = 10
_URGENT = frozenset({AlarmChanged, PermitChanged, PhaseChanged, Answered})

Batch = tuple[list[Event], Instant]

# Least, greatest, sum and count of plate and of gas; drops, delivered, held
_EMPTY_BUCKET = (None, None, 0.0, 0, None, None, 0.0, 0, 0, None, None)

_ROLL = """INSERT INTO roll VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?)
ON CONFLICT DO UPDATE SET
plate_lo = min(coalesce(plate_lo, excluded.plate_lo), coalesce(excluded.plate_lo, plate_lo)),
plate_hi = max(coalesce(plate_hi, excluded.plate_hi), coalesce(excluded.plate_hi, plate_hi)),
plate_sum = plate_sum + excluded.plate_sum, plate_n = plate_n + excluded.plate_n,
gas_lo = min(coalesce(gas_lo, excluded.gas_lo), coalesce(excluded.gas_lo, gas_lo)),
gas_hi = max(coalesce(gas_hi, excluded.gas_hi), coalesce(excluded.gas_hi, gas_hi)),
gas_sum = gas_sum + excluded.gas_sum, gas_n = gas_n + excluded.gas_n,
drops = excluded.drops, delivered_mol = coalesce(excluded.delivered_mol, delivered_mol),
held_mol = coalesce(excluded.held_mol, held_mol)"""


def connect(path: Path) -> sqlite3.Connection:
    """A writing connection with the settings that the promise rests on."""
    db = sqlite3.connect(path, isolation_level=None, timeout=5.0, check_same_thread=False)
    db.execute("PRAGMA journal_mode=WAL")
    db.execute("PRAGMA synchronous=FULL")
    db.execute(f"PRAGMA journal_size_limit={JOURNAL_MAX}")
    return db


def create(path: Path, header: Mapping[str, str]) -> None:
    """Begin a run log. `header` holds what `meta` keeps: settings, start, versions.

    It is made beside its place and moved there whole: one cut short in the making is in nobody's way.

    Raises:
        LogError: the file is there already, or cannot be made.
    """
    made = path.with_name(f".{path.name}.{uuid.uuid4().hex}.new")
    try:
        made.open("xb").close()
    except OSError as why:
        raise LogError(f"{path} cannot be made: {why.strerror or why}; is the folder there and writable?") from why
    try:
        _make(made, header)
        path.open("xb").close()  # the place is taken here and by nobody else
        try:
            made.replace(path)
        except OSError:
            path.unlink()
            raise
    except FileExistsError as why:
        raise LogError(f"{path} is there already: a run never overwrites another; choose a new name") from why
    except (sqlite3.Error, OSError) as why:
        raise LogError(f"{path} cannot be made: {why}; is the disk full?") from why
    finally:
        for end in ("", "-wal", "-shm", "-journal"):
            made.with_name(made.name + end).unlink(missing_ok=True)


def _make(path: Path, header: Mapping[str, str]) -> None:
    with closing(connect(path)) as db:
        db.execute("BEGIN IMMEDIATE")
        for statement in _statements():
            db.execute(statement)
        db.executemany("INSERT INTO meta VALUES (?, ?)", list(header.items()))
        db.execute(f"PRAGMA user_version={FORMAT}")
        db.execute("COMMIT")


def _statements() -> list[str]:
    text = (files("monitor.edges") / "schema.sql").read_text("utf-8")
    bare = "\n".join(line for line in text.splitlines() if not line.startswith("--"))
    return [s.strip() for s in bare.split(";") if s.strip()]


class LogWriter:
    """Writes one run's events from a thread of its own.

    `on_trouble(failing, text)` is called from that thread when writing begins to fail and when it works again.
    """

    def __init__(self, path: Path, on_trouble: Callable[[bool, str], None]) -> None:
        self._path, self._on_trouble = path, on_trouble
        self._lock = FileLock(path.with_name(path.name + ".lock"), f"the run log {path}")
        try:
            self._db = connect(path)
        except sqlite3.Error as why:
            self._lock.close()
            raise LogError(f"{path} cannot be opened for writing: {why}") from why
        self._waiting: deque[Batch] = deque()  # at most QUEUE_MAX
        self._wake = threading.Event()  # something urgent waits, or the end
        self._closing = self._wait_no_longer = False
        self._delivered: Accounted | None = None
        self._exposed_s = -1e9
        self._thread = threading.Thread(target=self._run, name="run log", daemon=True)  # `close` waits for it
        self._failed: BaseException | None = None
        self._give_up = False
        self._given = self._written = 0  # batches
        self._thread.start()

    def write(self, events: list[Event], now: Instant) -> None:
        """Hand over what one call of the bench gave; waits when the queue is full, until it is to wait no longer."""
        while events:
            if self._failed is not None:
                raise self._failed
            if len(self._waiting) >= QUEUE_MAX:
                if self._wait_no_longer:
                    self._given += 1  # lost, and counted at the end
                    return
                self._wake.set()
                time.sleep(FULL_S)
                continue
            # Not a queue: waking the writer for each sample would cost more than writing it does.
            self._waiting.append((events, now))
            self._given += 1
            for e in events:
                if type(e) in _URGENT:
                    self._wake.set()
            return

    def wait_no_longer(self) -> None:
        """The run is to end: what finds no room from now on is lost, and `close` says so. Safe from any thread."""
        self._wait_no_longer = True

    def close(self, give_up_after_s: float = 5.0) -> None:
        """Write what is waiting, tidy the file and let go of it.

        Raises:
            LogError: the disk still refuses after `give_up_after_s`.
        """
        deadline_s = time.monotonic() + give_up_after_s
        self._closing = True
        self._wake.set()
        self._thread.join(max(0.0, deadline_s - time.monotonic()))
        if self._thread.is_alive():
            self._give_up = True
            self._thread.join()
        self._lock.close()
        if self._failed is not None:
            raise self._failed
        if self._given > self._written:
            lost = self._given - self._written
            raise LogError(f"{self._path}: the end of the run could not be written ({lost} entries lost)")

    # --- in the thread ----------------------------------------------------------------------------------------

    def _run(self) -> None:
        try:
            while self._waiting or not self._closing:
                batches = self._collect()
                if batches:
                    self._write_until_it_works(batches)
                if self._give_up:
                    return
            self._db.execute("PRAGMA busy_timeout=500")  # a reader that lingers does not hold up the end
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        except sqlite3.OperationalError:
            pass  # the checkpoint can wait: everything is in the -wal file
        except BaseException as why:  # noqa: BLE001 - handed to the run, which ends by it
            self._failed = why
        finally:
            self._db.close()

    def _collect(self) -> list[Batch]:
        """Wait until it is time to commit or something urgent came; give what is there."""
        if self._wake.wait(COMMIT_S) and not self._closing:
            time.sleep(YIELD_S)
        self._wake.clear()
        waiting = self._waiting
        return [waiting.popleft() for _ in range(min(len(waiting), COMMIT_MAX))]

    def _write_until_it_works(self, batches: list[Batch]) -> None:
        failing = False
        while not self._give_up:
            try:
                self._commit(batches)
            except sqlite3.OperationalError as why:
                if not failing:
                    failing = True
                    self._on_trouble(True, f"the run log cannot be written: {why}")
                time.sleep(RETRY_S)
            else:
                self._written += len(batches)
                if failing:
                    self._on_trouble(False, "the run log is written again; nothing was lost")
                return

    def _commit(self, batches: list[Batch]) -> None:
        rows = Rows(self._delivered, self._exposed_s)
        for events, _ in batches:
            rows.add(events)
        db = self._db
        db.execute("BEGIN IMMEDIATE")
        try:
            rows.insert(db)
            db.execute("INSERT OR REPLACE INTO meta VALUES ('last_mono_s', ?)", (repr(batches[-1][1].mono_s),))
            db.execute("INSERT OR REPLACE INTO meta VALUES ('last_utc_s', ?)", (repr(batches[-1][1].utc_s),))
            db.execute("COMMIT")
        except sqlite3.Error:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise
        self._delivered, self._exposed_s = rows.account_now, rows.exposed_s


class Rows:
    """Events sorted into rows, table by table, with the buckets of the traces summed up."""

    def __init__(self, account_now: Accounted | None, exposed_s: float) -> None:
        self.account_now, self.exposed_s = account_now, exposed_s
        self._rows: dict[str, list[tuple[Any, ...]]] = {}
        self._seconds: dict[int, list[Any]] = {}  # buckets of one second, as the columns of `roll`
        self._overview: Overview | None = None

    def add(self, events: list[Event]) -> None:
        """Sort events in."""
        put = self._put
        for e in events:
            if isinstance(e, Sampled):
                put(
                    "sample",
                    (
                        None,
                        e.t_s,
                        e.drops,
                        e.rejects,
                        e.plate.value,
                        e.plate.why,
                        e.cold_c,
                        e.gas.value,
                        e.gas.at_least,
                        e.gas.why,
                        e.gas_span,
                        e.io,
                    ),
                )
                self._roll(e)
            elif isinstance(e, Taken):
                if isinstance(e.data, bytes):
                    put("input", (None, e.at.mono_s, e.at.utc_s, "bytes", e.data))
                else:
                    put("input", (None, e.at.mono_s, e.at.utc_s, "request", to_json(e.data).encode()))
            elif isinstance(e, Accounted):
                put("account", (None, *e))
                self.account_now = e
            elif isinstance(e, Overview):
                self._overview = e
                if e.t_s - self.exposed_s >= EXPOSURE_EVERY_S:
                    self.exposed_s = e.t_s
                    self._expose(e.exposure)
            else:
                self._add_rarer(e)

    def _put(self, table: str, row: tuple[Any, ...]) -> None:
        self._rows.setdefault(table, []).append(row)

    def _expose(self, e: Exposed) -> None:
        self._put("exposure", tuple(e))

    def _add_rarer(self, e: Event) -> None:
        put = self._put
        if isinstance(e, AlarmChanged):
            put(
                "alarm",
                (
                    None,
                    e.t_s,
                    e.utc_s,
                    e.tag,
                    e.priority.value,
                    e.before.value,
                    e.after.value,
                    e.cause,
                    e.who,
                    e.detail,
                ),
            )
        elif isinstance(e, Corrected):
            put("correction", (None, *e))
        elif isinstance(e, Rejected):
            put("rejected", (None, e.t_s, e.cause, e.line))
        elif isinstance(e, Noted):
            put("note", (None, e.t_s, e.what, e.text))
        elif isinstance(e, PermitChanged):
            put("permit", (None, e.t_s, int(e.on), e.why))
        elif isinstance(e, PhaseChanged):
            put("phase", (None, e.t_s, e.phase.value, e.who))
        elif isinstance(e, Answered):
            put("answer", (None, e.t_s, e.request_id, int(e.accepted), e.text))
        elif not isinstance(e, (Send, Exposed)):
            raise TypeError(f"the run log does not know {type(e).__name__}")

    def _roll(self, e: Sampled) -> None:
        plate, gas = e.plate.value, e.gas.value
        second = int(e.t_s // 1.0)
        row = self._seconds.get(second)
        if row is None:
            row = self._seconds[second] = list(_EMPTY_BUCKET)
        if plate is not None:
            row[0] = plate if row[0] is None or plate < row[0] else row[0]
            row[1] = plate if row[1] is None or plate > row[1] else row[1]
            row[2] += plate
            row[3] += 1
        if gas is not None:
            row[4] = gas if row[4] is None or gas < row[4] else row[4]
            row[5] = gas if row[5] is None or gas > row[5] else row[5]
            row[6] += gas
            row[7] += 1
        row[8] = e.drops
        if self.account_now is not None:
            row[9], row[10] = self.account_now.delivered_mol, self.account_now.held_mol

    def _rolls(self) -> Iterator[tuple[Any, ...]]:
        """The buckets of every level, the longer ones summed up from the seconds."""
        for level_s in LEVELS_S:
            buckets: dict[int, list[Any]] = {}
            for second, row in self._seconds.items():
                bucket = buckets.setdefault(second // level_s, list(_EMPTY_BUCKET))
                for low, high, total, count in ((0, 1, 2, 3), (4, 5, 6, 7)):
                    if row[count]:
                        bucket[low] = row[low] if bucket[low] is None else min(bucket[low], row[low])
                        bucket[high] = row[high] if bucket[high] is None else max(bucket[high], row[high])
                        bucket[total] += row[total]
                        bucket[count] += row[count]
                bucket[8:] = row[8:]
            for number, bucket in buckets.items():
                yield (level_s, number, *bucket)

    def insert(self, db: sqlite3.Connection) -> None:
        """Put all rows into the open transaction."""
        for table, rows in self._rows.items():
            marks = ",".join("?" * len(rows[0]))
            verb = "INSERT OR REPLACE" if table == "exposure" else "INSERT"
            db.executemany(f"{verb} INTO {table} VALUES ({marks})", rows)
        db.executemany(_ROLL, self._rolls())
        if self._overview is not None:
            o = self._overview
            db.execute("INSERT OR REPLACE INTO overview VALUES (1, ?, ?, ?)", (o.t_s, o.utc_s, overview_json(o)))


def overview_json(o: Overview) -> str:
    """An overview as JSON: keys as the fields are called; readings as {value, u, why, at_least}."""
    plain = o._asdict()
    plain["phase"] = o.phase.value
    for key in ("plate", "gas"):
        reading: Reading = plain[key]
        plain[key] = reading._asdict()
    for key in ("account", "forecast", "exposure", "metering", "leak", "closing"):
        if plain[key] is not None:
            plain[key] = plain[key]._asdict()
    plain["alarms"] = [{**a._asdict(), "priority": a.priority.value, "state": a.state.value} for a in o.alarms]
    plain["checks"] = [c._asdict() for c in o.checks]
    return json.dumps(plain, allow_nan=False)
