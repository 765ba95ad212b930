"""Whether the gas channel is as noisy as it was: a live cell and its amplifier never go quiet.

Promise: what is usual is learned from this channel's own earlier samples, so a channel that was always still raises
nothing, and a slow movement or noise that is correlated from sample to sample is no change of noise. It knows sums
of the converter and nothing of ppm.

The statistic is the variance of 100 samples, each freed of what the one before it foretells (lag-1 correlation,
learned too). Under white noise it is the plain variance, whose 0.48 of the true value lies 4.5 deviations off (χ²,
99 degrees, Wilson and Hilferty's cube root). Under noise with heavy tails it scatters more, so how far it must
fall is judged by how the channel's own windows scattered (of t(4) one window in 300 000 lies 1.0 low in the
logarithm, four of its deviations, by simulation), and it must be lower than it has been of late.
"""

from __future__ import annotations

from collections import deque
from math import exp, log
from statistics import median

BLOCK = 5  # samples
BLOCKS = 20  # in a window: 100 samples (alarm table)
COLLAPSED = 0.48  # of the usual variance (alarm table), or, where windows scatter more than white noise's do,
DEVIATIONS = 4.5  # of them under it in the logarithm, but never under
COLLAPSED_MIN = 0.25  # of it: what a channel's noise falls to when its source is gone is less
NORMAL_PER_MEDIAN = 1.4826  # standard deviations in a median absolute one
WHITE, WHITE_WINDOWS = 0.143, 20  # what white noise scatters, √(2/99), counts as so many windows seen before
SURE = 2  # blocks in a row: half a second on, and the window full is within the table's 10 s
LEARN_MIN, LEARN_MAX = 12, 60  # windows: 2 min before anything is said, 10 min looked back
STILL = 4.0  # sums squared: a channel that moved no more than this tells nothing of its noise
BELOW_LEAST = 0.7  # of the least variance of those windows
WORDS = "gas channel has gone quiet: its noise collapsed, a live cell's does not"


class NoiseWatch:
    """Follows the noise of one channel."""

    def __init__(self) -> None:
        self._n = 0
        self._last = 0.0
        self._origin: float | None = None  # sums are taken from here, so that squares keep their digits
        self._x = self._xx = self._xy = 0.0
        self._blocks: deque[tuple[float, float, float]] = deque(maxlen=BLOCKS)
        self._ends: deque[float] = deque(
            [0.0], maxlen=BLOCKS + 1
        )  # the sample before the window, and each block's last
        self._windows: deque[tuple[float, float, float]] = deque(maxlen=LEARN_MAX)  # see _window
        self._since_window = 0
        self._collapsed = 0.0  # variance under which it has
        self._least = 0.0
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
        self._ends.append(self._last)
        self._n = 0
        self._x = self._xx = self._xy = 0.0
        if len(self._blocks) < BLOCKS:
            return
        window = self._window()
        residual = _residual(window, self._lag)
        quiet = residual < self._collapsed and residual < BELOW_LEAST * self._least
        self._quiet = self._quiet + 1 if quiet else 0
        self._why = WORDS if self._quiet >= SURE else None
        self._since_window += 1
        if self._since_window >= BLOCKS and not quiet:
            self._since_window = 0
            self._learn(window)

    def _window(self) -> tuple[float, float, float]:
        """Variance of the last 100 samples, of the 100 one earlier, and the covariance of the two."""
        n = BLOCK * BLOCKS
        x, xx, xy = (sum(part) for part in zip(*self._blocks, strict=True))
        before, last = self._ends[0], self._ends[-1]
        mean, mean_before = x / n, (x - last + before) / n
        square_before = (xx - last * last + before * before) / n
        return xx / n - mean * mean, square_before - mean_before * mean_before, xy / n - mean * mean_before

    def _learn(self, window: tuple[float, float, float]) -> None:
        windows = self._windows
        windows.append(window)
        if len(windows) < LEARN_MIN:
            return
        # Medians: a leak's rise or a spike swells few windows.
        if median(w[0] for w in windows) < STILL:
            self._collapsed = 0.0
            return
        self._lag = min(max(median(w[2] / w[0] if w[0] > 0.0 else 0.0 for w in windows), 0.0), 0.98)
        residuals = [_residual(w, self._lag) for w in windows]
        usual, self._least = median(residuals), min(residuals)
        if usual <= 0.0:  # foretold to the last digit: no noise to speak of
            self._collapsed = 0.0
            return
        seen = NORMAL_PER_MEDIAN * median(abs(log(max(r, 1e-3 * usual) / usual)) for r in residuals)
        deviation = (WHITE_WINDOWS * WHITE + len(windows) * seen) / (WHITE_WINDOWS + len(windows))
        self._collapsed = usual * max(min(COLLAPSED, exp(-DEVIATIONS * deviation)), COLLAPSED_MIN)


def _residual(window: tuple[float, float, float], lag: float) -> float:
    return window[0] + lag * lag * window[1] - 2.0 * lag * window[2]
