"""What the early tier's windows promise: their spread, their levels, and how soon they hear."""

from __future__ import annotations

from math import exp, log, sqrt

import numpy as np
import pytest

from monitor.core.leakwindows import LENGTHS, TAU_S, EarlyTier, early_levels
from monitor.core.rampnoise import DRIFT_PPM_PER_ROOT_S, STEP_S, ramp_noise
from tests.benchmarks.leak_fleet import Fleet, early_over

NOISE = 0.05
SAMPLE_NOISE = NOISE / sqrt(STEP_S)


def test_the_spread_of_the_windows_is_that_of_their_answer_to_one_sample() -> None:
    """Fed one small sample, the tier's sums give its weight at every age; their products give spread and likeness."""
    tier = EarlyTier()
    tier.set_noise(1.0)
    answer = []
    for i in range(12_000):
        tier.feed(i * STEP_S, 1.0 if i == 0 else 0.0)
        answer.append(list(tier.sums))
    weights = np.array(answer).T
    steps = np.cumsum(weights, axis=1)
    white = NOISE**2 / STEP_S * (weights @ weights.T)
    wander = DRIFT_PPM_PER_ROOT_S**2 * STEP_S * (steps @ steps.T)
    assert ramp_noise(LENGTHS, TAU_S).covariance(NOISE) == pytest.approx(white + wander, rel=0.002)


def test_a_level_asked_for_seldomer_alarms_is_higher_and_goes_with_the_noise() -> None:
    """Ten times the time costs a fifth of a level at most; twice the noise, twice a short window's level."""
    often, seldom = (early_levels(NOISE, h).windows[0] for h in (1000.0, 10_000.0))
    assert often < seldom < 1.2 * often
    assert early_levels(2.0 * NOISE, 1000.0).windows[0] == pytest.approx(2.0 * often, rel=0.01)


def test_alarms_come_as_often_as_the_levels_promise() -> None:
    """At levels for one in 5 h, 200 quiet hours pass them 40 times within 40 % (2.5 σ of the count)."""
    rng = np.random.default_rng(5)
    size, warm = 400, 3000
    fleet, levels = Fleet(NOISE, size), early_levels(NOISE, 5.0)
    limits, pairs = np.array(levels.windows)[:, None], np.array(levels.pairs).T[:, :, None]
    drift, standing, alarms = np.zeros(size), np.zeros(size, dtype=bool), 0
    for i in range(warm + 18_000):
        drift += rng.standard_normal(size) * (DRIFT_PPM_PER_ROOT_S * sqrt(STEP_S))
        fleet.feed(i * STEP_S, drift + SAMPLE_NOISE * rng.standard_normal(size))
        high = (fleet.sums > 0.5 * limits).any(axis=0)
        over = early_over(fleet.sums, limits, *pairs)
        if i >= warm:
            alarms += int((over & ~standing).sum())
        standing = high & (standing | over)
    assert 24 <= alarms <= 56


@pytest.mark.parametrize("shorter", range(len(LENGTHS) - 1))
def test_a_rise_between_two_windows_is_heard_by_their_pair(shorter: int) -> None:
    """A ramp of the mean of their lengths, so steep that the pair is just over, is heard though no window is."""
    levels = early_levels(NOISE)
    a, b = levels.pairs[shorter]
    length = round(sqrt(LENGTHS[shorter] * LENGTHS[shorter + 1]))

    def after_a_ramp(ppm_per_sample: float) -> EarlyTier:
        tier = EarlyTier()
        tier.set_noise(NOISE)
        for i in range(1, length + 1):
            tier.feed(i * STEP_S, i * ppm_per_sample)
        return tier

    gentle = 1e-6
    sums = after_a_ramp(gentle).sums
    heard = after_a_ramp(1.001 * gentle / (a * sums[shorter] + b * sums[shorter + 1]))
    assert heard.standing
    assert all(total < limit for total, limit in zip(heard.sums, levels.windows, strict=True))
    assert LENGTHS[shorter] < (length * STEP_S - heard.since_s) / STEP_S < LENGTHS[shorter + 1]


@pytest.mark.parametrize(
    ("t90_s", "size", "bound_s"), [(15.0, 5.0, 0.708), (15.0, 1.0, 2.120), (30.0, 5.0, 1.105), (30.0, 2.0, 2.038)]
)
def test_a_rise_is_heard_within_a_fifth_of_the_bound(t90_s: float, size: float, bound_s: float) -> None:
    """The median of 300 trials against the bound of Neyman and Pearson at 1000 h (worked in the benchmark)."""
    rng = np.random.default_rng(6)
    trials, warm = 300, 800
    fleet, heard_s = Fleet(NOISE, trials), np.full(trials, np.inf)
    for i in range(-warm, 40):
        ppm = size * (1.0 - exp(-max(i + 1, 0) * STEP_S * log(10.0) / t90_s))
        fleet.feed((warm + i) * STEP_S, ppm + SAMPLE_NOISE * rng.standard_normal(trials))
        if i >= 0:
            heard_s[fleet.early & np.isinf(heard_s)] = (i + 1) * STEP_S
    assert np.median(heard_s) <= 1.2 * bound_s


def test_the_baseline_learns_no_leak_that_was_heard() -> None:
    """0.2 ppm for an hour stands for the hour; the baseline is where it was, and follows again afterwards."""
    rng = np.random.default_rng(7)
    tier = EarlyTier()
    tier.set_noise(NOISE)
    for i in range(40_000):
        level = 0.2 if i >= 3000 else 0.0
        tier.feed(i * STEP_S, level + SAMPLE_NOISE * rng.standard_normal())
        assert tier.standing or i < 3000 + 300
    assert abs(tier.baseline_ppm) < 0.03
    assert TAU_S == NOISE / DRIFT_PPM_PER_ROOT_S
