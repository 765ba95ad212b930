"""What is wrong that no sample shows: calibrations out of date, and the scrubber's room for the worst case.

The worst case is a receiver that stops taking gas now: all that the flask can still deliver goes to the scrubber,
on top of what went past the need already. The scrubber's capacity is to the normal sulfite, half of what it could
take at most, as in a plan.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from monitor.chemistry.planning import scrubber_capacity_mol
from monitor.terms import BenchTerms, RunTerms

DROPS_DAYS, THERMOCOUPLE_DAYS, GAS_DAYS, BUMP_DAYS = 30, 180, 90, 1  # alarm table
BUBBLES_DAYS = DROPS_DAYS  # as the drops: both change with tip, liquid and rate
SCRUBBER_LEFT = 0.20  # of its capacity (alarm table)
CLOCK_STEP_S = 2.0
_DAY_S = 86400.0
_EPOCH_DAY = date(1970, 1, 1).toordinal()


class Due(NamedTuple):
    """One calibration's date and term. `left_days` is None without a date, and negative once it is overdue."""

    kind: str
    what: str
    calibrated: date | None
    every_days: int
    left_days: int | None

    @property
    def overdue(self) -> bool:
        """Past its last day, or never done: a date that is not given means never."""
        return self.left_days is None or self.left_days < 0

    @property
    def words(self) -> str:
        """How old it is and how old it may become."""
        every = "day" if self.every_days == 1 else f"{self.every_days} days"
        if self.left_days is None:
            return f"{self.what}: no date given, due every {every}"
        age = self.every_days - self.left_days
        return f"{self.what}: {age} day{'s' * (age != 1)} ago, due every {every}"


def dues(bench: BenchTerms, run: RunTerms | None, utc_s: float) -> tuple[Due, ...]:
    """All calibrations on the day of `utc_s` (Unix seconds, UTC), worst first.

    Without a run the drops are among them and the bubbles, which belong to a run, are not; with one, its own meter.
    """
    today = _EPOCH_DAY + int(utc_s // _DAY_S)
    dated: list[tuple[str, str, date | None, int]] = [
        ("thermocouple", "thermocouple", bench.thermocouple.calibrated, THERMOCOUPLE_DAYS),
        ("gas", "gas sensor", bench.gas.calibrated, GAS_DAYS),
        ("bump", "gas sensor's bump test", bench.gas.bump_tested, BUMP_DAYS),
    ]
    if run is None or run.meter == "drops":
        dated.insert(0, ("drops", "drop counter", bench.drops.calibrated, DROPS_DAYS))
    elif run.meter == "bubbles":
        dated.insert(0, ("bubbles", "bubble counter", run.bubble_calibrated, BUBBLES_DAYS))
    found = [
        Due(kind, what, day, days, None if day is None else day.toordinal() + days - today)
        for kind, what, day, days in dated
    ]
    return tuple(sorted(found, key=lambda due: (due.left_days is not None, due.left_days or 0)))


def overdue(bench: BenchTerms, run: RunTerms, utc_s: float) -> str | None:
    """What is out of date on the day of `utc_s` (Unix seconds, UTC), in words, worst first, or None.

    What meters this run is asked for, and not what meters others.
    """
    return "; ".join(due.words for due in dues(bench, run, utc_s) if due.overdue) or None


class Scrubber:
    """The scrubber of one run."""

    def __init__(self, run: RunTerms) -> None:
        self._capacity_mol = None if run.scrubber is None else scrubber_capacity_mol(run.scrubber)
        self._need_mol = run.receiver.need_mol if run.receiver is not None else 0.0

    def words(self, delivered_mol: float, final_delivered_mol: float) -> str | None:
        """What is wrong when so much has gone over and so much will have at the end, or None."""
        capacity = self._capacity_mol
        if capacity is None:
            return None
        past = max(0.0, delivered_mol - self._need_mol)
        worst = past + max(0.0, final_delivered_mol - delivered_mol)
        left = capacity - worst
        if left >= SCRUBBER_LEFT * capacity:
            return None
        return f"{worst:.2f} mol could come, it takes {capacity:.2f} mol"
