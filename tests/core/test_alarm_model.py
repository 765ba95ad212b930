"""The alarm book against a plain model of the standard's words, by random histories.

The model keeps three facts of each alarm (is its condition true, has its newest occurrence been acknowledged, is it
still latched) and where it is set aside, and derives the state from them. It has no table.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import get_args

import pytest
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from monitor.core.alarms import MAX_SHELVE_MIN, AlarmBook, Input, RefusedError
from monitor.core.catalogue import CATALOGUE
from monitor.core.events import AlarmChanged, Instant, Priority
from monitor.core.events import AlarmState as S
from monitor.terms import Route

HIGH, MEDIUM, LOW = "GAS-HIGH", "DRIP-FAST", "DRIP-STALLED"
TAGS = (HIGH, MEDIUM, LOW, "PLATE-FAULT", "PLATE-HIGH", "BOARD-RESTARTED")


@dataclass
class Plain:
    """One alarm as a plain person would keep it."""

    on_delay_s: float
    off_delay_s: float
    high: bool
    raw: bool = False
    raw_since_s: float = 0.0
    true: bool = False
    acknowledged: bool = True  # nothing waits for anybody
    latched: bool = False
    aside: S | None = None
    shelved_until_s: float = 0.0
    suppressed: bool = False  # wanted so by the design

    def state(self) -> S:
        if self.aside is not None:
            return self.aside
        if self.true:
            return S.ACKNOWLEDGED if self.acknowledged else S.UNACKNOWLEDGED
        if self.latched:
            return S.LATCHED_ACKNOWLEDGED if self.acknowledged else S.LATCHED_UNACKNOWLEDGED
        return S.NORMAL if self.acknowledged else S.RETURNED_UNACKNOWLEDGED

    def pass_to(self, now_s: float) -> None:
        if self.raw != self.true:
            delay_s = self.on_delay_s if self.raw else self.off_delay_s
            if now_s - self.raw_since_s >= delay_s:
                self.true = self.raw
                if self.true and self.aside is None:
                    self.begin()
        if self.aside is S.SHELVED and now_s >= self.shelved_until_s:
            self.come_back()

    def begin(self) -> None:
        """A new occurrence: it waits for somebody, and latches if it is a high one."""
        self.acknowledged, self.latched = False, self.high

    def set_aside(self, where: S) -> None:
        self.aside, self.acknowledged, self.latched = where, True, False

    def come_back(self) -> None:
        self.aside = S.SUPPRESSED if self.suppressed else None
        if self.suppressed:
            return
        if self.true:
            self.begin()


class Histories(RuleBasedStateMachine):
    """Random histories of a few alarms, the book and the model side by side."""

    @initialize()
    def begin(self) -> None:
        self.book = AlarmBook({HIGH: 40.0})
        self.now_s = 0.0
        self.model = {
            tag: Plain(
                CATALOGUE[tag].on_delay_s,
                40.0 if tag == HIGH else CATALOGUE[tag].off_delay_s,
                CATALOGUE[tag].priority is Priority.HIGH,
            )
            for tag in TAGS
        }

    @property
    def at(self) -> Instant:
        return Instant(self.now_s, 1.7e9 + self.now_s)

    @rule(seconds=st.sampled_from([0.5, 1.0, 5.0, 20.0, 60.0, 600.0]))
    def time_passes(self, seconds: float) -> None:
        self.now_s += seconds
        changed = list(self.book.pass_time(self.at))
        assert all(c.before is not c.after for c in changed)
        for plain in self.model.values():
            plain.pass_to(self.now_s)

    @rule(tag=st.sampled_from(TAGS), true=st.booleans())
    def condition(self, tag: str, true: bool) -> None:
        plain = self.model[tag]
        if true != plain.raw:
            plain.raw, plain.raw_since_s = true, self.now_s
        plain.pass_to(self.now_s)
        self.book.condition(self.at, tag, true, "seen" if true else "")

    def ask(self, tag: str, what: Input, *, allowed: bool, reason: str = "a test", minutes: float = 10.0) -> bool:
        """Ask the book; it must refuse just what the model does not allow."""
        before = self.book.state(tag)
        try:
            list(self.book.ask(self.at, tag, what, "Ada", reason, minutes))
        except RefusedError:
            assert not allowed
            assert self.book.state(tag) is before
            return False
        assert allowed
        return True

    @rule(tag=st.sampled_from(TAGS))
    def acknowledge(self, tag: str) -> None:
        plain = self.model[tag]
        if self.ask(tag, Input.ACKNOWLEDGE, allowed=plain.aside is None and not plain.acknowledged):
            plain.acknowledged = True

    @rule()
    def acknowledge_all(self) -> None:
        changes = list(self.book.ask(self.at, "*", Input.ACKNOWLEDGE, "Ada"))
        assert all(c.who == "Ada" for c in changes)
        for plain in self.model.values():
            if plain.aside is None:
                plain.acknowledged = True

    @rule(tag=st.sampled_from(TAGS))
    def reset(self, tag: str) -> None:
        plain = self.model[tag]
        if self.ask(tag, Input.RESET, allowed=plain.aside is None and plain.latched and not plain.true):
            plain.latched = False

    @rule(tag=st.sampled_from(TAGS), minutes=st.sampled_from([0.0, -1.0, 5.0, MAX_SHELVE_MIN, MAX_SHELVE_MIN + 1.0]))
    def shelve(self, tag: str, minutes: float) -> None:
        plain = self.model[tag]
        allowed = not plain.high and plain.aside is None and 0.0 < minutes <= MAX_SHELVE_MIN
        if self.ask(tag, Input.SHELVE, allowed=allowed, minutes=minutes):
            plain.set_aside(S.SHELVED)
            plain.shelved_until_s = self.now_s + 60.0 * minutes

    @rule(tag=st.sampled_from(TAGS))
    def shelve_without_a_reason(self, tag: str) -> None:
        self.ask(tag, Input.SHELVE, allowed=False, reason=" ")
        self.ask(tag, Input.REMOVE, allowed=False, reason="")

    @rule(tag=st.sampled_from(TAGS))
    def unshelve(self, tag: str) -> None:
        plain = self.model[tag]
        if self.ask(tag, Input.UNSHELVE, allowed=plain.aside is S.SHELVED):
            plain.come_back()

    @rule(tag=st.sampled_from(TAGS))
    def suppress(self, tag: str) -> None:
        plain = self.model[tag]
        self.ask(tag, Input.SUPPRESS, allowed=True)
        plain.suppressed = True
        if plain.aside is not S.OUT_OF_SERVICE:
            plain.set_aside(S.SUPPRESSED)

    @rule(tag=st.sampled_from(TAGS))
    def unsuppress(self, tag: str) -> None:
        plain = self.model[tag]
        self.ask(tag, Input.UNSUPPRESS, allowed=True)
        plain.suppressed = False
        if plain.aside is S.SUPPRESSED:
            plain.come_back()

    @rule(tag=st.sampled_from(TAGS))
    def remove(self, tag: str) -> None:
        self.ask(tag, Input.REMOVE, allowed=True)
        self.model[tag].set_aside(S.OUT_OF_SERVICE)

    @precondition(lambda self: any(p.aside is S.OUT_OF_SERVICE for p in self.model.values()))
    @rule(tag=st.sampled_from(TAGS))
    def give_back(self, tag: str) -> None:
        plain = self.model[tag]
        if self.ask(tag, Input.RETURN, allowed=plain.aside is S.OUT_OF_SERVICE):
            plain.come_back()

    @invariant()
    def states_agree(self) -> None:
        for tag, plain in getattr(self, "model", {}).items():
            assert self.book.state(tag) is plain.state(), tag

    @invariant()
    def permit_follows_the_condition_not_the_acknowledgement(self) -> None:
        """While a cause stands, or a latch does, the permit may not be asked for, whatever was acknowledged."""
        if not hasattr(self, "model"):
            return
        meant = {
            tag
            for tag, plain in self.model.items()
            if CATALOGUE[tag].permit_off_after_s is not None and (plain.true or plain.latched)
        }
        assert set(self.book.against_asking()) == meant

    @invariant()
    def horn_calls_for_high_alarms_that_wait(self) -> None:
        if hasattr(self, "model"):
            waits = any(p.high and p.aside is None and not p.acknowledged for p in self.model.values())
            assert self.book.sounding() == waits


TestHistories = Histories.TestCase


# --- single promises, each by itself --------------------------------------------------------------------------


def at(t_s: float) -> Instant:
    return Instant(t_s, 1.7e9 + t_s)


def raised(book: AlarmBook, tag: str, t_s: float = 0.0) -> AlarmChanged:
    change = book.condition(at(t_s), tag, True, "seen")
    assert change is not None
    return change


def test_high_alarms_cannot_be_shelved() -> None:
    """No high alarm of the catalogue can be shelved, whatever its state and whoever asks with whatever reason."""
    for tag, kind in CATALOGUE.items():
        if kind.priority is Priority.HIGH:
            with pytest.raises(RefusedError, match="cannot be shelved"):
                AlarmBook().ask(at(0.0), tag, Input.SHELVE, "Ada", "tired of it", 5.0)


def test_a_shelf_gets_no_more_time_unseen() -> None:
    """What is set aside is not shelved again: its time would grow past the bound, and no change would tell of it."""
    book = AlarmBook()
    list(book.ask(at(0.0), "DRIP-FAST", Input.SHELVE, "Ada", "splashes", MAX_SHELVE_MIN))
    with pytest.raises(RefusedError, match="shelved already: put it back first"):
        book.ask(at(60.0), "DRIP-FAST", Input.SHELVE, "Ada", "splashes", MAX_SHELVE_MIN)
    assert list(book.pass_time(at(60.0 * MAX_SHELVE_MIN - 0.1))) == []
    assert [c.cause for c in book.pass_time(at(60.0 * MAX_SHELVE_MIN))] == ["unshelved"]


def test_back_in_service_is_no_way_round_suppression() -> None:
    """Taken out of service and put back while the design suppresses it, an alarm is suppressed, cause or none."""
    book = AlarmBook()
    raised(book, "SUCK-BACK")
    for what in (Input.SUPPRESS, Input.REMOVE, Input.RETURN):
        list(book.ask(at(1.0), "SUCK-BACK", what, "Ada", "a test"))
    assert book.state("SUCK-BACK") is S.SUPPRESSED
    list(book.ask(at(2.0), "SUCK-BACK", Input.REMOVE, "Ada", "a test"))
    list(book.ask(at(3.0), "SUCK-BACK", Input.UNSUPPRESS, ""))
    assert [c.after for c in book.ask(at(4.0), "SUCK-BACK", Input.RETURN, "Ada")] == [S.UNACKNOWLEDGED]


def test_reset_needs_the_condition_false() -> None:
    """A latch is not let go while its cause stands, nor before the cause has been gone for its off-delay."""
    book = AlarmBook()
    raised(book, "GAS-HIGH")
    with pytest.raises(RefusedError, match="while its cause stands"):
        book.ask(at(1.0), "GAS-HIGH", Input.RESET, "Ada")
    book.condition(at(2.0), "GAS-HIGH", False, "")
    with pytest.raises(RefusedError, match="while its cause stands"):
        book.ask(at(61.9), "GAS-HIGH", Input.RESET, "Ada")
    assert [c.after for c in book.pass_time(at(62.0))] == [S.LATCHED_UNACKNOWLEDGED]
    assert [c.after for c in book.ask(at(62.0), "GAS-HIGH", Input.RESET, "Ada")] == [S.RETURNED_UNACKNOWLEDGED]


def test_a_short_return_inside_the_off_delay_is_none() -> None:
    """A cause that goes and comes back within the off-delay has not gone."""
    book = AlarmBook()
    raised(book, "PLATE-HIGH-HIGH")
    book.condition(at(1.0), "PLATE-HIGH-HIGH", False, "")
    book.condition(at(60.0), "PLATE-HIGH-HIGH", True, "seen")
    book.condition(at(60.5), "PLATE-HIGH-HIGH", False, "")
    assert list(book.pass_time(at(120.0))) == []
    assert [c.t_s for c in book.pass_time(at(120.5))] == [120.5]


def test_a_short_cause_inside_the_on_delay_is_none() -> None:
    """A cause shorter than the on-delay raises nothing; one as long raises at the delay's end."""
    book = AlarmBook()
    assert book.condition(at(0.0), "PLATE-HIGH", True, "seen") is None
    assert book.condition(at(0.5), "PLATE-HIGH", False, "") is None
    assert list(book.pass_time(at(5.0))) == []
    assert book.condition(at(6.0), "PLATE-HIGH", True, "seen") is None
    assert [(c.tag, c.after) for c in book.pass_time(at(7.0))] == [("PLATE-HIGH", S.UNACKNOWLEDGED)]


