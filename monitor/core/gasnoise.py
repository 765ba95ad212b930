"""Whether the gas channel is as noisy as it was: a live cell and its amplifier never go quiet.

Promise: what is usual is learned from this channel's own earlier samples, so a channel that was always still raises
nothing, and a slow movement, a gas or noise that is correlated from sample to sample is no change of noise. One that
was quiet before the run began cannot be told so. It knows sums of the converter and nothing of ppm.

Each sample is freed of what an exponential mean of those before it foretells. The size of what is left is cut at 2.4
times the usual size, and that is the mean of sizes cut so (P. J. Huber, Ann. Math. Statist. 35 (1964) 73, from
memory): what is learned is what is tested, so heavy tails move neither. A CUSUM (E. S. Page, Biometrika 41 (1954)
100) adds up what the sizes fall short of an allowance. `tests/benchmarks/bench_gasfault.py` finds one run of 8 h in
1000 that passes its limit under Student's t with 4 degrees, and none under normal noise, white or correlated; noise
that falls to 0.4 is told after 5 s, under t(4) once in 400 draws later than 10 s. The worst noise known is one whose
neighbours lean against each other (correlation -0.6): one run of 8 h in 40.

Once known, the usual size follows slowly, so that noise which dies away within hours is told and not learned, nor is
noise that is louder for half an hour. It never follows to less than half of what it was first known to be.
"""

from __future__ import annotations

from itertools import pairwise
from math import inf

WINDOW = 100  # samples, 10 s (alarm table)
FIRST = 6 * WINDOW  # from which the kind of noise and a first usual size are taken
FAST, SLOW = 2.0 / 3.0, 0.1  # weights of the newest sample in the mean that foretells: of smooth noise, of white
SMOOTH = 0.2  # mean product of neighbours' signs, from which noise is smooth; with the right weight any noise of one
# lag leaves a correlation of a third or less
CUT = 2.4  # usual sizes, at which one is cut
ALLOWED = 0.72  # of the usual size: what 0.49 of the variance of normal noise comes to; 0.48 in the alarm table
LIMIT = 14.5  # usual sizes missing
KNOWN = 12  # windows learned from before anything is said, 2 min
SETTLED, MEMORY = 60, 720  # windows: the mean of 10 min, then an exponential one of 2 h
RISE_MAX = 1.2  # usual sizes that a window counts for at most: a gas that rises swells few windows
LEAST = 0.5  # of the size that it settled at
STILL = 1.5  # sums: a channel that moves less tells nothing of its noise
WORDS = "gas channel has gone quiet: its noise collapsed, a live cell's does not"


class NoiseWatch:
    """Follows the noise of one channel."""

    def __init__(self) -> None:
        self._first: list[int] = []
        self._known = False  # what kind of noise it is
        self._level = self._weight = 0.0
        self._usual = self._cut = self._allowed = self._least = 0.0
        self._limit = inf
        self.missing = 0.0  # of what the sizes fall short of
        self._sizes = 0.0  # of the window
        self._n = self._windows = 0
        self._why: str | None = None

    def feed(self, gas_sum: int) -> str | None:
        """Take one sample; give the fault in words while there is one."""
        if not self._known:
            self._first.append(gas_sum)
            if len(self._first) == FIRST:
                self._look()
            return None
        left = gas_sum - self._level
        self._level += self._weight * left
        size = left if left > 0.0 else -left
        if size > self._cut:
            size = self._cut
        self._sizes += size
        missing = self.missing + self._allowed - size
        if missing <= 0.0:
            missing = 0.0
            self._why = None
        elif missing >= self._limit:
            missing = self._limit
            self._why = WORDS
        self.missing = missing
        self._n += 1
        if self._n == WINDOW:
            self._end_window()
        return self._why

    def _look(self) -> None:
        """Find what kind of noise the first samples have, and how large it is."""
        first = self._first
        self._first = []
        _, lefts = foretold(first, SLOW)
        agree = sum((a > 0.0) == (b > 0.0) for a, b in pairwise(lefts))
        self._weight = FAST if 2.0 * agree / (len(lefts) - 1) - 1.0 > SMOOTH else SLOW
        self._level, lefts = foretold(first, self._weight)
        usual = inf
        for _ in range(10):  # comes nearer by a factor of four or more each time
            usual = sum(min(abs(left), CUT * usual) for left in lefts) / len(lefts)
        if usual >= STILL:
            self._known = True
            self._windows = FIRST // WINDOW
            self._take(usual)

    def _end_window(self) -> None:
        mean, self._sizes, self._n = self._sizes / WINDOW, 0.0, 0
        if self._why is not None:
            return
        self._windows += 1
        weight = 1.0 / (self._windows if self._windows <= SETTLED else MEMORY)
        self._take(self._usual + weight * (min(mean, RISE_MAX * self._usual) - self._usual))
        if self._windows == SETTLED:
            self._least = LEAST * self._usual
        if self._windows == KNOWN:
            self.missing = 0.0
        if self._windows >= KNOWN:
            self._limit = LIMIT * self._usual

    def _take(self, usual: float) -> None:
        self._usual = usual = max(usual, self._least)
        self._cut = CUT * usual
        self._allowed = ALLOWED * usual


def foretold(sums: list[int], weight: float) -> tuple[float, list[float]]:
    """The exponential mean at the end, and what it left of each sample but the first."""
    level = float(sums[0])
    lefts = []
    for gas_sum in sums[1:]:
        lefts.append(gas_sum - level)
        level += weight * lefts[-1]
    return level, lefts
