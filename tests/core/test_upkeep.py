"""Dates, the clock and the scrubber: what is wrong that no sample shows."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from monitor.core.events import Instant
from monitor.core.upkeep import Scrubber, dues, overdue
from monitor.terms import BenchTerms, Measured, ReceiverTerms, ScrubberTerms
from tests.core.runs import BENCH, BURNER, DAY, DRIP, UTC_ZERO_S, Run, instant, raised


def aged(drops: int = 0, thermocouple: int = 0, gas: int = 0, bump: int = 0) -> BenchTerms:
    """The test bench with its dates so many days back."""

    def back(days: int) -> date:
        return DAY - timedelta(days=days)

    return replace(
        BENCH,
        drops=replace(BENCH.drops, calibrated=back(drops)),
        thermocouple=replace(BENCH.thermocouple, calibrated=back(thermocouple)),
        gas=replace(BENCH.gas, calibrated=back(gas), bump_tested=back(bump)),
    )


@pytest.mark.parametrize(
    ("bench", "late"),
    [
        (aged(30, 180, 90, 1), None),
        (aged(drops=31), "drop counter: 31 days ago"),
        (aged(thermocouple=181), "thermocouple: 181 days ago"),
        (aged(gas=91), "gas sensor: 91 days ago"),
        (aged(bump=2), "gas sensor's bump test: 2 days ago, due every day"),
        (aged(drops=-3), None),  # a date to come is the clock's affair
    ],
)
def test_each_date_has_its_term(bench: BenchTerms, late: str | None) -> None:
    """A date is overdue on the day after its term, and not on its last day."""
    found = overdue(bench, DRIP, UTC_ZERO_S)
    assert found is late or (found is not None and late is not None and found.startswith(late))


def test_no_date_is_overdue_and_no_drops_need_no_counter() -> None:
    """What was never calibrated is overdue; the drop counter is asked for only where drops are counted."""
    never = replace(BENCH, drops=replace(BENCH.drops, calibrated=None))
    assert "drop counter: no date given" in str(overdue(never, DRIP, UTC_ZERO_S))
    assert overdue(never, BURNER, UTC_ZERO_S) is None


def test_overdue_is_raised_at_the_start_but_in_no_recording() -> None:
    """A live run with an old bump test says so in its first second; a recording knows no day and says nothing."""
    run = Run(bench=aged(bump=3))
    run.samples(2.0)
    assert [(tag, t_s <= 1.0) for tag, t_s in raised(run.events)] == [("CALIBRATION-OVERDUE", True)]
    recording = Run(bench=aged(bump=3), recording=True)
    recording.samples(2.0)
    assert raised(recording.events) == []


def test_bubbles_have_their_term_where_bubbles_are_counted() -> None:
    """A run by bubbles wants its bubble's volume in date, on the same term as a drop's, and no drop's."""
    bubbles = replace(DRIP, meter="bubbles", bubble_volume_ul=Measured(150.0, 3.0))
    old_drops = aged(drops=99)
    for days, late in ((30, None), (31, "bubble counter: 31 days ago, due every 30 days")):
        run = replace(bubbles, bubble_calibrated=DAY - timedelta(days=days))
        assert overdue(old_drops, run, UTC_ZERO_S) == late
    assert overdue(BENCH, bubbles, UTC_ZERO_S) == "bubble counter: no date given, due every 30 days"


def test_every_kind_overdue_is_told_worst_first() -> None:
    """What was never done comes first, then what is longest past its term; what is in date last."""
    bench = aged(drops=33, thermocouple=200, gas=91, bump=0)
    never = replace(bench, gas=replace(bench.gas, bump_tested=None))
    assert [due.kind for due in dues(never, DRIP, UTC_ZERO_S)] == ["bump", "thermocouple", "drops", "gas"]
    assert [due.left_days for due in dues(bench, None, UTC_ZERO_S)] == [-20, -3, -1, 1]
    assert str(overdue(bench, DRIP, UTC_ZERO_S)).count("; ") == 2


@pytest.mark.parametrize(("by_s", "told"), [(3.0, True), (-3600.0, True), (1.9, False)])
def test_a_clock_that_jumps(by_s: float, told: bool) -> None:
    """A time of day that moves by over 2 s against run time, either way, is CLOCK-STEPPED; a smaller step is none."""
    run = Run()
    run.samples(5.0)
    at = instant(run.t_s + 0.1)
    run.keep(run.bench.receive(run.board.sample(), Instant(at.mono_s, at.utc_s + by_s)))
    assert [tag for tag, _ in raised(run.events) if tag == "CLOCK-STEPPED"] == ["CLOCK-STEPPED"] * told


def test_scrubber_room_for_the_worst_case() -> None:
    """What can still come, and what went past the need, must leave a fifth of the capacity to the normal sulfite.

    1 L of 2 mol/L NaOH takes 1 mol (2 NaOH a mol of SO2).
    """
    run = replace(DRIP, receiver=ReceiverTerms(None, 0.3), scrubber=ScrubberTerms("NaOH", 2.0, 1.0))
    scrubber = Scrubber(run)
    assert scrubber.words(0.0, 0.79) is None
    assert scrubber.words(0.0, 0.81) is not None
    assert scrubber.words(0.3, 1.09) is None  # the receiver had its 0.3
    assert scrubber.words(0.6, 1.09) is None  # 0.3 went past, 0.49 to come
    assert scrubber.words(0.6, 1.11) is not None
    assert Scrubber(DRIP).words(0.0, 9.0) is None
