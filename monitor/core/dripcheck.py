"""Whether the drop counter counts each drop once, judged by the times between drops.

Promise: a change of the drip rate, however sudden, is no fault: a fault shows as short or long intervals scattered
among ordinary ones, again and again. It knows the board's times of drops and nothing of amounts.
"""

from __future__ import annotations

from collections import deque

from monitor.core.frames import SampleFrame

DOUBLE_SPAN_S = 60.0  # alarm table
MISSED_SPAN_S = 120.0  # alarm table
SHORT = 0.25  # of both neighbours: the second edge of one drop comes at once, the next drop in its own time
DOUBLES_MIN = 3
MISSED_MIN = 3  # lonely long intervals
NEAR = 0.15  # relative distance from a multiple
BETWEEN = (1.3, 1.7)  # no multiple: many of these are an unsteady tap, not a blind gate
MULTIPLE_MAX = 4
TOGETHER_S = 0.05  # between two drops that one sample tells of
_WRAP = 1 << 32  # milliseconds


def _whole(ratio: float) -> bool:
    whole = round(ratio)
    return 1 <= whole <= MULTIPLE_MAX and abs(ratio - whole) <= NEAR * whole


class DripCheck:
    """Follows the intervals between drops."""

    def __init__(self) -> None:
        self._boot = -1
        self._drop_ms: int | None = None  # of the newest drop, when the one after it can be timed
        self._before_s = self._middle_s = 0.0  # the two newest intervals
        self._doubles: deque[float] = deque(maxlen=64)  # run seconds; more than enough to say so
        self._missed: deque[float] = deque(maxlen=64)
        self._between: deque[float] = deque(maxlen=64)

    def feed(self, t_s: float, frame: SampleFrame, new_drops: int, missing: int) -> None:
        """Take a sample with new drops; `missing` samples were lost before it."""
        if new_drops <= 0:
            return
        last_ms = self._drop_ms if frame.boot == self._boot else None
        self._boot, self._drop_ms = frame.boot, frame.drop_ms
        if last_ms is None or new_drops > 2 or (new_drops == 2 and missing):
            self._before_s = self._middle_s = 0.0
            return
        since_s = ((frame.drop_ms - last_ms) % _WRAP) * 0.001
        if new_drops == 2:
            self._interval(t_s, since_s - TOGETHER_S)
            since_s = TOGETHER_S
        self._interval(t_s, since_s)

    def _interval(self, t_s: float, after_s: float) -> None:
        before_s, middle_s = self._before_s, self._middle_s
        self._before_s, self._middle_s = middle_s, after_s
        if before_s <= 0.0 or middle_s <= 0.0:
            return
        shorter_s = min(before_s, after_s)
        if middle_s < SHORT * shorter_s:
            self._doubles.append(t_s)
        ratio = middle_s / before_s
        if 2 <= round(ratio) <= MULTIPLE_MAX and _whole(ratio) and _whole(after_s / before_s):
            self._missed.append(t_s)
        elif BETWEEN[0] < ratio < BETWEEN[1]:
            self._between.append(t_s)

    @staticmethod
    def _forget(times: deque[float], before_s: float) -> None:
        while times and times[0] < before_s:
            times.popleft()

    def words(self, t_s: float) -> str | None:
        """What is wrong with the counting at run second `t_s`, or None."""
        doubles, missed, between = self._doubles, self._missed, self._between
        self._forget(doubles, t_s - DOUBLE_SPAN_S)
        self._forget(missed, t_s - MISSED_SPAN_S)
        self._forget(between, t_s - MISSED_SPAN_S)
        if len(doubles) >= DOUBLES_MIN:
            return f"drops counted twice: {len(doubles)} times in the last minute a second one came at once"
        if len(missed) >= MISSED_MIN and len(missed) > 2 * len(between):
            return f"drops missed: {len(missed)} gaps of two or more intervals among ordinary ones in two minutes"
        return None
