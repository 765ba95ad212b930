"""Standing alarms as cards: worst first, each with what is so, what to do, and how long there is."""

from __future__ import annotations

from typing import NamedTuple

from dashboards.steps import in_order
from monitor.core.catalogue import CATALOGUE
from monitor.core.events import AlarmState, Overview, Priority, StandingAlarm
from monitor.core.spans import duration
from monitor.terms import Route

S = AlarmState
RANK = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}
SIGN = {Priority.HIGH: "!!!", Priority.MEDIUM: "!!", Priority.LOW: "!"}  # as IEC 60601-1-8 marks priorities (memory)
SEVERITY = {tag: place for place, tag in enumerate(CATALOGUE)}  # the catalogue begins with what harms most
CAUSE_STANDS = frozenset({S.UNACKNOWLEDGED, S.ACKNOWLEDGED})
HELD = frozenset({S.LATCHED_UNACKNOWLEDGED, S.LATCHED_ACKNOWLEDGED})
TO_ACKNOWLEDGE = frozenset({S.UNACKNOWLEDGED, S.RETURNED_UNACKNOWLEDGED, S.LATCHED_UNACKNOWLEDGED})
SET_ASIDE = frozenset({S.SHELVED, S.OUT_OF_SERVICE})
HELD_BY_BOARD = "TRIP-LATCHED"  # its latch is the board's; a reset asks the board, so it may be asked while it stands

STATE_WORDS = {
    S.UNACKNOWLEDGED: "stands, not acknowledged",
    S.ACKNOWLEDGED: "stands, acknowledged",
    S.RETURNED_UNACKNOWLEDGED: "is over, not acknowledged",
    S.LATCHED_UNACKNOWLEDGED: "is over, held until acknowledged and reset",
    S.LATCHED_ACKNOWLEDGED: "is over, held until reset",
    S.SHELVED: "shelved",
    S.OUT_OF_SERVICE: "out of service",
}


class Card(NamedTuple):
    """One alarm as it is shown. One button at a time: what is latched is reset after it was acknowledged."""

    tag: str
    priority: Priority
    sign: str
    title: str
    state_words: str
    since: str
    detail: str
    consequence: str
    response: str
    time_to_respond: str
    stands: bool
    held: bool  # by its latch, though its cause is gone
    to_acknowledge: bool
    can_acknowledge: bool
    can_reset: bool
    shelved: bool


def route_of(run: Overview) -> Route | None:
    """The route of a run, as far as its overview tells it."""
    return run.metering.route if run.metering is not None else None


def cards(run: Overview, *, answerable: bool) -> tuple[tuple[Card, ...], tuple[Card, ...]]:
    """The alarms that call for something, worst first, and those that people have set aside."""
    shown = [a for a in run.alarms if a.tag in CATALOGUE and a.state in STATE_WORDS]
    shown.sort(key=lambda a: (RANK[a.priority], a.state not in CAUSE_STANDS, SEVERITY[a.tag]))
    made = [(a.state in SET_ASIDE, _card(a, run, answerable)) for a in shown]
    return tuple(card for aside, card in made if not aside), tuple(card for aside, card in made if aside)


def _card(a: StandingAlarm, run: Overview, answerable: bool) -> Card:
    kind = CATALOGUE[a.tag]
    resettable = a.state is S.LATCHED_ACKNOWLEDGED or (a.tag == HELD_BY_BOARD and a.state is S.ACKNOWLEDGED)
    return Card(
        tag=a.tag,
        priority=a.priority,
        sign=SIGN[a.priority],
        title=kind.title,
        state_words=STATE_WORDS[a.state],
        since=f"for {duration(run.t_s - a.since_s)}",
        detail=a.detail,
        consequence=kind.consequence,
        response=kind.response(route_of(run)),
        time_to_respond=kind.time_to_respond,
        stands=a.state in CAUSE_STANDS,
        held=a.state in HELD,
        to_acknowledge=a.state in TO_ACKNOWLEDGE,
        can_acknowledge=answerable and a.state in TO_ACKNOWLEDGE,
        can_reset=answerable and resettable,
        shelved=a.state is S.SHELVED,
    )


def headline_of(standing: tuple[Card, ...]) -> tuple[str, str, str, str]:
    """Level, sign, word and text for the worst of the cards."""
    worst = standing[0]
    word = f"{worst.priority.value} alarm"
    if not worst.stands:
        word += ", over but held" if worst.held else ", over, not acknowledged"
    elif not worst.to_acknowledge:
        word += ", acknowledged"
    waiting = sum(card.to_acknowledge for card in standing[1:])
    if waiting and not worst.to_acknowledge:
        word += f"; {waiting} of the others not"
    more = f" (+{len(standing) - 1} more)" if len(standing) > 1 else ""
    return worst.priority.value if worst.stands else "over", worst.sign, word.upper(), worst.title + more


def steps_of(worst: Card) -> tuple[str, ...]:
    """What to do now for the worst of the cards."""
    if worst.stands:
        return in_order(worst.response)
    if worst.to_acknowledge:
        return (
            "The cause is gone, but find out why before you go on.",
            "Then acknowledge it, and reset it." if worst.held else "Then acknowledge it.",
        )
    return ("The cause is gone, but find out why before you go on.", "Then reset it.")