def test_the_record_says_who_and_why() -> None:
    """A change carries who asked for it, and an alarm carries what was seen."""
    book = AlarmBook()
    assert raised(book, "GAS-HIGH").detail == "seen"
    (change,) = book.ask(at(3.0), "GAS-HIGH", Input.ACKNOWLEDGE, "Ada")
    assert (change.who, change.cause, change.t_s, change.utc_s) == ("Ada", "acknowledged", 3.0, 1.7e9 + 3.0)


def test_an_unknown_alarm_is_refused() -> None:
    """A tag that is none is refused in a sentence, "*" too where it makes no sense."""
    for tag, what in (("GAS-LOW", Input.ACKNOWLEDGE), ("*", Input.RESET)):
        with pytest.raises(RefusedError, match="no alarm is called"):
            AlarmBook().ask(at(0.0), tag, what, "Ada")


def test_standing_shows_the_worst_first() -> None:
    """The overview's list begins with what waits for somebody, the worst and oldest first."""
    book = AlarmBook()
    raised(book, "DRIP-STALLED", 0.0)
    raised(book, "DRIP-FAST", 1.0)
    raised(book, "GAS-HIGH", 2.0)
    raised(book, "LINK-LOST", 3.0)
    list(book.ask(at(4.0), "GAS-HIGH", Input.ACKNOWLEDGE, "Ada"))
    assert [a.tag for a in book.standing()] == ["LINK-LOST", "DRIP-FAST", "DRIP-STALLED", "GAS-HIGH"]


