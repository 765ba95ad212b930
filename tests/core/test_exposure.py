"""Exposure averages, against the published worked example and a brute-force model."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.events import Exposed, Reading
from monitor.core.exposure import JOIN_S, STEL_S, TWA_S, Exposure

UNKNOWN = Reading(None, why="a test")


def fed(readings: Iterable[tuple[float, float | None]], until_s: float) -> Exposed:
    """The averages at `until_s` after these readings, time passing twice a second as in a run."""
    exposure = Exposure()
    grid_s = 0.0
    for t_s, ppm in readings:
        while grid_s < t_s:
            exposure.pass_time(grid_s)
            grid_s += 0.5
        exposure.feed(t_s, UNKNOWN if ppm is None else Reading(ppm))
    return exposure.pass_time(until_s)


def steady(ppm: float, from_s: int, to_s: int) -> list[tuple[float, float | None]]:
    return [(float(s), ppm) for s in range(from_s, to_s + 1)]


def test_the_worked_average() -> None:
    """Two hours at 150, two at 75 and four at 50 average 81.25 over eight (29 CFR 1910.1000(d)(1)(i), example)."""
    shift = steady(150.0, 0, 7200) + steady(75.0, 7201, 14400) + steady(50.0, 14401, 28800)
    # A reading a second: each step is a ramp of one second, worth half a second of its height. 0.01 covers both.
    assert fed(shift, 28800.0).twa_ppm == pytest.approx(81.25, abs=0.01)


def test_a_steady_reading_reaches_its_own_average() -> None:
    """After a quarter of an hour at 0.25 ppm the 15-minute average is 0.25 ppm, not a second's worth less."""
    assert fed(steady(0.25, 0, 900), 900.0).stel_ppm == pytest.approx(0.25, rel=1e-12)
    assert fed(steady(0.25, 0, 2000), 2000.5).stel_ppm == pytest.approx(0.25, rel=1e-12)
    assert fed(steady(0.5, 0, TWA_S), float(TWA_S)).twa_ppm == pytest.approx(0.5, rel=1e-9)


def test_time_before_the_run_is_unexposed() -> None:
    """Ten minutes into a run at 3 ppm the 15-minute average is 2 ppm: the five minutes before count as clean."""
    assert fed(steady(3.0, 0, 600), 600.0).stel_ppm == pytest.approx(2.0, rel=1e-9)


def brute(t: npt.NDArray[np.float64], ppm: npt.NDArray[np.float64], end_s: float, span_s: int) -> float:
    """The average over the last `span_s` seconds before `end_s` by trapezoids on a fine grid."""
    fine = np.linspace(end_s - span_s, end_s, span_s * 20 + 1)
    values = np.where(fine < t[0], 0.0, np.interp(fine, t, ppm))
    return float(np.trapezoid(values, fine) / span_s)


@given(
    st.lists(st.tuples(st.floats(0.05, JOIN_S), st.floats(0.0, 20.0)), min_size=20, max_size=120),
    st.integers(1, 30),
    st.floats(0.0, 1.0),
)
def test_rolling_average_is_the_integral(steps: list[tuple[float, float]], repeat: int, more_s: float) -> None:
    """The rolling 15-minute average is the integral of the readings over the last 900 s, wherever that begins."""
    gaps = np.array([gap for gap, _ in steps] * repeat)
    t = np.concatenate([[0.0], np.cumsum(gaps)])
    ppm = np.array([steps[0][1]] + [value for _, value in steps] * repeat)
    end_s = float(t[-1]) + more_s
    got = fed(list(zip(t.tolist(), ppm.tolist(), strict=True)), end_s).stel_ppm
    # A second at either end of the window may be spread evenly: 20 ppm for a second, and a tenth for the grid.
    assert got == pytest.approx(max(0.0, brute(t, ppm, end_s, STEL_S)), abs=20.0 * 1.1 / STEL_S)


