"""Whether each drop is counted once: made-up drips, with a second edge here and a missed drop there."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from monitor.core.dripcheck import DripCheck
from monitor.core.frames import SampleFrame
from tests.benchmarks.bench_drip import delays, tap, told, wandering


def first_told(drop_s: list[float], *, boot: Callable[[float], int] = lambda _: 7) -> float | None:
    """Samples ten a second over these drops; when the counting is first called wrong."""
    check = DripCheck()
    drops = done = 0
    for n in range(1, int(drop_s[-1] * 10) + 2):
        t_s = n / 10
        new = 0
        while done < len(drop_s) and drop_s[done] <= t_s:
            done += 1
            new += 1
        drops += new
        newest_ms = int(drop_s[done - 1] * 1000) if done else 0
        check.feed(t_s, SampleFrame(boot(t_s), n, n * 100, drops, newest_ms, 0, 0, 0, 5, 8), new, 0)
        if check.words(t_s) is not None:
            return t_s
    return None


def drip(seed: int, cv: float, *parts: tuple[float, float]) -> list[float]:
    """Drops at (a minute, for so many seconds), one part after another."""
    rng = np.random.default_rng(seed)
    out, t_s, end_s = [], 0.0, 0.0
    for per_min, seconds in parts:
        end_s += seconds
        while t_s < end_s:
            t_s += 60.0 / per_min * max(0.2, 1.0 + cv * rng.normal())
            out.append(t_s)
    return out


@pytest.mark.parametrize("per_min", [15.0, 30.0, 60.0, 90.0])
def test_double_counting_is_told_within_a_minute(per_min: float) -> None:
    """Half the drops with a second edge 25 to 80 ms on are told within 60 s."""
    rng = np.random.default_rng(5)
    drops = drip(1, 0.06, (per_min, 300.0))
    doubled = sorted(drops + [t + rng.uniform(0.025, 0.08) for t in drops if t > 120.0 and rng.random() < 0.5])
    told_s = first_told(doubled)
    assert told_s is not None
    assert 120.0 < told_s <= 180.0


@pytest.mark.parametrize("per_min", [20.0, 45.0, 90.0])
def test_missed_drops_are_told_within_two_minutes(per_min: float) -> None:
    """Three drops in ten unseen are told within 120 s."""
    rng = np.random.default_rng(6)
    drops = [t for t in drip(1, 0.06, (per_min, 400.0)) if t <= 150.0 or rng.random() < 0.7]
    told_s = first_told(drops)
    assert told_s is not None
    assert 150.0 < told_s <= 270.0


@pytest.mark.parametrize("scatter", [0.03, 0.1])
@pytest.mark.parametrize("per_min", [30.0, 60.0, 120.0])
def test_every_share_of_missed_drops_is_told_in_time(per_min: float, scatter: float) -> None:
    """20 to 40 % of the drops unseen, at 30 a minute and more: each of 20 draws within 120 s (alarm table)."""
    assert max(delays(per_min, scatter, 20)) <= 120.0


@pytest.mark.parametrize("per_min", [10.0, 30.0, 120.0])
def test_a_tap_whose_rate_wanders_is_no_fault(per_min: float) -> None:
    """An hour in which the rate moves by 30 % within a minute, intervals scattered by 10 % (invented): nothing."""
    rng = np.random.default_rng(9)
    drops = tap(rng, 0.1, 3600.0, wandering(rng, per_min, 0.3, 30.0, 3600.0))
    assert told(drops) == []


@pytest.mark.parametrize(
    "parts",
    [
        ((60.0, 120.0), (30.0, 120.0), (60.0, 120.0)),
        ((6.0, 120.0), (60.0, 120.0)),
        ((90.0, 60.0), (20.0, 90.0), (80.0, 60.0), (40.0, 90.0)),
        ((60.0, 5.0), (2.0, 40.0), (60.0, 120.0)),
    ],
)
def test_a_tap_that_is_turned_is_no_fault(parts: tuple[tuple[float, float], ...]) -> None:
    """Rates that double, halve, stop and go raise nothing."""
    for seed in range(10):
        assert first_told(drip(seed, 0.08, *parts)) is None


@pytest.mark.parametrize("cv", [0.02, 0.1, 0.2, 0.3])
def test_an_unsteady_drip_is_no_fault(cv: float) -> None:
    """Half an hour of drops whose intervals scatter by up to 30 % raises nothing."""
    for seed in range(4):
        assert first_told(drip(seed, cv, (60.0, 1800.0))) is None


def test_a_restart_joins_no_intervals() -> None:
    """Intervals over a restart of the board are none."""
    assert first_told(drip(1, 0.05, (60.0, 120.0)), boot=lambda t_s: int(t_s / 1.7)) is None


def test_a_board_that_does_not_time_its_drops_stops_nothing() -> None:
    """Drops whose time stands still, or two in the same moment, are no interval: nothing is judged by them."""
    check = DripCheck()
    for n in range(1, 61):
        check.feed(n / 10, SampleFrame(7, n, n * 100, n, 0, 0, 0, 0, 5, 8), 1, 0)
    for n in range(61, 121):
        check.feed(n / 10, SampleFrame(7, n, n * 100, 2 * n, n // 2, 0, 0, 0, 5, 8), 2, 0)
    assert check.words(12.0) is None


def test_gaps_and_spurts_alone_are_no_missed_drops() -> None:
    """Where no interval is ordinary nothing is judged: drops that come in spurts between stops (a seeded draw)."""
    rng = np.random.default_rng(24)
    assert first_told(np.cumsum(rng.choice([0.45, 1.0, 1.7], p=[0.45, 0.25, 0.3], size=21)).tolist()) is None
