"""What one person is to be told, and when: pure, time as an argument.

Promise: an alarm that waits for an acknowledgement is told, and told again every `repeat_s` until nothing waits; a
flood is one message and not a hundred; that watching has ended is told whoever ended it. A letter speaks of what is
so when it is written, so one that could not be delivered is replaced by a newer one, and nothing is forgotten: only
what has been delivered counts as told.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from enum import Enum
from typing import NamedTuple

from monitor.core.catalogue import CATALOGUE
from monitor.core.events import AlarmState, Priority
from monitor.terms import Route

GATHER_S = 2.0  # alarms come in company: wait this long for the others before writing
GAP_HIGH_S, GAP_S = 10.0, 60.0  # the least time between letters with news, by the worst of it
FLOOD, FLOOD_S, FLOOD_GAP_S = 5, 600.0, 120.0  # after so many letters in so long, the time between them is this
RETRY_S = (1.0, 3.0, 10.0, 60.0)  # after a letter that could not be delivered; the last for ever
SILENT_S = 15.0  # the monitor speaks each second: fifteen missing are no hiccup
TELL_END_FOR_S = 600.0  # how long to try to tell that watching has ended
LISTED = 6  # alarms spelled out in one letter; the rest are counted

WAITS = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED, AlarmState.LATCHED_UNACKNOWLEDGED})
_RANK = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


class Standing(NamedTuple):
    """An alarm that is not normal. `since_s` is of the run's own time, which no setting of a clock moves."""

    tag: str
    priority: Priority
    state: AlarmState
    since_s: float
    detail: str


class Scene(NamedTuple):
    """All that the messenger knows. `heard_s` is when the monitor last spoke, by the messenger's own clock.

    `start_utc_s` is the Unix time of the run's second nought, as its computer's clock has it now. `ended` is what a
    person's ending of the watching was told as; `cut` that the monitor went without a word.
    """

    bench: str
    title: str
    route: Route
    alarms: tuple[Standing, ...] = ()
    heard_s: float = 0.0
    start_utc_s: float = 0.0
    ended: str | None = None
    cut: bool = False

    def unwatched(self, now_s: float) -> bool:
        """Whether nobody watches any more, though nobody said so."""
        return self.ended is None and (self.cut or now_s - self.heard_s > SILENT_S)


class Kind(Enum):
    """What a letter is about; the values go into its title."""

    BEGUN = "watched from now"
    NEWS = "alarm"
    STILL = "still waiting"
    OVER = "nothing waits"
    ENDED = "watching was ended"
    UNWATCHED = "NOBODY WATCHES"
    AGAIN = "watched again"
    TRIAL = "a trial message"


class Letter(NamedTuple):
    """A message; `worst` is the highest priority in it, None where it tells of no alarm."""

    kind: Kind
    title: str
    body: str
    worst: Priority | None = None
    told: frozenset[tuple[str, float]] = frozenset()  # the alarms in it: tag and when each began


