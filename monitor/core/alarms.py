"""The life cycle of an alarm: one table, total over every state and input, and the book that keeps all alarms.

States and inputs are those of ISA-18.2-2016 / IEC 62682. The table is the rule; the book only applies delays,
refuses what the standard's words do not allow, and says what changed. It knows conditions (true or false) by tag,
and nothing of how they were found.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import Enum
from typing import Literal

from monitor.core.catalogue import CATALOGUE, AlarmKind
from monitor.core.events import AlarmChanged, AlarmState, Instant, Priority, StandingAlarm
from monitor.core.performance import Performance

S = AlarmState
MAX_SHELVE_MIN = 8 * 60.0  # one shift


class Input(Enum):
    """What can happen to an alarm."""

    TRUE = "condition true"
    FALSE = "condition false"
    ACKNOWLEDGE = "acknowledged"
    RESET = "reset"
    SHELVE = "shelved"
    UNSHELVE = "unshelved"
    SUPPRESS = "suppressed"
    UNSUPPRESS = "unsuppressed"
    REMOVE = "taken out of service"
    RETURN = "returned to service"


@dataclass(frozen=True, slots=True)
class Fork:
    """A cell that depends on one fact: whether the alarm latches, its condition is true, it is to be suppressed."""

    on: Literal["latches", "true", "suppressed"]
    yes: AlarmState
    no: AlarmState | Fork


_LATCH_UNACK = Fork("latches", S.LATCHED_UNACKNOWLEDGED, S.RETURNED_UNACKNOWLEDGED)
_LATCH_ACK = Fork("latches", S.LATCHED_ACKNOWLEDGED, S.NORMAL)
_BACK = Fork("true", S.UNACKNOWLEDGED, S.NORMAL)
_BACK_IN_SERVICE = Fork("suppressed", S.SUPPRESSED, _BACK)

_Cell = AlarmState | Fork


def _row(stay: AlarmState, **cells: _Cell) -> dict[Input, _Cell]:
    """A row in which every input not named leaves the state as it is."""
    row: dict[Input, _Cell] = dict.fromkeys(Input, stay)
    row.update({Input[name]: cell for name, cell in cells.items()})
    return row


_ASIDE: dict[str, _Cell] = {"SHELVE": S.SHELVED, "SUPPRESS": S.SUPPRESSED, "REMOVE": S.OUT_OF_SERVICE}

# In the three states in which an alarm is set aside, its condition is still followed but changes nothing.
# Out of service outranks suppression, and suppression outranks a shelf; what is put back in service is suppressed if
# the design wants it so by then.
TABLE: dict[AlarmState, dict[Input, _Cell]] = {
    S.NORMAL: _row(S.NORMAL, TRUE=S.UNACKNOWLEDGED, **_ASIDE),
    S.UNACKNOWLEDGED: _row(S.UNACKNOWLEDGED, FALSE=_LATCH_UNACK, ACKNOWLEDGE=S.ACKNOWLEDGED, **_ASIDE),
    S.ACKNOWLEDGED: _row(S.ACKNOWLEDGED, FALSE=_LATCH_ACK, **_ASIDE),
    S.RETURNED_UNACKNOWLEDGED: _row(S.RETURNED_UNACKNOWLEDGED, TRUE=S.UNACKNOWLEDGED, ACKNOWLEDGE=S.NORMAL, **_ASIDE),
    S.LATCHED_UNACKNOWLEDGED: _row(
        S.LATCHED_UNACKNOWLEDGED,
        TRUE=S.UNACKNOWLEDGED,
        ACKNOWLEDGE=S.LATCHED_ACKNOWLEDGED,
        RESET=S.RETURNED_UNACKNOWLEDGED,
        **_ASIDE,
    ),
    S.LATCHED_ACKNOWLEDGED: _row(S.LATCHED_ACKNOWLEDGED, TRUE=S.UNACKNOWLEDGED, RESET=S.NORMAL, **_ASIDE),
    S.SHELVED: _row(S.SHELVED, UNSHELVE=_BACK, SUPPRESS=S.SUPPRESSED, REMOVE=S.OUT_OF_SERVICE),
    S.SUPPRESSED: _row(S.SUPPRESSED, UNSUPPRESS=_BACK, REMOVE=S.OUT_OF_SERVICE),
    S.OUT_OF_SERVICE: _row(S.OUT_OF_SERVICE, RETURN=_BACK_IN_SERVICE),
}

STANDING = frozenset({S.UNACKNOWLEDGED, S.ACKNOWLEDGED})  # its condition is true
LATCHED = frozenset({S.LATCHED_UNACKNOWLEDGED, S.LATCHED_ACKNOWLEDGED})
CALLING = frozenset({S.UNACKNOWLEDGED, S.RETURNED_UNACKNOWLEDGED, S.LATCHED_UNACKNOWLEDGED})
SET_ASIDE = frozenset({S.SHELVED, S.SUPPRESSED, S.OUT_OF_SERVICE})


def next_state(state: AlarmState, what: Input, *, latches: bool, true: bool, suppressed: bool = False) -> AlarmState:
    """Look up the table. `true` is the condition as it stands with this input, `suppressed` what the design wants."""
    cell = TABLE[state][what]
    facts = {"latches": latches, "true": true, "suppressed": suppressed}
    while isinstance(cell, Fork):
        cell = cell.yes if facts[cell.on] else cell.no
    return cell


@dataclass(slots=True)
class _Line:
    """One alarm in the book."""

    kind: AlarmKind
    on_delay_s: float
    off_delay_s: float
    state: AlarmState = S.NORMAL
    since_s: float = 0.0
    raw: bool = False  # the condition as the rules say it now
    raw_since_s: float = 0.0
    true: bool = False  # the condition past its delays
    true_since_s: float = 0.0
    detail: str = ""
    shelved_until_s: float = 0.0
    suppressed: bool = False  # the design wants it so, also while it is out of service


class RefusedError(ValueError):
    """Something asked of an alarm that its state or its priority does not allow; the message is for the asker."""


class AlarmBook:
    """All alarms of one run. `off_delay_s` replaces the catalogue's delay for the tags that it names."""

    def __init__(self, off_delay_s: dict[str, float] | None = None) -> None:
        changed = off_delay_s or {}
        self._lines = {
            tag: _Line(kind, kind.on_delay_s, changed.get(tag, kind.off_delay_s)) for tag, kind in CATALOGUE.items()
        }
        self._taking = tuple(
            (tag, line, line.kind.permit_off_after_s)
            for tag, line in self._lines.items()
            if line.kind.permit_off_after_s is not None
        )
        self._pending: set[str] = set()
        self._sounding: set[str] = set()  # high alarms that call
        self._shelved: list[_Line] = []  # some of which may have been taken off the shelf since
        self.performance = Performance()

    def state(self, tag: str) -> AlarmState:
        """The state of one alarm."""
        return self._lines[tag].state

    def condition(self, at: Instant, tag: str, raw: bool, detail: str) -> AlarmChanged | None:
        """Take a rule's word on one alarm; `detail` is kept while the condition is true."""
        line = self._lines[tag]
        if raw and detail:
            line.detail = detail
        if raw != line.raw:
            line.raw, line.raw_since_s = raw, at.mono_s
            self._pending.add(tag)
        return self._settle(at, line) if tag in self._pending else None

    def pass_time(self, at: Instant) -> Iterator[AlarmChanged]:
        """Let delays and shelves run out."""
        for tag in sorted(self._pending):
            change = self._settle(at, self._lines[tag])
            if change is not None:
                yield change
        if self._shelved:
            self._shelved = [line for line in self._lines.values() if line.state is S.SHELVED]
            for line in self._shelved:
                if at.mono_s >= line.shelved_until_s:
                    yield from self._apply(at, line, Input.UNSHELVE, "", "time up")

    def _settle(self, at: Instant, line: _Line) -> AlarmChanged | None:
        if line.raw == line.true:
            self._pending.discard(line.kind.tag)
            return None
        if at.mono_s - line.raw_since_s < (line.on_delay_s if line.raw else line.off_delay_s):
            return None
        self._pending.discard(line.kind.tag)
        line.true, line.true_since_s = line.raw, at.mono_s
        changes = list(self._apply(at, line, Input.TRUE if line.true else Input.FALSE, "", line.detail))
        return changes[0] if changes else None

    def ask(
        self, at: Instant, tag: str, what: Input, who: str, reason: str = "", minutes: float = 0.0
    ) -> Iterator[AlarmChanged]:
        """Do what a person or a phase asks of an alarm.

        Raises:
            RefusedError: the alarm is not known, or its state or priority does not allow it.
        """
        if tag == "*" and what is Input.ACKNOWLEDGE:
            return self._acknowledge_all(at, who)
        line = self._lines.get(tag)
        if line is None:
            raise RefusedError(f"no alarm is called '{tag[:40]}'")
        self._may(line, what, reason, minutes)
        if what is Input.SHELVE:
            line.shelved_until_s = at.mono_s + 60.0 * minutes
        return self._apply(at, line, what, who, reason or line.detail)

    def _acknowledge_all(self, at: Instant, who: str) -> Iterator[AlarmChanged]:
        for line in self._lines.values():
            if line.state in CALLING:
                yield from self._apply(at, line, Input.ACKNOWLEDGE, who, line.detail)

    def _may(self, line: _Line, what: Input, reason: str, minutes: float) -> None:
        tag, high = line.kind.tag, line.kind.priority is Priority.HIGH
        if what is Input.SHELVE and high:
            raise RefusedError(f"{tag} is a high alarm and cannot be shelved")
        if what in (Input.SHELVE, Input.REMOVE) and not reason.strip():
            raise RefusedError(f"{tag} needs a reason to be set aside")
        if what is Input.SHELVE and not 0.0 < minutes <= MAX_SHELVE_MIN:
            raise RefusedError(f"{tag} can be shelved for up to {MAX_SHELVE_MIN:.0f} minutes, not {minutes:g}")
        if what is Input.SHELVE and line.state in SET_ASIDE:  # the shelf's time would grow, and no change tell of it
            raise RefusedError(f"{tag} is {line.state.value} already: put it back first")
        if what is Input.RESET and line.true:
            raise RefusedError(f"{tag} cannot be reset while its cause stands: {line.detail}")
        wrong = (
            (what is Input.ACKNOWLEDGE and line.state not in CALLING)
            or (what is Input.RESET and line.state not in LATCHED)
            or (what is Input.UNSHELVE and line.state is not S.SHELVED)
            or (what is Input.RETURN and line.state is not S.OUT_OF_SERVICE)
        )
        if wrong:
            raise RefusedError(f"{tag} is {line.state.value}: nothing to be done for '{what.value}'")

    def _apply(self, at: Instant, line: _Line, what: Input, who: str, detail: str) -> Iterator[AlarmChanged]:
        before, high = line.state, line.kind.priority is Priority.HIGH
        if what in (Input.SUPPRESS, Input.UNSUPPRESS):
            line.suppressed = what is Input.SUPPRESS
        after = next_state(before, what, latches=high, true=line.true, suppressed=line.suppressed)
        if after is before:
            return
        line.state, line.since_s = after, at.mono_s
        if after is S.SHELVED:
            self._shelved.append(line)
        if high and after in CALLING:
            self._sounding.add(line.kind.tag)
        else:
            self._sounding.discard(line.kind.tag)
        change = AlarmChanged(
            at.mono_s, at.utc_s, line.kind.tag, line.kind.priority, before, after, what.value, who, detail
        )
        self.performance.add(change)
        yield change

    def standing(self) -> tuple[StandingAlarm, ...]:
        """Every alarm that is not normal and not merely suppressed: worst first, then the oldest."""
        normal, suppressed = S.NORMAL, S.SUPPRESSED
        found = [
            StandingAlarm(line.kind.tag, line.kind.priority, line.state, line.since_s, line.detail)
            for line in self._lines.values()
            if line.state is not normal and line.state is not suppressed
        ]
        if not found:
            return ()
        rank = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}
        return tuple(sorted(found, key=lambda a: (a.state not in CALLING, rank[a.priority], a.since_s)))

    def true_of(self, tags: Iterable[str]) -> tuple[str, ...]:
        """Those of the tags whose cause stands now, also where the alarm is set aside."""
        return tuple(tag for tag in tags if self._lines[tag].true)

    def against_permit(self, at: Instant) -> str | None:
        """The tag that takes the permit away now, or None."""
        for tag, line, after_s in self._taking:
            if line.true and at.mono_s - line.true_since_s >= after_s:
                return tag
        return None

    def against_asking(self) -> list[str]:
        """The tags that forbid the permit to be asked for: their cause stands, or they are latched."""
        return [tag for tag, line, _ in self._taking if line.true or line.state in LATCHED]

    def sounding(self) -> bool:
        """Whether a high alarm waits to be acknowledged."""
        return bool(self._sounding)
