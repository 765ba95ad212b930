"""What counts as a bench's word: the published schema decides, and this program agrees with it."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.benches.keys import PAYLOAD_MAX, TEXT_MAX, Cause, NotOursError
from monitor.benches.said import Changed, LeakSaid, Metered, Standing, State, Watched, understood, word_of
from monitor.edges.mqtt_payloads import Message
from tests.benches.words import change, payload, run, voice
from tests.edges.test_mqtt_payloads import FULL, SCHEMA, faults, message_faults

V = voice()
SENT = {
    "watched": V.watched(FULL),
    "state": V.state(FULL, 7, 0),
    "standing": V.standing(FULL, 3),
    "alarm": V.alarm(change(4), 4),
}
# Neither right nor refused by the schema alone: it sets no bounds to numbers and texts.
WRONG: tuple[Any, ...] = (None, True, "no", 7, 1.5, [], {}, -1)


def cause_of(topic: str, data: bytes) -> Cause | None:
    try:
        understood(topic, data)
    except NotOursError as why:
        return why.cause
    return None


def test_all_that_a_bench_says_is_understood() -> None:
    """Every shape of the outlet, valid by the published schema, comes out with its numbers."""
    for sent in (*SENT.values(), V.ended(None), V.lost(), V.stalled(run())):
        assert message_faults(sent) == []
        assert understood(sent.topic, sent.payload)[0] == "hood-2"
    state, standing = understood("so2bench/hood-2/state", SENT["state"].payload)[1], V.standing(FULL, 3)
    assert isinstance(state, State)
    assert (state.plate, state.gas) == (FULL.plate, FULL.gas)
    assert (state.account, state.forecast) == (FULL.account, FULL.forecast)
    assert state.metered == Metered("acid-drip", "drops", 1)
    assert state.leak == LeakSaid(1290.0, 0.4, 38.0, 9.0)
    assert (state.exposure, state.phase, state.number) == (FULL.exposure, FULL.phase, 7)
    word = understood(standing.topic, standing.payload)[1]
    assert isinstance(word, Standing)
    assert [(a.tag, a.state, a.since_s) for a in word.alarms] == [(a.tag, a.state, a.since_s) for a in FULL.alarms]
    assert isinstance(understood("so2bench/hood-2/alarm", SENT["alarm"].payload)[1], Changed)
    assert understood("so2bench/hood-2/watched", V.lost().payload)[1] == Watched("5be0a9d4", False, "lost", None)


def paths(said: Any, here: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """The place of every value in a JSON text."""
    items = said.items() if isinstance(said, dict) else enumerate(said[:2]) if isinstance(said, list) else ()
    for key, value in items:
        yield (*here, key)
        yield from paths(value, (*here, key))


def changed(said: Any, path: tuple[str | int, ...], value: Any, *, drop: bool) -> Any:
    copied = copy.deepcopy(said)
    spot = copied
    for key in path[:-1]:
        spot = spot[key]
    if drop:
        del spot[path[-1]]
    else:
        spot[path[-1]] = value
    return copied


@pytest.mark.parametrize("name", SENT)
def test_what_the_schema_refuses_is_refused(name: str) -> None:
    """Every key of every payload, once left out and once replaced by each wrong kind: never taken against the schema.

    The schema is judged by the registry's library, draft 2020-12. Keys that are not shown here may be anything.
    """
    said = json.loads(SENT[name].payload)
    unread = {"text", "dropped", "alarms_standing"} | (set(said) - set(SCHEMA["$defs"][name]["required"]))
    refused = 0
    for path in paths(said):
        if path[0] in unread:
            continue
        for value, drop in [(None, True), *((w, False) for w in WRONG)]:
            spoilt = changed(said, path, value, drop=drop)
            if faults(name, spoilt):
                assert cause_of(f"so2bench/hood-2/{name}", json.dumps(spoilt).encode()) is not None, (path, value)
                refused += 1
    assert refused > 20


def test_what_a_newer_so2bench_adds_is_left_alone() -> None:
    """Keys that are not known change nothing; another version number is another language."""
    for name, sent in SENT.items():
        assert cause_of(sent.topic, payload(sent, colour="blue", more=[1, {"a": None}])) is None
        assert cause_of(sent.topic, payload(sent, v=2)) is Cause.VERSION
        assert cause_of(sent.topic, payload(sent, v=True)) is Cause.VERSION
        assert cause_of(f"so2bench/hood-3/{name}", sent.payload) is Cause.OTHER_BENCH


@pytest.mark.parametrize(
    ("topic", "cause"),
    [
        ("", Cause.TOPIC),
        ("so2bench", Cause.TOPIC),
        ("so2bench/hood-2", Cause.TOPIC),
        ("so2bench/hood-2/state/old", Cause.TOPIC),
        ("so2bench/hood-2/humidity", Cause.TOPIC),
        ("kiln/hood-2/state", Cause.TOPIC),
        ("/so2bench/hood-2/state", Cause.TOPIC),
        ("so2bench//state", Cause.NAME),
        ("so2bench/hood 2/state", Cause.NAME),
        ("so2bench/hood-2\n/state", Cause.NAME),
        ("so2bench/<b>/state", Cause.NAME),
        (f"so2bench/{'h' * 41}/state", Cause.NAME),
    ],
)
def test_topics_that_are_no_benchs(topic: str, cause: Cause) -> None:
    """Only so2bench/<bench>/<name>, with a name that bench.toml would take, is a bench's topic."""
    assert cause_of(topic, SENT["state"].payload) is cause


