"""The early tier of the leak detector: windows shaped as a slow sensor begins to rise.

A reading that begins to rise does so in proportion to time, for the sensor is slow. What hears a ramp soonest is the
sum that weighs the newest sample most and the oldest of its window least, in a line (the matched filter). Six lengths
from 0.9 to 56 s stand for all slopes. The baseline stands still from when the tier has spoken; before that it
follows even a rise, and what that costs is in the levels. It knows excesses and run time, and nothing of readings
that are unknown.

Promise: in white noise over a zero that wanders as allowed it speaks once in `EARLY_H`. The chance that one window is
over its level is that of a normal process whose correlation falls linearly, looked at in steps: J. Pickands, Trans.
Am. Math. Soc. 145 (1969) 51; D. Siegmund, Sequential Analysis (1985), for the steps; both from memory.
"""

from __future__ import annotations

from functools import lru_cache
from math import erf, exp, pi, sqrt

from monitor.core.leaktiers import CLAMP_PPM, HOLD_S, STEP_S

EARLY_H = 1000.0  # mean hours between false alarms
LENGTHS = (9, 20, 46, 106, 243, 560)  # samples, each 2.3 times the one before: correlated by 0.84 with their like
SHARES = (1.0, 1.0, 1.0, 1.0, 1.0, 2.0)  # of the false alarms; the longest is worth more of them, for rooms are slow
LONGEST = LENGTHS[-1]
DRIFT_PPM_PER_ROOT_S = 0.02 / 60.0  # the zero's wandering that is allowed for, 0.02 ppm/√h
TAU_S = 150.0  # of the baseline: usual noise 0.05 ppm·√s over the drift, the best follower of such a zero (Kalman)
CLIP_NOISES = 10.0  # noises of a 1 s mean (3.2 of one sample), at which a sample's excess over the newest mean is cut
FIRST_MEAN = 2.0 / (LENGTHS[0] * (LENGTHS[0] + 1))


def variance(length: int, noise_ppm: float) -> float:
    """Of a window's sum, (ppm·samples)²: noise and the zero's wandering, both as the baseline leaves them."""
    tau, w = TAU_S, length * STEP_S
    p, q = w + tau, exp(-w / tau)
    tail = 0.5 * tau * (p * (1.0 - q) - w) ** 2
    followed = 0.5 * p * p * tau * (1.0 - q * q) - 2.0 * tau * tau * p * (1.0 - q) + tau * tau * w + tail
    wander = (p**3 - tau**3) / 3.0 - 2.0 * p * tau * w + 0.5 * p * p * tau * (1.0 - q * q) + tail
    sampled = STEP_S**3 * length * (length + 1) * (2 * length + 1) / 6.0
    white = noise_ppm**2 * (sampled + followed - w**3 / 3.0)
    return (white + (DRIFT_PPM_PER_ROOT_S * tau) ** 2 * wander) / STEP_S**4


def threshold_ppm(length: int, noise_ppm: float, apart_h: float) -> float:
    """The level of one window's sum, ppm·samples, that noise passes once in `apart_h` hours."""
    v = variance(length, noise_ppm)
    c = 0.5 * noise_ppm**2 / STEP_S * length * (length + 1) / v  # by which the correlation falls in a step
    low, high = 2.0, 12.0
    for _ in range(50):
        z = 0.5 * (low + high)
        passed = c * z * _density(z) * stepped(z * sqrt(2.0 * c)) * 3600.0 / STEP_S
        low, high = (z, high) if passed * apart_h > 1.0 else (low, z)
    return high * sqrt(v)


def _density(z: float) -> float:
    return exp(-0.5 * z * z) / sqrt(2.0 * pi)


def stepped(x: float) -> float:
    """The part of a process's passages that is seen in steps (Siegmund's ν, in its closed approximation)."""
    y = 0.5 * x
    below = 0.5 * (1.0 + erf(y / sqrt(2.0)))
    return (below - 0.5) / y / (y * below + _density(y))


@lru_cache(maxsize=512)
def early_thresholds(noise_ppm: float, apart_h: float = EARLY_H) -> tuple[float, ...]:
    """Of all windows, ppm·samples."""
    one_h = sum(SHARES) * apart_h
    return tuple(threshold_ppm(n, noise_ppm, one_h / share) for n, share in zip(LENGTHS, SHARES, strict=True))


class EarlyTier:
    """Six windows side by side, any of which speaks."""

    def __init__(self) -> None:
        self.baseline_ppm = 0.0  # the calibrated zero
        self.standing = False
        self.since_s = 0.0  # where the shortest window that spoke begins
        self.sums = [0.0] * len(LENGTHS)  # weighted by age, ppm·samples
        self._plain = [0.0] * len(LENGTHS)  # the same samples, all of one weight
        self._ring = [0.0] * LONGEST
        self._at = 0
        self._frozen_to_s = -1.0

    def set_noise(self, noise_ppm: float) -> None:
        """Take the long-run noise of a 1 s mean that is believed now."""
        self._limits = early_thresholds(noise_ppm)
        self._windows = [(n, 0.5 * h, h) for n, h in zip(LENGTHS, self._limits, strict=True)]
        self._clip_ppm = CLIP_NOISES * noise_ppm

    def feed(self, t_s: float, ppm: float) -> None:
        """Take a reading of run second `t_s`."""
        sums, plain, ring, at = self.sums, self._plain, self._ring, self._at
        e = ppm - self.baseline_ppm
        clip = self._clip_ppm
        if e > clip:  # a spike counts little; a rise, which has lifted the mean, more and more
            most = clip + sums[0] * FIRST_MEAN if sums[0] > 0.0 else clip
            if e > most:
                e = most
        elif e < -clip:
            e = -clip
        high = over = False
        for i, (length, half, limit) in enumerate(self._windows):
            total = sums[i] + (length * e - plain[i])
            sums[i] = total
            plain[i] += e - ring[at - length]
            if total > half:
                high = True
                if total > limit:
                    over = True
        ring[at] = e
        self._at = at + 1 if at + 1 < LONGEST else 0
        if self.standing or over:
            if over and not self.standing:
                self.since_s = t_s - STEP_S * next(
                    n for n, s, h in zip(LENGTHS, sums, self._limits, strict=True) if s > h
                )
            self.standing = high
            if high:
                self._frozen_to_s = t_s + HOLD_S
                return
        if t_s > self._frozen_to_s:
            followed = clip if e > clip else e
            baseline = self.baseline_ppm + followed * (STEP_S / TAU_S)
            if not -CLAMP_PPM < baseline < CLAMP_PPM:
                baseline = CLAMP_PPM if baseline > 0.0 else -CLAMP_PPM
            self.baseline_ppm = baseline
