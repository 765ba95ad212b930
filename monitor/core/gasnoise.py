"""Whether the gas channel is as noisy as it was: a live cell and its amplifier never go quiet.

Promise: what is usual is learned from this channel's own earlier samples, so a channel that was always still raises
nothing, and a slow movement or noise that is correlated from sample to sample is no change of noise. It knows sums
of the converter and nothing of ppm.

The statistic is the mean square of 100 samples, each freed of what the one before it foretells (lag-1 correlation,
learned too), and each square cut at 2.25 times the usual (P. J. Huber, Ann. Math. Statist. 35 (1964) 73, from
memory). Without the cut, noise with heavy tails scatters so much that it seems to go quiet by chance: of Student's t
with 4 degrees one run of 8 h in 20 did. With it a window of t(4) scatters by 0.12 in the logarithm and one of normal
noise by 0.10 (simulation), and 7 of what the channel's own windows scatter is far from chance and far from what a
channel comes to when its source is gone: 0.49 of the usual, for normal noise 0.40 of the variance.
"""

from __future__ import annotations

from collections import deque
from math import exp, inf, log
from statistics import median

BLOCK = 5  # samples
BLOCKS = 20  # in a window: 100 samples (alarm table)
CUT = 2.25  # usual mean squares, at which a sample's square is cut
COLLAPSED = 0.49  # of the usual mean of cut squares, or, where windows scatter more than white noise's do,
DEVIATIONS = 7.0  # of them under it in the logarithm, but never under
COLLAPSED_MIN = 0.3  # of it: what a channel's noise falls to when its source is gone is less
NORMAL_PER_MEDIAN = 1.4826  # standard deviations in a median absolute one
WHITE, WHITE_WINDOWS = 0.102, 60  # what white noise scatters (simulation), counts as so many windows seen before
SURE = 2  # blocks in a row: half a second on
SCALE_MIN = 6  # windows from which the usual square is taken, 1 min
LEARN_MIN, LEARN_MAX = 12, 60  # windows: 2 min before anything is said, 10 min looked back
STILL = 4.0  # sums squared: a channel that moved no more than this tells nothing of its noise
OTHER_SQUARE, OTHER_LAG = 2.0, 0.2  # by what ratio, and by how much, the channel is another one and learned anew
WORDS = "gas channel has gone quiet: its noise collapsed, a live cell's does not"


class NoiseWatch:
    """Follows the noise of one channel."""

    def __init__(self) -> None:
        self._n = self._in_window = 0
        self._centre: float | None = None  # the mean of the window before; sums are taken from here
        self._before = self._last = 0.0  # the sample before the window, and the newest
        self._x = self._xx = self._xy = 0.0  # of the window
        self._cut_squares = 0.0  # of the block
        self._blocks: deque[float] = deque(maxlen=BLOCKS)
        self._plain: deque[tuple[float, float, float]] = deque(maxlen=LEARN_MAX)  # see _end_window
        self._windows: deque[float] = deque(maxlen=LEARN_MAX)  # of cut squares
        self._lag = 0.0
        self._square = 0.0  # the usual one of what is left of a sample; 0 while it is not known
        self._cut = inf
        self._collapsed = 0.0  # sum of cut squares under which it has
        self._quiet = 0
        self._why: str | None = None

    def feed(self, gas_sum: int) -> str | None:
        """Take one sample; give the fault in words while there is one."""
        if self._centre is None:
            self._centre = float(gas_sum)
        x, last = gas_sum - self._centre, self._last
        left = x - self._lag * last
        square = left * left
        self._cut_squares += square if square < self._cut else self._cut
        self._x += x
        self._xx += x * x
        self._xy += x * last
        self._last = x
        self._n += 1
        if self._n >= BLOCK:
            self._end_block()
        return self._why

    def _end_block(self) -> None:
        blocks = self._blocks
        blocks.append(self._cut_squares)
        self._n = 0
        self._cut_squares = 0.0
        total = sum(blocks)
        quiet = len(blocks) == BLOCKS and total < self._collapsed
        self._quiet = self._quiet + 1 if quiet else 0
        self._why = WORDS if self._quiet >= SURE else None
        self._in_window += 1
        if self._in_window >= BLOCKS:
            self._end_window(total, quiet)

    def _end_window(self, total: float, quiet: bool) -> None:
        """Learn its variance, that of the 100 samples one earlier, the covariance of the two, and its cut squares."""
        n, before, last = BLOCK * BLOCKS, self._before, self._last
        mean, mean_before = self._x / n, (self._x - last + before) / n
        xx_before = (self._xx - last * last + before * before) / n
        window = self._xx / n - mean * mean, xx_before - mean_before * mean_before, self._xy / n - mean * mean_before
        self._centre = (self._centre or 0.0) + mean
        self._before = self._last = last - mean
        self._x = self._xx = self._xy = 0.0
        self._in_window = 0
        if quiet:
            return
        self._plain.append(window)
        if self._square > 0.0 and total > 0.0:  # a sum that stands still has no logarithm
            self._windows.append(total)
        self._learn()

    def _learn(self) -> None:
        plain, windows = self._plain, self._windows
        if len(plain) < SCALE_MIN:
            return
        # Medians: a leak's rise or a spike swells few windows.
        moves = median(w[0] for w in plain) >= STILL
        lag = min(max(median(w[2] / w[0] if w[0] > 0.0 else 0.0 for w in plain), 0.0), 0.98)
        square = median(w[0] + lag * lag * w[1] - 2.0 * lag * w[2] for w in plain) if moves else 0.0
        ratio = square / self._square if self._square > 0.0 else inf
        if not 1.0 / OTHER_SQUARE < ratio < OTHER_SQUARE or abs(lag - self._lag) > OTHER_LAG:
            self._lag, self._square, self._cut = lag, square, CUT * square if square > 0.0 else inf
            self._collapsed = 0.0
            self._blocks.clear()
            windows.clear()
        elif len(windows) >= LEARN_MIN - SCALE_MIN:
            usual = median(windows)
            seen = NORMAL_PER_MEDIAN * median(abs(log(w / usual)) for w in windows)
            deviation = (WHITE_WINDOWS * WHITE + len(windows) * seen) / (WHITE_WINDOWS + len(windows))
            part = max(min(COLLAPSED, exp(-DEVIATIONS * deviation)), COLLAPSED_MIN)
            self._collapsed = part * usual
