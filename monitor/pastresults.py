"""What the finished runs of one bench have to say for the next time, from their logs.

Reads the record, and holds it against the plan of the settings that each log carries; what is fitted from it stands
in `monitor.nexttime`. A yield that a run file states is not in that plan, so nothing learned is learned again.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path
from statistics import median

from monitor.chemistry.outlook import outlook
from monitor.chemistry.planning import most_so2_mol
from monitor.chemistry.trajectory import FIRST_GAS_FRACTION
from monitor.core.balance import course_of
from monitor.core.events import Corrected, Phase
from monitor.edges.logreader import Header, LogReader, logs_in, written_utc_s
from monitor.errors import RefusalError
from monitor.nexttime import LEAST_DELIVERED, NextTime, RunResult, charge_words, drop_by_weighing, next_time
from monitor.past import plan_of, settings_of
from monitor.terms import BenchTerms, DripTerms, Measured, Route, RunTerms

MOST_LEARNED = 40  # runs that are learned from, the newest: an older bench is another bench; judgement
FIRST_GAS_NOTE = "first gas"  # a note with these words says when somebody saw it
BY_NOTE, BY_BUBBLES, BY_SENSOR = "a note", "the bubbles", "the gas sensor, which hears only what leaks"
SENSOR_RISE_NOISES = 6.0  # over what it read before the first drop, in its own noise; judgement
GAS_LEVEL_POINTS = 100_000  # of a trace: never thinned below ten seconds in a day


def learned_from(
    folder: Path, bench: BenchTerms, route: Route, today: date, until_utc_s: float | None = None
) -> NextTime:
    """What the finished runs of a bench on a route, their logs in `folder`, say for next time. A bench is its name.

    `until_utc_s` leaves out those that began later. A log that cannot be read is no run.
    """
    results: list[RunResult] = []
    for log in logs_in(folder):
        if len(results) >= MOST_LEARNED:
            break
        try:
            header = LogReader(log).header()
            if header.closed and (until_utc_s is None or header.start.utc_s <= until_utc_s):
                then, run = settings_of(header.bench_toml, header.run_toml)
                if then.name == bench.name and run.route == route:
                    results.append(result_of(log, written_utc_s(log)))
        except RefusalError:
            continue  # the list of past runs says why
    return next_time(results, today, bench.drops)


@lru_cache(maxsize=4 * MOST_LEARNED)
def result_of(log: Path, written_utc_s: float) -> RunResult:  # noqa: ARG001 - read anew when it was written anew
    """What one finished run has to say.

    Raises:
        RefusalError: the log or the settings in it are not understood.
    """
    reader = LogReader(log)
    header = reader.header()
    bench, run = settings_of(header.bench_toml, header.run_toml)
    rows = [(row[1], row[2], row[6], row[10]) for row in reader.rows("account")]  # t_s, counted, delivered, its u
    by_drops = run.meter == "drops"
    result = RunResult(
        name=log.name,
        day=datetime.fromtimestamp(header.start.utc_s, tz=UTC).date(),
        route=run.route,
        stated_ul=bench.drops.volume_ul if by_drops else None,
        calibrated=bench.drops.calibrated if by_drops else None,
        charge=charge_words(run),
    )
    if not rows:
        return result._replace(left_out=("nothing was counted or weighed",))
    result = _by_drops(result, run, bench, reader, rows) if by_drops else _by_all(result, run, rows)
    return _first_gas(result, run, bench, reader, header, rows)


_Row = tuple[float, int, float, float]


def _by_drops(result: RunResult, run: RunTerms, bench: BenchTerms, reader: LogReader, rows: list[_Row]) -> RunResult:
    """Yield and drop volume, both by the newest weighing that stands against the drops that had fallen."""
    standing = _standing(reader.corrections(1000))
    if standing is None or not isinstance(run.charge, DripTerms):
        return result._replace(left_out=("nothing was weighed, and a count of drops alone cannot tell its yield",))
    drops = rows[max(0, bisect_right([row[0] for row in rows], standing.t_s) - 1)][1]
    course = course_of(run.charge)
    planned_mol = course.at(drops * bench.drops.volume_ul.value / 1000.0).delivered_mol
    if planned_mol < LEAST_DELIVERED * course.charge_mol:
        return result._replace(left_out=("it was weighed before much had gone over",))
    over = Measured(standing.weighed_mol, standing.u_weighed_mol)
    return result._replace(
        drop=drop_by_weighing(course, drops, bench.drops.volume_ul.value, over),
        yield_share=Measured(over.value / planned_mol, over.u / planned_mol),
    )


def _standing(newest_first: list[Corrected]) -> Corrected | None:
    """The newest weighing that was not undone."""
    standing: list[Corrected] = []
    for c in reversed(newest_first):
        if c.what.startswith("undo "):
            del standing[-1:]
        else:
            standing.append(c)
    return standing[-1] if standing else None


def _by_all(result: RunResult, run: RunTerms, rows: list[_Row]) -> RunResult:
    """Yield of the whole charge: what had gone over in the end, by bubbles or weighings."""
    _, _, over_mol, u_mol = rows[-1]
    charge = run.charge
    if isinstance(charge, DripTerms):
        planned_mol = course_of(charge).at(charge.acid_volume_ml).delivered_mol
    else:
        planned_mol = most_so2_mol(charge)
    if over_mol <= 0.0 or planned_mol <= 0.0:
        return result._replace(left_out=("nothing had gone over by its account",))
    return result._replace(yield_share=Measured(over_mol / planned_mol, u_mol / planned_mol))


def _first_gas(
    result: RunResult, run: RunTerms, bench: BenchTerms, reader: LogReader, header: Header, rows: list[_Row]
) -> RunResult:
    """From the first drop to the first sign of gas, as the log allows, and what was planned for that."""
    if not isinstance(run.charge, DripTerms):
        return result
    first_ml = course_of(run.charge).first_gas_ml
    if first_ml is None:
        return result
    drops_ml = bench.drops.volume_ul.value / 1000.0
    if run.meter == "drops":
        began_s = next((row[0] for row in rows if row[1] > 0), None)
        planned_at_s = next((row[0] for row in rows if row[1] * drops_ml >= first_ml), None)
        planned_s = None if began_s is None or planned_at_s is None else planned_at_s - began_s
    else:
        began_s = next((t_s for _, t_s, phase, _ in reader.rows("phase") if phase == Phase.GENERATING.value), None)
        ahead = outlook(run, bench, plan_of(header.bench_toml, header.run_toml))
        rate = ahead.drip_rate_per_min
        planned_s = None if rate is None else 60.0 * first_ml / drops_ml / rate
    if began_s is None:
        return result
    sign_s, by = next(_signs(run, bench, reader, rows, began_s, header.last.mono_s), (None, ""))
    if sign_s is None or not planned_s:
        return result
    return result._replace(first_gas_s=sign_s - began_s, first_gas_planned_s=planned_s, first_gas_by=by)


def _signs(
    run: RunTerms, bench: BenchTerms, reader: LogReader, rows: list[_Row], began_s: float, end_s: float
) -> Iterator[tuple[float, str]]:
    """Signs of the first gas, the most trustworthy first."""
    for _, t_s, what, text in reader.rows("note"):
        if what == "note" and t_s >= began_s and FIRST_GAS_NOTE in text.lower():
            yield t_s, BY_NOTE
    if run.meter == "bubbles":
        least_mol = FIRST_GAS_FRACTION * most_so2_mol(run.charge)
        yield from ((row[0], BY_BUBBLES) for row in rows if row[2] >= least_mol)
    trace = reader.trace(0.0, max(1.0, end_s), GAS_LEVEL_POINTS)
    read = [(t_s, ppm) for t_s, ppm in zip(trace.t_s, trace.gas, strict=True) if ppm is not None]
    before = [ppm for t_s, ppm in read if t_s < began_s]
    if before:
        over_ppm = median(before) + SENSOR_RISE_NOISES * bench.gas.noise_ppm
        yield from ((t_s, BY_SENSOR) for t_s, ppm in read if t_s >= began_s and ppm > over_ppm)
