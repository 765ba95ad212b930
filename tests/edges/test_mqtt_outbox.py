"""What waits for the broker: order, bounds and counts."""

from __future__ import annotations

import threading
from itertools import islice

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.events import Noted
from monitor.edges.mqtt_outbox import ALARMS_MAX, Outbox
from tests.edges.mqtt_host import changes, overview

pytestmark = pytest.mark.live


def drained(outbox: Outbox) -> list[tuple[int, float]]:
    """Send everything; the numbers and the run times of the changes."""
    sent: list[tuple[int, float]] = []
    while (first := outbox.first_alarm()) is not None:
        sent.append((first.seq, first.change.t_s))
        outbox.alarm_sent(first.seq)
    return sent


def test_changes_leave_in_order() -> None:
    """Changes are numbered from 1 as they come, and leave in that order."""
    outbox = Outbox()
    outbox.put(list(islice(changes(), 100)), 0.0)
    assert drained(outbox) == [(n, float(n)) for n in range(1, 101)]


def test_a_change_stays_until_it_is_sent() -> None:
    """A change that was looked at is still the first; only the word that it was sent removes it."""
    outbox = Outbox()
    outbox.put(list(islice(changes(), 2)), 0.0)
    assert outbox.first_alarm() == outbox.first_alarm()
    outbox.alarm_sent(1)
    outbox.alarm_sent(1)
    assert [seq for seq, _ in drained(outbox)] == [2]


def test_ten_thousand_changes_wait() -> None:
    """When there is no room the oldest goes and is counted; the gap stands before the first that is left."""
    outbox = Outbox()
    outbox.put(list(islice(changes(), ALARMS_MAX + 7)), 0.0)
    assert outbox.alarms_lost == 7
    assert [seq for seq, _ in drained(outbox)] == list(range(8, ALARMS_MAX + 8))


def test_the_change_under_way_may_be_dropped() -> None:
    """A change that loses its place while it is being sent takes no other with it."""
    news = changes()
    outbox = Outbox(alarms_max=3)
    outbox.put(list(islice(news, 3)), 0.0)
    under_way = outbox.first_alarm()
    assert under_way is not None
    outbox.put(list(islice(news, 1)), 0.0)
    outbox.alarm_sent(under_way.seq)
    assert [seq for seq, _ in drained(outbox)] == [2, 3, 4]
    assert outbox.alarms_lost == 1


@given(st.lists(st.integers(0, 4), max_size=60), st.integers(1, 8))
def test_against_a_plain_list(steps: list[int], room: int) -> None:
    """Whatever comes and goes, what waits is the newest of what was not sent, each once and in order."""
    news, outbox = changes(), Outbox(alarms_max=room)
    model: list[int] = []
    made = lost = 0
    for step in steps:
        if step == 0 and model:
            first = outbox.first_alarm()
            assert first is not None
            assert first.seq == model.pop(0)
            outbox.alarm_sent(first.seq)
        else:
            outbox.put(list(islice(news, step)), 0.0)
            model += range(made + 1, made + step + 1)
            made += step
            lost += max(0, len(model) - room)
            model = model[-room:]
    assert outbox.alarms_lost == lost
    assert [seq for seq, _ in drained(outbox)] == model


def test_old_states_are_left_out() -> None:
    """Of the states the newest five wait; those left out are counted, and their numbers are missing."""
    outbox = Outbox()
    for second in range(1, 13):
        outbox.put([overview(float(second))], 0.0)
    taken = [outbox.take_state() for _ in range(6)]
    assert [(s.number, s.overview.t_s, s.dropped) for s in taken if s] == [(n, float(n), 7) for n in range(8, 13)]
    assert taken[-1] is None


def test_the_newest_word() -> None:
    """The newest overview stands with when it came and the newest change that it shows, also after it was sent."""
    assert Outbox().heard is None
    news, outbox = changes(), Outbox()
    outbox.put([next(news), overview(1.0), next(news)], 17.0)
    outbox.take_state()
    heard = outbox.heard
    assert heard is not None
    assert (heard.overview.t_s, heard.seq, heard.at_s) == (1.0, 1, 17.0)


@pytest.mark.parametrize(("event", "found"), [(overview(1.0), True), (Noted(1.0, "note", "x"), False)])
def test_only_what_is_sent_is_news(event: object, found: bool) -> None:
    """What is not sent wakes nobody."""
    assert Outbox().put([event], 0.0) is found  # type: ignore[list-item]


def test_two_threads() -> None:
    """While one thread puts in and the other takes out, each change leaves once and in order."""
    outbox, sent = Outbox(), list[int]()
    done = threading.Event()

    def take() -> None:
        while not (done.is_set() and outbox.first_alarm() is None):
            first = outbox.first_alarm()
            if first is not None:
                sent.append(first.seq)
                outbox.alarm_sent(first.seq)

    taker = threading.Thread(target=take)
    taker.start()
    for change in islice(changes(), 5000):
        outbox.put([change], 0.0)
    done.set()
    taker.join()
    assert sent == list(range(1, 5001))
