"""Many leak detectors at once: `monitor.core.leak` stated again over arrays, for long campaigns.

It is allowed to stand for the real one because `tests/core/test_leak_fleet.py` shows it equal, sample for sample and
to the last digit, on noise, leaks, lows and changes of noise. It knows no unknown readings and no gaps.
"""

from __future__ import annotations

import copy
from functools import cache
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from monitor.core import leakdoors, leaknoise, leaktiers, leakwindows
from monitor.core.leakdoors import TAU_S
from monitor.core.leaktiers import CLAMP_PPM, CONFIRM_S, FIRST, HOLD_S, REACH_PPM, SETTLED, UNCLAMP_PPM
from monitor.core.leakwindows import CLIP_NOISES, FIRST_MEAN, LENGTHS, LONGEST, early_levels
from monitor.core.rampnoise import STEP_S

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
NEAR = 0.9  # of its level, at which a window may have a pair over its own, which takes √((1 + ρ) / 2) of either's
SURE = leakdoors.LENGTHS
PARTS = tuple(accumulate((2, len(SURE), len(LENGTHS), len(LENGTHS) - 1)))  # of a rung's row: see _ladder


@cache
def _ladder(noise_ppm: float) -> Floats:
    """Noise, the low threshold, the sure levels, the early ones, what either of a pair counts by: a row a rung."""
    rows = []
    for rung in range(leaknoise.RUNG_MIN, leaknoise.RUNG_MAX + 1):
        noise = noise_ppm * 1.01**rung
        levels = early_levels(noise)
        shorter, longer = zip(*levels.pairs, strict=True)
        sure = leakdoors.sure_levels(noise)
        rows.append((noise, leaktiers.low_threshold(noise), *sure, *levels.windows, *shorter, *longer))
    return np.array(rows)


