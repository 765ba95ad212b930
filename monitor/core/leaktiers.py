"""The sure tier of the leak detector: a cumulative sum of what a reading is over its slowly following baseline.

Its baseline is its own and stands still while its own sum is half way up or it has spoken: the early tier
(`leakwindows`), which stops at every movement, must not hold it back, or a slow ramp of the zero would become a sure
leak. It knows excesses and run time, and nothing of readings that are unknown.

CUSUM: E. S. Page, Biometrika 41 (1954) 100. Its threshold for a wanted mean time between false alarms: D. Siegmund,
Sequential Analysis (1985), the approximation with the overshoot of 0.583 σ at either end.
"""

from __future__ import annotations

from functools import lru_cache
from math import log, sqrt

STEP_S = 0.1  # between samples (protocol); a longer gap counts as one step, its noise is that of one sample
K_PPM = 0.25  # allowed for; far over what doors and ramps of the zero come to within TAU_S
SURE_H = 10_000.0  # mean hours between false alarms
OVERSHOOT = 1.166  # twice 0.583, Siegmund
TAU_S = 300.0  # of a baseline's exponential mean
CLAMP_PPM = 0.3  # a baseline's way from the calibrated zero
UNCLAMP_PPM = 0.27  # on its way back, so that a zero at the clamp is not said to drift again and again
CLIP_PPM = 0.5  # of one sample's excess, else a single spike would be a leak
SAMPLES_MIN = 3  # at the clip that the threshold is worth, however quiet the channel
HOLD_S = 60.0  # for which a baseline stays where it is after its tier has returned
CAP = 2.0  # thresholds, at which a sum stops, so that it comes down soon after a long leak
CONFIRM_S = 10.0  # for which a reading is low before it is a fault


def threshold_ppm_s(k_ppm: float, noise_ppm: float, arl_h: float) -> float:
    """The threshold of a CUSUM, ppm·s, for a mean time between false alarms in hours.

    `noise_ppm` is the long-run standard deviation of a 1 s mean.
    """
    sigma = noise_ppm / sqrt(STEP_S)
    kappa = k_ppm / sigma
    gamma = arl_h * 3600.0 / STEP_S
    h = 10.0
    for _ in range(60):
        h = log(2.0 * kappa * kappa * gamma + 1.0 + 2.0 * kappa * h) / (2.0 * kappa)
    return (h - OVERSHOOT) * sigma * STEP_S


@lru_cache(maxsize=512)
def sure_threshold(noise_ppm: float) -> float:
    """The sure tier's, ppm·s, at a long-run noise of a 1 s mean, ppm."""
    return max(threshold_ppm_s(K_PPM, noise_ppm, SURE_H), SAMPLES_MIN * (CLIP_PPM - K_PPM) * STEP_S)


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

    def set_noise(self, noise_ppm: float) -> None:
        """Take the long-run noise of a 1 s mean that is believed now."""
        self._h = sure_threshold(noise_ppm)
        self._half = 0.5 * self._h
        self._cap = CAP * self._h

    def feed(self, t_s: float, step_s: float, ppm: float) -> float:
        """Take a reading of run second `t_s`, worth `step_s`; give its clipped excess."""
        baseline = self.baseline_ppm
        e = ppm - baseline
        if e > CLIP_PPM:
            e = CLIP_PPM
        elif e < -CLIP_PPM:
            e = -CLIP_PPM
        s = self.s + (e - K_PPM) * step_s
        if s <= 0.0:
            s = 0.0
            self._since_s = t_s
        elif s > self._cap:
            s = self._cap
        self.s = s
        under = (baseline if baseline < 0.0 else 0.0) - ppm
        s_low = self.s_low + ((under if under < CLIP_PPM else CLIP_PPM) - K_PPM) * step_s
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
