"""What arrives from afar: what is put before the run, what is refused with a reason, and what is ignored."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.requests import ASKED_BY_PEOPLE, make_request
from monitor.edges.mqtt_requests import BURST, BYTES_MAX, KINDS, PER_S, SEEN_MAX, Answer, Arrived, Ask, Desk
from tests.edges.test_mqtt_payloads import faults

SESSION = "5be0a9d4"
IN_ORDER: dict[str, Any] = {
    "v": 1,
    "session": SESSION,
    "id": "9f1c-1",
    "kind": "acknowledge",
    "who": "Ada",
    "asked_utc_s": 1_795_601_320.0,
    "tag": "GAS-HIGH",
}


def arrived(said: object, *, retained: bool = False, expiry_s: int | None = 30) -> Arrived:
    payload = said if isinstance(said, bytes) else json.dumps(said).encode()
    return Arrived(payload, retained, expiry_s)


def test_a_request_in_order_is_put_before_the_run() -> None:
    """A request of the schema's shape is asked of the run in the words of the page's inbox, with who, by MQTT."""
    got = Desk(SESSION).take(arrived(IN_ORDER), 0.0)
    assert isinstance(got, Ask)
    assert got == Ask(f"mqtt-{SESSION}-9f1c-1", 1_795_601_320.0, "acknowledge", "Ada, by MQTT", {"tag": "GAS-HIGH"})
    assert make_request(got.kind, got.who, got.args, got.request_id).who == "Ada, by MQTT"


def test_nothing_but_acknowledging_can_be_asked_from_afar() -> None:
    """Of all that people may ask at the bench only the acknowledging goes through; the permit never."""
    assert KINDS == ("acknowledge",)
    for kind in ASKED_BY_PEOPLE - {"acknowledge"}:
        got = Desk(SESSION).take(arrived({**IN_ORDER, "kind": kind}), 0.0)
        assert isinstance(got, Answer)
        assert "may be asked from afar" in got.text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"v": 2}, "found v 2, wanted 1"),
        ({"v": True}, "found v True"),
        ({"session": "00000000"}, "wanted the one that now watches, 5be0a9d4"),
        ({"kind": "permit"}, "found kind 'permit'"),
        ({"kind": ["acknowledge"]}, "found kind ['acknowledge']"),
        ({"who": ""}, "wanted a name"),
        ({"who": " \u202e\u0007 "}, "wanted a name"),
        ({"who": "A" * 61}, "wanted a name"),
        ({"who": 5}, "found who 5"),
        ({"asked_utc_s": "now"}, "wanted UTC"),
        ({"asked_utc_s": 10**400}, "wanted UTC"),
        ({"asked_utc_s": float("nan")}, "wanted UTC"),
        ({"asked_utc_s": float("inf")}, "wanted UTC"),
        ({"tag": "*"}, "wanted the tag of one alarm"),
        ({"tag": "GAS-HIGH\n"}, "wanted the tag of one alarm"),
        ({"tag": "A" * 41}, "wanted the tag of one alarm"),
        ({"on": True}, "and no other"),
    ],
    ids=str,
)
def test_what_is_wrong_is_refused_with_the_reason(change: dict[str, Any], words: str) -> None:
    """Each wrong part is refused in one sentence that says what was found and what is wanted."""
    desk = Desk(SESSION)
    got = desk.take(arrived({**IN_ORDER, **change}), 0.0)
    assert isinstance(got, Answer)
    assert (got.number, got.accepted) == ("9f1c-1", False)
    assert words in got.text
    assert got.text.startswith("refused: found ")
    assert got.text.isprintable()
    assert len(got.text) < 300
    assert (desk.tally.refused, desk.tally.ignored) == (1, 0)


@pytest.mark.parametrize("key", [k for k in IN_ORDER if k != "id"])
def test_a_missing_key_is_refused(key: str) -> None:
    """A request that lacks a key is refused."""
    got = Desk(SESSION).take(arrived({k: v for k, v in IN_ORDER.items() if k != key}), 0.0)
    assert isinstance(got, Answer)
    assert not got.accepted


@pytest.mark.parametrize(
    ("retained", "expiry_s", "words"),
    [(True, 30, "to be kept by the broker"), (False, None, "found no expiry"), (False, 31, "an expiry of 31 s")],
)
def test_what_was_sent_wrongly_is_refused(retained: bool, expiry_s: int | None, words: str) -> None:
    """A message that the broker keeps, or that would still come when it is old, is refused."""
    got = Desk(SESSION).take(arrived(IN_ORDER, retained=retained, expiry_s=expiry_s), 0.0)
    assert isinstance(got, Answer)
    assert words in got.text


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"\xff\xfe",
        b"not json",
        b"[1]",
        b"5",
        b"[" * BYTES_MAX,
        b'{"id": 5}',
        b'{"id": ""}',
        json.dumps({**IN_ORDER, "id": "a b"}).encode(),
        json.dumps({**IN_ORDER, "id": "a" * 41}).encode(),
        json.dumps({**IN_ORDER, "who": "A" * BYTES_MAX}).encode(),
    ],
    ids=range(11),
)
def test_what_cannot_be_answered_is_ignored_and_counted(payload: bytes) -> None:
    """What is too long, no JSON or without a number to answer to is counted, and nothing more."""
    desk = Desk(SESSION)
    assert desk.take(arrived(payload), 0.0) is None
    assert desk.tally.ignored == 1


_LEAF = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=70)
_VALUE = _LEAF | st.lists(_LEAF, max_size=2) | st.sampled_from([1, "Ada", "GAS-HIGH", "acknowledge", 1.0, SESSION])


@given(
    st.dictionaries(st.sampled_from([*IN_ORDER, "on"]), _VALUE, max_size=3),
    st.sets(st.sampled_from([*IN_ORDER]), max_size=1),
)
def test_the_desk_and_the_schema_agree(changes: dict[str, Any], without: set[str]) -> None:
    """What the desk lets past has the schema's shape, by the registry's library, and the other way about."""
    said = {k: v for k, v in {**IN_ORDER, **changes}.items() if k not in without}
    payload = json.dumps(said).encode()
    passed = isinstance(Desk(SESSION).take(Arrived(payload, False, 30), 0.0), Ask)
    shaped = faults("ask", json.loads(payload)) == []
    if passed:
        assert shaped
    if shaped and len(payload) <= BYTES_MAX and said["session"] == SESSION and str(said["who"]).isprintable():
        assert passed


@given(st.binary(max_size=200) | st.text(max_size=200).map(str.encode), st.booleans())
def test_whatever_arrives_breaks_nothing(payload: bytes, retained: bool) -> None:
    """Any bytes at all are put up with."""
    assert not isinstance(Desk(SESSION).take(Arrived(payload, retained, 30), 0.0), Ask)


@given(st.text(min_size=1, max_size=60))
def test_names_cannot_bend_the_record(who: str) -> None:
    """A name goes into the record as one line, without characters that control or turn round what follows."""
    got = Desk(SESSION).take(arrived({**IN_ORDER, "who": who}), 0.0)
    if isinstance(got, Ask):
        assert got.who.isprintable()
        assert make_request(got.kind, got.who, got.args, got.request_id)


def test_a_request_delivered_twice_is_done_once() -> None:
    """The same number again is not asked of the run again; once the run has answered, its answer is sent again."""
    desk = Desk(SESSION)
    asked = desk.take(arrived(IN_ORDER), 0.0)
    assert isinstance(asked, Ask)
    assert desk.take(arrived(IN_ORDER), 0.0) is None
    answer = desk.answered(asked.request_id, True, "GAS-HIGH: acknowledged")
    assert answer == Answer("9f1c-1", True, "GAS-HIGH: acknowledged")
    assert desk.take(arrived(IN_ORDER), 0.0) == answer
    assert (desk.tally.accepted, desk.tally.refused, desk.tally.ignored) == (1, 0, 0)


def test_answers_to_others_are_none_of_its_business() -> None:
    """An answer to the page, or of another session, is not sent."""
    desk = Desk(SESSION)
    desk.take(arrived(IN_ORDER), 0.0)
    for request_id in ("", "9f1c-1", "mqtt-00000000-9f1c-1", f"mqtt-{SESSION}-other"):
        assert desk.answered(request_id, True, "done") is None


def test_a_flood_is_ignored_unread_and_leaves_room_again() -> None:
    """Beyond a burst nothing is read; the rate lets some in again as time passes, and no more than that."""
    desk = Desk(SESSION)
    got = [desk.take(arrived({**IN_ORDER, "id": f"n-{n}"}), 0.0) for n in range(1000)]
    assert sum(isinstance(g, Ask) for g in got) == BURST
    assert desk.tally.ignored == 1000 - BURST
    later = [desk.take(arrived({**IN_ORDER, "id": f"m-{n}"}), 5.0) for n in range(1000)]
    assert sum(isinstance(g, Ask) for g in later) == 5.0 * PER_S


def test_what_is_remembered_is_bounded_and_outlives_a_request() -> None:
    """Only so many numbers are remembered, and more than can be let by in twice the life of a request."""
    desk = Desk(SESSION)
    for n in range(3 * SEEN_MAX):
        assert isinstance(desk.take(arrived({**IN_ORDER, "id": f"n-{n}"}), float(n)), Ask)
    assert len(desk._seen) == SEEN_MAX
    assert SEEN_MAX > BURST + 60.0 * PER_S
