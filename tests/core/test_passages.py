"""How often noise passes a level, against exact integrals of the normal processes that the formulas stand for."""

from __future__ import annotations

from math import erfc, exp, pi, sqrt

import numpy as np
import pytest

from monitor.core.passages import height, passages, stepped, together


def _beyond(z: float) -> float:
    return 0.5 * erfc(z / sqrt(2.0))


@pytest.mark.parametrize("x", [0.1, 0.5, 1.0])
def test_passages_seen_in_steps(x: float) -> None:
    """Siegmund's ν(x) is near exp(-0.583 x) for small x (Sequential Analysis, 1985, chapter IV; from memory)."""
    assert stepped(x) == pytest.approx(exp(-0.583 * x), rel=0.02)


@pytest.mark.parametrize("z", [4.5, 5.0, 5.5, 6.0])
def test_a_process_seen_all_the_time_passes_its_level_as_the_exact_mean_time_says(z: float) -> None:
    """Ornstein and Uhlenbeck's process takes ∫ √2π exp(x²/2) Φ(x) dx from 0 to z in the mean, its memory being 1.

    D. A. Darling and A. J. F. Siegert, Ann. Math. Stat. 24 (1953) 624; from memory.
    """
    x = np.linspace(0.0, z, 20_001)
    below = np.array([1.0 - _beyond(v) for v in x.tolist()])
    mean_time = float(np.trapezoid(sqrt(2.0 * pi) * np.exp(0.5 * x * x) * below, x))
    fall = 1e-9  # in a step; so small that the steps are not felt
    assert passages(z, fall) / fall == pytest.approx(1.0 / mean_time, rel=0.1)


def test_a_level_is_passed_as_often_as_it_was_made_for() -> None:
    """From one passage in a hundred thousand steps to one in a thousand million."""
    for rate in (1e-5, 1e-7, 1e-9):
        for fall in (0.15, 0.003):
            assert passages(height(fall, rate), fall) == pytest.approx(rate, rel=1e-6)


@pytest.mark.parametrize("rho", [0.7, 0.84, 0.96])
def test_what_two_sums_pass_together_is_the_integral_of_their_joint_chance(rho: float) -> None:
    """Of two levels alike, the part counted off is the chance, by the normal law of two, that both are over."""
    z, fall = 5.5, 0.03
    x = np.linspace(z, z + 5.0, 50_001)
    over = np.array([_beyond(v) for v in ((z - rho * x) / sqrt(1.0 - rho * rho)).tolist()])
    both = float(np.trapezoid(np.exp(-0.5 * x * x) / sqrt(2.0 * pi) * over, x)) / _beyond(z)
    one = passages(z, fall)
    counted_off = 2.0 - together([z, z], [one, one], [rho]) / one
    assert counted_off == pytest.approx(both, abs=0.02)


def test_one_sum_twice_counts_once_and_two_strangers_twice() -> None:
    """The two ends between which every pair of neighbours lies."""
    one = passages(5.0, 0.03)
    assert together([5.0, 5.0], [one, one], [1.0 - 1e-9]) == pytest.approx(one, rel=0.001)
    assert together([5.0, 5.0], [one, one], [0.0]) == pytest.approx(2.0 * one, rel=0.001)
