"""What invented benches say, in the bytes of a real one: the shapes are the outlet's own."""

from __future__ import annotations

import json
from typing import Any

from monitor.benches.roll import Message, Roll
from monitor.core.events import AlarmChanged, AlarmState, Instant, Overview, Phase, Priority, StandingAlarm
from monitor.edges.mqtt_payloads import Message as Sent
from monitor.edges.mqtt_payloads import Voice
from tests.edges.mqtt_host import UTC_S, overview

SESSIONS = ("5be0a9d4", "00000001")


def voice(bench: str = "hood-2", session: str = SESSIONS[0]) -> Voice:
    return Voice(bench, session, "acid-drip")


def live(sent: Sent) -> Message:
    """As it comes to somebody who is connected while it is said."""
    return Message(sent.topic, sent.payload, False, sent.expiry_s)


def kept(sent: Sent, left_s: float | None) -> Message:
    """As the broker gives it to somebody who comes later."""
    return Message(sent.topic, sent.payload, True, left_s)


def at(mono_s: float) -> Instant:
    return Instant(mono_s, UTC_S + mono_s)


def alarm(tag: str, priority: Priority, state: AlarmState = AlarmState.UNACKNOWLEDGED) -> StandingAlarm:
    return StandingAlarm(tag, priority, state, 1.0, "seen")


def run(t_s: float = 1.0, *alarms: StandingAlarm, phase: Phase = Phase.GENERATING) -> Overview:
    return overview(t_s, alarms)._replace(phase=phase)


def change(number: int, tag: str = "DRIP-FAST") -> AlarmChanged:
    before, after = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED
    return AlarmChanged(float(number), UTC_S, tag, Priority.MEDIUM, before, after, "condition true", "", "96/min")


def speak(roll: Roll, bench: str, mono_s: float, *alarms: StandingAlarm, phase: Phase = Phase.GENERATING) -> None:
    """A bench says everything that it says when it is watched."""
    v, seen = voice(bench), run(mono_s, *alarms, phase=phase)
    for sent in (v.watched(seen), v.standing(seen, 0), v.state(seen, int(mono_s * 1000) + 1, 0)):
        assert roll.hear(live(sent), at(mono_s)) is None


def payload(sent: Sent, **changed: Any) -> bytes:
    """The payload with some keys changed."""
    return json.dumps({**json.loads(sent.payload), **changed}).encode()
