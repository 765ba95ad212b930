"""Overheat foretold: from plain ramps, whose answer is known by division, and from simulated plates."""

from __future__ import annotations

import pytest

from monitor.core.events import Reading
from monitor.core.overheat import PlateAhead
from tests.benchmarks.bench_overheat import figures
from tests.core.runs import Run, raised, warm


def ramp(ahead: PlateAhead, from_c: float, c_per_s: float, seconds: float, start_s: float = 0.0) -> float | None:
    """Feed a ramp, ten readings a second; the plate's °C when the first words came, None if none did."""
    for n in range(round(seconds * 10)):
        plate_c = from_c + c_per_s * n / 10
        ahead.feed(start_s + n / 10, Reading(plate_c))
        if ahead.words() is not None:
            return plate_c
    return None


@pytest.mark.parametrize(("c_per_s", "left_c"), [(0.1, 3.0), (0.2, 6.0), (0.3, 9.0), (0.6, 12.0), (1.0, 12.0)])
def test_a_steady_rise_is_foretold_at_its_horizon(c_per_s: float, left_c: float) -> None:
    """30 s before the limit, or when 0.6 of the way from the highest setpoint is left, whichever is later."""
    at_c = ramp(PlateAhead(340.0, 320.0), 250.0, c_per_s, 1000.0)
    assert at_c is not None
    assert 340.0 - at_c == pytest.approx(left_c, abs=0.25)


def test_a_plate_that_does_not_rise_is_foretold_nothing() -> None:
    """A level, a falling and a far-off plate raise no word, and no minutes are shown."""
    for c_per_s in (0.0, -0.5):
        ahead = PlateAhead(340.0, 320.0)
        assert ramp(ahead, 330.0, c_per_s, 120.0) is None
        assert ahead.minutes_to_limit() is None


def test_minutes_to_the_limit() -> None:
    """At 240 °C and 0.5 °C/s, 340 °C is 3 1/3 minutes away."""
    ahead = PlateAhead(340.0, 320.0)
    ramp(ahead, 190.0, 0.5, 100.1)
    assert ahead.minutes_to_limit() == pytest.approx(100.0 / 0.5 / 60.0, rel=0.02)


def test_a_spike_moves_nothing() -> None:
    """Five wild readings in a row leave the filter where it was; a plate that stays elsewhere is followed anew."""
    ahead = PlateAhead(340.0, 320.0)
    ramp(ahead, 100.0, 0.0, 60.0)
    for n in range(5):
        ahead.feed(60.0 + n / 10, Reading(335.0))
    assert ahead.plate_c == pytest.approx(100.0, abs=0.1)
    ramp(ahead, 130.0, 0.0, 30.0, start_s=61.0)
    assert ahead.plate_c == pytest.approx(130.0, abs=0.1)


def test_no_more_than_five_readings_are_left_out() -> None:
    """The sixth wild reading in a row is where the plate is."""
    ahead = PlateAhead(340.0, 320.0)
    ramp(ahead, 100.0, 0.0, 60.0)
    for n in range(6):
        ahead.feed(60.0 + n / 10, Reading(335.0))
    assert ahead.plate_c == 335.0


def test_unknown_readings_foretell_nothing() -> None:
    """Readings without a value are passed over, and after a gap nothing old is said."""
    ahead = PlateAhead(340.0, 320.0)
    assert ramp(ahead, 320.0, 0.5, 60.0) is not None
    ahead.feed(100.0, Reading(None, why="thermocouple open circuit"))
    assert ahead.words() is None


def test_plate_rising_is_raised_before_plate_high_high() -> None:
    """On the bench: a plate that runs away is PLATE-RISING first, PLATE-HIGH-HIGH later, and never a fault."""
    run = Run()
    run.samples(2.0)
    warm(run, 250.0)
    word_c = 250.0
    for _ in range(1600):
        word_c += 0.06
        run.board.tc = round(word_c / 0.25) << 18 | 0x190 << 4
        run.sample()
    tags = [tag for tag, _ in raised(run.events)]
    assert tags.index("PLATE-RISING") < tags.index("PLATE-HIGH-HIGH")
    assert "PLATE-FAULT" not in tags


def test_simulated_plates() -> None:
    """A short share of the benchmark: none false in 25 healthy heat-ups, none missed in 25 overheats, well ahead."""
    false, missed, shares = figures(25, 25)
    assert (false, missed) == (0, 0)
    assert sorted(shares)[len(shares) // 2] >= 0.85
    assert min(shares) >= 0.70