@pytest.mark.parametrize(
    ("data", "cause"),
    [
        (b"", Cause.JSON),
        (b"online", Cause.JSON),
        (b"\xff\xfe\x00", Cause.JSON),
        (b"[1, 2]", Cause.JSON),
        (b"21.5", Cause.JSON),
        (b"[" * 30_000, Cause.JSON),
        (b'{"v": ' + b"9" * 5000 + b"}", Cause.JSON),
        (b'{"v": 1, "bench": NaN}', Cause.JSON),
        (b"{}", Cause.VERSION),
        (b'{"v": 1}', Cause.SHAPE),
        (b"{" + b" " * PAYLOAD_MAX + b"}", Cause.LARGE),
    ],
)
def test_payloads_that_are_no_benchs(data: bytes, cause: Cause) -> None:
    """Whatever another program left there is refused with its cause."""
    assert cause_of("so2bench/hood-2/state", data) is cause


@given(st.text(), st.binary(max_size=300))
def test_no_bytes_are_too_strange(topic: str, data: bytes) -> None:
    """Any topic and any payload give a cause, and nothing else happens."""
    assert cause_of(topic, data) is not None
    assert cause_of("so2bench/hood-2/watched", data) is not None


@given(st.text(max_size=2000))
def test_texts_cannot_steer_a_terminal(detail: str) -> None:
    """Whatever a text holds, what is kept of it is short and has no control or direction characters."""
    alarms = [{**json.loads(SENT["standing"].payload)["alarms"][0], "detail": detail}]
    data = payload(SENT["standing"], alarms=alarms)
    if len(data) > PAYLOAD_MAX:
        return
    word = word_of("hood-2", "standing", data)
    assert isinstance(word, Standing)
    kept = word.alarms[0].detail
    assert len(kept) <= TEXT_MAX
    assert kept.isprintable()
    kept.encode()


@pytest.mark.parametrize("value", [1e308 * 10, 2**60, -(2**60)])
def test_numbers_beyond_all_measure_are_refused(value: float) -> None:
    """A number that cannot be a measurement or a calendar's moment is no number."""
    sent: Message = SENT["state"]
    data = payload(sent, utc_s=0).replace(
        b'"utc_s": 0', b'"utc_s": ' + (b"1e999" if value > 1e300 else b"%d" % value)
    )
    assert cause_of(sent.topic, data) is Cause.SHAPE
    assert cause_of(sent.topic, payload(sent, utc_s=-5.0)) is Cause.SHAPE
