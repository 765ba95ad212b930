"""A run log, read for the memory: what it is at a glance, and all of it at one moment.

Promise: a log that is being written is read as it stood at one moment, and its writer is not held up; one that is
damaged or cannot be understood gives a LogError and nothing else.
"""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any, Final, NamedTuple

from monitor.core.events import Exposed, Instant, Request
from monitor.core.requests import BadRequestError, from_json
from monitor.edges.logreader import Header, LogReader
from monitor.errors import LogError, RefusalError
from monitor.memory.derive import attendance, steps
from monitor.memory.store import Shelf, write_aside
from monitor.memory.tables import TABLES, Row
from monitor.past import plan_of, settings_of
from monitor.replay import Occurrence
from monitor.report.facts import add_to_fingerprint, is_invented, stood
from monitor.settings import parse_toml

CHUNK: Final = 20_000  # rows in memory at once
_BENCH = re.compile(r"[A-Za-z0-9-]{1,40}")  # as bench.toml has it, and a folder's name here


class Seen(NamedTuple):
    """A log at a glance. `run` is the same for a log that grew and for its copies; `far` says how far this one is."""

    log: Path
    run: str
    shelf: Shelf
    far: tuple[int, float, bool]  # inputs, the newest run second, closed


def look(log: Path) -> Seen:
    """What a log says of itself at a glance.

    Raises:
        LogError: it cannot be read, or does not say which run it is.
    """
    reader = LogReader(log)
    header = reader.header()
    began = datetime.fromtimestamp(header.start.utc_s, tz=UTC)
    try:
        bench = str(parse_toml(header.bench_toml, "bench.toml in the log").get("name", ""))
    except RefusalError as why:
        raise LogError(f"{log}: {' '.join(str(why).split())}") from why
    if not _BENCH.fullmatch(bench):
        raise LogError(f"{log}: found bench name {bench[:64]!r}, wanted letters, digits and dashes")
    said = json.dumps([repr(header.start), header.bench_toml, header.run_toml, header.made_by])
    run = f"{began:%Y%m%dT%H%M%SZ}-{bench}-{hashlib.sha256(said.encode()).hexdigest()[:12]}"
    far = (reader.count_inputs(), header.last.mono_s, header.closed)
    return Seen(log, run, Shelf(bench, f"{began:%Y-%m}"), far)


class Version(NamedTuple):
    """How much of a run is known: its raw inputs and their fingerprint."""

    inputs: int
    sha256: str


def read(seen: Seen, into: Path, former: Version | None) -> Version:
    """Write the whole log's tables as files of the folder `into`; gives what it holds now.

    Raises:
        LogError: it cannot be read or understood, or does not begin as `former`, the same run's, says.
        MemoryRefusedError: the files cannot be written.
    """
    reader = LogReader(seen.log)
    header = reader.header()
    with reader.standing_still() as db:
        try:
            return _read(db, header, seen, into, former)
        except LogError as why:
            raise LogError(f"{seen.log}: {why}") from why


def _read(db: sqlite3.Connection, header: Header, seen: Seen, into: Path, former: Version | None) -> Version:
    version, requests = _inputs(db, former)
    last_s = float(dict(db.execute("SELECT key, value FROM meta")).get("last_mono_s", header.start.mono_s))
    exposed = _exposure(db)
    changed = "SELECT t_s, utc_s, tag, priority, before, after, cause, who, detail FROM alarm ORDER BY id"
    changes = db.execute(changed).fetchall()
    shift_s = header.start.utc_s - header.start.mono_s  # run seconds to Unix seconds
    derived: dict[str, Iterable[Row]] = {
        "run": [_run(db, header, seen, version, last_s, exposed)],
        "exposure": _steps(header.start, exposed, requests),
        "raised": [_raised(o, shift_s, last_s) for o, _ in stood(changes)],
        "request": [
            (number, t_s, r.kind, r.who, json.dumps(dict(r.args), ensure_ascii=False))
            for number, (t_s, r) in enumerate(requests, start=1)
        ],
    }
    write_aside(into, ((table, partial(_chunks, db, seen.run, table, derived)) for table in TABLES))
    return version


def _chunks(db: sqlite3.Connection, run: str, table: str, derived: dict[str, Iterable[Row]]) -> Iterator[list[Row]]:
    if table in derived:
        yield [(run, *row) for row in derived[table]]
        return
    names = ", ".join(TABLES[table].columns)
    rows = db.execute(f"SELECT ?, {names} FROM {TABLES[table].from_log} ORDER BY id", (run,))
    while chunk := rows.fetchmany(CHUNK):
        yield chunk


