"""The leak detector: three cumulative sums over a slowly following baseline, in two tiers.

Promise: the sure tier (GAS-LEAK) speaks when the reading rises as noise does once in 10,000 h; the early tier
(GAS-RISING) once in 1000 h, and also at real movements of the zero, which is why it only asks somebody to look. A
reading that goes low is a fault, for another gas or a dying cell can hide a leak. An unknown reading changes
nothing: it neither begins an alarm nor ends one. It knows readings and run time, and nothing of alarms.

CUSUM: E. S. Page, Biometrika 41 (1954) 100. Its threshold for a wanted mean time between false alarms: D. Siegmund,
Sequential Analysis (1985), the approximation with the overshoot of 0.583 σ at either end.
"""

from __future__ import annotations

from functools import lru_cache
from math import log, sqrt
from typing import NamedTuple

from monitor.core.events import Reading

STEP_S = 0.1  # between samples (protocol); a longer gap counts as one step, its noise is that of one sample
K1_PPM, K2_PPM, K3_PPM = K_PPM = (
    0.05,
    0.10,
    0.25,
)  # allowed for; over twice the zero's usual drift within TAU_S
EARLY_H, SURE_H = 1000.0, 10_000.0  # mean hours between false alarms of either tier
OVERSHOOT = 1.166  # twice 0.583, Siegmund
TAU_S = 300.0  # of the baseline's exponential mean
CLAMP_PPM = 0.3  # the baseline's way from the calibrated zero
UNCLAMP_PPM = 0.27  # on its way back, so that a zero at the clamp is not said to drift again and again
CLIP_PPM = 0.5  # of one sample's excess, else a single spike would be a leak
SAMPLES_MIN = 3  # at the clip that every threshold is worth, however quiet the channel
HOLD_S = 60.0  # for which the baseline stays frozen after an alarm's cause has gone
CAP = 2.0  # thresholds, at which a sum stops, so that it comes down soon after a long leak
CONFIRM_S = 10.0  # for which a reading is low before it is a fault

BLOCK = 100  # samples in a block of 10 s, whose means show the long-run noise
BLOCK_S = 10.0  # σ₁² = 10 × variance of 10 s means
BLOCKS_MAX = 1440  # of memory, 4 h
SURE_SIGMAS = 3.0  # by which the learned variance must differ from the stated one before it counts
OUTLIER = 9.0  # variances, at which a block's square is cut
RUNG = log(1.01)  # noise is believed in steps of 1 %, so that thresholds can be looked up
RUNG_MIN, RUNG_MAX = -70, 110  # half of the stated noise to three times

LOW = (
    "gas reading went low: another gas (NO2, chlorine) drives the cell under zero, or the cell is dying; "
    "either can hide a leak"
)


def threshold_ppm_s(k_ppm: float, noise_ppm: float, arl_h: float, side_by_side: int = 1) -> float:
    """The threshold of a CUSUM, ppm·s, for a mean time between false alarms in hours.

    `noise_ppm` is the long-run standard deviation of a 1 s mean; `side_by_side` sums share the false alarms.
    """
    sigma = noise_ppm / sqrt(STEP_S)
    kappa = k_ppm / sigma
    gamma = side_by_side * arl_h * 3600.0 / STEP_S
    h = 10.0
    for _ in range(60):
        h = log(2.0 * kappa * kappa * gamma + 1.0 + 2.0 * kappa * h) / (2.0 * kappa)
    return (h - OVERSHOOT) * sigma * STEP_S


class Thresholds(NamedTuple):
    """In ppm·s: of the early tier's three sums, and of the sure tier's one."""

    early: tuple[float, float, float]
    sure: float


@lru_cache(maxsize=512)
def thresholds(noise_ppm: float) -> Thresholds:
    """All thresholds at a long-run noise of a 1 s mean, ppm."""
    floors = [SAMPLES_MIN * (CLIP_PPM - k) * STEP_S for k in K_PPM]
    one, two, three = (
        max(threshold_ppm_s(k, noise_ppm, EARLY_H, len(K_PPM)), floor) for k, floor in zip(K_PPM, floors, strict=True)
    )
    return Thresholds((one, two, three), max(threshold_ppm_s(K_PPM[2], noise_ppm, SURE_H), floors[2]))


