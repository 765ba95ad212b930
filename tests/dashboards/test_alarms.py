"""Alarms on the page: high ones first, each with its words, and with the one button that is due."""

from __future__ import annotations

from html import unescape
from itertools import permutations

import pytest

from dashboards import sheet
from dashboards.alarms import CAUSE_STANDS, HELD, SET_ASIDE, STATE_WORDS, TO_ACKNOWLEDGE, cards, headline_of, steps_of
from monitor.core import alarms as core
from monitor.core.catalogue import CATALOGUE
from monitor.core.events import AlarmChanged, AlarmState, Priority
from monitor.edges.lines import say
from tests.dashboards.runs import QUIET, standing

S = AlarmState


def test_the_page_and_the_bench_mean_the_same_by_their_states() -> None:
    """What waits for an acknowledgement, and what stands, is not a second opinion."""
    assert TO_ACKNOWLEDGE == core.CALLING
    assert CAUSE_STANDS == core.STANDING
    assert core.SET_ASIDE - {S.SUPPRESSED} == SET_ASIDE
    assert core.LATCHED == HELD
    assert set(STATE_WORDS) == set(AlarmState) - {S.NORMAL, S.SUPPRESSED}


@pytest.mark.parametrize("tag", sorted(CATALOGUE))
def test_every_alarm_says_what_to_do_and_how_long_there_is(tag: str) -> None:
    """Title, detail, response and time come through for each alarm there is."""
    kind = CATALOGUE[tag]
    (card,), _ = cards(QUIET._replace(alarms=(standing(tag, kind.priority),)), answerable=True)
    assert (card.title, card.time_to_respond) == (kind.title, kind.time_to_respond)
    assert card.response == kind.response("acid-drip")
    assert (card.detail, card.since) == ("what was seen", "for 40 s")


@pytest.mark.parametrize("tag", sorted(CATALOGUE))
def test_what_follows_what_to_do_and_how_long_there_is_stand_where_the_alarm_stands(tag: str) -> None:
    """On a card that is not the head's, and in the line at the terminal."""
    kind = CATALOGUE[tag]
    (card,), _ = cards(QUIET._replace(alarms=(standing(tag, kind.priority),)), answerable=True)
    change = AlarmChanged(
        1.0, 0.0, tag, kind.priority, S.NORMAL, S.UNACKNOWLEDGED, "condition true", "", "what was seen"
    )
    for shown in (unescape(sheet.card(card, in_head=False)), say(change, "acid-drip") or ""):
        for words in ("what was seen", kind.consequence, kind.response("acid-drip"), kind.time_to_respond):
            assert words in shown


def test_the_worst_comes_first_in_any_order() -> None:
    """Acknowledging does not move an alarm; what stands leads what is over; "leave" leads "shut the tap"."""
    wanted = (
        standing("GAS-HIGH-HIGH", state=S.ACKNOWLEDGED, since_s=95.0),
        standing("GAS-HIGH", state=S.UNACKNOWLEDGED, since_s=90.0),
        standing("PLATE-FAULT", state=S.ACKNOWLEDGED, since_s=10.0),
        standing("LINK-LOST", state=S.LATCHED_UNACKNOWLEDGED, since_s=5.0),
        standing("PLATE-HIGH", Priority.MEDIUM),
        standing("ACID-LOW", Priority.LOW),
    )
    for order in permutations(wanted):
        shown, _ = cards(QUIET._replace(alarms=order), answerable=True)
        assert [card.tag for card in shown] == [a.tag for a in wanted]


@pytest.mark.parametrize(
    ("tag", "state", "acknowledge", "reset"),
    [
        ("GAS-HIGH", S.UNACKNOWLEDGED, True, False),
        ("GAS-HIGH", S.ACKNOWLEDGED, False, False),
        ("GAS-HIGH", S.LATCHED_UNACKNOWLEDGED, True, False),
        ("GAS-HIGH", S.LATCHED_ACKNOWLEDGED, False, True),
        ("GAS-HIGH", S.RETURNED_UNACKNOWLEDGED, True, False),
        # The board's own trip stands until the board is asked to clear it, so asking must be possible.
        ("TRIP-LATCHED", S.ACKNOWLEDGED, False, True),
    ],
)
def test_one_button_at_a_time(tag: str, state: AlarmState, acknowledge: bool, reset: bool) -> None:
    """Acknowledge what waits for it; reset what is held after that."""
    (card,), _ = cards(QUIET._replace(alarms=(standing(tag, state=state),)), answerable=True)
    assert (card.can_acknowledge, card.can_reset) == (acknowledge, reset)


def test_the_headline_says_whether_it_stands() -> None:
    """Standing, acknowledged, and over but held differ in words, not only in colour."""
    said = []
    for state in (S.UNACKNOWLEDGED, S.ACKNOWLEDGED, S.LATCHED_UNACKNOWLEDGED):
        shown, _ = cards(QUIET._replace(alarms=(standing("GAS-HIGH", state=state),)), answerable=True)
        said.append((headline_of(shown)[2], steps_of(shown[0])[0]))
    assert said == [
        ("HIGH ALARM", "Shut the tap, heat off."),
        ("HIGH ALARM, ACKNOWLEDGED", "Shut the tap, heat off."),
        ("HIGH ALARM, OVER BUT HELD", "The cause is gone, but find out why before you go on."),
    ]


def test_what_is_not_held_is_not_called_so() -> None:
    """An alarm below the high ones returns by itself: over, it is acknowledged, and there is nothing to reset."""
    over = standing("DRIP-FAST", Priority.MEDIUM, S.RETURNED_UNACKNOWLEDGED)
    shown, _ = cards(QUIET._replace(alarms=(over,)), answerable=True)
    assert headline_of(shown)[2] == "MEDIUM ALARM, OVER, NOT ACKNOWLEDGED"
    assert steps_of(shown[0])[-1] == "Then acknowledge it."


def test_what_people_set_aside_is_listed_apart() -> None:
    """A shelved alarm is no headline, and is not out of sight either."""
    alarms = (standing("ACID-LOW", Priority.LOW, S.SHELVED), standing("LINK-NOISY", Priority.LOW, S.OUT_OF_SERVICE))
    shown, aside = cards(QUIET._replace(alarms=alarms), answerable=True)
    assert shown == ()
    assert {(card.tag, card.shelved) for card in aside} == {("ACID-LOW", True), ("LINK-NOISY", False)}


def test_an_acknowledged_headline_hides_no_new_alarm() -> None:
    """Under an acknowledged worst alarm the head counts those that nobody has acknowledged yet."""
    alarms = (standing("GAS-HIGH", state=S.ACKNOWLEDGED), standing("PLATE-FAULT"), standing("ACID-LOW", Priority.LOW))
    shown, _ = cards(QUIET._replace(alarms=alarms), answerable=True)
    assert headline_of(shown)[2:] == ("HIGH ALARM, ACKNOWLEDGED; 2 OF THE OTHERS NOT", "SO2 in the air (+2 more)")
