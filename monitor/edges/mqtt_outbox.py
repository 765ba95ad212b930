"""What waits to be sent to the broker: put in by the bench's thread, taken out by the event loop's.

Promise: putting in never waits for a network or a disk, whatever the broker does. Alarm changes are numbered when
they come, kept in order, and leave only when the broker has them; when there is no room left, the oldest goes and
is counted, and the numbers show the gap before the next one that arrives. Of the states only the newest are kept,
and so of the answers to requests.
"""

from __future__ import annotations

import threading
from collections import deque
from typing import NamedTuple

from monitor.core.events import AlarmChanged, Answered, Event, Overview

ALARMS_MAX = 10_000  # a flood of one a second for nearly three hours; when full, the oldest is dropped and counted
STATES_MAX = 5  # seconds, as long as one answer may take; when full, the oldest is dropped and counted
ANSWERS_MAX = 100  # more than may be asked in their short life; when full, the oldest is dropped: ask again


class WaitingAlarm(NamedTuple):
    """An alarm change with its number; the first of a session is 1."""

    seq: int
    change: AlarmChanged


class WaitingState(NamedTuple):
    """An overview with its number, and how many before it were dropped unsent."""

    number: int
    overview: Overview
    dropped: int = 0


class Heard(NamedTuple):
    """The newest overview, the newest alarm number that it shows, and when it came (monotonic seconds)."""

    overview: Overview
    seq: int
    at_s: float


class Outbox:
    """Room for `alarms_max` alarm changes and `states_max` states; answers to requests that begin with `ours`."""

    def __init__(self, ours: str = "mqtt-", alarms_max: int = ALARMS_MAX, states_max: int = STATES_MAX) -> None:
        self._ours = ours
        self._alarms_max, self._states_max = alarms_max, states_max
        self._lock = threading.Lock()  # held for a few steps in memory, never over anything that can wait
        self._alarms: deque[WaitingAlarm] = deque()
        self._states: deque[WaitingState] = deque()
        self._answers: deque[Answered] = deque(maxlen=ANSWERS_MAX)
        self._seq = self._number = 0
        self._dropped = self._lost = 0
        self._heard: Heard | None = None

    def put(self, events: list[Event], now_s: float) -> bool:
        """Take in what is worth sending; says whether there was any."""
        found = False
        for e in events:
            if isinstance(e, AlarmChanged):
                self._put_alarm(e)
            elif isinstance(e, Overview):
                self._put_state(e, now_s)
            elif isinstance(e, Answered) and e.request_id.startswith(self._ours):
                self._answers.append(e)
            else:
                continue
            found = True
        return found

    def _put_alarm(self, change: AlarmChanged) -> None:
        with self._lock:
            self._seq += 1
            if len(self._alarms) == self._alarms_max:
                self._alarms.popleft()
                self._lost += 1
            self._alarms.append(WaitingAlarm(self._seq, change))

    def _put_state(self, overview: Overview, now_s: float) -> None:
        with self._lock:
            self._number += 1
            if len(self._states) == self._states_max:
                self._states.popleft()
                self._dropped += 1
            self._states.append(WaitingState(self._number, overview))
            self._heard = Heard(overview, self._seq, now_s)

    def first_alarm(self) -> WaitingAlarm | None:
        """The oldest alarm change that the broker does not have; it stays until `alarm_sent`."""
        with self._lock:
            return self._alarms[0] if self._alarms else None

    def alarm_sent(self, seq: int) -> None:
        """The broker has this one. It may have been dropped for want of room meanwhile."""
        with self._lock:
            if self._alarms and self._alarms[0].seq == seq:
                self._alarms.popleft()

    def take_state(self) -> WaitingState | None:
        """The oldest state that waits; it is not kept."""
        with self._lock:
            return self._states.popleft()._replace(dropped=self._dropped) if self._states else None

    def take_answer(self) -> Answered | None:
        """The oldest of the run's answers that waits; it is not kept."""
        try:
            return self._answers.popleft()
        except IndexError:
            return None

    @property
    def heard(self) -> Heard | None:
        """The newest word from the bench; None before the first."""
        return self._heard

    @property
    def alarms_lost(self) -> int:
        """Alarm changes dropped for want of room, in all."""
        return self._lost

    @property
    def states_dropped(self) -> int:
        """States dropped unsent, in all."""
        return self._dropped
