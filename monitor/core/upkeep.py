"""What is wrong that no sample shows: calibrations out of date, and the scrubber's room for the worst case.

The worst case is a receiver that stops taking gas now: all that the flask can still deliver goes to the scrubber,
on top of what went past the need already. The scrubber's capacity is to the normal sulfite, half of what it could
take at most, as in a plan.
"""

from __future__ import annotations

from datetime import date

from monitor.chemistry.planning import scrubber_capacity_mol
from monitor.terms import BenchTerms, RunTerms

DROPS_DAYS, THERMOCOUPLE_DAYS, GAS_DAYS, BUMP_DAYS = 30, 180, 90, 1  # alarm table
SCRUBBER_LEFT = 0.20  # of its capacity (alarm table)
CLOCK_STEP_S = 2.0
_DAY_S = 86400.0
_EPOCH_DAY = date(1970, 1, 1).toordinal()


def overdue(bench: BenchTerms, run: RunTerms, utc_s: float) -> str | None:
    """What is out of date on the day of `utc_s` (Unix seconds, UTC), in words, or None.

    A date that is not given means never. The drop counter matters only where drops are counted.
    """
    today = _EPOCH_DAY + int(utc_s // _DAY_S)
    checks = [
        ("thermocouple", bench.thermocouple.calibrated, THERMOCOUPLE_DAYS),
        ("gas sensor", bench.gas.calibrated, GAS_DAYS),
        ("gas sensor's bump test", bench.gas.bump_tested, BUMP_DAYS),
    ]
    if run.meter == "drops":
        checks.insert(0, ("drop counter", bench.drops.calibrated, DROPS_DAYS))
    late = []
    for what, day, days in checks:
        if day is None:
            late.append(f"{what}: no date given, due every {_days(days)}")
        elif (age := today - day.toordinal()) > days:
            late.append(f"{what}: {age} days ago, due every {_days(days)}")
    return "; ".join(late) or None


def _days(days: int) -> str:
    return "day" if days == 1 else f"{days} days"


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
