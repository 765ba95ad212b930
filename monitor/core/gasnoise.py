"""Whether the gas channel is as noisy as it was: a live cell and its amplifier never go quiet.

Promise: what is usual is learned from this channel's own earlier samples, so a channel that was always still raises
nothing, and a slow movement or noise that is correlated from sample to sample is no change of noise. It knows sums
of the converter and nothing of ppm.

The statistic is the variance of 100 samples, each freed of what the one before it foretells (lag-1 correlation,
learned too). Under white noise it is the plain variance, whose 0.48 of the true value lies 4.5 deviations off (χ²,
99 degrees, Wilson and Hilferty's cube root).
"""

from __future__ import annotations

from collections import deque
from statistics import median

BLOCK = 10  # samples
BLOCKS = 10  # in a window: 100 samples (alarm table)
COLLAPSED = 0.48  # of the usual variance (alarm table)
SURE = 3  # blocks in a row, 2 s on
LEARN_MIN, LEARN_MAX = 12, 60  # windows: 2 min before anything is said, 10 min looked back
STILL = 4.0  # sums squared: a channel that moved no more than this tells nothing of its noise
WORDS = "gas channel has gone quiet: its noise collapsed, a live cell's does not"


class NoiseWatch:
    """Follows the noise of one channel."""

    def __init__(self) -> None:
        self._n = 0
        self._last = 0.0
        self._origin: float | None = None  # sums are taken from here, so that squares keep their digits
        self._x = self._xx = self._xy = 0.0
        self._blocks: deque[tuple[float, float, float]] = deque(maxlen=BLOCKS)
        self._windows: deque[tuple[float, float, float]] = deque(maxlen=LEARN_MAX)  # mean, variance, lag-1 covariance
        self._since_window = 0
        self._usual = 0.0
        self._lag = 0.0
        self._quiet = 0
        self._why: str | None = None

    def feed(self, gas_sum: int) -> str | None:
        """Take one sample; give the fault in words while there is one."""
        if self._origin is None:
            self._origin = float(gas_sum)
        x = gas_sum - self._origin
        self._x += x
        self._xx += x * x
        self._xy += x * self._last
        self._last = x
        self._n += 1
        if self._n >= BLOCK:
            self._end_block()
        return self._why

    def _end_block(self) -> None:
        self._blocks.append((self._x, self._xx, self._xy))
        self._n = 0
        self._x = self._xx = self._xy = 0.0
        if len(self._blocks) < BLOCKS:
            return
        n = BLOCK * BLOCKS
        mean, square, product = (sum(part) / n for part in zip(*self._blocks, strict=True))
        variance, covariance = square - mean * mean, product - mean * mean
        residual = variance * (1.0 + self._lag * self._lag) - 2.0 * self._lag * covariance
        self._quiet = self._quiet + 1 if residual < COLLAPSED * self._usual else 0
        self._why = WORDS if self._quiet >= SURE else None
        self._since_window += 1
        if self._since_window >= BLOCKS and self._why is None:
            self._since_window = 0
            self._learn(mean, variance, covariance)

    def _learn(self, mean: float, variance: float, covariance: float) -> None:
        windows = self._windows
        windows.append((mean, variance, covariance))
        if len(windows) < LEARN_MIN:
            return
        variance = median(w[1] for w in windows)  # medians: a leak's rise or a spike swells few windows
        if variance < STILL:
            self._usual = 0.0
            return
        lag = median(w[2] / w[1] if w[1] > 0.0 else 0.0 for w in windows)
        self._lag = lag = min(max(lag, 0.0), 0.98)
        self._usual = median(w[1] * (1.0 + lag * lag) - 2.0 * lag * w[2] for w in windows)
