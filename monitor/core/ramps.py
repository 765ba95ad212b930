"""Sums of the newest samples in windows of several lengths, weighing the newest most and the oldest least.

It is what both tiers of the leak detector hear a slow sensor's rise with. Promise: a sample costs the same however
long the windows are. It knows samples and limits, and no units.
"""

from __future__ import annotations

from collections.abc import Sequence


class Ramps:
    """Windows of `lengths` samples, ascending; the newest sample weighs its window's length."""

    def __init__(self, lengths: Sequence[int]) -> None:
        self.sums = [0.0] * len(lengths)
        self._lengths = lengths
        self._plain = [0.0] * len(lengths)  # the same samples, all of one weight
        self._ring = [0.0] * lengths[-1]
        self._at = 0

    def set_limits(self, limits: Sequence[float]) -> None:
        """Take the windows' limits."""
        self._limits = limits
        self._halves = [(n, 0.5 * limit) for n, limit in zip(self._lengths, limits, strict=True)]

    def push(self, sample: float) -> bool:
        """Take a sample; give whether any sum is more than half way up to its limit."""
        sums, plain, ring, at = self.sums, self._plain, self._ring, self._at
        high = False
        for i, (length, half) in enumerate(self._halves):
            total = sums[i] + (length * sample - plain[i])
            sums[i] = total
            plain[i] += sample - ring[at - length]
            if total > half:
                high = True
        ring[at] = sample
        self._at = at + 1 if at + 1 < len(ring) else 0
        return high

    def shortest_over(self) -> int:
        """The length of the shortest window whose sum is over its limit, or 0."""
        for length, total, limit in zip(self._lengths, self.sums, self._limits, strict=True):
            if total > limit:
                return length
        return 0
