"""What past runs of a bench say for the next one: how its drop has grown, what a plan really gives, when gas comes.

Promise: nothing is applied here. Each figure says from how many runs it comes, since when, and how sure it is; with
fewer than three it says so instead; runs that were left out are named with the reason. Pure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from math import sqrt
from typing import Any, NamedTuple

from monitor.chemistry.trajectory import Trajectory
from monitor.learning import LEAST_RUNS, Line, Mean, Point, line_of, mean_of
from monitor.terms import AcidOnSulfurTerms, DripTerms, DropTerms, Measured, Route, RunTerms

LEAST_DELIVERED = 0.05  # of the charge: a weighing of less says little of drop or yield; judgement
MOST_ACID = 0.8  # of what spends the charge, by the count: near its end a weighing knows no drop; judgement
LONG_AGO_DAYS = 30  # since the last run: what is said of today is then said to be beyond the data; judgement
CONFOUNDED = (
    "While the acid still makes gas, a weighing cannot tell a larger drop from a better yield: calibrate the drop "
    "first, and learn the yield from runs after that."
)


class Drop(NamedTuple):
    """A drop's volume by a weighing, µL: `u_ul` of its own, `common_u_ul` by what all such weighings share."""

    ul: float
    u_ul: float
    common_u_ul: float


class RunResult(NamedTuple):
    """What one run has to say; None where its record does not. `left_out` are reasons, in words."""

    name: str
    day: date
    route: Route
    stated_ul: Measured | None  # a drop, as calibrated; None where no drops were counted
    calibrated: date | None
    drop: Drop | None = None
    yield_share: Measured | None = None
    first_gas_s: float | None = None
    first_gas_planned_s: float | None = None
    first_gas_by: str = ""
    charge: str = ""  # its kind, in words
    left_out: tuple[str, ...] = ()


class NextTime(NamedTuple):
    """What runs of one bench and route have in common, and the runs."""

    today: date
    runs: tuple[RunResult, ...]  # the oldest first
    drift: Line | None  # µL over days; its places are those of `drift_points`
    drift_points: tuple[tuple[str, Point], ...]
    yields: Mean | None
    yield_runs: tuple[RunResult, ...]
    first_gas: Mean | None
    first_gas_runs: tuple[RunResult, ...]
    planned_charge: str = ""  # the kind that is to be planned, if any

    @property
    def learned(self) -> dict[str, Any] | None:
        """The table [learned] of a run file; None where too little is known. Its ± is the standard uncertainty."""
        if self.yields is None or not 0.1 <= self.yields.value <= 1.5:
            return None
        share, u = self.yields.value, 0.5 * self.yields.expanded_next
        return {
            "yield": f"{100 * share:.3g} +/- {100 * u:.2g} %",
            "runs": len(self.yields.used),
            "since": min(self.yield_runs[i].day for i in self.yields.used),
            "fitted": self.today,
        }


def charge_words(run: RunTerms) -> str:
    """What kind of charge a run has."""
    charge = run.charge
    if isinstance(charge, DripTerms):
        return f"{charge.salt} and {charge.acid}"
    return "sulfur and sulfuric acid" if isinstance(charge, AcidOnSulfurTerms) else "sulfur"


def drop_by_weighing(course: Trajectory, drops: int, stated_ul: float, over: Measured) -> Drop | None:
    """The drop that makes a count agree with what was weighed as gone over, mol; None where that tells nothing.

    Whether it tells is judged by the stated drop, not by the outcome, so that no drift is favoured.
    """
    counted_ml = drops * stated_ul / 1000.0
    if course.at(counted_ml).delivered_mol < LEAST_DELIVERED * course.charge_mol:
        return None
    acid_ml = course.acid_ml_for_delivered(over.value)
    if acid_ml is None or not 0.0 < counted_ml <= MOST_ACID * course.acid_ml_to_spend:
        return None
    step_ml = 0.01 * acid_ml
    slope = (course.at(acid_ml + step_ml).delivered_mol - course.at(acid_ml - step_ml).delivered_mol) / (2 * step_ml)
    if slope <= 0.0:
        return None
    per_mol_ul = 1000.0 / slope / drops
    common = per_mol_ul * sqrt(sum(part**2 for part in course.delivered_parts(acid_ml)))
    return Drop(1000.0 * acid_ml / drops, per_mol_ul * over.u, common)