class LeakDetector:
    """Follows one gas channel. `noise_ppm` is the stated long-run noise of a 1 s mean."""

    def __init__(self, noise_ppm: float) -> None:
        self._stated_ppm = noise_ppm
        self.baseline_ppm = 0.0  # the calibrated zero
        self.early = False
        self.sure = False
        self.since_s = 0.0  # when the sum that spoke first began to rise
        self.fault: str | None = None
        self._at_s = -STEP_S
        self._s1 = self._s2 = self._s3 = self._low = 0.0
        self._since1_s = self._since2_s = self._since3_s = 0.0
        self._low_since_s: float | None = None
        self._frozen_to_s = -1.0
        self._clamped = 0.0
        self._block = 0.0
        self._n = 0
        self._spoilt = False
        self._mean_before: float | None = None
        self._variance = noise_ppm * noise_ppm
        self._blocks = 0
        self._rung = 0
        self._set_thresholds()

    @property
    def noise_ppm(self) -> float:
        """The long-run noise of a 1 s mean as it is believed now."""
        return self._stated_ppm * 1.01**self._rung

    @property
    def sums_ppm_s(self) -> tuple[float, float, float, float]:
        """The three sums and the low-side one."""
        return self._s1, self._s2, self._s3, self._low

    def zero_words(self) -> str | None:
        """What is wrong with the zero, or None."""
        if not self._clamped:
            return None
        return f"gas zero drifted: the reading errs by {self._clamped:+.1f} ppm or more; calibrate the gas sensor"

    def feed(self, t_s: float, gas: Reading) -> bool:
        """Take a reading of run second `t_s`; give whether a tier changed.

        A sensor over its range is at least there, and counts so.
        """
        ppm = gas.value if gas.value is not None else gas.at_least
        step_s = t_s - self._at_s
        if ppm is None or step_s <= 0.0:
            return False
        self._at_s = t_s
        if step_s > STEP_S:
            step_s = STEP_S
        baseline = self.baseline_ppm
        e = ppm - baseline
        if e > CLIP_PPM:
            e = CLIP_PPM
        elif e < -CLIP_PPM:
            e = -CLIP_PPM
        s1 = self._s1 + (e - K1_PPM) * step_s
        if s1 <= 0.0:
            s1 = 0.0
            self._since1_s = t_s
        elif s1 > self._cap1:
            s1 = self._cap1
        s2 = self._s2 + (e - K2_PPM) * step_s
        if s2 <= 0.0:
            s2 = 0.0
            self._since2_s = t_s
        elif s2 > self._cap2:
            s2 = self._cap2
        s3 = self._s3 + (e - K3_PPM) * step_s
        if s3 <= 0.0:
            s3 = 0.0
            self._since3_s = t_s
        elif s3 > self._cap3:
            s3 = self._cap3
        self._s1, self._s2, self._s3 = s1, s2, s3
        under = (baseline if baseline < 0.0 else 0.0) - ppm
        low = self._low + ((under if under < CLIP_PPM else CLIP_PPM) - K3_PPM) * step_s
        if low < 0.0:
            low = 0.0
        elif low > self._cap3:
            low = self._cap3
        self._low = low
        quiet = s1 <= self._half1 and s2 <= self._half2 and s3 <= self._half3 and low <= self._half3
        if quiet and t_s > self._frozen_to_s and not self.early:
            baseline += e * step_s * (1.0 / TAU_S)
            if not -CLAMP_PPM < baseline < CLAMP_PPM:
                self._clamped = baseline = CLAMP_PPM if baseline > 0.0 else -CLAMP_PPM
            elif -UNCLAMP_PPM < baseline < UNCLAMP_PPM:
                self._clamped = 0.0
            self.baseline_ppm = baseline
        self._block += e
        changed = (not quiet or self.early or self._low_since_s is not None) and self._judge(t_s)
        self._n += 1
        if self._n == BLOCK:
            self._end_block()
        return changed

    def _judge(self, t_s: float) -> bool:
        early, sure = self.early, self.sure
        s1, s2, s3 = self._s1, self._s2, self._s3
        over1, over2, over3 = (s > h for s, h in zip((s1, s2, s3), self._limits.early, strict=True))
        if not early and (over1 or over2 or over3):
            rising = ((over1, self._since1_s), (over2, self._since2_s), (over3, self._since3_s))
            self.since_s = min(since_s for over, since_s in rising if over)
            self.early = True
        elif early and s1 < self._half1 and s2 < self._half2 and s3 < self._half3:
            self.early = False
        if not sure and s3 > self._limits.sure:
            self.sure = True
        elif sure and s3 < 0.5 * self._limits.sure:
            self.sure = False
        if self.early:
            self._frozen_to_s = t_s + HOLD_S
        if self._low_since_s is not None and self._low < self._half3:
            self._low_since_s = self.fault = None
        elif self._low_since_s is None and self._low > self._limits.sure:
            self._low_since_s = t_s
        elif self._low_since_s is not None and t_s - self._low_since_s >= CONFIRM_S:
            self.fault = LOW
        if self.sure or self._low_since_s is not None:
            self._spoilt = True
        return self.early is not early or self.sure is not sure

    def _end_block(self) -> None:
        """Learn from a block of 10 s and the one before it, unless the sure tier or a low stood in either.

        Half the square of their difference is not moved by a level, and one rise weighs no more than an outlier may.
        Blocks in which only the sums stand high are not left out: those are the noisy ones. The learned variance
        counts only as far as it surely differs from the stated one: a threshold moves the time between false alarms
        exponentially, so a guess from few blocks would spoil it.
        """
        mean = self._block / BLOCK
        before, self._mean_before = self._mean_before, None if self._spoilt else mean
        if before is not None and not self._spoilt:
            believed = self.noise_ppm
            moved = mean - before
            square = min(0.5 * BLOCK_S * moved * moved, OUTLIER * believed * believed)
            if self._blocks < BLOCKS_MAX:
                self._blocks += 1
            self._variance += (square - self._variance) / (self._blocks + 1)
            rung = believed_rung(self._variance / (self._stated_ppm * self._stated_ppm), self._blocks + 1)
            if rung != self._rung:
                self._rung = rung
                self._set_thresholds()
        self._n = 0
        self._block = 0.0
        self._spoilt = False

    def _set_thresholds(self) -> None:
        self._limits = limits = thresholds(self.noise_ppm)
        self._half1, self._half2, self._half3 = (0.5 * h for h in limits.early)
        self._cap1, self._cap2 = CAP * limits.early[0], CAP * limits.early[1]
        self._cap3 = CAP * limits.sure


def believed_rung(variance_ratio: float, blocks: int) -> int:
    """How many steps of 1 % the noise is believed to be over the stated one, from so many blocks of 10 s."""
    band = SURE_SIGMAS * sqrt(3.0 / blocks)  # of a variance from successive differences of normal values
    least = variance_ratio / (1.0 + band)
    most = variance_ratio / (1.0 - band) if band < 1.0 else 1.0
    ratio = min(max(1.0, least), max(most, least))
    return min(max(round(0.5 * log(ratio) / RUNG), RUNG_MIN), RUNG_MAX) if ratio > 0.0 else RUNG_MIN
