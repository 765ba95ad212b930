"""How the alarms did: how many, how crowded, how long they stood and waited, beside the published figures.

Promise: a pure function of the changes it is given, in memory that does not grow with the run. An alarm is counted
each time it goes to unacknowledged. It chatters if it is raised three times or more within a minute (ISA-18.2's usual
measure). It stands while its condition does, and waits until it is first acknowledged.

The published figures are from memory of EEMUA 191 and ISA-18.2: on average under 1 alarm in 10 minutes, over 10 in 10
minutes is a flood, priorities about 5, 15 and 80 %. They are for an operator's whole shift; a run of an hour at one
bench gives few alarms, and the shares then say little.
"""

from __future__ import annotations

from collections import Counter, deque
from typing import NamedTuple

from monitor.core.events import AlarmChanged, AlarmState, Priority

WINDOW_S = 600.0
CHATTER_TIMES, CHATTER_S = 3, 60.0
MEAN_MAX_PER_10_MIN, FLOOD_PER_10_MIN = 1.0, 10
PUBLISHED_SHARES = {Priority.HIGH: 0.05, Priority.MEDIUM: 0.15, Priority.LOW: 0.80}
_STANDING = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED})


class Figures(NamedTuple):
    """The figures of a run. Times in seconds; `mean_per_10_min` counts a run shorter than that as ten minutes."""

    raised: int
    by_priority: dict[str, int]
    by_tag: dict[str, int]
    mean_per_10_min: float
    most_in_10_min: int
    standing_s: dict[str, float]
    acknowledged: int
    never_acknowledged: int
    mean_to_acknowledge_s: float | None
    longest_to_acknowledge_s: float | None
    chattering: tuple[str, ...]


class Performance:
    """Follows the changes of one run's alarms."""

    def __init__(self) -> None:
        self._tags: Counter[str] = Counter()
        self._priorities: Counter[str] = Counter()
        self._window: deque[float] = deque()  # seconds of the alarms of ten minutes
        self._most = 0
        self._newest: dict[str, deque[float]] = {}
        self._chattering: set[str] = set()
        self._since: dict[str, float] = {}  # tags that stand
        self._standing_s: dict[str, float] = {}
        self._waiting: dict[str, float] = {}  # tags that nobody acknowledged yet
        self._acknowledged, self._waited_s, self._longest_s = 0, 0.0, 0.0

    def add(self, change: AlarmChanged) -> None:
        """Take a change."""
        tag, t_s = change.tag, change.t_s
        if change.after is AlarmState.UNACKNOWLEDGED:
            self._raise(tag, t_s, change.priority)
        if change.after in _STANDING:
            self._since.setdefault(tag, t_s)
        elif tag in self._since:
            self._standing_s[tag] = self._standing_s.get(tag, 0.0) + t_s - self._since.pop(tag)
        if change.cause == "acknowledged" and tag in self._waiting:
            waited_s = t_s - self._waiting.pop(tag)
            self._acknowledged += 1
            self._waited_s += waited_s
            self._longest_s = max(self._longest_s, waited_s)

    def _raise(self, tag: str, t_s: float, priority: Priority) -> None:
        self._tags[tag] += 1
        self._priorities[priority.value] += 1
        self._waiting.setdefault(tag, t_s)
        window = self._window
        window.append(t_s)
        while window[0] <= t_s - WINDOW_S:
            window.popleft()
        self._most = max(self._most, len(window))
        newest = self._newest.setdefault(tag, deque(maxlen=CHATTER_TIMES))
        newest.append(t_s)
        if len(newest) == CHATTER_TIMES and t_s - newest[0] <= CHATTER_S:
            self._chattering.add(tag)

    def figures(self, duration_s: float) -> Figures:
        """The figures after so long a run; an alarm that still stands has stood until now."""
        standing_s = dict(self._standing_s)
        for tag, since_s in self._since.items():
            standing_s[tag] = standing_s.get(tag, 0.0) + duration_s - since_s
        raised, acknowledged = sum(self._tags.values()), self._acknowledged
        return Figures(
            raised=raised,
            by_priority={p.value: self._priorities[p.value] for p in Priority},
            by_tag=dict(sorted(self._tags.items())),
            mean_per_10_min=raised * WINDOW_S / max(duration_s, WINDOW_S),
            most_in_10_min=self._most,
            standing_s=dict(sorted(standing_s.items())),
            acknowledged=acknowledged,
            never_acknowledged=len(self._waiting),
            mean_to_acknowledge_s=self._waited_s / acknowledged if acknowledged else None,
            longest_to_acknowledge_s=self._longest_s if acknowledged else None,
            chattering=tuple(sorted(self._chattering)),
        )


def performance_lines(f: Figures) -> list[str]:
    """The figures as plain lines, each with the published one beside it where there is one."""
    lines = [
        f"{f.raised} alarms, {f.mean_per_10_min:.2f} in 10 minutes on average (published: under "
        f"{MEAN_MAX_PER_10_MIN:g}), at most {f.most_in_10_min} (over {FLOOD_PER_10_MIN} is a flood)"
    ]
    if f.raised:
        shares = ", ".join(
            f"{p.value} {f.by_priority[p.value]} = {f.by_priority[p.value] / f.raised:.0%} ({share:.0%})"
            for p, share in PUBLISHED_SHARES.items()
        )
        lines.append(f"priorities (published): {shares}")
        tag, stood_s = max(f.standing_s.items(), key=lambda item: item[1])
        lines.append(f"longest standing: {tag}, {stood_s:.0f} s")
        if f.mean_to_acknowledge_s is None or f.longest_to_acknowledge_s is None:
            lines.append("none was acknowledged")
        else:
            lines.append(
                f"{f.acknowledged} acknowledged, after {f.mean_to_acknowledge_s:.0f} s on average and "
                f"{f.longest_to_acknowledge_s:.0f} s at most; {f.never_acknowledged} never"
            )
        if f.chattering:
            lines.append(f"chattering (three times in a minute): {', '.join(f.chattering)}")
    return lines