def next_time(results: Sequence[RunResult], today: date, now: DropTerms | None = None) -> NextTime:
    """Fit the runs of one bench and route; `now` is its drop as calibrated now, one more point of the drift."""
    runs = tuple(sorted(results, key=lambda run: (run.day, run.name)))
    points = _drift_points(runs, now)
    weighed = sum(p.common_u > 0.0 for _, p in points)
    yields = tuple(run for run in runs if run.yield_share is not None)
    gas = _of_one_sign(tuple(run for run in runs if run.first_gas_planned_s and run.first_gas_s is not None))
    return NextTime(
        today=today,
        runs=runs,
        drift=line_of([p for _, p in points])
        if weighed >= LEAST_RUNS or len(points) - weighed >= LEAST_RUNS
        else None,
        drift_points=points,
        yields=mean_of(
            [r.yield_share.value for r in yields if r.yield_share], [r.yield_share.u for r in yields if r.yield_share]
        ),
        yield_runs=yields,
        first_gas=mean_of([_gas_share(r) for r in gas], [0.0] * len(gas)),
        first_gas_runs=gas,
    )


def _drift_points(runs: Sequence[RunResult], now: DropTerms | None) -> tuple[tuple[str, Point], ...]:
    """Drop volumes over days: each calibration once, and each weighed run."""
    calibrations: dict[tuple[date, float], Measured] = {}
    stated = [(run.calibrated, run.stated_ul) for run in runs]
    if now is not None and any(run.stated_ul for run in runs):
        stated.append((now.calibrated, now.volume_ul))
    for day, drop in stated:
        if day is not None and drop is not None and drop.u > 0.0:
            calibrations[day, drop.value] = drop
    points = [
        (f"calibration of {day.isoformat()}", Point(float(day.toordinal()), drop.value, drop.u))
        for (day, _), drop in calibrations.items()
    ]
    points += [
        (run.name, Point(float(run.day.toordinal()), run.drop.ul, run.drop.u_ul, run.drop.common_u_ul))
        for run in runs
        if run.drop is not None
    ]
    return tuple(sorted(points, key=lambda named: named[1].day))


def _of_one_sign(runs: tuple[RunResult, ...]) -> tuple[RunResult, ...]:
    """Those whose first gas was told by the sign that most of them have."""
    signs = [run.first_gas_by for run in runs]
    return tuple(run for run in runs if run.first_gas_by == max(sorted(set(signs)), key=signs.count))


def _gas_share(run: RunResult) -> float:
    return (run.first_gas_s or 0.0) / (run.first_gas_planned_s or 1.0)


class Growth(NamedTuple):
    """By what share the drop has grown between two days, with its expanded uncertainty.

    `renewed`: no run is later than its last calibration.
    """

    share: float
    expanded: float
    since: date
    until: date
    renewed: bool

    @property
    def sure(self) -> bool:
        """Whether it has grown or shrunk beyond its uncertainty."""
        return abs(self.share) > self.expanded


def growth_of(found: NextTime) -> Growth | None:
    """The drop's growth from a calibration (or the first run, where none is dated before) to the last of the data.

    That calibration is the last one, or where no run is later than it, the one before.
    """
    if found.drift is None:
        return None
    last = max(found.drift_points[i][1].day for i in found.drift.used)
    calibrated = [p.day for _, p in found.drift_points if p.common_u == 0.0]
    earlier = [day for day in calibrated if day < last]
    first = max(earlier, default=min(found.drift_points[i][1].day for i in found.drift.used))
    at_first = found.drift.at(first)
    return Growth(
        found.drift.slope * (last - first) / at_first,
        found.drift.expanded_slope * (last - first) / at_first,
        date.fromordinal(int(first)),
        date.fromordinal(int(last)),
        last in calibrated,
    )


