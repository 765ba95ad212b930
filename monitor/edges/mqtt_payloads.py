"""What a bench says on its MQTT topics: events in, topics and payloads out. Pure.

Promise: every payload is one JSON object of the shapes in `mqtt.schema.json`, which `MQTT.md` explains; keys carry
their unit; what is not known is null with a reason beside it. Retained messages expire by themselves, except the
ones that say that nobody watches. It knows nothing of connections.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any, NamedTuple

from monitor.core.catalogue import CATALOGUE
from monitor.core.events import AlarmChanged, Overview
from monitor.edges.mqtt_requests import EXPIRY_MAX_S, Answer, Tally
from monitor.terms import Route

VERSION = 1  # of the payloads; goes up when a key goes away or changes its meaning, not when one is added
ROOT = "so2bench"
STATE_EXPIRY_S = 10  # a state is news for this long; after it, none is better than an old one
WATCHED_EXPIRY_S = 30  # "watched" and "standing" are renewed every 10 s: two may be lost

_TEXTS = {
    "watching": "This bench is watched.",
    "ended": "Watching was ended: this bench is no longer watched.",
    "stalled": "The monitor of this bench has stopped working: this bench is no longer watched.",
    "lost": "The broker has lost the monitor of this bench: take it that this bench is no longer watched.",
}


class Message(NamedTuple):
    """One message for the broker. Without `expiry_s` the broker keeps it for as long as it likes."""

    topic: str
    payload: bytes
    qos: int
    retain: bool
    expiry_s: int | None = None


class Voice:
    """Words everything that one bench says while one program watches it.

    `session` marks this program's messages from those of an earlier or later one; numbers begin anew with it.
    """

    def __init__(self, bench: str, session: str, route: Route) -> None:
        self._route = route  # of the run, for what an alarm asks for
        self._base = f"{ROOT}/{bench}"
        self._head = {"v": VERSION, "bench": bench, "session": session}

    def watched(self, heard: Overview) -> Message:
        """This bench is watched, as of that overview."""
        return self._status("watching", heard.utc_s)

    def stalled(self, heard: Overview) -> Message:
        """The connection lives, but the bench's own thread has not been heard since that overview."""
        return self._status("stalled", heard.utc_s)

    def ended(self, heard: Overview | None) -> Message:
        """Watching ended in good order."""
        return self._status("ended", heard.utc_s if heard is not None else None)

    def lost(self) -> Message:
        """The last will: the broker says it when the connection ends without a goodbye."""
        return self._status("lost", None)

    def _status(self, why: str, heard_utc_s: float | None) -> Message:
        watched = why == "watching"
        words = {"watched": watched, "why": why, "text": _TEXTS[why], "heard_utc_s": heard_utc_s}
        return self._message("watched", words, 1, True, WATCHED_EXPIRY_S if watched else None)

    def state(self, o: Overview, number: int, dropped: int, requests: Tally | None = None) -> Message:
        """The run at one moment. `number` counts overviews, `dropped` those that were never sent.

        `requests` counts what was asked from afar; None when nothing may be.
        """
        words: dict[str, Any] = {
            "number": number,
            "dropped": dropped,
            "t_s": o.t_s,
            "utc_s": o.utc_s,
            "phase": o.phase.value,
            "permit_on": o.permit_on,
            "permit_why": o.permit_why,
            "sample_age_s": o.sample_age_s,
            "plate_c": o.plate._asdict(),
            "gas_ppm": o.gas._asdict(),
            "account": o.account._asdict() if o.account is not None else None,
            "metering": o.metering._asdict() if o.metering is not None else None,
            "forecast": o.forecast._asdict() if o.forecast is not None else None,
            "exposure": o.exposure._asdict(),
            "leak": o.leak._asdict() if o.leak is not None else None,
            "alarms_standing": len(o.alarms),
            "frames_accepted": o.frames_accepted,
            "frames_rejected": o.frames_rejected,
            "frames_lost": o.frames_lost,
            "restarts": o.restarts,
            "requests": asdict(requests) if requests is not None else None,
        }
        # QoS 0: a lost one is replaced within the second, and none must hold up an alarm or come late.
        return self._message("state", words, 0, True, STATE_EXPIRY_S)

    def alarm(self, change: AlarmChanged, seq: int) -> Message:
        """One change of one alarm. `session` and `seq` together name it: the same pair twice is the same change."""
        kind = CATALOGUE[change.tag]
        words = {
            "seq": seq,
            "t_s": change.t_s,
            "utc_s": change.utc_s,
            "tag": change.tag,
            "priority": change.priority.value,
            "before": change.before.value,
            "after": change.after.value,
            "cause": change.cause,
            "who": change.who,
            "detail": change.detail,
            "title": kind.title,
            "response": kind.response(self._route),
            "time_to_respond": kind.time_to_respond,
        }
        return self._message("alarm", words, 1, False)

    def standing(self, o: Overview, seq: int) -> Message:
        """The alarms that stand now. `seq` is the newest change that this list already shows."""
        alarms = [
            {**a._asdict(), "priority": a.priority.value, "state": a.state.value, "title": CATALOGUE[a.tag].title}
            for a in o.alarms
        ]
        words = {"seq": seq, "t_s": o.t_s, "utc_s": o.utc_s, "alarms": alarms}
        return self._message("standing", words, 1, True, WATCHED_EXPIRY_S)

    @property
    def ask_topic(self) -> str:
        """Where requests come in."""
        return f"{self._base}/ask"

    def answer(self, answer: Answer) -> Message:
        """What became of a request."""
        words = {"id": answer.number, "accepted": answer.accepted, "text": answer.text}
        return self._message("answer", words, 1, False, EXPIRY_MAX_S)

    def _message(
        self, name: str, words: dict[str, Any], qos: int, retain: bool, expiry_s: int | None = None
    ) -> Message:
        payload = json.dumps({**self._head, **words}, ensure_ascii=False, allow_nan=False)
        return Message(f"{self._base}/{name}", payload.encode(), qos, retain, expiry_s)