class Fleet:
    """`size` detectors side by side, all fed at the same times."""

    def __init__(self, noise_ppm: float, size: int) -> None:
        self._stated_ppm = noise_ppm
        self._at_s = -STEP_S
        self._n = 0
        self.early_ppm, self.sure_ppm = np.zeros(size), np.zeros(size)  # the two baselines
        self.zero_ppm, self.low = np.zeros(size), np.zeros(size)
        self.sure_sums, self._sure_plain = np.zeros((len(SURE), size)), np.zeros((len(SURE), size))
        self._sure_ring, self._sure_at = np.zeros((SURE[-1], size)), 0
        self.sums, self._plain = np.zeros((len(LENGTHS), size)), np.zeros((len(LENGTHS), size))
        self._ring, self._ring_at = np.zeros((LONGEST, size)), 0
        self.early, self.sure, self.fault, self._falling, self._spoilt = (
            np.zeros(size, dtype=bool) for _ in range(5)
        )
        self._early_frozen_to_s, self._sure_frozen_to_s = np.full(size, -1.0), np.full(size, -1.0)
        self._followed = np.zeros(size)
        self._reach_ppm = np.full(size, REACH_PPM)
        self._low_since_s = np.zeros(size)
        self._block = np.zeros(size)
        self._mean_before = np.full(size, np.nan)
        self._variance = np.full(size, noise_ppm * noise_ppm)
        self._blocks = np.zeros(size)
        self.rung = np.zeros(size, dtype=int)
        self._set_noise()

    def copied(self) -> Fleet:
        """The same detectors once more, to go another way."""
        return copy.deepcopy(self)

    def feed(self, t_s: float, ppm: Floats) -> None:
        """Take one sample of each channel at run second `t_s`."""
        step_s = min(t_s - self._at_s, STEP_S)
        self._at_s = t_s
        self._feed_early(t_s, ppm)
        self._feed_sure(t_s, step_s, ppm)
        self._n += 1
        if self._n == leaknoise.BLOCK:
            self._end_block()

    def _feed_early(self, t_s: float, ppm: Floats) -> None:
        e = ppm - self.early_ppm
        most = np.maximum(self.sums[0], 0.0)
        most *= FIRST_MEAN
        most += self._clip
        np.minimum(e, most, out=e)
        np.maximum(e, -self._clip, out=e)
        for i, length in enumerate(LENGTHS):
            more = length * e
            more -= self._plain[i]
            self.sums[i] += more
            self._plain[i] += e - self._ring[self._ring_at - length]
        self._ring[self._ring_at] = e
        self._ring_at = (self._ring_at + 1) % LONGEST
        above = self.sums > self._halves
        free = t_s > self._early_frozen_to_s
        high = above.any(axis=0)
        near = high.any() and (self.sums > NEAR * self._limits).any()
        over = early_over(self.sums, self._limits, self._shorter, self._longer) if near else np.zeros_like(high)
        if self.early.any() or over.any():
            self.early = high & (self.early | over)
            self._early_frozen_to_s = np.where(self.early, t_s + HOLD_S, self._early_frozen_to_s)
            free &= ~self.early
        np.minimum(e, self._clip, out=e)
        _follow(self.early_ppm, e, STEP_S / leakwindows.TAU_S, free)

    def _feed_sure(self, t_s: float, step_s: float, ppm: Floats) -> None:
        if not self._followed.any():
            self._followed += 1.0
            np.clip(ppm, -REACH_PPM, REACH_PPM, out=self.sure_ppm)
        e = ppm - self.sure_ppm
        np.clip(e, -self._sure_clip, self._sure_clip, out=e)
        for i, length in enumerate(SURE):
            more = length * e
            more -= self._sure_plain[i]
            self.sure_sums[i] += more
            self._sure_plain[i] += e - self._sure_ring[self._sure_at - length]
        self._sure_ring[self._sure_at] = e
        self._sure_at = (self._sure_at + 1) % SURE[-1]
        high = (self.sure_sums > self._sure_halves).any(axis=0)
        under = np.minimum(self.sure_ppm, 0.0)
        under -= ppm
        np.minimum(under, leaktiers.LOW_CLIP_PPM, out=under)
        low = _sum_up(self.low, under, leaktiers.LOW_K_PPM, step_s, self._low_cap) > self._low_half
        if high.any() or low.any() or self.sure.any() or self._falling.any():
            self.sure = high & (self.sure | (self.sure_sums > self._sure_limits).any(axis=0))
            self._sure_frozen_to_s = np.where(self.sure, t_s + HOLD_S, self._sure_frozen_to_s)
            was = self._falling
            self._falling = low & (was | (self.low > self._low_h))
            self._low_since_s = np.where(self._falling & ~was, t_s, self._low_since_s)
            held = was & (t_s - self._low_since_s >= CONFIRM_S)
            self.fault = low & (self.fault | held)
            self._spoilt |= self.sure | self._falling
        self._block += e
        free = ~(high | low) | (self._followed < FIRST)
        self._follow_sure(e, step_s, free & (t_s > self._sure_frozen_to_s))

    def _follow_sure(self, e: Floats, step_s: float, free: Bools) -> None:
        baseline, zero = self.sure_ppm, self.zero_ppm
        weight: Floats | float = step_s * (1.0 / TAU_S)
        young = self._followed < SETTLED
        if young.any():
            self._followed += free & young
            weight = np.where(young, 1.0 / self._followed, weight)
        more = e * weight
        more *= free
        baseline += more
        up = free & (baseline > zero + UNCLAMP_PPM)
        if up.any():
            zero += leaktiers.FOLLOW_PPM_PER_H / 3600.0 * step_s * up
        if (zero > 0.0).any():
            down = free & ~up & (baseline < zero - UNCLAMP_PPM)
            zero[down] = np.maximum(0.0, baseline[down] + UNCLAMP_PPM)
        reach = self._reach_ppm
        if (reach < CLAMP_PPM).any():
            reach += leaktiers.FOLLOW_PPM_PER_H / 3600.0 * step_s * free
            np.minimum(reach, CLAMP_PPM, out=reach)
        np.clip(baseline, -reach, zero + reach, out=baseline, where=free)

    def _end_block(self) -> None:
        mean = self._block / leaknoise.BLOCK
        moved = mean - self._mean_before
        believed = self.noise_ppm
        square = np.minimum(0.5 * leaknoise.BLOCK_S * moved * moved, leaknoise.OUTLIER * believed * believed)
        good = ~(self._spoilt | np.isnan(self._mean_before))
        self._mean_before = np.where(self._spoilt, np.nan, mean)
        self._blocks = np.where(good, np.minimum(self._blocks + 1.0, leaknoise.BLOCKS_MAX), self._blocks)
        learned = self._variance + (square - self._variance) / (self._blocks + 1.0)
        self._variance = np.where(good, learned, self._variance)
        rung = np.where(good, self._believed_rung(), self.rung)
        if (rung != self.rung).any():
            self.rung = rung
            self._set_noise()
        self._n = 0
        self._block[:] = 0.0
        self._spoilt[:] = False

    def _believed_rung(self) -> NDArray[np.int_]:
        variance_ratio = self._variance / (self._stated_ppm * self._stated_ppm)
        band = leaknoise.SURE_SIGMAS * np.sqrt(3.0 / (self._blocks + 1.0))
        least = variance_ratio / (1.0 + band)
        most = np.where(band < 1.0, variance_ratio / np.where(band < 1.0, 1.0 - band, 1.0), 1.0)
        ratio = np.minimum(np.maximum(1.0, least), np.maximum(most, least))
        rung = np.rint(0.5 * np.log(np.maximum(ratio, 1e-300)) / leaknoise.RUNG)
        return np.clip(rung, leaknoise.RUNG_MIN, leaknoise.RUNG_MAX).astype(int)

    def _set_noise(self) -> None:
        columns = np.ascontiguousarray(_ladder(self._stated_ppm)[self.rung - leaknoise.RUNG_MIN].T)
        scalars, self._sure_limits, self._limits, self._shorter, self._longer = np.split(columns, PARTS)
        self.noise_ppm, self._low_h = scalars
        self._sure_halves, self._low_half, self._halves = (
            0.5 * x for x in (self._sure_limits, self._low_h, self._limits)
        )
        self._low_cap, self._clip = leaktiers.CAP * self._low_h, CLIP_NOISES * self.noise_ppm
        self._sure_clip = leakdoors.DOOR_PPM + leaktiers.CLIP_NOISES * self.noise_ppm


def early_over(sums: Floats, limits: Floats, shorter: Floats, longer: Floats) -> Bools:
    """Where any window is over its level, or any pair of neighbours."""
    alone, paired = sums > limits, shorter * sums[:-1] + longer * sums[1:] > 1.0
    over: Bools = np.logical_or(alone.any(axis=0), paired.any(axis=0))
    return over


def _sum_up(s: Floats, e: Floats, k: float, step_s: float, cap: Floats) -> Floats:
    """Let a sum go on in place, between nothing and its cap."""
    more = e - k
    more *= step_s
    s += more
    np.maximum(s, 0.0, out=s)
    np.minimum(s, cap, out=s)
    return s


def _follow(baseline: Floats, e: Floats, weight: float, free: Bools) -> None:
    """Let the baselines that are free follow, in place."""
    more = e * weight
    more *= free
    baseline += more
    np.clip(baseline, -CLAMP_PPM, CLAMP_PPM, out=baseline)