def test_unknown_time_counts_at_the_higher_side() -> None:
    """A minute without a valid reading counts at the higher of the readings beside it, and is shown as unknown."""
    for before, after in ((1.0, 4.0), (4.0, 1.0)):
        readings = [*steady(before, 0, 100), *[(s, None) for s in range(101, 160)], *steady(after, 160, 200)]
        got = fed(readings, 200.0)
        assert got.unknown_s == pytest.approx(60.0)
        assert got.stel_unknown_s == pytest.approx(60.0)
        assert got.stel_ppm * STEL_S == pytest.approx(100 * before + 60 * 4.0 + 40 * after, rel=1e-9)


def test_unknown_time_that_goes_on_counts_at_the_newest_reading() -> None:
    """While a sensor is silent, its time counts at its newest reading, from which the average keeps its height."""
    got = fed(steady(2.0, 0, 100), 400.0)
    assert got.stel_ppm * STEL_S == pytest.approx(2.0 * 400)
    assert got.unknown_s == pytest.approx(300.0)
    assert fed(steady(2.0, 0, 100), 5000.0).stel_ppm == pytest.approx(2.0)
    assert fed(steady(2.0, 0, 100), 3.0 * TWA_S).twa_ppm == pytest.approx(2.0)


def test_time_before_the_first_reading_is_unknown_not_zero() -> None:
    """Time in the run before the first valid reading is unknown, and counts at that reading."""
    got = fed([(30.0, 6.0)], 30.0)
    assert got.unknown_s == pytest.approx(30.0)
    assert got.stel_ppm * STEL_S == pytest.approx(180.0)
    nothing = fed([], 50.0)
    assert (nothing.unknown_s, nothing.stel_ppm) == (50.0, 0.0)


def test_a_sensor_over_its_range_counts_at_its_range_and_as_unknown() -> None:
    """However short a stretch over the range, it counts at the range and as unknown time."""
    for over_s in (1, 60):
        exposure = Exposure()
        exposure.feed(0.0, Reading(0.0))
        for s in range(over_s):
            exposure.feed(float(s), Reading(None, why="over the sensor's range", at_least=20.0))
        open_one = exposure.at(float(over_s))
        exposure.feed(float(over_s), Reading(1.0))
        closed = exposure.at(float(over_s))
        for got in (open_one, closed):
            assert got.unknown_s == pytest.approx(over_s)
            assert got.stel_ppm * STEL_S == pytest.approx(20.0 * over_s)


def test_highest_15_minutes_is_kept() -> None:
    """The highest 15-minute average of the run stays, after the average has fallen again."""
    got = fed([*steady(9.0, 0, 300), *steady(0.0, 301, 2000)], 2000.0)
    assert got.stel_ppm == pytest.approx(0.0, abs=1e-9)
    assert got.stel_max_ppm == pytest.approx(3.0, rel=0.01)


@given(st.lists(st.floats(0.0, 30.0), max_size=30))
def test_asking_changes_nothing(asked_s: list[float]) -> None:
    """Asking for the averages between whiles, however often, changes no later figure by a single digit."""
    plain, asked = Exposure(), Exposure()
    for n in range(1, 40):
        for exposure in (plain, asked):
            exposure.feed(n * 0.9, Reading(0.1 * n))
            exposure.pass_time(n * 0.9)
        for ahead_s in asked_s:
            asked.at(n * 0.9 + ahead_s)
    assert plain.at(60.0) == asked.at(60.0)


def test_memory_is_bounded_by_the_windows() -> None:
    """A gap of a month fills no more than the eight hours that can still count."""
    exposure = Exposure()
    exposure.feed(1.0, Reading(1.0))
    exposure.feed(30 * 86400.0, Reading(1.0))
    exposure.pass_time(30 * 86400.0)
    assert len(exposure._twa._bins) <= TWA_S + 2
    assert len(exposure._stel._bins) <= STEL_S + 2
