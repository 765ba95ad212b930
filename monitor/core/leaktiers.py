"""The two tiers of the leak detector: cumulative sums of what a reading is over its slowly following baseline.

Each tier has a baseline of its own, which stands still while that tier's own sums are half way up or it has spoken:
the early tier, which stops at every movement, must not hold the sure one's baseline back, or a slow ramp of the zero
would become a sure leak. They know excesses and run time, and nothing of readings that are unknown.

CUSUM: E. S. Page, Biometrika 41 (1954) 100. Its threshold for a wanted mean time between false alarms: D. Siegmund,
Sequential Analysis (1985), the approximation with the overshoot of 0.583 σ at either end.
"""

from __future__ import annotations

from functools import lru_cache
from math import log, sqrt
from typing import NamedTuple

STEP_S = 0.1  # between samples (protocol); a longer gap counts as one step, its noise is that of one sample
K1_PPM, K2_PPM, K3_PPM = K_PPM = (0.05, 0.10, 0.25)  # allowed for; over twice the zero's usual drift within TAU_S
EARLY_H, SURE_H = 1000.0, 10_000.0  # mean hours between false alarms of either tier
OVERSHOOT = 1.166  # twice 0.583, Siegmund
TAU_S = 300.0  # of a baseline's exponential mean
CLAMP_PPM = 0.3  # a baseline's way from the calibrated zero
UNCLAMP_PPM = 0.27  # on its way back, so that a zero at the clamp is not said to drift again and again
CLIP_PPM = 0.5  # of one sample's excess, else a single spike would be a leak
SAMPLES_MIN = 3  # at the clip that every threshold is worth, however quiet the channel
HOLD_S = 60.0  # for which a baseline stays where it is after its tier has returned
CAP = 2.0  # thresholds, at which a sum stops, so that it comes down soon after a long leak
CONFIRM_S = 10.0  # for which a reading is low before it is a fault


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
    return Thresholds((one, two, three), max(threshold_ppm_s(K3_PPM, noise_ppm, SURE_H), floors[2]))


class EarlyTier:
    """Three sums side by side, any of which speaks."""

    def __init__(self) -> None:
        self.baseline_ppm = 0.0  # the calibrated zero
        self.standing = False
        self.since_s = 0.0  # when the sum that spoke first began to rise
        self.s1 = self.s2 = self.s3 = 0.0
        self._since1_s = self._since2_s = self._since3_s = 0.0
        self._frozen_to_s = -1.0

    def set_thresholds(self, limits: Thresholds) -> None:
        """Take thresholds for the noise that is believed now."""
        self._h1, self._h2, self._h3 = limits.early
        self._half1, self._half2, self._half3 = (0.5 * h for h in limits.early)
        self._cap1, self._cap2, self._cap3 = (CAP * h for h in limits.early)

    def feed(self, t_s: float, step_s: float, ppm: float) -> None:
        """Take a reading of run second `t_s`, worth `step_s`."""
        e = ppm - self.baseline_ppm
        if e > CLIP_PPM:
            e = CLIP_PPM
        elif e < -CLIP_PPM:
            e = -CLIP_PPM
        s1 = self.s1 + (e - K1_PPM) * step_s
        if s1 <= 0.0:
            s1 = 0.0
            self._since1_s = t_s
        elif s1 > self._cap1:
            s1 = self._cap1
        s2 = self.s2 + (e - K2_PPM) * step_s
        if s2 <= 0.0:
            s2 = 0.0
            self._since2_s = t_s
        elif s2 > self._cap2:
            s2 = self._cap2
        s3 = self.s3 + (e - K3_PPM) * step_s
        if s3 <= 0.0:
            s3 = 0.0
            self._since3_s = t_s
        elif s3 > self._cap3:
            s3 = self._cap3
        self.s1, self.s2, self.s3 = s1, s2, s3
        if s1 > self._half1 or s2 > self._half2 or s3 > self._half3:
            if self.standing:
                self._frozen_to_s = t_s + HOLD_S
            elif s1 > self._h1 or s2 > self._h2 or s3 > self._h3:
                self._speak(t_s)
        elif t_s > self._frozen_to_s:
            baseline = self.baseline_ppm + e * step_s * (1.0 / TAU_S)
            if not -CLAMP_PPM < baseline < CLAMP_PPM:
                baseline = CLAMP_PPM if baseline > 0.0 else -CLAMP_PPM
            self.baseline_ppm = baseline
            self.standing = False
        else:
            self.standing = False

    def _speak(self, t_s: float) -> None:
        self.standing = True
        self._frozen_to_s = t_s + HOLD_S
        over = ((self.s1 > self._h1, self._since1_s), (self.s2 > self._h2, self._since2_s))
        self.since_s = min([since_s for is_over, since_s in over if is_over] or [self._since3_s])


