"""Where each sample lies in the run, and how many drops are new in it.

Promise: over lost frames, wraps of the board's millisecond counter, restarts and a board exchanged in mid-run, no
drop that a frame tells of is lost and none is counted twice; run time never goes back. It knows frames and the
second in which they arrived, and nothing of what they mean.

Why not the arrival time alone: frames wait in buffers, so arrival times bunch; the board's own clock is even but
may be off by half a percent (a ceramic resonator). The board's clock, pinned to the earliest arrivals, is both.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from monitor.core.frames import SampleFrame

CLOCK_ERROR: Final = 0.01  # relative; twice the tolerance of a ceramic resonator
BELIEVE_AFTER: Final = 20  # frames: a counter that stays behind this long (2 s) is another board, not a glitch
LATEST_S: Final = 5.0  # a frame is never taken to be older than this at its arrival
_WRAP: Final = 1 << 32  # milliseconds
_WRAP_REJECTS: Final = 1 << 16


class Place(NamedTuple):
    """A sample's place: run time, drops and rejected edges new since the one before, frames missing between them.

    `odd` is what was odd: None, "first", "restart" (a new boot number), "exchange" (the same boot number, but other
    counters) or "counter" (a count went back without a new boot number: the frame's counts are not believed).
    """

    t_s: float
    new_drops: int
    new_rejects: int
    lost: int
    odd: str | None


class Timeline:
    """Follows one bench's board, or boards, through a run."""

    def __init__(self) -> None:
        self._last: SampleFrame | None = None
        self._board_s = 0.0  # the board's milliseconds, unwrapped, since its present start was first seen
        self._offset_s = 0.0  # run time = board time + offset
        self._t_s = 0.0
        self._arrival_s = 0.0
        self._behind = 0  # frames in a row whose counters lie behind
        self._behind_first: SampleFrame | None = None

    def place(self, frame: SampleFrame, arrival_s: float) -> Place:
        """Place a frame that arrived at run second `arrival_s`."""
        last = self._last
        if last is None:
            return self._start(frame, arrival_s, 0, 0, "first")
        if frame.boot != last.boot:
            return self._start(frame, arrival_s, frame.drops, frame.rejects, "restart")
        step_ms = (frame.ms - last.ms) % _WRAP
        if frame.drops < last.drops or frame.seq <= last.seq or step_ms >= _WRAP >> 1:
            return self._suspect(frame, arrival_s)
        self._behind = 0
        self._behind_first = None
        self._board_s += step_ms * 0.001
        self._offset_s = min(self._offset_s + CLOCK_ERROR * (arrival_s - self._arrival_s), arrival_s - self._board_s)
        self._arrival_s = arrival_s
        self._last = frame
        t_s = min(self._board_s + self._offset_s, arrival_s)  # rounding must not put it after its arrival
        self._t_s = max(self._t_s, t_s, arrival_s - LATEST_S)
        rejects = (frame.rejects - last.rejects) % _WRAP_REJECTS
        return Place(self._t_s, frame.drops - last.drops, rejects, frame.seq - last.seq - 1, None)

    def _start(self, frame: SampleFrame, arrival_s: float, new_drops: int, new_rejects: int, odd: str) -> Place:
        self._last = frame
        self._board_s = 0.0
        self._offset_s = arrival_s
        self._arrival_s = arrival_s
        self._t_s = max(self._t_s, arrival_s)
        self._behind = 0
        self._behind_first = None
        return Place(self._t_s, new_drops, new_rejects, 0, odd)

    def _suspect(self, frame: SampleFrame, arrival_s: float) -> Place:
        """A counter went back. Once may be a glitch; for two seconds on end it is another board."""
        first = self._behind_first
        if first is None or frame.seq <= first.seq + self._behind - 1 or frame.drops < first.drops:
            self._behind_first = first = frame
            self._behind = 0
        self._behind += 1
        if self._behind >= BELIEVE_AFTER:
            rejects = (frame.rejects - first.rejects) % _WRAP_REJECTS
            return self._start(frame, arrival_s, frame.drops - first.drops, rejects, "exchange")
        self._t_s = max(self._t_s, arrival_s)
        return Place(self._t_s, 0, 0, 0, "counter")
