"""How loud a bench is: not heard from above every alarm, then alarms by priority, what waits for somebody first.

Promise: every bench has exactly one level at every moment; the order of benches is total and depends on nothing but
what they said and how long ago that was.
"""

from __future__ import annotations

import re
from enum import IntEnum

from monitor.benches.said import Alarm
from monitor.core.catalogue import CATALOGUE
from monitor.core.events import AlarmState, Priority


class Level(IntEnum):
    """Loudest first."""

    NOT_HEARD = 0
    HIGH_WAITING = 1
    HIGH = 2
    MEDIUM_WAITING = 3
    MEDIUM = 4
    LOW_WAITING = 5
    LOW = 6
    QUIET = 7
    ENDED = 8  # in good order: nobody watches, and nothing goes on


WORDS: dict[Level, str] = {
    Level.NOT_HEARD: "not heard from",
    Level.HIGH_WAITING: "high alarm, not acknowledged",
    Level.HIGH: "high alarm, acknowledged",
    Level.MEDIUM_WAITING: "medium alarm, not acknowledged",
    Level.MEDIUM: "medium alarm, acknowledged",
    Level.LOW_WAITING: "low alarm, not acknowledged",
    Level.LOW: "low alarm, acknowledged",
    Level.QUIET: "no alarm",
    Level.ENDED: "watching ended",
}

_S = AlarmState
WAITING = frozenset({_S.UNACKNOWLEDGED, _S.RETURNED_UNACKNOWLEDGED, _S.LATCHED_UNACKNOWLEDGED})
STANDS = frozenset({_S.UNACKNOWLEDGED, _S.ACKNOWLEDGED})
_ASIDE = frozenset({_S.NORMAL, _S.SHELVED, _S.SUPPRESSED, _S.OUT_OF_SERVICE})  # these call for nobody
_RANK = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}
_SEVERITY = {tag: place for place, tag in enumerate(CATALOGUE)}  # the catalogue begins with what harms most
_LEVEL = {
    (Priority.HIGH, True): Level.HIGH_WAITING,
    (Priority.HIGH, False): Level.HIGH,
    (Priority.MEDIUM, True): Level.MEDIUM_WAITING,
    (Priority.MEDIUM, False): Level.MEDIUM,
    (Priority.LOW, True): Level.LOW_WAITING,
    (Priority.LOW, False): Level.LOW,
}


def alarm_key(alarm: Alarm) -> tuple[int, bool, bool, int, str]:
    """Sorts alarms of one bench, worst first. A tag that is not known here comes after those that are."""
    return (
        _RANK[alarm.priority],
        alarm.state not in WAITING,
        alarm.state not in STANDS,
        severity(alarm.tag),
        alarm.tag,
    )


def severity(tag: str) -> int:
    """The place of an alarm in the catalogue."""
    return _SEVERITY.get(tag, len(_SEVERITY))


def calls(alarm: Alarm) -> bool:
    """Whether it wants somebody; not if it was set aside."""
    return alarm.state not in _ASIDE


def level_of_alarm(alarm: Alarm) -> Level:
    """How loud a bench is whose worst alarm this is."""
    return _LEVEL[alarm.priority, alarm.state in WAITING]


def name_key(name: str) -> tuple[tuple[tuple[bool, int, str], ...], str]:
    """Sorts names as a person counts: hood-2 before hood-10."""
    parts = re.findall(r"\d+|\D+", name)
    return tuple((not p.isdigit(), int(p) if p.isdigit() else 0, p) for p in parts), name