@pytest.mark.parametrize("tag", [tag for tag, kind in CATALOGUE.items() if kind.permit_off_after_s is not None])
def test_permit_goes_when_the_table_says(tag: str) -> None:
    """Every alarm that takes the permit does so at its time and not before: at once, after 10 s, or after 30 s."""
    meant_s = {"GAS-FAULT": 10.0, "PLATE-FAULT": 10.0, "LOG-FAILING": 30.0}.get(tag, 0.0)
    book = AlarmBook()
    raised(book, tag)
    if meant_s:
        assert book.against_permit(at(meant_s - 0.5)) is None
    assert book.against_permit(at(meant_s)) == tag


# The fixed table of tags: priority, and whether the permit goes (words of the project's alarm table).
FIXED = {
    "GAS-HIGH-HIGH": ("high", "off"),
    "GAS-HIGH": ("high", "off"),
    "GAS-LEAK": ("high", "off"),
    "GAS-RISING": ("medium", "stays"),
    "GAS-STEL": ("medium", "stays"),
    "GAS-TWA": ("medium", "stays"),
    "GAS-FAULT": ("high", "off"),
    "PLATE-HIGH-HIGH": ("high", "off"),
    "PLATE-HIGH": ("medium", "stays"),
    "PLATE-RISING": ("medium", "stays"),
    "PLATE-LOW": ("low", "stays"),
    "PLATE-FAULT": ("high", "off"),
    "DRIP-FAST": ("medium", "stays"),
    "DRIP-STALLED": ("low", "stays"),
    "DRIP-BLOCKED": ("medium", "stays"),
    "DRIP-UNASKED": ("medium", "stays"),
    "ACID-LOW": ("low", "stays"),
    "CHARGE-SPENT": ("low", "stays"),
    "ENOUGH-DELIVERED": ("low", "stays"),
    "SCRUBBER-LOW": ("medium", "stays"),
    "SUCK-BACK": ("medium", "stays"),
    "LINK-LOST": ("high", "off"),
    "LINK-NOISY": ("low", "stays"),
    "BOARD-RESTARTED": ("medium", "off"),
    "PERMIT-REFUSED": ("high", "stays"),
    "TRIP-LATCHED": ("high", "off"),
    "LOG-FAILING": ("high", "off"),
    "CALIBRATION-OVERDUE": ("low", "stays"),
    "BROKER-LOST": ("low", "stays"),
    "NOTIFY-FAILED": ("low", "stays"),
    "CLOCK-STEPPED": ("low", "stays"),
}


