"""What one person is told, and when."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from monitor.core.catalogue import CATALOGUE
from monitor.core.events import AlarmState, Priority
from monitor.messenger.__main__ import Messenger
from monitor.messenger.letters import (
    FLOOD_GAP_S,
    GAP_HIGH_S,
    GATHER_S,
    RETRY_S,
    SILENT_S,
    TELL_END_FOR_S,
    Kind,
    Letter,
    Scene,
    Standing,
    Teller,
)
from monitor.messenger.wire import scene_line
from tests.edges.mqtt_host import UTC_S, overview, standing

REPEAT_S = 300.0
EMPTY = Scene("hood-2", "selenium from a spent liquor (invented)", "acid-drip")
LEAK = Standing("GAS-LEAK", Priority.HIGH, AlarmState.UNACKNOWLEDGED, 1000.0, "0.9 ppm over its usual level")
STALLED = Standing("DRIP-STALLED", Priority.LOW, AlarmState.UNACKNOWLEDGED, 1001.0, "no drop for 60 s")
FAST = Standing("DRIP-FAST", Priority.MEDIUM, AlarmState.UNACKNOWLEDGED, 1002.0, "95 drops a minute")
RISING = Standing("GAS-RISING", Priority.MEDIUM, AlarmState.UNACKNOWLEDGED, 1003.0, "0.2 ppm over its usual level")


def teller(lowest: Priority = Priority.MEDIUM) -> Teller:
    return Teller(lowest, REPEAT_S, lambda utc_s: f"{utc_s:.10g} s")


def told(one: Teller, scenes: Iterator[tuple[float, Scene]]) -> list[tuple[float, Letter]]:
    """Every letter that goes out, each delivered at once."""
    out = []
    for now_s, scene in scenes:
        letter = one.next(now_s, scene)
        if letter is not None:
            one.delivered(letter, now_s)
            out.append((now_s, letter))
    return out


def still(alarms: tuple[Standing, ...], begin_s: int, end_s: int) -> Iterator[tuple[float, Scene]]:
    """A scene each second in which these alarms stand and the monitor speaks."""
    for n in range(begin_s, end_s):
        yield float(n), EMPTY._replace(alarms=alarms, heard_s=float(n))


def begun(one: Teller) -> Teller:
    told(one, still((), 0, 1))
    return one


def test_the_beginning_is_told_once() -> None:
    """That the bench is watched from now is told, which shows that messages arrive."""
    assert [letter.kind for _, letter in told(teller(), still((), 0, 1000))] == [Kind.BEGUN]


def test_an_alarm_says_what_is_so_and_what_to_do() -> None:
    """A letter gives the alarm, since when, what was seen, what to do and how long there is."""
    ((at_s, letter),) = told(begun(teller()), still((LEAK,), 10, 20))
    assert at_s == 10.0 + GATHER_S
    assert letter.title == "hood-2: high alarm, Gas is leaking"
    said = "HIGH GAS-LEAK since 1000 s: Gas is leaking. Seen: 0.9 ppm over its usual level."
    assert f"{said} {CATALOGUE['GAS-LEAK'].consequence} Do: Shut the tap" in letter.body
    assert "Time to respond: a few minutes." in letter.body
    assert "until then this comes again every 5 min" in letter.body
    assert "an aid, not a safety system" in letter.body
    assert letter.worst is Priority.HIGH


def test_what_is_below_the_lowest_priority_is_not_told() -> None:
    """A low alarm is nothing to call people for, unless the bench's file wants it."""
    assert told(begun(teller()), still((STALLED,), 10, 2000)) == []
    assert len(told(begun(teller(Priority.LOW)), still((STALLED,), 10, 20))) == 1


def test_it_is_told_again_until_it_is_acknowledged() -> None:
    """An alarm that nobody acknowledges comes again at the stated time; acknowledged, it is said to be so, once."""
    one = begun(teller())
    assert [at_s for at_s, _ in told(one, still((LEAK,), 10, 1000))] == [12.0, 312.0, 612.0, 912.0]
    seen = LEAK._replace(state=AlarmState.ACKNOWLEDGED)
    ((_, over),) = told(one, still((seen,), 1000, 3000))
    assert over.kind is Kind.OVER
    assert "Every alarm has been acknowledged. These still stand: GAS-LEAK." in over.body


def test_a_clock_that_drifts_or_is_set_makes_no_alarm_a_new_one() -> None:
    """An alarm is the same one however the computer's clock runs beside the run's time, and is told by that clock."""

    def drifting(begin_s: int, end_s: int, ahead_s: float) -> Iterator[tuple[float, Scene]]:
        heard = Messenger(EMPTY, [], Priority.MEDIUM, REPEAT_S)
        for n in range(begin_s, end_s):
            seen = overview(float(n), (standing("GAS-RISING", 9.0),))
            heard.hear(scene_line(seen._replace(utc_s=seen.utc_s + ahead_s + 1e-6 * (n % 7))), float(n))
            yield float(n), heard.scene

    one = begun(teller())
    assert [at_s for at_s, _ in told(one, drifting(10, 400, 0.0))] == [12.0, 312.0]
    ((at_s, letter),) = told(one, drifting(400, 900, 3600.0))
    assert (at_s, letter.kind) == (612.0, Kind.STILL)
    assert f"since {UTC_S + 9.0 + 3600.0:.10g} s" in letter.body


def test_one_that_went_by_itself_still_waits() -> None:
    """An alarm that has gone before anybody acknowledged it is told, and said to be gone."""
    gone = LEAK._replace(state=AlarmState.LATCHED_UNACKNOWLEDGED)
    ((_, letter),) = told(begun(teller()), still((gone,), 10, 20))
    assert "Gas is leaking (gone since, not acknowledged)." in letter.body