class SureTier:
    """One sum with a large allowance, and its mirror image, which tells a reading that goes low."""

    def __init__(self) -> None:
        self.baseline_ppm = 0.0
        self.standing = False
        self.since_s = 0.0
        self.low = False  # the reading is under both the calibrated zero and the baseline, for long enough to say so
        self.falling = False  # it is, but not yet for long enough
        self.s = self.s_low = 0.0
        self.clamped_ppm = 0.0  # where the baseline would go on if it might; 0 while it is free
        self._since_s = 0.0
        self._low_since_s = 0.0
        self._frozen_to_s = -1.0

    def set_thresholds(self, limits: Thresholds) -> None:
        """Take thresholds for the noise that is believed now."""
        self._h = limits.sure
        self._half = 0.5 * limits.sure
        self._cap = CAP * limits.sure

    def feed(self, t_s: float, step_s: float, ppm: float) -> float:
        """Take a reading of run second `t_s`, worth `step_s`; give its clipped excess."""
        baseline = self.baseline_ppm
        e = ppm - baseline
        if e > CLIP_PPM:
            e = CLIP_PPM
        elif e < -CLIP_PPM:
            e = -CLIP_PPM
        s = self.s + (e - K3_PPM) * step_s
        if s <= 0.0:
            s = 0.0
            self._since_s = t_s
        elif s > self._cap:
            s = self._cap
        self.s = s
        under = (baseline if baseline < 0.0 else 0.0) - ppm
        s_low = self.s_low + ((under if under < CLIP_PPM else CLIP_PPM) - K3_PPM) * step_s
        if s_low < 0.0:
            s_low = 0.0
        elif s_low > self._cap:
            s_low = self._cap
        self.s_low = s_low
        if s > self._half or s_low > self._half:
            self._judge(t_s)
        else:
            self.standing = self.falling = self.low = False
            if t_s > self._frozen_to_s:
                self._follow(baseline + e * step_s * (1.0 / TAU_S))
        return e

    def _follow(self, baseline_ppm: float) -> None:
        if not -CLAMP_PPM < baseline_ppm < CLAMP_PPM:
            self.clamped_ppm = baseline_ppm = CLAMP_PPM if baseline_ppm > 0.0 else -CLAMP_PPM
        elif -UNCLAMP_PPM < baseline_ppm < UNCLAMP_PPM:
            self.clamped_ppm = 0.0
        self.baseline_ppm = baseline_ppm

    def _judge(self, t_s: float) -> None:
        if self.s > self._h and not self.standing:
            self.standing = True
            self.since_s = self._since_s
        elif self.s <= self._half:
            self.standing = False
        if self.standing:
            self._frozen_to_s = t_s + HOLD_S
        if self.s_low <= self._half:
            self.falling = self.low = False
        elif self.s_low > self._h and not self.falling:
            self.falling = True
            self._low_since_s = t_s
        elif self.falling and t_s - self._low_since_s >= CONFIRM_S:
            self.low = True