def test_the_catalogue_is_the_fixed_table() -> None:
    """Tags, priorities and what becomes of the permit are those of the alarm table, no more and no fewer."""
    got = {
        tag: (kind.priority.value, "stays" if kind.permit_off_after_s is None else "off")
        for tag, kind in CATALOGUE.items()
    }
    assert got == FIXED


@pytest.mark.parametrize("route", [*get_args(Route), None])
def test_every_alarm_says_what_to_do(route: Route | None) -> None:
    """Every alarm has a title, a consequence, a first thing to do on its route, and how long there is."""
    for kind in CATALOGUE.values():
        response = kind.response(route)
        assert all((kind.title, kind.consequence, response, kind.time_to_respond))
        assert response.endswith(".")
        assert response[0].isupper()
        assert "{" not in response


@pytest.mark.parametrize("route", ["acid-on-sulfur", "burner"])
def test_nobody_is_told_to_shut_a_tap_that_is_not_there(route: Route) -> None:
    """On routes without a tap no alarm speaks of one; the gas alarms say what stops the gas there."""
    for kind in CATALOGUE.values():
        assert re.search(r"\btap\b", f"{kind.consequence} {kind.response(route)}", re.IGNORECASE) is None, kind.tag
    stops = {"acid-on-sulfur": "Heat off", "burner": "Smother the burning sulfur"}[route]
    for tag in ("GAS-HIGH", "GAS-LEAK"):
        assert CATALOGUE[tag].response(route).startswith(stops)


def test_gas_and_plate_delays_are_the_tables() -> None:
    """Gas returns after 60 s or more and is raised without delay; temperatures 1 s on, 60 s off.

    PLATE-HIGH-HIGH is raised at its third sample, and what is foretold (PLATE-RISING) has stood for 2 s already.
    """
    for tag in ("GAS-HIGH-HIGH", "GAS-HIGH", "GAS-LEAK", "GAS-RISING", "GAS-STEL", "GAS-TWA"):
        assert (CATALOGUE[tag].on_delay_s, CATALOGUE[tag].off_delay_s) == (0.0, 60.0)
    for tag in ("PLATE-HIGH", "PLATE-LOW"):
        assert (CATALOGUE[tag].on_delay_s, CATALOGUE[tag].off_delay_s) == (1.0, 60.0)
    for tag in ("PLATE-HIGH-HIGH", "PLATE-RISING"):
        assert (CATALOGUE[tag].on_delay_s, CATALOGUE[tag].off_delay_s) == (0.0, 60.0)
