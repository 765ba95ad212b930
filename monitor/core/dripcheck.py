"""Whether the drop counter counts each drop once, judged by the times between drops.

Promise: a change of the drip rate, however sudden, is no fault: a fault shows as short or long intervals scattered
among ordinary ones, again and again. It knows the board's times of drops and nothing of amounts.

Missed drops make gaps that lie at multiples of the ordinary interval; an unsteady tap makes gaps of any length. Each
interval is taken relative to its neighbours, and the newest of them are judged by the likelihood ratio of the two
stories, each with the scatter that suits it best, from whichever interval on it is the greatest (a fault begins in
midst of a run). How likely a gap is beforehand under each is an assumption, tried on simulated taps: see
`tests/benchmarks/bench_drip.py`.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from monitor.core.frames import SampleFrame

DOUBLE_SPAN_S = 60.0  # alarm table
MISSED_SPAN_S = 120.0  # alarm table; so long it stands after the newest sign
SHORT = 0.25  # of both neighbours: the second edge of one drop comes at once, the next drop in its own time
DOUBLES_MIN = 3
TOGETHER_S = 0.05  # between two drops that one sample tells of, or half of the time since the one before

BEFORE, AFTER = 5, 3  # intervals on either side that one is compared with
NEAR = 3  # of those before: an ordinary one must be among them, and one after, else the rate has changed
ORDINARY = 1.4  # times the usual interval at most
GAP, GAP_MAX = 1.5, 4.6  # times the usual interval; what is longer was a shut tap
RUN_MAX = 2  # gaps on end that count; more are a slower drip
GAPS_MIN, JUDGED_MIN, JUDGED_MAX = 2, 6, 60  # intervals
SURE = 5.5  # logarithm of the likelihood ratio
MULTIPLES = ((2.0, 0.65), (3.0, 0.25), (4.0, 0.10))  # and how often each, with 1 drop in 3 missed
STEADY = np.array([0.03, 0.045, 0.065, 0.09, 0.13, 0.18])  # relative scatter of intervals between counted drops
UNSTEADY = np.append(STEADY, [0.25, 0.35, 0.5])
MISSED_PARTS = (0.15, 0.3, 0.45)  # of the intervals that hold a missed drop
HICCUP = 0.005  # of an honest counter's intervals: long for a reason of the tap's own, of any length up to GAP_MAX
STRAY = 0.002  # of a blind counter's, besides
USUAL_U = 1.12  # scatter against a usual interval that is itself taken from a few
_ANY = 0.25  # density of a length that may be anything from 0.6 to 4.6
_ROOT_2PI = 2.5066
_WRAP = 1 << 32  # milliseconds

_Array = NDArray[np.float64]


class DripCheck:
    """Follows the intervals between drops."""

    def __init__(self) -> None:
        self._boot = -1
        self._drop_ms: int | None = None  # of the newest drop, when the one after it can be timed
        self._intervals_s: deque[float] = deque(maxlen=BEFORE + 1 + AFTER)
        self._doubles: deque[float] = deque(maxlen=64)  # run seconds; more than enough to say so
        self._ratios: deque[float] = deque(maxlen=JUDGED_MAX)  # to the usual interval
        self._run = 0  # gaps on end
        self._missed: tuple[float, str] | None = None  # run second of the newest sign, and its words

    def feed(self, t_s: float, frame: SampleFrame, new_drops: int, missing: int) -> None:
        """Take a sample with new drops; `missing` samples were lost before it."""
        if new_drops <= 0:
            return
        last_ms = self._drop_ms if frame.boot == self._boot else None
        self._boot, self._drop_ms = frame.boot, frame.drop_ms
        if last_ms is None or new_drops > 2 or (new_drops == 2 and missing):
            self._intervals_s.clear()
            return
        since_s = ((frame.drop_ms - last_ms) % _WRAP) * 0.001
        if since_s <= 0.0:  # a board that does not time its drops tells nothing of their intervals
            self._intervals_s.clear()
            return
        if new_drops == 2:
            between_s = min(TOGETHER_S, 0.5 * since_s)
            self._interval(t_s, since_s - between_s)
            since_s = between_s
        self._interval(t_s, since_s)

    def _interval(self, t_s: float, newest_s: float) -> None:
        intervals = self._intervals_s
        intervals.append(newest_s)
        if len(intervals) >= 3 and intervals[-2] < SHORT * min(intervals[-3], newest_s):
            self._doubles.append(t_s)
        if len(intervals) == BEFORE + 1 + AFTER:
            self._look_for_a_gap(t_s, list(intervals))

    def _look_for_a_gap(self, t_s: float, intervals: list[float]) -> None:
        here_s = intervals[BEFORE]
        others = sorted(intervals[:BEFORE] + intervals[BEFORE + 1 :])
        usual_s = 0.5 * (others[2] + others[3])  # of eight, under the middle: up to half of them may be gaps
        if not GAP - 1.0 < here_s / usual_s < GAP_MAX:
            self._run = 0
            return
        ratio = here_s / usual_s
        if ratio < GAP:
            self._run = 0
            self._ratios.append(ratio)
            return
        self._run += 1
        ordinary_s = ORDINARY * usual_s
        between = min(intervals[BEFORE - NEAR : BEFORE]) <= ordinary_s >= min(intervals[BEFORE + 1 :])
        if self._run > RUN_MAX or not between:
            return
        self._ratios.append(ratio)
        gaps, judged = sum(r >= GAP for r in self._ratios), len(self._ratios)
        if GAPS_MIN <= gaps < judged >= JUDGED_MIN:  # among gaps alone none is ordinary
            self._judge(t_s)

    def _judge(self, t_s: float) -> None:
        ratios = np.array(self._ratios)[::-1]
        gain = log_likelihood_ratios(ratios / np.median(ratios[ratios < GAP]))
        gain[: JUDGED_MIN - 1] = 0.0
        best = int(gain.argmax())
        if gain[best] >= SURE:
            gaps = int((ratios[: best + 1] >= GAP).sum())
            self._missed = (
                t_s,
                f"drops missed: {gaps} of the last {best + 1} waits for a drop were two or more intervals long",
            )

    def counted_twice(self, t_s: float) -> bool:
        """Whether second edges are counted as drops at run second `t_s`."""
        doubles = self._doubles
        while doubles and doubles[0] < t_s - DOUBLE_SPAN_S:
            doubles.popleft()
        return len(doubles) >= DOUBLES_MIN

    def words(self, t_s: float) -> str | None:
        """What is wrong with the counting at run second `t_s`, or None."""
        if self.counted_twice(t_s):
            return f"drops counted twice: {len(self._doubles)} times in the last minute a second one came at once"
        if self._missed is not None and t_s - self._missed[0] < MISSED_SPAN_S:
            return self._missed[1]
        return None


def log_likelihood_ratios(ratios: _Array) -> _Array:
    """Of "drops are missed" over "the tap is unsteady", for the first 1, 2, 3 … of `ratios` to the usual interval."""
    column = ratios[:, np.newaxis]
    symmetric = _normal(column, 1.0, USUAL_U * UNSTEADY)
    skew = _normal(np.log(column), 0.0, USUAL_U * UNSTEADY) / column
    honest = np.maximum(_best(HICCUP, symmetric, _ANY), _best(HICCUP, skew, _ANY))
    single = _normal(column, 1.0, USUAL_U * STEADY)
    # A gap is the sum of so many intervals, taken over a usual one that errs by about a third of the scatter.
    gaps = sum(part * _normal(column, n, np.sqrt(n + 0.2 * n * n) * STEADY) for n, part in MULTIPLES)
    blind = [_best(part, single, gaps + STRAY * _ANY / part) for part in MISSED_PARTS]
    gain: _Array = np.maximum.reduce(blind) - honest
    return gain


def _best(part: float, usual: _Array, other: _Array | float) -> _Array:
    """The log-likelihood of a mixture so far, row by row, under the scatter that suits it best."""
    total: _Array = np.log((1.0 - part) * usual + part * other).cumsum(axis=0).max(axis=1)
    return total


def _normal(x: _Array, mean: float, deviation: _Array) -> _Array:
    density: _Array = np.exp(-0.5 * ((x - mean) / deviation) ** 2) / (deviation * _ROOT_2PI)
    return density
