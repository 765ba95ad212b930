"""A laboratory's run logs, invented and coarse: made in milliseconds each, as many benches and runs as asked for.

What the three questions of a memory read is there in full (exposure every ten seconds, alarms, weighings, requests,
account); samples come once in ten seconds instead of ten times a second. The course of a run is one of a few, its gas
and its yield scaled by a draw. Exposure follows from the gas by the core's own averages, fed once a second. Invented
names of nobody.
"""

from __future__ import annotations

import json
import math
import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from monitor.core.events import Exposed, Reading
from monitor.core.exposure import Exposure
from monitor.edges import runlog
from monitor.rig import scenario

START_UTC_S = 1_798_416_000.0  # 2026-12-28 00:00:00 UTC, a Monday: the first day of ISO week 2026-W53 (POSIX time)
YEAR_S = 365.0 * 86_400.0
NAMES = ("Anker", "Birke", "Clove", "Dill", "Esche", "Farn", "bench")
TAGS = (
    *(("GAS-HIGH", "high"), ("GAS-STEL", "medium"), ("DRIP-STALLED", "low"), ("SUCK-BACK", "medium")),
    *(("PLATE-HIGH", "high"), ("GAS-RISING", "medium")),
)
STEP_S = 10
PATTERNS = 6


class Pattern(NamedTuple):
    """A course: gas in ppm and exposure, at each step."""

    gas_ppm: list[float]
    exposed: list[Exposed]


def patterns(hours: float) -> list[Pattern]:
    """The courses, each of so many hours: a background, and one to four puffs that fade."""
    got = []
    for number in range(PATTERNS):
        draw = random.Random(number)
        puffs = [(draw.uniform(300.0, 3600.0 * hours), draw.uniform(0.2, 1.5)) for _ in range(draw.randint(1, 4))]
        exposure, gas_ppm, exposed = Exposure(0.0), [], []
        for second in range(1, int(3600 * hours) + 1):
            faded = sum(h * math.exp((at - second) / 240.0) for at, h in puffs if second >= at)
            if not 1000 <= second < 1000 + 40 * number:  # a stretch without a valid reading
                exposure.feed(float(second), Reading(0.02 + faded))
            if second % STEP_S == 0:
                exposed.append(exposure.pass_time(float(second)))
                gas_ppm.append(0.02 + faded)
        got.append(Pattern(gas_ppm, exposed))
    return got


def make_logs(
    folder: Path, benches: int, runs: int, seed: int = 1, hours: float = 2.5, span_s: float = YEAR_S
) -> Iterator[Path]:
    """Make the logs of a year: `runs` of each bench, spread over it. The same arguments give the same logs."""
    known = patterns(hours)
    run_toml = scenario.run_toml()
    for bench in range(benches):
        draw = random.Random(1000 * seed + bench)
        bench_toml = scenario_bench().replace('name = "hood-2"', f'name = "hood-{bench + 1}"')
        for number in range(runs):
            start_utc_s = START_UTC_S + span_s * (number + draw.random() * 0.8) / runs
            path = folder / f"hood-{bench + 1}-{number:04d}.so2log"
            write_log(path, bench_toml, run_toml, start_utc_s, known[draw.randrange(PATTERNS)], draw)
            yield path


def scenario_bench() -> str:
    """The demonstration's bench file."""
    return scenario.bench_toml("board", datetime.fromtimestamp(START_UTC_S, tz=UTC).date())


def write_log(
    path: Path, bench_toml: str, run_toml: str, start_utc_s: float, course: Pattern, draw: random.Random
) -> None:
    """One run, whole: closed but for one in twenty, weighed one time in three."""
    scale, made, end_s = draw.uniform(0.0, 2.0), draw.uniform(0.4, 0.6), course.exposed[-1].t_s
    header = {"bench_toml": bench_toml, "run_toml": run_toml, "made_by": "a coarse year, invented"}
    header |= {"start_mono_s": "0.0", "start_utc_s": repr(start_utc_s), "last_mono_s": repr(end_s)}
    runlog.create(path, {**header, "last_utc_s": repr(start_utc_s + end_s)})
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA synchronous=OFF")
        db.execute("BEGIN")
        for table, rows in _rows(start_utc_s, course, draw, scale, made).items():
            db.executemany(f"INSERT INTO {table} VALUES ({','.join('?' * len(rows[0]))})", rows)
        db.execute("COMMIT")


