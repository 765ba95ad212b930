"""What the sure tier's levels promise: their spread, and how often noise and doors pass them."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from monitor.core.leakdoors import (
    BASELINE_PPM,
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
from monitor.core.leaktiers import SureTier

SAMPLE = 0.05 * sqrt(10.0)


@pytest.mark.parametrize("length", LENGTHS)
def test_the_spread_and_a_door_are_those_of_the_tier_itself(length: int) -> None:
    """Fed one sample, the tier's sums give every weight; their squares give the spread, and their sums a door."""
    tier = SureTier()
    tier.set_noise(10.0)
    answer = []
    for i in range(length):
        tier.feed(i * 0.1, 1e-9, 1.0 if i == 0 else 0.0)
        answer.append(tier.sums[LENGTHS.index(length)])
    weights = np.array(answer)
    spread, fall = of_noise(length, SAMPLE)
    of_samples = SAMPLE**2 * (weights**2).sum()
    assert spread**2 == pytest.approx(of_samples + (weights.sum() * BASELINE_PPM) ** 2, rel=1e-6)
    steps = np.diff(weights, prepend=0.0, append=0.0)
    assert fall == pytest.approx(0.5 * SAMPLE**2 * (steps**2).sum() / spread**2, rel=1e-6)
    door = np.convolve(weights, np.full(DOOR_SAMPLES, DOOR_PPM))
    assert door_means(length)[: len(door)] == pytest.approx(door.tolist(), rel=1e-6)


def test_the_level_is_the_higher_of_two() -> None:
    """At the usual noise a door decides in every window; at three times of it, noise does in the shortest."""
    for times, lengths in ((1.0, ()), (3.0, (8, 20))):
        levels = sure_levels(times * SAMPLE)
        noise, door = noise_levels(times * SAMPLE, SURE_H), door_levels(times * SAMPLE, DOORS)
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
    found = _passed(ppm, noise_levels(SAMPLE, 2.0), LENGTHS[-1])
    assert found == pytest.approx(50, abs=15)


def test_doors_pass_their_levels_no_oftener_than_promised() -> None:
    """At levels for one door in 20, 4000 doors pass them 200 times at the most, and more than half as often."""
    size = 4000
    ppm = np.random.default_rng(2).standard_normal((250, size)) * SAMPLE
    ppm[100:160] += DOOR_PPM
    found = _passed(ppm, door_levels(SAMPLE, 20.0), 100)
    assert 100 < found <= 200
