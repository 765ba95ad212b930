"""How a bench's calibrations stand today: value, date and when each is due, worst first. Pure."""

from __future__ import annotations

from typing import NamedTuple

from monitor.calibration import quantity
from monitor.core.upkeep import Due, dues
from monitor.terms import BenchTerms, RunTerms

TITLES = {
    "drops": "Drop volume",
    "bubbles": "Bubble volume",
    "thermocouple": "Thermocouple",
    "gas-zero": "Gas: zero",
    "gas-span": "Gas: span",
    "bump": "Gas: bump test",
}


class Standing(NamedTuple):
    """One row of the list. `value` is what the settings hold now, ± one standard uncertainty."""

    kind: str
    title: str
    value: str
    done: str
    due: str
    overdue: bool


def standing(bench: BenchTerms, run: RunTerms | None, utc_s: float) -> tuple[Standing, ...]:
    """All that this bench (and this run's meter) needs, worst first, on the day of `utc_s` (Unix seconds)."""
    gas = bench.gas
    values = {
        "drops": _measured(bench.drops.volume_ul.value, bench.drops.volume_ul.u, "µL"),
        "thermocouple": "offset " + _measured(bench.thermocouple.offset_c.value, bench.thermocouple.offset_c.u, "°C"),
        "gas": f"zero {gas.zero_sum:g}, {gas.ppm_per_sum:.4g} ppm per count ± {100.0 * gas.relative_u:.2g} %",
        "bump": "",
    }
    titles = {**TITLES, "gas": "Gas: zero and span"}
    if run is not None and run.bubble_volume_ul is not None:
        values["bubbles"] = _measured(run.bubble_volume_ul.value, run.bubble_volume_ul.u, "µL")
    return tuple(
        Standing(
            due.kind,
            titles[due.kind],
            values[due.kind],
            "no date" if due.calibrated is None else due.calibrated.isoformat(),
            _due_words(due),
            due.overdue,
        )
        for due in dues(bench, run, utc_s)
    )


def _measured(value: float, u: float, unit: str) -> str:
    return quantity(value, u, unit).replace("+/-", "±")


def _due_words(due: Due) -> str:
    left = due.left_days
    if left is None:
        return "OVERDUE: never dated"
    if left > due.every_days:
        return "dated after today: is the clock right?"
    if left < 0:
        return f"OVERDUE by {_days(-left)}"
    return "due today" if left == 0 else f"due in {_days(left)}"


def _days(days: int) -> str:
    return "1 day" if days == 1 else f"{days} days"