def _rows(
    start_utc_s: float, course: Pattern, draw: random.Random, scale: float, made: float
) -> dict[str, list[tuple[Any, ...]]]:
    count = len(course.gas_ppm)
    end_s = course.exposed[-1].t_s
    rows: dict[str, list[tuple[Any, ...]]] = {"sample": [], "account": [], "exposure": [], "input": []}
    for i, (gas_ppm, e) in enumerate(zip(course.gas_ppm, course.exposed, strict=True), start=1):
        t_s, part = e.t_s, made * i / count
        u = 0.02 * part
        gas, plate = round(scale * gas_ppm / 0.00412) * 0.00412, 78.0 + 0.25 * (i % 7)
        rows["sample"].append((None, t_s, 8 * i, 0, plate, None, 24.5, gas, None, None, 5, 11))
        rows["account"].append((None, t_s, 8 * i, 0.3 * i, part + 0.05, 0.05, part, 0.6 - part, u, u, u, u))
        rows["exposure"].append(
            (t_s, scale * e.stel_ppm, scale * e.stel_max_ppm, e.stel_unknown_s, scale * e.twa_ppm, e.unknown_s)
        )
        rows["input"].append((None, t_s, start_utc_s + t_s, "bytes", b"S,%d*\n" % i))
    people = draw.sample(NAMES, 2)
    asked = [(60.0, people[0], "permit", {"on": True}), (0.45 * end_s, people[0], "acknowledge", {"tag": "*"})]
    if draw.random() < 0.3:
        asked.append((round(end_s * draw.uniform(0.3, 0.8)), people[1], "note", {"text": "taken over"}))
    for t_s, who, kind, args in sorted(asked, key=lambda a: a[0]):
        data = json.dumps({"kind": kind, "who": who, "args": args, "id": ""}).encode()
        rows["input"].append((None, t_s, start_utc_s + t_s, "request", data))
    rows["alarm"] = list(_alarms(start_utc_s, end_s, people[0], draw)) or [
        (None, 1.0, start_utc_s + 1.0, "DRIP-STALLED", "low", "normal", "suppressed by design", "suppressed", "", "")
    ]
    rows["phase"] = [(None, 70.0, "generating", people[0])]
    if draw.random() < 0.95:
        rows["phase"].append((None, end_s, "closed", people[0]))
    if draw.random() < 0.34:
        weighed = made * draw.gauss(1.0, 0.02)
        step = (weighed, 0.004, made, 0.01, weighed, 0.004)
        rows["correction"] = [
            (None, end_s, people[0], "flask loss", 64.0 * weighed, 0.1, *step, 38.4, 0.6, 38.6, 0.3)
        ]
    return rows


def _alarms(start_utc_s: float, end_s: float, who: str, draw: random.Random) -> Iterator[tuple[Any, ...]]:
    """Up to three alarms: some acknowledged, some not, some standing at the end."""
    for tag, priority in draw.sample(TAGS, draw.randint(0, 3)):
        t_s, state = draw.uniform(100.0, 0.8 * end_s), "normal"
        after = [("unacknowledged", "too much", "")]
        if draw.random() < 0.8:
            after.append(("acknowledged", "acknowledged", who))
        if draw.random() < 0.9:
            returned = "returned to normal, unacknowledged" if len(after) == 1 else "normal"
            after.append((returned, "condition false", ""))
        for state_after, cause, by in after:
            yield (None, t_s, start_utc_s + t_s, tag, priority, state, state_after, cause, by, "seen")
            t_s, state = t_s + draw.uniform(5.0, 0.05 * end_s), state_after