def _inputs(db: sqlite3.Connection, former: Version | None) -> tuple[Version, list[tuple[float, Request]]]:
    """The fingerprint of what went in, and the requests in it."""
    digest, count = hashlib.sha256(), 0
    requests: list[tuple[float, Request]] = []
    rows = db.execute("SELECT mono_s, kind, data FROM input ORDER BY id")
    begins_as_former = former is None or former.inputs == 0
    for count, (mono_s, kind, data) in enumerate(rows, start=1):
        add_to_fingerprint(digest, mono_s, kind, data)
        if kind == "request":
            try:
                requests.append((mono_s, from_json(data.decode())))
            except (BadRequestError, UnicodeDecodeError) as why:
                raise LogError(f"input {count}: {why}") from why
        if former is not None and count == former.inputs:
            begins_as_former = digest.hexdigest() == former.sha256
    if not begins_as_former:
        raise LogError("is of a run that the memory has, and goes on otherwise: two copies were written to")
    return Version(count, digest.hexdigest()), requests


def _exposure(db: sqlite3.Connection) -> list[Exposed]:
    """The rows of exposure, and the newest from the overview, which is up to ten seconds younger."""
    rows = [Exposed(*row) for row in db.execute(f"SELECT {', '.join(Exposed._fields)} FROM exposure ORDER BY t_s")]
    overview = db.execute("SELECT json FROM overview").fetchone()
    if overview is not None:
        try:
            newest = Exposed(**{key: float(value) for key, value in json.loads(overview[0])["exposure"].items()})
        except (ValueError, TypeError, KeyError, AttributeError) as why:
            raise LogError(f"its overview cannot be understood: {why}") from why
        if not rows or newest.t_s > rows[-1].t_s:
            rows.append(newest)
    return rows


def _steps(start: Instant, rows: list[Exposed], requests: list[tuple[float, Request]]) -> Iterator[Row]:
    for s in steps(start.mono_s, rows, attendance(start.mono_s, requests)):
        e = s.row
        utc_s = start.utc_s + e.t_s - start.mono_s
        of_row = (e.t_s, utc_s, e.stel_ppm, e.stel_max_ppm, e.stel_unknown_s, e.twa_ppm, e.unknown_s)
        yield (*of_row, s.person, s.step_s, s.unknown_step_s, s.dose_ppm_h, s.own_stel_ppm)


def _raised(o: Occurrence, shift_s: float, last_s: float) -> Row:
    """An alarm that did not return has stood until the end of the record."""
    stood_s = (last_s if o.returned_s is None else o.returned_s) - o.raised_s
    at = (shift_s + o.raised_s, o.raised_s, o.returned_s, o.acknowledged_s)
    return (o.tag, o.priority, *at, stood_s, o.acknowledged_by or None)


def _run(
    db: sqlite3.Connection, header: Header, seen: Seen, version: Version, last_s: float, exposed: list[Exposed]
) -> Row:
    title, route, meter, planned, need, why_not = "", None, None, None, None, None
    try:
        _, run = settings_of(header.bench_toml, header.run_toml)
        title, route, meter = run.title, run.route, run.meter
        plan = plan_of(header.bench_toml, header.run_toml)
        planned, need = plan.delivered_mol, plan.need_mol
        why_not = None if planned is not None else "the settings do not say enough for a plan"
    except RefusalError as why:
        why_not = " ".join(str(why).split())
    account = db.execute(
        "SELECT generated_mol, held_mol, delivered_mol, u_delivered_mol FROM account ORDER BY id DESC LIMIT 1"
    ).fetchone()
    closed = db.execute("SELECT 1 FROM phase WHERE phase = 'closed' LIMIT 1").fetchone() is not None
    start = header.start
    return (
        *(title, route, meter, seen.log.name, header.made_by, version.sha256, version.inputs),
        *(start.utc_s, last_s, last_s - start.mono_s, closed, is_invented(header), why_not, planned, need),
        *(account or (None,) * 4),
        *_weighed(db),
        *((exposed[-1].stel_max_ppm, exposed[-1].unknown_s) if exposed else (None, None)),
        *(header.bench_toml, header.run_toml),
    )


def _weighed(db: sqlite3.Connection) -> tuple[Any, ...]:
    """The newest weighing that was not undone: SO2 gone over, its u, the account before it; all mol."""
    kept: list[tuple[Any, ...]] = []
    rows = db.execute("SELECT what, weighed_mol, u_weighed_mol, delivered_before_mol FROM correction ORDER BY id")
    for what, *amounts in rows:
        if not what.startswith("undo "):
            kept.append(tuple(amounts))
        elif kept:
            kept.pop()
    return kept[-1] if kept else (None,) * 3