def sentences(found: NextTime) -> Iterator[str]:
    """What the runs say, in plain sentences; the first says how many there are."""
    if not found.runs:
        yield "There is no finished run of this bench on this route in the folder: nothing is known for next time."
        return
    yield from _yield_words(found)
    yield from _drift_words(found)
    yield from _gas_words(found)
    silent = (found.today - found.runs[-1].day).days
    if silent > LONG_AGO_DAYS:
        yield (
            f"The last of these runs was {silent} days ago: for today all of this is carried beyond what was seen."
        )
    kinds = sorted({run.charge for run in found.runs if run.charge})
    if len(kinds) > 1:
        yield f"These runs had unlike charges, which are taken together here: {'; '.join(kinds)}."
    if found.planned_charge and kinds and found.planned_charge not in kinds:
        yield (
            f"None of these runs had a charge of {found.planned_charge}: for this plan all of it is carried over "
            "from others."
        )
    for run in found.runs:
        for why in run.left_out:
            yield f"{run.name}: {why}."


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _too_few(what: str, runs: int) -> str:
    have = "no run tells" if runs == 0 else f"{runs} run{'s' if runs > 1 else ''} tell{'s' if runs == 1 else ''}"
    return f"{what}: {have} it, and that is too few; {LEAST_RUNS} at least are wanted."


def _yield_words(found: NextTime) -> Iterator[str]:
    fit, runs = found.yields, found.yield_runs
    if fit is None:
        yield _too_few("What a plan really gives", len(runs))
        return
    used = [runs[i] for i in fit.used]
    yield (
        f"In {len(used)} runs since {used[0].day.isoformat()} this bench gave {_pm(fit.value, fit.expanded)} % of "
        f"the plan; one more run may lie {100 * fit.expanded_next:.2g} % off."
    )
    for i in fit.aside:
        share = 100 * (runs[i].yield_share or Measured(0.0)).value
        yield f"Set aside, far off the others: {runs[i].name} gave {share:.0f} % of its plan."


def _drift_words(found: NextTime) -> Iterator[str]:
    weighed = sum(run.drop is not None for run in found.runs)
    if not any(run.stated_ul for run in found.runs):
        return
    growth = growth_of(found)
    if found.drift is None or growth is None:
        yield _too_few("Whether the drop has changed", weighed)
        return
    of = ", ".join((_counted(weighed, "weighed run"), _counted(len(found.drift_points) - weighed, "calibration")))
    to = f"from {growth.since.isoformat()} to {growth.until.isoformat()}"
    size = _pm(abs(growth.share) if growth.sure else growth.share, growth.expanded)
    if growth.sure:
        way = "grown" if growth.share > 0.0 else "shrunk"
        then = "it has been calibrated since" if growth.renewed else "calibrate again"
        yield f"The drop volume has {way} by {size} % {to} ({of}): {then}."
        if found.yields is not None:
            yield CONFOUNDED
    else:
        yield f"The drop volume has changed by {size} % {to} ({of}): no drift that can be told."
    for i in found.drift.aside:
        name, point = found.drift_points[i]
        yield f"Set aside, far off the line of the others: {name} with {point.value:.1f} µL a drop."


def _gas_words(found: NextTime) -> Iterator[str]:
    fit, runs = found.first_gas, found.first_gas_runs
    if fit is None:
        yield _too_few("When gas first comes", len(runs))
        return
    yield (
        f"Gas first came after {_pm(fit.value, fit.expanded)} % of the planned time ({len(fit.used)} runs, by "
        f"{runs[0].first_gas_by})."
    )
    for i in fit.aside:
        yield f"Set aside, far off the others: {runs[i].name} with {100 * _gas_share(runs[i]):.0f} % of that time."


def _pm(share: float, expanded: float) -> str:
    """A share and its expanded uncertainty in per cent, without the sign of per cent."""
    places = 0 if expanded >= 0.02 else 1  # two digits of the uncertainty at the most
    return f"{100 * share:.{places}f} ± {100 * expanded:.{places}f}".replace("-", "\N{MINUS SIGN}")


def run_rows(found: NextTime) -> Iterator[tuple[str, str]]:
    """Each run's own figures, for whoever wants to see what the sentences rest on."""
    for run in found.runs:
        parts = []
        if run.yield_share is not None:
            parts.append(f"{_pm(run.yield_share.value, 2 * run.yield_share.u)} % of the plan")
        if run.drop is not None:
            parts.append(f"drop {run.drop.ul:.1f} ± {2 * run.drop.u_ul:.1f} µL by weighing")
        if run.first_gas_s is not None:
            planned = "" if run.first_gas_planned_s is None else f", planned {run.first_gas_planned_s / 60.0:.1f}"
            parts.append(f"first gas after {run.first_gas_s / 60.0:.1f} min{planned}")
        yield f"{run.day.isoformat()} {run.name}", "; ".join(parts) or "tells nothing of this"
