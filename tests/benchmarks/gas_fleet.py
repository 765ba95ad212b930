"""Many watches of a gas channel's noise at once: `monitor.core.gasnoise` stated again over arrays.

It is allowed to stand for the real one because `tests/core/test_gas_fleet.py` shows it equal, sample for sample.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monitor.core import gasnoise as g
from tests.benchmarks.leak_fleet import Bools, Floats


class NoiseFleet:
    """`size` watches side by side. All must stir from the start: a still channel's second look is not here."""

    def __init__(self, size: int) -> None:
        self._first: list[Floats] = []
        self.quiet: Bools = np.zeros(size, dtype=bool)
        self.missing, self.usual, self._least = np.zeros(size), np.zeros(size), np.zeros(size)
        self._limit = np.full(size, np.inf)
        self._sizes = np.zeros(size)
        self._windows: NDArray[np.int_] = np.full(size, g.FIRST // g.WINDOW)
        self._n = 0

    def feed(self, gas_sum: Floats) -> None:
        """Take one sample of each channel."""
        if len(self._first) < g.FIRST:
            self._first.append(gas_sum)
            if len(self._first) == g.FIRST:
                self._look()
            return
        left = gas_sum - self._level
        self._level += self._weight * left
        np.abs(left, out=left)
        np.minimum(left, self._cut, out=left)
        self._sizes += left
        missing = self.missing
        missing += self._allowed
        missing -= left
        np.clip(missing, 0.0, self._limit, out=missing)
        if self.quiet.any():
            self.quiet &= missing > 0.0
        if (missing >= self._limit).any():
            self.quiet |= missing >= self._limit
        self._n += 1
        if self._n == g.WINDOW:
            self._end_window()

    def _look(self) -> None:
        looked = [self._left(np.full(len(self.usual), weight)) for weight in (g.SLOW, g.FAST)]
        lefts = looked[0][1]
        agree = ((lefts[1:] > 0.0) == (lefts[:-1] > 0.0)).sum(axis=0)
        smooth = 2.0 * agree / (len(lefts) - 1) - 1.0 > g.SMOOTH
        self._weight = np.where(smooth, g.FAST, g.SLOW)
        self._level = np.where(smooth, looked[1][0], looked[0][0])
        sizes = np.abs(np.where(smooth, looked[1][1], looked[0][1]))
        usual = np.full(len(self.usual), np.inf)
        for _ in range(10):
            # summed one by one, as the real one does
            usual = np.cumsum(np.minimum(sizes, g.CUT * usual), axis=0)[-1] / len(sizes)
        self._take(usual)

    def _left(self, weight: Floats) -> tuple[Floats, Floats]:
        level = self._first[0].copy()
        lefts = np.empty((g.FIRST - 1, len(level)))
        for row, gas_sum in zip(lefts, self._first[1:], strict=True):
            np.subtract(gas_sum, level, out=row)
            level += weight * row
        return level, lefts

    def _end_window(self) -> None:
        mean = self._sizes / g.WINDOW
        self._sizes[:] = 0.0
        self._n = 0
        good = ~self.quiet
        self._windows += good
        weight = 1.0 / np.where(self._windows <= g.SETTLED, self._windows, g.MEMORY)
        learned = self.usual + weight * (np.minimum(mean, g.RISE_MAX * self.usual) - self.usual)
        self._take(np.where(good, learned, self.usual))
        self._least = np.where(good & (self._windows == g.SETTLED), g.LEAST * self.usual, self._least)
        self.missing[good & (self._windows == g.KNOWN)] = 0.0
        self._limit = np.where(good & (self._windows >= g.KNOWN), g.LIMIT * self.usual, self._limit)

    def _take(self, usual: Floats) -> None:
        self.usual = np.maximum(usual, self._least)
        self._cut = g.CUT * self.usual
        self._allowed = g.ALLOWED * self.usual
