"""The sure tier of the leak detector: what a reading comes to over its slowly following baseline, in three windows.

A sum that takes all that is over an allowance (a CUSUM) tells a leak from a door badly: one that hears 1 ppm within
5.5 s speaks at one door in 200, and with an allowance so large that it does not, it is late. Windows that weigh the
newest sample most, as a slow sensor rises, hear as soon at one door in 4000, and their levels are computed
(`leakdoors`). The tier's baseline is its own and stands still while a window is half way up or has spoken: the
early tier (`leakwindows`), which stops at every movement, must not hold it back, or a slow ramp of the zero would
become a sure leak.

A zero that drifts on by up to `FOLLOW_PPM_PER_H` never becomes a leak. A leak that grows no faster cannot be told
from it by the sensor, and is not kept quiet: 0.3 ppm from the calibrated zero it is said to be either, there the
early tier follows no more and speaks, the averages count it, and the fixed limits on the calibrated zero end it.
What rises faster past 0.3 ppm is a leak. What stands there from the first reading on, up to 0.3 ppm, has not risen
while anybody watched: the baseline begins at the mean of what it has seen, within 0.15 ppm, and the early tier,
whose baseline begins at the calibrated zero, tells it. The 0.15 ppm widen to 0.3 as a zero drifts and no faster, so
that a cold cell on its way up is no leak. A zero that falls is followed no further than 0.3 ppm, for it makes the
fixed limits late: a reading that stays well under that is a fault. It knows excesses and run time, and nothing of
readings that are unknown.

The mirrored sum, which tells a reading that goes low, is a CUSUM: E. S. Page, Biometrika 41 (1954) 100. Its
threshold: D. Siegmund, Sequential Analysis (1985), the approximation with the overshoot of 0.583 σ at either end.
"""

from __future__ import annotations

from functools import lru_cache
from math import log, sqrt

from monitor.core.leakdoors import DOOR_PPM, LENGTHS, TAU_S, sure_levels
from monitor.core.rampnoise import STEP_S
from monitor.core.ramps import Ramps

CLIP_NOISES = 10.0  # noises of a 1 s mean over a door, at which a sample's excess is cut: two wild ones are no leak
FIRST = LENGTHS[-1]  # readings, in which a baseline does not stand still, for it is not yet worth standing at
SETTLED = round(TAU_S / STEP_S)  # readings, of which the baseline is the plain mean before it is an exponential one
CLAMP_PPM = 0.3  # a baseline's way from the calibrated zero (alarm table), before it is said to have drifted
UNCLAMP_PPM = 0.27  # on its way back, so that a zero at the clamp is not said to drift again and again
REACH_PPM = 0.15  # the same way at the start, no more than a door; widens to the whole as the baseline follows
FOLLOW_PPM_PER_H = 0.75  # of a zero that is beyond; 0.6 ppm/h is the fastest that is thought of, and a quarter more
HOLD_S = 60.0  # for which a baseline stays where it is after its tier has returned
LOW_K_PPM = 0.25  # allowed for on the low side
LOW_H = 10_000.0  # mean hours between noise's passing the low side's threshold; it is low only after CONFIRM_S more
LOW_CLIP_PPM = 0.5  # of one sample on the low side
OVERSHOOT = 1.166  # twice 0.583, Siegmund
SAMPLES_MIN = 3  # at the clip that the threshold is worth, however quiet the channel
CAP = 2.0  # thresholds, at which the low sum stops, so that it comes down soon
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
def low_threshold(noise_ppm: float) -> float:
    """The low side's, ppm·s, at a long-run noise of a 1 s mean, ppm."""
    return max(threshold_ppm_s(LOW_K_PPM, noise_ppm, LOW_H), SAMPLES_MIN * (LOW_CLIP_PPM - LOW_K_PPM) * STEP_S)


