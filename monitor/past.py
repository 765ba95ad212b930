"""Runs that are over, or go on elsewhere: a line for a list of them, and the course of each to lay over another's.

Reads logs; works out only the plan, from the settings that a log carries, and rates from what was recorded.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from monitor.chemistry.planning import Plan, plan
from monitor.core.events import Phase
from monitor.edges.logreader import LogReader
from monitor.settings import bench_from, parse_toml, run_from
from monitor.terms import BenchTerms, RunTerms

RATE_OVER_S = 60.0  # a rate is what went over in this time; a drop's step is lost in it
MOST_POINTS = 1500


class PastRun(NamedTuple):
    """A run in one line; None where its record or its files do not say."""

    path: Path
    title: str
    bench: str
    start_utc_s: float
    duration_s: float
    closed: bool
    invented: bool
    delivered_mol: float | None
    u_delivered_mol: float | None
    planned_mol: float | None
    need_mol: float | None
    alarms: int
    high_alarms: int


class Course(NamedTuple):
    """A run over time since its making began: one list a quantity, None where nothing is known."""

    t_s: list[float]
    share_of_plan: list[float | None]
    mmol_per_min: list[float | None]
    plate_c: list[float | None]


def past_run(log: Path) -> PastRun:
    """A run's line.

    Raises:
        RefusalError: the log or the settings in it are not understood.
    """
    reader = LogReader(log)
    h = reader.header()
    planned = plan_of(h.bench_toml, h.run_toml)
    bench = bench_from(parse_toml(h.bench_toml, "bench.toml in the log"), "bench.toml in the log")
    newest = reader.overview() or {}
    account, metering = newest.get("account") or {}, newest.get("metering") or {}
    if metering.get("meter") == "weighings" and metering.get("weighed_s") is None:
        account = {}  # nobody knows yet what went over
    raised = reader.raised()
    return PastRun(
        path=log,
        title=str(parse_toml(h.run_toml, "run.toml in the log").get("title", "untitled")),
        bench=bench.name,
        start_utc_s=h.start.utc_s,
        duration_s=h.last.mono_s - h.start.mono_s,
        closed=h.closed,
        invented="invented" in (h.bench_toml + h.run_toml).lower(),
        delivered_mol=account.get("delivered_mol"),
        u_delivered_mol=account.get("u_delivered_mol"),
        planned_mol=planned.delivered_mol,
        need_mol=planned.need_mol,
        alarms=sum(raised.values()),
        high_alarms=raised.get("high", 0),
    )


def course(log: Path) -> Course:
    """A run's course since its making began.

    Raises:
        RefusalError: the log or the settings in it are not understood.
    """
    reader = LogReader(log)
    h = reader.header()
    planned_mol = plan_of(h.bench_toml, h.run_toml).delivered_mol
    began_s = next((t_s for _, t_s, phase, _ in reader.rows("phase") if phase == Phase.GENERATING.value), 0.0)
    trace = reader.trace(began_s, max(began_s + 1.0, h.last.mono_s), MOST_POINTS)
    over = trace.delivered_mol
    return Course(
        t_s=[t_s - began_s for t_s in trace.t_s],
        share_of_plan=[None if mol is None or not planned_mol else mol / planned_mol for mol in over],
        mmol_per_min=_rates(trace.t_s, over),
        plate_c=trace.plate,
    )


def _rates(t_s: list[float], over_mol: list[float | None]) -> list[float | None]:
    """What went over in the minute before each point; none across a gap, nor before a minute has passed."""
    rates: list[float | None] = []
    back = 0
    for i, mol in enumerate(over_mol):
        if mol is None:
            back = i + 1  # begin anew behind the gap
            rates.append(None)
            continue
        while back + 1 <= i and t_s[i] - t_s[back + 1] >= RATE_OVER_S:
            back += 1
        before, span_s = over_mol[back], t_s[i] - t_s[back]
        whole = before is not None and span_s >= RATE_OVER_S
        rates.append(1000.0 * (mol - before) / (span_s / 60.0) if before is not None and whole else None)
    return rates


@lru_cache(maxsize=64)
def plan_of(bench_toml: str, run_toml: str) -> Plan:
    """The plan of the settings that a log carries. Raises SettingsError."""
    bench, run = settings_of(bench_toml, run_toml)
    return plan(run, bench)


@lru_cache(maxsize=256)
def settings_of(bench_toml: str, run_toml: str) -> tuple[BenchTerms, RunTerms]:
    """The settings that a log carries. Raises SettingsError."""
    bench = bench_from(parse_toml(bench_toml, "bench.toml in the log"), "bench.toml in the log")
    return bench, run_from(parse_toml(run_toml, "run.toml in the log"), "run.toml in the log")
