"""The arrays that the long runs of noise go through are the watch that the bench runs, and a short share of those."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.core.gasnoise import NoiseWatch
from tests.benchmarks.bench_gasfault import collapses, stressed
from tests.benchmarks.gas_fleet import NoiseFleet

SIZE = 5


@pytest.mark.parametrize("seed", [1, 2])
def test_the_fleet_is_the_watch_sample_for_sample(seed: int) -> None:
    """What is missing and what is told are equal at every sample: white, smooth, heavy-tailed, dying and back."""
    rng, n = np.random.default_rng(seed), 12_000
    x = 40.0 * rng.standard_normal((n, SIZE))
    x[:, 2] = 30.0 * rng.standard_t(4.0, n)
    for i in range(1, n):
        x[i, 1] = 0.9 * x[i - 1, 1] + 0.436 * x[i, 1]
    x[5000:7000, :3] *= 0.3
    x[8000:10_000, 3] += 2000.0
    x[:, 4] *= np.linspace(1.0, 0.2, n)
    sums = np.rint(8410.0 + x)
    fleet, singles = NoiseFleet(SIZE), [NoiseWatch() for _ in range(SIZE)]
    told = np.zeros(SIZE, dtype=bool)
    for row in sums:
        fleet.feed(row)
        told |= fleet.quiet
        for j, watch in enumerate(singles):
            assert (watch.feed(int(row[j])) is not None) == fleet.quiet[j]
            assert watch.missing == fleet.missing[j]
    assert told.tolist() == [True, True, True, False, True]


def test_no_stress_is_taken_for_a_fault_of_the_channel() -> None:
    """Four runs of 20 min under each stress: nothing of the channel is told as quiet, low out of range or jumped."""
    assert all(not any(counts) for counts in stressed(0, runs=4, run_s=1200.0).values())


def test_every_collapse_is_told_within_ten_seconds() -> None:
    """200 draws under each kind of noise, from a tenth to four tenths of it left, after 150 s of it."""
    for kind, after_s in collapses(0, draws=200).items():
        assert max(after_s) <= 10.0, kind