class SureTier:
    """Three windows, any of which speaks, and a sum that tells a reading that goes low."""

    def __init__(self) -> None:
        self.baseline_ppm = 0.0
        self.zero_ppm = 0.0  # what the baseline's range has been moved up by
        self.standing = False
        self.since_s = 0.0  # where the shortest window that spoke begins
        self.low = False  # the reading is under both the calibrated zero and the baseline, for long enough to say so
        self.falling = False  # it is, but not yet for long enough
        self.s_low = 0.0
        self.drifted_ppm = 0.0  # how far it is at the least from the calibrated zero; 0 while that is under the clamp
        self._ramps = Ramps(LENGTHS)
        self._low_since_s = 0.0
        self._frozen_to_s = -1.0
        self._reach_ppm = REACH_PPM  # of the baseline, from the calibrated zero or where that has been moved to
        self._followed = 0  # readings that the baseline is the mean of, until it is an exponential one

    @property
    def sums(self) -> list[float]:
        """Of the windows, ppm·samples."""
        return self._ramps.sums

    def set_noise(self, noise_ppm: float) -> None:
        """Take the long-run noise of a 1 s mean that is believed now."""
        self._ramps.set_limits(sure_levels(noise_ppm))
        self._clip_ppm = DOOR_PPM + CLIP_NOISES * noise_ppm
        self._low_h = low_threshold(noise_ppm)
        self._low_half = 0.5 * self._low_h
        self._low_cap = CAP * self._low_h

    def feed(self, t_s: float, step_s: float, ppm: float) -> float:
        """Take a reading of run second `t_s`, worth `step_s`; give its clipped excess."""
        if not self._followed:
            self._followed = 1
            self.baseline_ppm = min(max(ppm, -REACH_PPM), REACH_PPM)
        baseline, clip = self.baseline_ppm, self._clip_ppm
        e = ppm - baseline
        if e > clip:
            e = clip
        elif e < -clip:
            e = -clip
        high = self._ramps.push(e)
        under = (baseline if baseline < 0.0 else 0.0) - ppm
        s_low = self.s_low + ((under if under < LOW_CLIP_PPM else LOW_CLIP_PPM) - LOW_K_PPM) * step_s
        if s_low < 0.0:
            s_low = 0.0
        elif s_low > self._low_cap:
            s_low = self._low_cap
        self.s_low = s_low
        half_way = high or s_low > self._low_half
        if half_way:
            self._judge(t_s, high)
        else:
            self.standing = self.falling = self.low = False
        if t_s > self._frozen_to_s and not (half_way and self._followed >= FIRST):
            weight = step_s * (1.0 / TAU_S)
            if self._followed < SETTLED:
                self._followed += 1
                weight = 1.0 / self._followed
            self._follow(baseline + e * weight, step_s)
        return e

    def _follow(self, baseline_ppm: float, step_s: float) -> None:
        zero, reach = self.zero_ppm, self._reach_ppm
        if reach < CLAMP_PPM:
            self._reach_ppm = reach = min(CLAMP_PPM, reach + FOLLOW_PPM_PER_H / 3600.0 * step_s)
        if baseline_ppm > zero + UNCLAMP_PPM:
            self.zero_ppm = zero = zero + FOLLOW_PPM_PER_H / 3600.0 * step_s
        elif zero > 0.0 and baseline_ppm < zero - UNCLAMP_PPM:
            self.zero_ppm = zero = max(0.0, baseline_ppm + UNCLAMP_PPM)
        if baseline_ppm > zero + reach:
            baseline_ppm = zero + reach
        elif baseline_ppm < -reach:
            baseline_ppm = -reach
        if baseline_ppm <= -CLAMP_PPM:
            self.drifted_ppm = baseline_ppm
        elif baseline_ppm >= CLAMP_PPM:
            self.drifted_ppm = min(baseline_ppm, zero + UNCLAMP_PPM)
        elif -UNCLAMP_PPM < baseline_ppm < UNCLAMP_PPM:
            self.drifted_ppm = 0.0
        self.baseline_ppm = baseline_ppm

    def _judge(self, t_s: float, high: bool) -> None:
        if not high:
            self.standing = False
        elif not self.standing:
            heard = self._ramps.shortest_over()
            if heard:
                self.standing = True
                self.since_s = t_s - STEP_S * heard
        if self.standing:
            self._frozen_to_s = t_s + HOLD_S
        if self.s_low <= self._low_half:
            self.falling = self.low = False
        elif self.s_low > self._low_h and not self.falling:
            self.falling = True
            self._low_since_s = t_s
        elif self.falling and t_s - self._low_since_s >= CONFIRM_S:
            self.low = True
