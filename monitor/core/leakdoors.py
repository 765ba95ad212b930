"""The levels of the sure tier: over what noise comes to, and over what a door lets in.

A door is what a quiet bench has most of that is no leak: at once 0.15 ppm more, gone within a minute. An alarm that
shuts the gas off at every two-hundredth door is switched off. So a window's level is the higher of two: the one that
noise alone passes once in `SURE_H`, and the one that noise on a door passes at one door in `DOORS`. At the usual
noise the door's is the higher in every window, and noise alone passes it once in ten million hours; at three times
the usual noise the two are near each other.

How often a level is passed, over a door as without one, is in `passages`; over a door the distance of the level from
the mean that the door gives stands for the level. The door stands for 6 s and is then gone: the slow decay of a real
one adds nothing that counts, for as it falls its passages fall far faster. That wild samples are cut is not counted:
it takes a tenth from the shortest window's passages in noise, a third at doors. It knows samples, and no seconds but
the baseline's.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import erfc, log, sqrt

import numpy as np

from monitor.core.passages import ROUNDS, height, passages, together
from monitor.core.rampnoise import STEP_S, ramp_noise

LENGTHS = (8, 20, 50)  # samples, each 2.5 times the one before: rises of 5, 2 and 0.5 ppm at a T90 of 30 s
PARTS = (0.2, 0.6, 0.2)  # of the false alarms, the most to the window that leaks of 1 and 2 ppm need
TAU_S = 300.0  # of the baseline's exponential mean
SURE_H = 10_000.0  # mean hours between false alarms in noise alone, at the least
DOOR_PPM = 0.15  # at once, decaying in a minute
DOOR_SAMPLES = 60
DOORS = 4000.0  # to one false alarm: the most with which 1 ppm is heard within 5.5 s
SAMPLES_PER_H = 3600.0 / STEP_S

_NOISE = ramp_noise(LENGTHS, TAU_S)


@lru_cache(maxsize=512)
def sure_levels(noise_ppm: float) -> tuple[float, ...]:
    """Of the windows' sums, ppm·samples, at a long-run noise of a 1 s mean in ppm; the newest weighs `length`."""
    both = zip(noise_levels(noise_ppm, SURE_H), door_levels(noise_ppm, DOORS), strict=True)
    return tuple(max(pair) for pair in both)


@dataclass(frozen=True)
class Sums:
    """What noise makes of the windows' sums."""

    spreads: list[float]  # ppm·samples
    falls: list[float]  # of each one's correlation with itself, in a step
    alike: list[float]  # neighbours' correlation


def of_noise(noise_ppm: float) -> Sums:
    """At a long-run noise of a 1 s mean in ppm, over a baseline that follows it and a zero that wanders."""
    covariance = _NOISE.covariance(noise_ppm)
    variances = np.diag(covariance)
    spreads = np.sqrt(variances)
    falls = np.diag(_NOISE.change(noise_ppm)) / variances
    return Sums(spreads.tolist(), falls.tolist(), np.diag(covariance / np.outer(spreads, spreads), 1).tolist())


def noise_levels(noise_ppm: float, apart_h: float) -> list[float]:
    """Those that noise alone passes once in so many hours, whichever it passes."""
    sums = of_noise(noise_ppm)
    wanted = 1.0 / (apart_h * SAMPLES_PER_H)
    apart = 1.0  # how much rarer all are together than one by one
    for _ in range(ROUNDS):
        heights = [height(fall, part * wanted * apart) for fall, part in zip(sums.falls, PARTS, strict=True)]
        each = [passages(z, fall) for z, fall in zip(heights, sums.falls, strict=True)]
        apart = sum(each) / together(heights, each, sums.alike)
    return [spread * z for spread, z in zip(sums.spreads, heights, strict=True)]


def door_levels(noise_ppm: float, doors: float) -> list[float]:
    """Those that noise passes at one door in so many, whichever it passes."""
    sums = of_noise(noise_ppm)
    means = [door_means(length) for length in LENGTHS]
    mosts = [max(of_one) for of_one in means]
    levels = [most + 4.5 * spread for most, spread in zip(mosts, sums.spreads, strict=True)]
    for _ in range(ROUNDS):
        heights = [
            [(level - mean) / spread for mean in of_one]
            for level, spread, of_one in zip(levels, sums.spreads, means, strict=True)
        ]
        each = [door_passages(zs, fall) for zs, fall in zip(heights, sums.falls, strict=True)]
        moments = zip(zip(*heights, strict=True), zip(*each, strict=True), strict=True)
        any_one = sum(together(zs, ns, sums.alike) for zs, ns in moments)
        totals = [sum(ns) for ns in each]
        apart = sum(totals) / any_one
        for i, (total, part) in enumerate(zip(totals, PARTS, strict=True)):  # Newton, as in `height`
            levels[i] += log(total * doors / (part * apart)) * sums.spreads[i] ** 2 / (levels[i] - mosts[i])
    return levels


def door_means(length: int) -> list[float]:
    """What a door adds to a window's sum, ppm·samples, while it stands; the baseline follows it a little."""
    baseline, excesses, sums = 0.0, [0.0] * length, []
    for _ in range(DOOR_SAMPLES):
        excess = DOOR_PPM - baseline
        excesses = [excess, *excesses[:-1]]
        baseline += excess * STEP_S / TAU_S
        sums.append(sum(e * (length - age) for age, e in enumerate(excesses)))
    return sums


def door_passages(heights: list[float], fall: float) -> list[float]:
    """Expected of one window at each moment of a door, and at the mean's highest the chance to be over it then."""
    least = min(heights)
    each = [passages(z, fall) if z < least + 3.0 else 0.0 for z in heights]
    each[heights.index(least)] += 0.5 * erfc(least / sqrt(2.0))
    return each
