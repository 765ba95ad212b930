"""The long-run noise of the gas channel, learned on line: the scatter that counts for sums over seconds.

Never the scatter of neighbouring samples: where noise is correlated that is far too small. Promise: the noise that is
believed is the stated one until blocks of 10 s say otherwise beyond doubt, for a threshold moves the time between
false alarms exponentially, and a guess from few blocks would spoil it. A leak or a door does not swell it.
"""

from __future__ import annotations

from math import log, sqrt

BLOCK = 100  # samples, 10 s
BLOCK_S = 10.0  # σ₁² = 10 × variance of 10 s means
BLOCKS_MAX = 1440  # of memory, 4 h
SURE_SIGMAS = 3.0  # by which the learned variance must differ from the stated one before it counts
OUTLIER = 9.0  # variances, at which a block's square is cut: one rise weighs no more
RUNG = log(1.01)  # noise is believed in steps of 1 %, so that thresholds can be looked up
RUNG_MIN, RUNG_MAX = -70, 110  # half of the stated noise to three times


class LongRunNoise:
    """Learns from block to block. `stated_ppm` is the noise of a 1 s mean that the settings state."""

    def __init__(self, stated_ppm: float) -> None:
        self._stated_ppm = stated_ppm
        self._variance = stated_ppm * stated_ppm
        self._blocks = 0
        self._mean_before: float | None = None
        self._rung = 0

    @property
    def ppm(self) -> float:
        """The long-run noise of a 1 s mean as it is believed now."""
        return self._stated_ppm * 1.01**self._rung

    def learn(self, mean_ppm: float, spoilt: bool) -> bool:
        """Take the mean excess of a block; give whether the believed noise changed. `spoilt`: a leak stood in it.

        Half the square of the difference of two blocks is not moved by a level. Blocks in which a sum merely stands
        high are not left out, for those are the noisy ones.
        """
        before, self._mean_before = self._mean_before, None if spoilt else mean_ppm
        if before is None or spoilt:
            return False
        believed, moved = self.ppm, mean_ppm - before
        square = min(0.5 * BLOCK_S * moved * moved, OUTLIER * believed * believed)
        if self._blocks < BLOCKS_MAX:
            self._blocks += 1
        self._variance += (square - self._variance) / (self._blocks + 1)
        rung = _believed_rung(self._variance / (self._stated_ppm * self._stated_ppm), self._blocks + 1)
        changed, self._rung = rung != self._rung, rung
        return changed


def _believed_rung(variance_ratio: float, blocks: int) -> int:
    """How many steps of 1 % the noise is believed to be over the stated one, from so many blocks."""
    band = SURE_SIGMAS * sqrt(3.0 / blocks)  # of a variance from successive differences of normal values
    least = variance_ratio / (1.0 + band)
    most = variance_ratio / (1.0 - band) if band < 1.0 else 1.0
    ratio = min(max(1.0, least), max(most, least))
    return min(max(round(0.5 * log(ratio) / RUNG), RUNG_MIN), RUNG_MAX) if ratio > 0.0 else RUNG_MIN
