"""The shapes of what is said: schema, page and code agree."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from itertools import islice
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from monitor.core.bench import Bench
from monitor.core.catalogue import CATALOGUE
from monitor.core.events import (
    Accounted,
    AlarmChanged,
    AlarmState,
    Forecast,
    Instant,
    Leak,
    Metering,
    Overview,
    Phase,
    Priority,
    Reading,
)
from monitor.edges.mqtt_payloads import Message, Voice
from monitor.edges.mqtt_requests import Answer, Tally
from tests.edges.mqtt_host import UTC_S, changes, overview, standing
from tests.rig.terms import BENCH, drip_run

SCHEMA: dict[str, Any] = json.loads((files("monitor.edges") / "mqtt.schema.json").read_text("utf-8"))
PAGE = (files("monitor.edges") / "MQTT.md").read_text("utf-8")
VOICE = Voice("hood-2", "5be0a9d4", "acid-drip")

FULL = overview(1312.0, tuple(standing(tag) for tag in CATALOGUE))._replace(
    account=Accounted(1310.4, 1201, 46.1, 0.41, 0.06, 0.35, 0.0, 0.008, 0.006, 0.01, 0.0),
    metering=Metering("acid-drip", "drops", 38.3, 0.4, 38.4, 0.6, 1, 900.0),
    leak=Leak(1290.0, 0.4, 38.0, 9.0, 1300.0, True, 0.031, 0.93),
    forecast=Forecast(58.0, 0.019, 0.74, 0.39, 0.334, 12, 0.2, 63.9),
    gas=Reading(None, why="over range", at_least=20.0),
    sample_age_s=None,
)


def faults(name: str, said: dict[str, Any]) -> list[str]:
    """What JSON Schema (draft 2020-12, by the registry's library) finds wrong with a payload of that topic."""
    check = Draft202012Validator({**SCHEMA, "$ref": f"#/$defs/{name}"})
    return [e.message for e in check.iter_errors(said)]


def message_faults(m: Message) -> list[str]:
    return faults(m.topic.rpartition("/")[2], json.loads(m.payload))


def test_the_schema_is_one() -> None:
    """The schema itself is valid by the standard's own meta-schema."""
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize(
    "message",
    [
        VOICE.watched(FULL),
        VOICE.stalled(FULL),
        VOICE.ended(FULL),
        VOICE.ended(None),
        VOICE.lost(),
        VOICE.state(overview(1.0), 1, 0),
        VOICE.state(FULL, 1312, 4),
        VOICE.state(FULL, 1312, 4, Tally(1, 2, 3)),
        VOICE.answer(Answer("9f1c-1", True, "DRIP-FAST: acknowledged")),
        VOICE.standing(overview(1.0), 0),
        VOICE.standing(FULL, 7),
    ],
    ids=lambda m: m.topic,
)
def test_every_message_has_its_shape(message: Message) -> None:
    """Every kind of message has the shape that the schema gives, no key more and none less."""
    assert message_faults(message) == []


@pytest.mark.parametrize("tag", CATALOGUE)
def test_every_alarm_has_its_shape(tag: str) -> None:
    """Every alarm can be said, in every state, with what to do about it."""
    for state in AlarmState:
        change = AlarmChanged(1.0, UTC_S, tag, Priority.LOW, state, state, "reset", "Ada", "")
        message = VOICE.alarm(change, 1)
        assert message_faults(message) == []
        assert json.loads(message.payload)["response"] == CATALOGUE[tag].response("acid-drip")


def test_a_bench_in_every_phase() -> None:
    """What a real bench says in every phase has its shape."""
    bench = Bench(BENCH, drip_run(), Instant(0.0, UTC_S))
    for phase in Phase:
        bench.phase = phase
        assert message_faults(VOICE.state(bench.overview(), 1, 0)) == []


def test_the_meter_and_a_leak_are_said() -> None:
    """By what the account is kept, and all that is known of a leak, go out as the bench knows them; else null."""
    said, bare = (json.loads(VOICE.state(o, 1, 0).payload) for o in (FULL, overview(1.0)))
    assert (said["metering"]["meter"], said["metering"]["volume_ul"], said["metering"]["weighed_s"]) == (
        "drops",
        38.3,
        900.0,
    )
    assert (said["leak"]["mg_per_min"], said["leak"]["u_mg_per_min"], said["leak"]["follows"]) == (38.0, 9.0, True)
    assert (bare["metering"], bare["leak"]) == (None, None)
    unsized = FULL._replace(leak=Leak(1290.0, None, None, None, None, None, None, None))
    assert message_faults(VOICE.state(unsized, 1, 0)) == []


def test_a_wrong_shape_is_found() -> None:
    """The schema refuses an unknown value without a reason, a stray key, and a lie about watching."""
    state = json.loads(VOICE.state(FULL, 1, 0).payload)
    assert faults("state", {**state, "gas_ppm": {"value": None, "u": None, "why": None, "at_least": None}})
    assert faults("state", {**state, "stray": 1})
    watched = json.loads(VOICE.watched(FULL).payload)
    assert faults("watched", {**watched, "why": "ended"})


def test_numbers_that_are_none_are_refused() -> None:
    """Not-a-number never goes out: it is no JSON (RFC 8259)."""
    with pytest.raises(ValueError, match="not JSON compliant"):
        VOICE.state(overview(float("nan")), 1, 0)


def test_the_examples_on_the_page() -> None:
    """The examples on the page have the shapes of their topics, in the order of the page."""
    blocks = re.findall(r"(?:^    .*\n)+", PAGE, re.MULTILINE)
    names = ("watched", "state", "alarm", "standing", "ask", "answer")
    assert [faults(name, json.loads(block)) for name, block in zip(names, blocks, strict=True)] == [[]] * 6


def units(shape: Any, name: str = "") -> dict[str, set[str]]:
    """Each key of the schema that holds a number, with its units; `value` and its like count for the key above."""
    found: dict[str, set[str]] = {}
    if isinstance(shape, dict):
        if "unit" in shape:
            found.setdefault(name, set()).add(shape["unit"])
        for key, inner in shape.items():
            properties = inner.items() if key == "properties" and isinstance(inner, dict) else [(name, inner)]
            for below, part in properties:
                deeper = units(part, name if below in ("value", "u", "at_least") else below)
                for k, v in deeper.items():
                    found.setdefault(k, set()).update(v)
    elif isinstance(shape, list):
        for part in shape:
            for k, v in units(part, name).items():
                found.setdefault(k, set()).update(v)
    return found


def test_every_number_has_one_unit_and_the_page_says_it() -> None:
    """Every key with a number has one unit, and the page's table lists the key in that unit's line."""
    known = units(SCHEMA["$defs"])
    assert len(known) > 35
    table = [line for line in PAGE.splitlines() if line.startswith("| `")]
    for key, found in known.items():
        (unit,) = found
        assert any(f"`{unit}`" in line and f"`{key}`" in line for line in table), (key, unit)


def test_numbers_without_a_unit_are_found() -> None:
    """No number in the schema lacks its unit, except the version, which is a constant."""

    def bare(shape: Any) -> int:
        if isinstance(shape, list):
            return sum(bare(part) for part in shape)
        if not isinstance(shape, dict):
            return 0
        kinds = shape.get("type", [])
        kinds = [kinds] if isinstance(kinds, str) else kinds
        lacking = isinstance(kinds, list) and bool({"number", "integer"} & set(kinds)) and "unit" not in shape
        return lacking + sum(bare(part) for part in shape.values())

    assert bare(SCHEMA["$defs"]) == 0


def test_retained_truth_expires() -> None:
    """What the broker keeps expires by itself, unless it says that nobody watches."""
    for message in (VOICE.watched(FULL), VOICE.state(FULL, 1, 0), VOICE.standing(FULL, 1)):
        assert message.retain
        assert message.expiry_s is not None
    for message in (VOICE.stalled(FULL), VOICE.ended(FULL), VOICE.lost()):
        assert message.retain
        assert message.expiry_s is None
    alarm = VOICE.alarm(next(islice(changes(), 1)), 1)
    assert (alarm.qos, alarm.retain, alarm.expiry_s) == (1, False, None)


def test_names_of_the_topics() -> None:
    """Topics are those of the page."""
    o: Overview = overview(1.0)
    said = [VOICE.watched(o), VOICE.state(o, 1, 0), VOICE.alarm(next(changes()), 1), VOICE.standing(o, 0)]
    said.append(VOICE.answer(Answer("1", True, "done")))
    assert f"`{VOICE.ask_topic.replace('hood-2', '<bench>')}`" in PAGE
    for message in said:
        assert f"`{message.topic.replace('hood-2', '<bench>')}`" in PAGE