class Teller:
    """The state of telling one person. Call `next`, deliver what it gives, and say how it went."""

    def __init__(self, lowest: Priority, repeat_s: float, clock_time: Callable[[float], str]) -> None:
        """`lowest` is the lowest priority that is told; `clock_time` gives the reader's time of day of Unix time."""
        self._lowest, self._repeat_s, self._clock_time = _RANK[lowest], repeat_s, clock_time
        self._told: frozenset[tuple[str, float]] = frozenset()
        self._fresh_since_s: float | None = None
        self._last_s = float("-inf")  # the last letter about alarms
        self._recent: deque[float] = deque(maxlen=FLOOD)  # of the letters about alarms
        self._retry_at_s = float("-inf")
        self._failures = 0
        self._begun = self._unwatched = self._open = self._done = False
        self._lost_since_s: float | None = None

    @property
    def failures(self) -> int:
        """How many deliveries have failed since the last that did not."""
        return self._failures

    @property
    def done(self) -> bool:
        """Whether there is nothing left to tell, ever."""
        return self._done

    def next(self, now_s: float, scene: Scene) -> Letter | None:
        """The letter that is due now, if one is."""
        letter = self._next(now_s, scene)
        return letter if now_s >= self._retry_at_s and not self._done else None

    def _next(self, now_s: float, scene: Scene) -> Letter | None:
        over = scene.cut or scene.ended is not None
        if over:
            self._lost_since_s = now_s if self._lost_since_s is None else self._lost_since_s
            if now_s - self._lost_since_s > TELL_END_FOR_S:
                self._done = True
        waiting = self._waiting(scene)
        if scene.ended is not None:
            return self._letter(Kind.ENDED, scene, waiting, scene.ended)
        if scene.unwatched(now_s):
            self._done = self._done or (scene.cut and self._unwatched)
            return None if self._unwatched else self._letter(Kind.UNWATCHED, scene, waiting, _UNWATCHED)
        if self._unwatched:
            return self._letter(Kind.AGAIN, scene, waiting, "The monitor speaks again.")
        fresh = [a for a in waiting if (a.tag, a.since_s) not in self._told]
        if fresh:
            self._fresh_since_s = now_s if self._fresh_since_s is None else self._fresh_since_s
            if now_s < max(self._fresh_since_s + GATHER_S, self._last_s + self._gap_s(now_s, fresh[0].priority)):
                return None
            return self._letter(Kind.NEWS, scene, [*fresh, *(a for a in waiting if a not in fresh)], "")
        self._fresh_since_s = None
        if not self._begun:
            return self._letter(Kind.BEGUN, scene, waiting, "Messages about its alarms come here.")
        if waiting and now_s >= self._last_s + self._repeat_s:
            return self._letter(Kind.STILL, scene, waiting, "")
        if self._open and not waiting and now_s >= self._last_s + GAP_HIGH_S:
            return self._letter(Kind.OVER, scene, waiting, _over(scene))
        return None

    def delivered(self, letter: Letter, now_s: float) -> None:
        """The letter has gone out."""
        self._failures, self._retry_at_s = 0, float("-inf")
        self._begun = True
        self._unwatched = letter.kind is Kind.UNWATCHED
        self._told, self._open = letter.told, bool(letter.told)
        self._fresh_since_s = None
        if letter.told or letter.kind is Kind.OVER:
            self._last_s = now_s
            self._recent.append(now_s)
        self._done = letter.kind is Kind.ENDED

    def failed(self, now_s: float) -> None:
        """The letter could not be delivered: what it said is still to be told."""
        self._retry_at_s = now_s + RETRY_S[min(self._failures, len(RETRY_S) - 1)]
        self._failures += 1

    def _gap_s(self, now_s: float, worst: Priority) -> float:
        if len(self._recent) == FLOOD and now_s - self._recent[0] < FLOOD_S:
            return FLOOD_GAP_S
        return GAP_HIGH_S if worst is Priority.HIGH else GAP_S

    def _waiting(self, scene: Scene) -> list[Standing]:
        """The alarms that wait for an acknowledgement, worst first, then oldest."""
        found = [a for a in scene.alarms if a.state in WAITS and _RANK[a.priority] <= self._lowest]
        return sorted(found, key=lambda a: (_RANK[a.priority], a.since_s, a.tag))

    def _letter(self, kind: Kind, scene: Scene, alarms: list[Standing], words: str) -> Letter:
        worst = alarms[0] if alarms else None
        title = f"{scene.bench}: {kind.value}"
        if worst is not None and kind in (Kind.NEWS, Kind.STILL):
            title = f"{scene.bench}: {worst.priority.value} {kind.value}, {CATALOGUE[worst.tag].title}"
        parts = [words] if words else []
        parts += [self._spelled(a, scene) for a in alarms[:LISTED]]
        if len(alarms) > LISTED:
            parts.append(f"And {len(alarms) - LISTED} more.")
        if alarms and kind in (Kind.NEWS, Kind.STILL):
            parts.append(
                f"Acknowledge at the bench or on its page; until then this comes again every "
                f"{self._repeat_s / 60.0:g} min."
            )
        parts.append(f"Run: {scene.title}. so2bench is an aid, not a safety system.")
        told = frozenset((a.tag, a.since_s) for a in alarms)
        return Letter(kind, title, "\n".join(parts), worst.priority if worst is not None else None, told)

    def _spelled(self, a: Standing, scene: Scene) -> str:
        kind = CATALOGUE[a.tag]
        gone = "" if a.state is AlarmState.UNACKNOWLEDGED else " (gone since, not acknowledged)"
        since = self._clock_time(scene.start_utc_s + a.since_s)
        return (
            f"{a.priority.value.upper()} {a.tag} since {since}: {kind.title}{gone}. "
            f"Seen: {a.detail}. {kind.consequence} Do: {kind.response(scene.route)} "
            f"Time to respond: {kind.time_to_respond}."
        )


_UNWATCHED = (
    "The monitor has stopped without a word: nobody watches the bench any more. Without it the board takes the "
    "permit away by itself within 3 s. Go and look; if you cannot, call somebody who can."
)


def trial(bench: str) -> Letter:
    """The letter that shows that messages arrive."""
    return Letter(
        Kind.TRIAL,
        f"{bench}: {Kind.TRIAL.value}",
        "If you read this, messages about alarms reach you.",
    )


def _over(scene: Scene) -> str:
    stand = [a.tag for a in scene.alarms if a.state is AlarmState.ACKNOWLEDGED]
    return "Every alarm has been acknowledged." + (f" These still stand: {', '.join(stand)}." if stand else "")
