"""How calibrations stand, in words: worst first, each with its value, date and term."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from monitor.standing import standing
from monitor.terms import Measured
from tests.core.runs import BENCH, DAY, DRIP, UTC_ZERO_S


def test_worst_first_in_words() -> None:
    """What was never dated comes first, then what is late, then what is due soonest; the last day is in time."""
    bench = replace(
        BENCH,
        drops=replace(BENCH.drops, calibrated=None),
        thermocouple=replace(BENCH.thermocouple, calibrated=DAY - timedelta(days=192)),
        gas=replace(BENCH.gas, calibrated=DAY - timedelta(days=90), bump_tested=DAY),
    )
    rows = standing(bench, None, UTC_ZERO_S)
    assert [(r.kind, r.due, r.overdue) for r in rows] == [
        ("drops", "OVERDUE: never dated", True),
        ("thermocouple", "OVERDUE by 12 days", True),
        ("gas", "due today", False),
        ("bump", "due in 1 day", False),
    ]
    assert rows[0].value == f"{bench.drops.volume_ul.value:.2f} ± {bench.drops.volume_ul.u:.2f} µL"
    assert rows[0].done == "no date"


def test_a_run_by_bubbles_and_a_date_to_come() -> None:
    """The bubbles of a run stand in the drops' place; a date after today points at the clock."""
    run = replace(
        DRIP, meter="bubbles", bubble_volume_ul=Measured(150.0, 3.0), bubble_calibrated=DAY + timedelta(days=2)
    )
    (row,) = [r for r in standing(BENCH, run, UTC_ZERO_S) if r.kind == "bubbles"]
    assert (row.value, row.due, row.overdue) == ("150.0 ± 3.0 µL", "dated after today: is the clock right?", False)
    assert "drops" not in [r.kind for r in standing(BENCH, run, UTC_ZERO_S)]
