"""The levels of the sure tier: over what noise comes to, and over what a door lets in.

A door is what a quiet bench has most of that is no leak: at once 0.15 ppm more, gone within a minute. An alarm that
shuts the gas off at every two-hundredth door is switched off. So a window's level is the higher of two: the one that
noise alone passes once in `SURE_H`, and the one that noise on a door passes at one door in `DOORS`. At the usual
noise the door's is the higher in every window, and noise alone passes it once in ten million hours; at three times
the usual noise the two are near each other.

How often a level is passed, over a door as without one, is in `passages`; over a door the distance of the level from
the mean that the door gives stands for the level. The door stands for 6 s and is then gone: the slow decay of a real
one adds nothing that counts, for as it falls its passages fall far faster. Passages of two windows at one door are
counted twice, so that in trials a fifth to a quarter fewer doors are passed. It knows samples, and no seconds.
"""

from __future__ import annotations

from functools import lru_cache
from math import erfc, log, sqrt

from monitor.core.passages import ROUNDS, height, passages

LENGTHS = (8, 20, 50)  # samples, each 2.5 times the one before: rises of 5, 2 and 0.5 ppm at a T90 of 30 s
PARTS = (0.2, 0.6, 0.2)  # of the false alarms, the most to the window that leaks of 1 and 2 ppm need
SURE_H = 10_000.0  # mean hours between false alarms in noise alone, at the least
DOOR_PPM = 0.15  # at once, decaying in a minute
DOOR_SAMPLES = 60
DOORS = 2500.0  # to one false alarm
BASELINE_PPM = (
    0.0046  # how far a baseline of 300 s is off: 0.0020 of noise, 0.0041 of a zero that wanders, 0.02 ppm/√h
)
SAMPLES_PER_H = 36_000.0  # protocol


@lru_cache(maxsize=512)
def sure_levels(sample_ppm: float) -> tuple[float, ...]:
    """Of the windows' sums, ppm·samples, at a standard deviation of one sample in ppm; the newest weighs `length`."""
    both = zip(noise_levels(sample_ppm, SURE_H), door_levels(sample_ppm, DOORS), strict=True)
    return tuple(max(pair) for pair in both)


def noise_levels(sample_ppm: float, apart_h: float) -> list[float]:
    """Those that noise alone passes once in so many hours."""
    levels = []
    for length, part in zip(LENGTHS, PARTS, strict=True):
        spread, fall = of_noise(length, sample_ppm)
        levels.append(spread * height(fall, part / (apart_h * SAMPLES_PER_H)))
    return levels


def door_levels(sample_ppm: float, doors: float) -> list[float]:
    """Those that noise passes at one door in so many."""
    levels = []
    for length, part in zip(LENGTHS, PARTS, strict=True):
        spread, fall = of_noise(length, sample_ppm)
        means = door_means(length)
        most = max(means)
        level = most + 4.5 * spread
        for _ in range(ROUNDS):
            over = log(door_passages(level, means, spread, fall) * doors / part)
            level += over * spread * spread / (level - most)
        levels.append(level)
    return levels


def of_noise(length: int, sample_ppm: float) -> tuple[float, float]:
    """The spread of a window's sum, ppm·samples, and by how much its correlation falls in a step."""
    weight = 0.5 * length * (length + 1)
    squares = length * (length + 1) * (2 * length + 1) / 6.0
    variance = sample_ppm * sample_ppm * squares + (weight * BASELINE_PPM) ** 2
    return sqrt(variance), sample_ppm * sample_ppm * weight / variance


def door_means(length: int) -> list[float]:
    """What a door adds to a window's sum, ppm·samples, from its first sample until it has left the window."""
    given = [0.0] * (DOOR_SAMPLES + length)
    for age in range(length):
        for i in range(DOOR_SAMPLES):
            given[age + i] += DOOR_PPM * (length - age)
    return given


def door_passages(level: float, means: list[float], spread: float, fall: float) -> float:
    """Expected of one window at one door: those from below, and the chance to be over it at the highest mean."""
    heights = [(level - mean) / spread for mean in means]
    least = min(heights)
    return 0.5 * erfc(least / sqrt(2.0)) + sum(passages(z, fall) for z in heights if z < least + 3.0)
