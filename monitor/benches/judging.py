"""One bench as it was heard, and what to make of it at a moment: how loud it is, and its place on the list.

Promise: a bench counts as watched only while its newest word says so and is at most 30 s old, as counted by arrival
here: clocks of other machines decide nothing. Pure; the moment is an argument.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import NamedTuple

from monitor.benches.levels import Level, level_of_alarm, name_key, severity
from monitor.benches.said import Alarm, Standing, State, Watched
from monitor.core.events import Phase, Priority

CHANGES_MAX = 20  # newest alarm changes kept for each bench; the oldest goes
WATCHED_S, STANDING_S, STATE_S = 30.0, 30.0, 10.0  # for how long a word is good (edges/MQTT.md)
_AT_REST = (Phase.GETTING_READY, Phase.CLOSED)


class Judged(NamedTuple):
    """A bench at one moment. Times `_s` by this machine's monotonic clock; None where there is none."""

    name: str
    level: Level
    why: str  # why it is not heard from, or that it ended; else empty
    heard_s: float | None  # when it last said anything, as far as that is known
    state_s: float | None
    standing_s: float | None
    clock_ahead_s: float | None  # its clock against this machine's, when its newest state came
    states_missed: int  # of the present session, by its own numbers
    changes_missed: int


@dataclass(slots=True)
class Bench:
    """What one bench said last. Times in monotonic seconds of arrival."""

    name: str
    heard_s: float | None = None
    watched: Watched | None = None
    watched_s: float = 0.0
    state: State | None = None
    state_s: float = 0.0
    clock_ahead_s: float = 0.0
    standing: Standing | None = None
    standing_s: float = 0.0
    worst: Alarm | None = None
    newest_state: tuple[str, int] = ("", 0)  # session and number
    newest_change: tuple[str, int] = ("", 0)
    states_missed: int = 0
    changes_missed: int = 0
    payloads: dict[str, bytes] = field(default_factory=dict)  # the newest `state` and `standing`, word for word
    changes: deque[bytes] = field(default_factory=lambda: deque(maxlen=CHANGES_MAX))
    key: object = field(init=False)

    def __post_init__(self) -> None:
        self.key = name_key(self.name)


def watched_now(bench: Bench, now_s: float) -> bool:
    """Whether its newest word says that it is watched, and is not too old."""
    return bench.watched is not None and bench.watched.watched and now_s - bench.watched_s <= WATCHED_S


def _judge(bench: Bench, now_s: float) -> tuple[Level, str]:
    """Level, and why there is nothing better to say."""
    word = bench.watched
    if word is None:
        return Level.NOT_HEARD, "it has not said that it is watched"
    if word.why == "ended":
        return _judge_ended(bench, word.session)
    if word.why == "stalled":
        return Level.NOT_HEARD, "its monitor has stopped working"
    if word.why == "lost":
        return Level.NOT_HEARD, "the broker has lost its monitor"
    if now_s - bench.watched_s > WATCHED_S:
        return Level.NOT_HEARD, "no word from its monitor"
    standing = bench.standing
    if standing is None or standing.session != word.session or now_s - bench.standing_s > STANDING_S:
        return Level.NOT_HEARD, "it does not say which alarms stand"
    return (Level.QUIET if bench.worst is None else level_of_alarm(bench.worst)), ""


def _judge_ended(bench: Bench, session: str) -> tuple[Level, str]:
    """An end in good order is quiet; walking away from a run, or from a high alarm, is not."""
    state, standing = bench.state, bench.standing
    if state is not None and state.session == session and state.phase not in _AT_REST:
        return Level.NOT_HEARD, f"watching was ended while {state.phase.value}"
    worst = bench.worst if standing is not None and standing.session == session else None
    if worst is not None and worst.priority is Priority.HIGH:
        return Level.NOT_HEARD, "watching was ended with a high alarm standing"
    return Level.ENDED, "in good order: nobody watches"


def order(bench: Bench, level: Level) -> tuple[Level, int, object]:
    """Within a level: who fell silent last comes first (to the minute), or who has the worst alarm; then by name."""
    if level is Level.NOT_HEARD:
        return level, -int(bench.heard_s // 60.0) if bench.heard_s is not None else 1, bench.key
    if level in (Level.QUIET, Level.ENDED) or bench.worst is None:
        return level, 0, bench.key
    return level, severity(bench.worst.tag), bench.key


def judged(bench: Bench, now_s: float) -> Judged:
    """What to make of it at that monotonic second."""
    level, why = _judge(bench, now_s)
    return Judged(
        name=bench.name,
        level=level,
        why=why,
        heard_s=bench.heard_s,
        state_s=bench.state_s if bench.state is not None else None,
        standing_s=bench.standing_s if bench.standing is not None else None,
        clock_ahead_s=bench.clock_ahead_s if bench.state is not None else None,
        states_missed=bench.states_missed,
        changes_missed=bench.changes_missed,
    )