def test_a_flood_is_one_message() -> None:
    """Thirty alarms within two seconds are one letter, worst first, with the rest counted."""
    flood = tuple(RISING._replace(since_s=1000.0 + n) for n in range(29))
    ((_, letter),) = told(begun(teller()), still((*flood, LEAK), 10, 100))
    assert letter.body.startswith("HIGH GAS-LEAK")
    assert "And 24 more." in letter.body


def test_a_chattering_alarm_does_not_fill_a_telephone() -> None:
    """An alarm that comes anew each five seconds for an hour is told at once, then ever more seldom: 36 letters."""

    def chatter() -> Iterator[tuple[float, Scene]]:
        for n in range(10, 3610):
            yield float(n), EMPTY._replace(alarms=(LEAK._replace(since_s=float(n // 5 * 5)),), heard_s=float(n))

    letters = told(begun(teller()), chatter())
    assert letters[0][0] <= 10.0 + GATHER_S
    assert len(letters) <= 5 + 3600.0 / FLOOD_GAP_S + 1


def test_a_high_alarm_does_not_wait_behind_a_medium_one() -> None:
    """After a letter about a lesser alarm, a high one is told within ten seconds and the time to gather."""
    one = begun(teller())
    told(one, still((FAST,), 10, 14))
    ((at_s, letter),) = told(one, still((FAST, LEAK), 14, 60))
    assert at_s <= 14.0 + GAP_HIGH_S
    assert letter.body.startswith("HIGH GAS-LEAK")


def test_a_monitor_that_falls_silent_is_told() -> None:
    """Fifteen seconds without a word are told once; when it speaks again, that too."""
    one = begun(teller())
    silent = EMPTY._replace(heard_s=0.0)
    letters = told(one, ((float(n), silent) for n in range(1, 600)))
    assert [(at_s, letter.kind) for at_s, letter in letters] == [(SILENT_S + 1.0, Kind.UNWATCHED)]
    assert "nobody watches the bench any more" in letters[0][1].body
    assert not one.done
    assert [letter.kind for _, letter in told(one, still((), 600, 700))] == [Kind.AGAIN]


def test_a_monitor_that_is_gone_is_told_and_that_is_the_end() -> None:
    """A monitor that died is told at once, with what was waiting; then there is nothing left to tell."""
    one = begun(teller())
    cut = EMPTY._replace(alarms=(LEAK,), cut=True)
    ((at_s, letter),) = told(one, ((float(n), cut) for n in range(10, 30)))
    assert (at_s, letter.kind) == (10.0, Kind.UNWATCHED)
    assert "GAS-LEAK" in letter.body
    assert one.done


def test_a_wanted_end_is_told_as_such() -> None:
    """That a person ended the watching is told, and nothing after it."""
    one = begun(teller())
    ended = EMPTY._replace(ended="The run was ended by a person.", cut=False)
    ((_, letter),) = told(one, ((float(n), ended) for n in range(10, 100)))
    assert letter.kind is Kind.ENDED
    assert "The run was ended by a person." in letter.body
    assert one.done


def test_the_end_is_not_told_for_ever_to_a_service_that_is_away() -> None:
    """Who cannot be told within ten minutes that the monitor is gone will not be: the messenger ends."""
    one = begun(teller())
    cut = EMPTY._replace(cut=True)
    tries = 0
    for n in range(int(TELL_END_FOR_S) + 10):
        if one.next(float(n), cut) is not None:
            tries += 1
            one.failed(float(n))
    assert one.done
    assert tries > 10


def test_a_letter_that_failed_is_tried_again_with_patience() -> None:
    """After a failure: one second, then three, ten, and each minute; what it said is not forgotten."""
    one = begun(teller())
    tried = []
    for now_s, scene in still((LEAK,), 10, 310):
        if one.next(now_s, scene) is not None:
            tried.append(now_s)
            one.failed(now_s)
    waits = [b - a for a, b in pairwise(tried)]
    assert waits[:5] == [*RETRY_S, RETRY_S[-1]]
    ((_, letter),) = told(one, still((LEAK,), 400, 410))
    assert "GAS-LEAK" in letter.body


STATES = st.sampled_from(list(AlarmState))
ALARMS = st.lists(
    st.builds(
        Standing,
        st.sampled_from(["GAS-LEAK", "GAS-RISING", "DRIP-FAST", "DRIP-STALLED", "PLATE-FAULT"]),
        st.sampled_from(list(Priority)),
        STATES,
        st.integers(0, 5).map(float),
        st.just("seen"),
    ),
    max_size=5,
    unique_by=lambda a: a.tag,
)


@given(st.lists(st.tuples(st.integers(1, 200), ALARMS, st.booleans()), max_size=25))
def test_nothing_that_waits_goes_untold(story: list[tuple[int, list[Standing], bool]]) -> None:
    """Whatever comes and goes, and whichever deliveries fail: what then waits is in a letter within the repeat.

    The clock is the teller's own; a delivery that fails puts the letter off by a minute at most.
    """
    one = teller()
    now_s = 0.0
    for seconds, alarms, works in story:
        for _ in range(seconds):
            now_s += 1.0
            letter = one.next(now_s, EMPTY._replace(alarms=tuple(alarms), heard_s=now_s))
            if letter is not None and works:
                one.delivered(letter, now_s)
            elif letter is not None:
                one.failed(now_s)
    letters = told(one, still((LEAK,), int(now_s) + 1, int(now_s + REPEAT_S + RETRY_S[-1]) + 3))
    assert any("GAS-LEAK" in letter.body for _, letter in letters)
