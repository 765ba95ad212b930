"""The three questions over plain run logs, without the memory: each log opened, read and added up in Python.

An independent working-out, from the log's own tables alone, for runs of at most eight hours (there the dose so far is
8 h times the 8-hour average).
"""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from monitor.chemistry.planning import plan
from monitor.settings import bench_from, parse_toml, run_from

Rows = dict[tuple[str, ...], tuple[Any, ...]]


@contextmanager
def _log(path: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as db:
        yield db


def exposure(logs: Iterable[Path]) -> Rows:
    """By (person, week): highest 15 minutes, highest 8 hours, ppm·h, hours, unknown hours, runs."""
    minutes: dict[tuple[str, str], dict[int, float]] = defaultdict(lambda: defaultdict(float))
    weeks: dict[tuple[str, ...], list[Any]] = defaultdict(lambda: [0.0, 0.0, 0.0, 0.0, 0.0, set()])
    for number, path in enumerate(logs):
        with _log(path) as db:
            meta = dict(db.execute("SELECT key, value FROM meta"))
            asked = db.execute("SELECT mono_s, data FROM input WHERE kind = 'request' ORDER BY id").fetchall()
            rows = db.execute("SELECT t_s, stel_ppm, stel_max_ppm, twa_ppm, unknown_s FROM exposure").fetchall()
            newest = db.execute("SELECT json FROM overview").fetchone()
        if newest is not None:
            e = json.loads(newest[0])["exposure"]
            if e["t_s"] > rows[-1][0]:
                rows.append((e["t_s"], e["stel_ppm"], e["stel_max_ppm"], e["twa_ppm"], e["unknown_s"]))
        turns: list[tuple[float, str]] = []
        for t_s, data in asked:
            request = json.loads(data)
            shell = request["kind"] in ("port", "log", "checklist", "seen", "outlet", "refuse", "acknowledge")
            if not shell and request["who"] != "bench" and (not turns or turns[-1][1] != request["who"]):
                turns.append((t_s if turns else 0.0, request["who"]))
        turns = turns or [(0.0, "")]
        alone = (
            "" if turns[0][1] else parse_toml(meta["bench_toml"], "bench")["name"]
        )  # no name: each bench by itself
        was, top_ppm = (0.0, 0.0, 0.0), 0.0
        taken_s, at_turn, turn = 0.0, 0.0, 0
        for t_s, stel_ppm, most_ppm, twa_ppm, unknown_s in rows:
            dose = 8.0 * twa_ppm
            while turn + 1 < len(turns) and turns[turn + 1][0] <= t_s:
                turn += 1
                taken_s = turns[turn][0]
                at_turn = was[1] + (dose - was[1]) * (taken_s - was[0]) / (t_s - was[0])
            who = turns[turn][1]
            own_ppm = most_ppm if most_ppm > top_ppm else stel_ppm
            if taken_s > 0.0 and t_s - taken_s < 900.0:
                own_ppm = 4.0 * max(0.0, dose - at_turn)
            minute = int((float(meta["start_utc_s"]) + t_s) // 60)
            week = weeks[who, f"{datetime.fromtimestamp(60 * minute, tz=UTC):%G-W%V}"]
            week[0] = max(week[0], own_ppm)
            week[2] += dose - was[1]
            week[3] += (t_s - was[0]) / 3600.0
            week[4] += (unknown_s - was[2]) / 3600.0
            week[5].add(number)
            minutes[who, alone][minute] += dose - was[1]
            was, top_ppm = (t_s, dose, unknown_s), most_ppm
    for (who, _), doses in minutes.items():
        window: list[int] = sorted(doses)
        first, total = 0, 0.0
        for minute in window:
            total += doses[minute]
            while window[first] < minute - 479:
                total -= doses[window[first]]
                first += 1
            week = weeks[who, f"{datetime.fromtimestamp(60 * minute, tz=UTC):%G-W%V}"]
            week[1] = max(week[1], total / 8.0)
    return {key: (*week[:5], len(week[5])) for key, week in weeks.items()}


@lru_cache(maxsize=64)
def _planned(bench_toml: str, run_toml: str) -> float | None:
    run, bench = run_from(parse_toml(run_toml, "run"), "run"), bench_from(parse_toml(bench_toml, "bench"), "bench")
    return plan(run, bench).delivered_mol


def yields(logs: Iterable[Path]) -> Rows:
    """By (bench,): runs, not closed, compared, planned, delivered, doubled u, weighed, its mol, mol before."""
    got: dict[tuple[str, ...], list[Any]] = defaultdict(lambda: [0, 0, 0, 0.0, 0.0, 0.0, 0, 0.0, 0.0])
    last = "SELECT delivered_mol, u_delivered_mol FROM account ORDER BY id DESC LIMIT 1"
    for path in logs:
        with _log(path) as db:
            meta = dict(db.execute("SELECT key, value FROM meta"))
            closed = db.execute("SELECT count(*) FROM phase WHERE phase = 'closed'").fetchone()[0] > 0
            account = db.execute(last).fetchone()
            weighings = db.execute("SELECT what, weighed_mol, delivered_before_mol FROM correction").fetchall()
        row = got[(parse_toml(meta["bench_toml"], "bench")["name"],)]
        row[0] += 1
        if not closed:
            row[1] += 1
            continue
        planned = _planned(meta["bench_toml"], meta["run_toml"])
        if planned is not None and account is not None:
            for i, more in ((2, 1), (3, planned), (4, account[0]), (5, 2.0 * account[1])):
                row[i] += more
        stands: list[Any] = []
        for what, *amounts in weighings:
            stands = stands[:-1] if what.startswith("undo") else [*stands, amounts]
        if stands:
            for i, more in ((6, 1), (7, stands[-1][0]), (8, stands[-1][1])):
                row[i] += more
    return {key: tuple(row) for key, row in got.items()}


def alarms(logs: Iterable[Path]) -> Rows:
    """By (tag, bench, month): raised, hours stood, standing at the end, seconds to acknowledge of each, never."""
    got: dict[tuple[str, ...], list[Any]] = defaultdict(lambda: [0, 0.0, 0, [], 0])
    for path in logs:
        with _log(path) as db:
            meta = dict(db.execute("SELECT key, value FROM meta"))
            changes = db.execute("SELECT t_s, tag, before, after, cause FROM alarm ORDER BY id").fetchall()
        bench, start_s = parse_toml(meta["bench_toml"], "bench")["name"], float(meta["start_utc_s"])
        stands: dict[str, float] = {}
        waits: dict[str, tuple[float, list[Any]]] = {}
        for t_s, tag, before, after, cause in changes:
            if after == "unacknowledged":
                row = got[tag, bench, f"{datetime.fromtimestamp(start_s + t_s, tz=UTC):%Y-%m}"]
                row[0] += 1
                row[4] += 1
                stands[tag], waits[tag] = t_s, (t_s, row)
            elif tag in stands and after != "acknowledged":
                waits[tag][1][1] += (t_s - stands.pop(tag)) / 3600.0
            if cause == "acknowledged" and before != "normal" and tag in waits and waits[tag][0] >= 0.0:
                waits[tag][1][3].append(t_s - waits[tag][0])
                waits[tag][1][4] -= 1
                waits[tag] = (-1.0, waits[tag][1])
        for tag, since_s in stands.items():
            waits[tag][1][1] += (float(meta["last_mono_s"]) - since_s) / 3600.0
            waits[tag][1][2] += 1
    return {key: tuple(row) for key, row in got.items()}
