"""What the sure tier's levels promise: their spread, and how often noise and doors pass them."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from monitor.core.leakdoors import (
    DOOR_PPM,
    DOOR_SAMPLES,
    DOORS,
    LENGTHS,
    SURE_H,
    door_levels,
    door_means,
    noise_levels,
    of_noise,
    sure_levels,
)
from monitor.core.leaktiers import SETTLED, SureTier
from monitor.core.rampnoise import DRIFT_PPM_PER_ROOT_S, STEP_S

NOISE = 0.05
SAMPLE = NOISE / sqrt(STEP_S)


def _settled() -> SureTier:
    """A tier whose baseline has settled at nothing, with levels that nothing here comes near."""
    tier = SureTier()
    tier.set_noise(100.0)
    for i in range(SETTLED):
        tier.feed(i * STEP_S, STEP_S, 0.0)
    return tier


def test_the_spread_is_that_of_the_tier_itself() -> None:
    """Fed one small sample, the tier's sums give its weight at every age; their products give spread and likeness."""
    tier, answer = _settled(), []
    for i in range(24_000):
        tier.feed((SETTLED + i) * STEP_S, STEP_S, 1.0 if i == 0 else 0.0)
        answer.append(list(tier.sums))
    weights = np.array(answer).T
    steps = np.cumsum(weights, axis=1)
    covariance = SAMPLE**2 * (weights @ weights.T) + DRIFT_PPM_PER_ROOT_S**2 * STEP_S * (steps @ steps.T)
    of, spreads = of_noise(NOISE), np.sqrt(np.diag(covariance))
    assert of.spreads == pytest.approx(spreads.tolist(), rel=0.001)
    assert of.alike == pytest.approx(np.diag(covariance / np.outer(spreads, spreads), 1).tolist(), rel=0.001)
    changes = np.diff(weights, axis=1, prepend=0.0)
    assert of.falls == pytest.approx((0.5 * SAMPLE**2 * (changes**2).sum(axis=1) / spreads**2).tolist(), rel=0.02)


def test_a_door_is_that_of_the_tier_itself() -> None:
    """Fed a door without noise, the tier's sums are what the levels stand on."""
    tier, sums = _settled(), []
    for i in range(DOOR_SAMPLES):
        tier.feed((SETTLED + i) * STEP_S, STEP_S, DOOR_PPM)
        sums.append(list(tier.sums))
    for length, found in zip(LENGTHS, np.array(sums).T, strict=True):
        assert door_means(length) == pytest.approx(found.tolist(), rel=1e-9)


def test_the_level_is_the_higher_of_two() -> None:
    """At the usual noise a door decides in every window; at three times of it, noise does in the shortest."""
    for times, lengths in ((1.0, ()), (3.0, (8, 20))):
        levels = sure_levels(times * NOISE)
        noise, door = noise_levels(times * NOISE, SURE_H), door_levels(times * NOISE, DOORS)
        assert list(levels) == [max(pair) for pair in zip(noise, door, strict=True)]
        assert tuple(n for n, level, of in zip(LENGTHS, levels, noise, strict=True) if level == of) == lengths


def _passed(ppm: np.ndarray[tuple[int, int], np.dtype[np.float64]], levels: list[float], begin: int) -> int:
    """How many alarms in rows of samples: over a level from the sample `begin` on, until all are under half."""
    alarms, size = 0, ppm.shape[1]
    sums, standing = np.zeros((len(LENGTHS), size)), np.zeros(size, dtype=bool)
    windows = [np.arange(1, n + 1, dtype=float) for n in LENGTHS]
    high_levels = np.array(levels)[:, None]
    for i in range(LENGTHS[-1], len(ppm)):
        for row, (n, weights) in enumerate(zip(LENGTHS, windows, strict=True)):
            sums[row] = weights @ ppm[i - n + 1 : i + 1]
        over = (sums > high_levels).any(axis=0)
        alarms += int((over & ~standing).sum()) if i >= begin else 0
        standing = (sums > 0.5 * high_levels).any(axis=0) & (standing | over)
    return alarms


def test_noise_passes_its_levels_as_often_as_promised() -> None:
    """At levels for one in 2 h, 100 quiet hours pass them 50 times within 30 % (2.1 σ of the count)."""
    ppm = np.random.default_rng(1).standard_normal((3600 + LENGTHS[-1], 1000)) * SAMPLE
    found = _passed(ppm, noise_levels(NOISE, 2.0), LENGTHS[-1])
    assert found == pytest.approx(50, abs=15)


def test_doors_pass_their_levels_as_often_as_promised() -> None:
    """At levels for one door in 50, 10,000 doors pass them 200 times within 18 % (2.5 σ of the count)."""
    size = 10_000
    ppm = np.random.default_rng(2).standard_normal((250, size)) * SAMPLE
    ppm[100:160] += DOOR_PPM
    found = _passed(ppm, door_levels(NOISE, 50.0), 100)
    assert found == pytest.approx(200, abs=36)
