"""The early tier of the leak detector: windows shaped as a slow sensor begins to rise.

A reading that begins to rise does so in proportion to time, for the sensor is slow. What hears a ramp soonest is the
sum that weighs the newest sample most and the oldest of its window least, in a line (the matched filter). Six lengths
from 0.9 to 56 s stand for all slopes, and the pairs of neighbours, each the sum of two, for those between. The
baseline stands still from when the tier has spoken; before that it follows even a rise, and what that costs is in the
levels. It knows excesses and run time, and nothing of readings that are unknown.

Promise: in white noise over a zero that wanders as allowed it speaks once in `EARLY_H`, as `passages` counts them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from monitor.core.leaktiers import CLAMP_PPM, HOLD_S
from monitor.core.passages import ROUNDS, height, passages, together
from monitor.core.rampnoise import STEP_S, ramp_noise
from monitor.core.ramps import Ramps

EARLY_H = 1000.0  # mean hours between false alarms
LENGTHS = (9, 20, 46, 106, 243, 560)  # samples, each 2.3 times the one before: correlated by 0.84 with their like
SHARES = (1.0, 2.0, 2.0, 1.0, 1.0, 2.5)  # of the false alarms, as the rises of most sensors and slow rooms need
LONGEST = LENGTHS[-1]
TAU_S = 150.0  # of the baseline: usual noise 0.05 ppm·√s over the drift, the best follower of such a zero (Kalman)
CLIP_NOISES = 10.0  # noises of a 1 s mean (3.2 of one sample), at which a sample's excess over the newest mean is cut
FIRST_MEAN = 2.0 / (LENGTHS[0] * (LENGTHS[0] + 1))

_NOISE = ramp_noise(LENGTHS, TAU_S)


@dataclass(frozen=True)
class Levels:
    """Of the windows' sums, ppm·samples, and by what two neighbours' sums count in a pair, whose level is 1."""

    windows: tuple[float, ...]
    pairs: tuple[tuple[float, float], ...]


@lru_cache(maxsize=512)
def early_levels(noise_ppm: float, apart_h: float = EARLY_H) -> Levels:
    """At which the tier speaks once in so many hours. A pair's is half way between its two, in spreads."""
    spread = _NOISE.covariance(noise_ppm)
    one = np.diag(1.0 / np.sqrt(np.diag(spread)))
    row = np.zeros((2 * len(LENGTHS) - 1, len(LENGTHS)))  # window, pair, window, ...: each of spread 1
    row[::2] = one
    pairs = one[:-1] + one[1:]
    row[1::2] = pairs / np.sqrt(np.diag(pairs @ spread @ pairs.T))[:, None]
    falls = np.diag(row @ _NOISE.change(noise_ppm) @ row.T).tolist()
    alike = np.diag(row @ spread @ row.T, 1).tolist()
    heights, wanted = [0.0] * len(falls), STEP_S / (3600.0 * apart_h)  # in a step
    per_share = wanted / sum(SHARES)
    for _ in range(ROUNDS):
        heights[::2] = [height(fall, share * per_share) for fall, share in zip(falls[::2], SHARES, strict=True)]
        heights[1::2] = [0.5 * (a + b) for a, b in pairwise(heights[::2])]
        each = [passages(z, fall) for z, fall in zip(heights, falls, strict=True)]
        per_share *= wanted / together(heights, each, alike)
    counts = row / np.array(heights)[:, None]
    return Levels(
        tuple((1.0 / np.diag(counts[::2])).tolist()),
        tuple((float(c[i]), float(c[i + 1])) for i, c in enumerate(counts[1::2])),
    )


class EarlyTier:
    """Six windows side by side, any of which speaks, or any pair of neighbours."""

    def __init__(self) -> None:
        self.baseline_ppm = 0.0  # the calibrated zero
        self.standing = False
        self.since_s = 0.0  # where the shortest window that spoke begins, or half way between a pair's
        self._ramps = Ramps(LENGTHS)
        self._frozen_to_s = -1.0

    @property
    def sums(self) -> list[float]:
        """Of the windows, ppm·samples."""
        return self._ramps.sums

    def set_noise(self, noise_ppm: float) -> None:
        """Take the long-run noise of a 1 s mean that is believed now."""
        levels = early_levels(noise_ppm)
        self._ramps.set_limits(levels.windows)
        self._pairs = levels.pairs
        self._clip_ppm = CLIP_NOISES * noise_ppm

    def feed(self, t_s: float, ppm: float) -> None:
        """Take a reading of run second `t_s`."""
        e = ppm - self.baseline_ppm
        clip = self._clip_ppm
        if e > clip:  # a spike counts little; a rise, which has lifted the mean, more and more
            first = self._ramps.sums[0]
            most = clip + first * FIRST_MEAN if first > 0.0 else clip
            if e > most:
                e = most
        elif e < -clip:
            e = -clip
        high = self._ramps.push(e)
        if not high:
            self.standing = False
        elif not self.standing:
            heard = self._heard()
            if heard:
                self.standing = True
                self.since_s = t_s - STEP_S * heard
        if self.standing:
            self._frozen_to_s = t_s + HOLD_S
            return
        if t_s > self._frozen_to_s:
            followed = clip if e > clip else e
            baseline = self.baseline_ppm + followed * (STEP_S / TAU_S)
            if not -CLAMP_PPM < baseline < CLAMP_PPM:
                baseline = CLAMP_PPM if baseline > 0.0 else -CLAMP_PPM
            self.baseline_ppm = baseline

    def _heard(self) -> float:
        """The length of what is over its level, samples, or 0."""
        shortest = self._ramps.shortest_over()
        if shortest:
            return shortest
        sums = self._ramps.sums
        for i, (a, b) in enumerate(self._pairs):
            if a * sums[i] + b * sums[i + 1] > 1.0:
                return 0.5 * (LENGTHS[i] + LENGTHS[i + 1])
        return 0.0
