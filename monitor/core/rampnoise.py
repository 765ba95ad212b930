"""How the sums of the leak detector's windows vary together in noise, as the baseline that follows leaves them.

Promise: exact for independent samples over a zero that wanders as allowed, for a baseline that is never held. Both
tiers compute their levels from it (`leakwindows`, `leakdoors`). It knows samples and windows, and no levels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

STEP_S = 0.1  # between samples (protocol)
DRIFT_PPM_PER_ROOT_S = 0.02 / 60.0  # the zero's wandering that is allowed for, 0.02 ppm/√h

Matrix = NDArray[np.float64]


@dataclass(frozen=True)
class RampNoise:
    """Of the windows' sums, for noise of a long-run 1 s mean of 1 ppm, for the zero's wandering, and of a step."""

    of_noise: Matrix
    of_wandering: Matrix
    of_a_step: Matrix

    def covariance(self, noise_ppm: float) -> Matrix:
        """Of the sums, (ppm·samples)²."""
        return noise_ppm**2 * self.of_noise + self.of_wandering

    def change(self, noise_ppm: float) -> Matrix:
        """Half the covariance of the sums' changes from one sample to the next: by so much their own falls."""
        return 0.5 * noise_ppm**2 * self.of_a_step


def ramp_noise(lengths: Sequence[int], tau_s: float) -> RampNoise:
    """Of windows of so many samples, ascending, over a baseline of so many seconds.

    A sample weighs in a sum what the window gives it less what the baseline, which followed it, takes from the later
    ones; a step of the zero weighs what all samples after it do. Past the longest window only the baseline remembers.
    """
    part, stays = STEP_S / tau_s, 1.0 - STEP_S / tau_s
    weights, taken = np.zeros((len(lengths), lengths[-1])), np.zeros(len(lengths))
    for age in range(lengths[-1]):
        given = np.maximum(np.array(lengths, dtype=float) - age, 0.0)
        weights[:, age] = given - taken
        taken = stays * taken + part * given
    steps = np.cumsum(weights, axis=1)
    tail = np.outer(taken, taken) / (1.0 - stays * stays)
    samples = weights @ weights.T + tail
    zeros = steps @ steps.T + tail * (stays / part) ** 2
    changes = np.array([[a * b + min(a, b) for b in lengths] for a in lengths], dtype=float)
    return RampNoise(samples / STEP_S, DRIFT_PPM_PER_ROOT_S**2 * STEP_S * zeros, changes / STEP_S)
