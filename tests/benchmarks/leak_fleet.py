"""Many leak detectors at once: `monitor.core.leak` stated again over arrays, for long campaigns.

It is allowed to stand for the real one because `tests/core/test_leak_fleet.py` shows it equal, sample for sample and
to the last digit, on noise, leaks, lows and changes of noise. It knows no unknown readings and no gaps.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from monitor.core import leak
from monitor.core.leak import K1_PPM, K2_PPM, K3_PPM

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@cache
def _ladder(noise_ppm: float) -> Floats:
    """Noise, the three early thresholds and the sure one, a row a rung."""
    rows = []
    for rung in range(leak.RUNG_MIN, leak.RUNG_MAX + 1):
        noise = noise_ppm * 1.01**rung
        limits = leak.thresholds(noise)
        rows.append((noise, *limits.early, limits.sure))
    return np.array(rows)


class Fleet:
    """`size` detectors side by side, all fed at the same times."""

    def __init__(self, noise_ppm: float, size: int) -> None:
        self._stated_ppm = noise_ppm
        self._ladder = _ladder(noise_ppm)
        self.size = size
        self.baseline_ppm, self.s1, self.s2, self.s3, self.low = (np.zeros(size) for _ in range(5))
        self.early, self.sure, self.fault = (np.zeros(size, dtype=bool) for _ in range(3))
        self._low_since_s = np.full(size, np.nan)
        self._is_low = np.zeros(size, dtype=bool)
        self._frozen_to_s = np.full(size, -1.0)
        self._at_s = -leak.STEP_S
        self._block = np.zeros(size)
        self._spoilt = np.zeros(size, dtype=bool)
        self._mean_before = np.full(size, np.nan)
        self._n = 0
        self._variance = np.full(size, noise_ppm * noise_ppm)
        self._blocks = np.zeros(size)
        self.rung = np.zeros(size, dtype=int)
        self._set_thresholds()

    def copies(self, of: NDArray[np.intp]) -> Fleet:
        """A fleet of copies of some of the detectors, as they are now."""
        new = Fleet.__new__(Fleet)
        for name, value in vars(self).items():
            whole = not isinstance(value, np.ndarray) or name == "_ladder"
            setattr(new, name, value if whole else value[of])
        new.size = len(of)
        return new

    def feed(self, t_s: float, ppm: Floats) -> None:
        """Take one sample of each channel at run second `t_s`."""
        step_s = min(t_s - self._at_s, leak.STEP_S)
        self._at_s = t_s
        baseline = self.baseline_ppm
        e = ppm - baseline
        np.clip(e, -leak.CLIP_PPM, leak.CLIP_PPM, out=e)
        for s, k, cap in (
            (self.s1, K1_PPM, self._cap1),
            (self.s2, K2_PPM, self._cap2),
            (self.s3, K3_PPM, self._cap3),
        ):
            s += (e - k) * step_s
            np.maximum(s, 0.0, out=s)
            np.minimum(s, cap, out=s)
        under = np.minimum(baseline, 0.0)
        under -= ppm
        np.minimum(under, leak.CLIP_PPM, out=under)
        under -= K3_PPM
        under *= step_s
        self.low += under
        np.maximum(self.low, 0.0, out=self.low)
        np.minimum(self.low, self._cap3, out=self.low)
        moved = self.s1 > self._half1
        moved |= self.s2 > self._half2
        moved |= self.s3 > self._half3
        moved |= self.low > self._half3
        if moved.any() or self.early.any() or self._is_low.any():
            frozen = moved | self.early | (t_s <= self._frozen_to_s)
            self._judge(t_s)
        else:
            frozen = t_s <= self._frozen_to_s
        self._block += e
        e *= ~frozen
        e *= step_s
        e *= 1.0 / leak.TAU_S
        baseline += e
        np.clip(baseline, -leak.CLAMP_PPM, leak.CLAMP_PPM, out=baseline)
        self._n += 1
        if self._n == leak.BLOCK:
            self._end_block()

    def _judge(self, t_s: float) -> None:
        over = (self.s1 > self._h1) | (self.s2 > self._h2) | (self.s3 > self._h3)
        back = (self.s1 < self._half1) & (self.s2 < self._half2) & (self.s3 < self._half3)
        self.early = np.where(self.early, ~back, over)
        self.sure = np.where(self.sure, self.s3 >= self._half_sure, self.s3 > self._sure)
        self._frozen_to_s = np.where(self.early, t_s + leak.HOLD_S, self._frozen_to_s)
        was, begins = self._is_low, self.low > self._sure
        ends = self.low < self._half3
        self.fault = np.where(was, ~ends & (self.fault | (t_s - self._low_since_s >= leak.CONFIRM_S)), self.fault)
        self._low_since_s = np.where(~was & begins, t_s, self._low_since_s)
        self._is_low = np.where(was, ~ends, begins)
        self._spoilt |= self.sure | self._is_low

    def _end_block(self) -> None:
        mean = self._block / leak.BLOCK
        believed = self.noise_ppm
        moved = mean - self._mean_before
        square = np.minimum(0.5 * leak.BLOCK_S * moved * moved, leak.OUTLIER * believed * believed)
        good = ~(self._spoilt | np.isnan(self._mean_before))
        self._mean_before = np.where(self._spoilt, np.nan, mean)
        self._blocks = np.where(good, np.minimum(self._blocks + 1.0, leak.BLOCKS_MAX), self._blocks)
        learned = self._variance + (square - self._variance) / (self._blocks + 1.0)
        self._variance = np.where(good, learned, self._variance)
        rung = self._believed_rung()
        rung = np.where(good, rung, self.rung)
        if (rung != self.rung).any():
            self.rung = rung
            self._set_thresholds()
        self._n = 0
        self._block[:] = 0.0
        self._spoilt[:] = False

    def _believed_rung(self) -> NDArray[np.int_]:
        variance_ratio = self._variance / (self._stated_ppm * self._stated_ppm)
        band = leak.SURE_SIGMAS * np.sqrt(3.0 / (self._blocks + 1.0))
        least = variance_ratio / (1.0 + band)
        most = np.where(band < 1.0, variance_ratio / np.where(band < 1.0, 1.0 - band, 1.0), 1.0)
        ratio = np.minimum(np.maximum(1.0, least), np.maximum(most, least))
        rung = np.rint(0.5 * np.log(np.maximum(ratio, 1e-300)) / leak.RUNG)
        return np.clip(rung, leak.RUNG_MIN, leak.RUNG_MAX).astype(int)

    def _set_thresholds(self) -> None:
        rows = self._ladder[self.rung - leak.RUNG_MIN]
        self.noise_ppm, self._h1, self._h2, self._h3, self._sure = (np.ascontiguousarray(c) for c in rows.T)
        self._half1, self._half2, self._half3 = 0.5 * self._h1, 0.5 * self._h2, 0.5 * self._h3
        self._half_sure = 0.5 * self._sure
        self._cap1, self._cap2, self._cap3 = leak.CAP * self._h1, leak.CAP * self._h2, leak.CAP * self._sure
