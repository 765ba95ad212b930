"""The arrays that the long campaigns run are the detector that the bench runs."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.core.events import Reading
from monitor.core.leak import LeakDetector
from tests.benchmarks.leak_fleet import Fleet, Floats

NOISE = 0.05
SIZE = 6


def _course(rng: np.random.Generator, seconds: int) -> Floats:
    """Noise of another size for each channel, with leaks, lows, a drift, a door and spikes."""
    n = seconds * 10
    t = np.arange(n) * 0.1
    scale = np.array([1.0, 1.0, 1.6, 0.4, 2.5, 1.0])
    ppm: Floats = rng.standard_normal((n, SIZE)) * (NOISE * np.sqrt(10.0)) * scale
    ppm[:, 1] += np.where((t > 300) & (t < 420), 1.0 - np.exp(-(t - 300) / 13.0), 0.0)
    ppm[:, 2] -= np.where((t > 500) & (t < 600), 0.6, 0.0)
    ppm[:, 3] += t * 0.001
    ppm[:, 4] += np.where(t > 700, 0.15 * np.exp(-(t - 700) / 60.0), 0.0)
    ppm[rng.integers(0, n, 40), 5] += 3.0
    return ppm


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_fleet_is_the_detector_sample_for_sample(seed: int) -> None:
    """Every sum, baseline, tier, fault and noise of every channel is equal to the last digit at every sample."""
    ppm = _course(np.random.default_rng(seed), 1000)
    fleet, singles = Fleet(NOISE, SIZE), [LeakDetector(NOISE) for _ in range(SIZE)]
    seen = set()
    for i, row in enumerate(ppm):
        t_s = i * 0.1
        fleet.feed(t_s, row)
        for j, one in enumerate(singles):
            one.feed(t_s, Reading(float(row[j])))
            early, sure = one.early_tier, one.sure_tier
            assert early.sums == fleet.sums[:, j].tolist()
            assert (*sure.sums, sure.s_low) == (*fleet.sure_sums[:, j], fleet.low[j])
            assert (early.baseline_ppm, sure.baseline_ppm) == (fleet.early_ppm[j], fleet.sure_ppm[j])
            assert sure.zero_ppm == fleet.zero_ppm[j]
            now = (one.early, one.sure, one.fault is not None)
            assert now == (fleet.early[j], fleet.sure[j], fleet.fault[j])
            assert one.noise.ppm == fleet.noise_ppm[j]
            seen.add(now)
    assert {(False, False, False), (True, False, False), (True, True, False), (False, False, True)} <= seen
    assert len(set(fleet.rung.tolist())) > 1
