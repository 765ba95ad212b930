"""Requests that come by MQTT: which are put before the bench, which are answered at once, and which are ignored.

Promise: whatever arrives is bounded before it is read, and only what `mqtt.schema.json` calls an ask, of a kind that
may be asked from afar, gets past this desk; once, however often it is delivered. Nothing here can turn the permit on.
Each call does a few steps in memory, whatever arrives. It knows no connection and no clock.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any, NamedTuple

KINDS = ("acknowledge",)  # what may be asked from afar, when the bench allows it
BYTES_MAX = 1000  # of a payload; longer ones are ignored unread
EXPIRY_MAX_S = 30  # a request is old after that, by the broker's clock too
WHO_MAX = 60  # characters
BURST, PER_S = 20, 2.0  # so many are read at once and later on; more are ignored unread, since nobody asks so fast
SEEN_MAX = 1000  # more than BURST and PER_S let by while a request is young; the oldest is forgotten

_KEYS = ("v", "session", "id", "kind", "who", "asked_utc_s", "tag")
_ID, _TAG = re.compile(r"[A-Za-z0-9-]{1,40}"), re.compile(r"[A-Z]+(-[A-Z]+)*")
_TAG_MAX = 40
_UTC_MAX_S = 1e11


class Arrived(NamedTuple):
    """A message as it came; nothing in it is checked. `expiry_s` is what is left of its life, None without end."""

    payload: bytes
    retained: bool
    expiry_s: int | None


class Ask(NamedTuple):
    """A request in order, as the run is asked; the run's answer comes back under `request_id`."""

    request_id: str
    asked_utc_s: float
    kind: str
    who: str
    args: dict[str, object]


class Answer(NamedTuple):
    """What became of a request, for whoever asked. `number` is the asker's own for it."""

    number: str
    accepted: bool
    text: str


@dataclass(slots=True)
class Tally:
    """How many requests were accepted, refused with an answer, and ignored without one."""

    accepted: int = 0
    refused: int = 0
    ignored: int = 0


class Desk:
    """Takes in what arrives for one session of a bench. All calls come from one thread."""

    def __init__(self, session: str) -> None:
        self._session = session
        self.before = f"mqtt-{session}-"  # with this begins the name of each request, for the run
        self._seen: OrderedDict[str, Answer | None] = OrderedDict()  # None: the run has yet to answer
        self._left, self._at_s = float(BURST), float("-inf")
        self.tally = Tally()

    def take(self, arrived: Arrived, now_s: float) -> Ask | Answer | None:
        """What to do with a message: ask the run, answer at once, or nothing. `now_s` is monotonic seconds."""
        said = self._read(arrived, now_s)
        if said is None:
            self.tally.ignored += 1
            return None
        number = str(said["id"])
        if number in self._seen:  # delivered again; while the run has yet to answer, its answer will do for both
            return self._seen[number]
        wrong = _wrong_sending(arrived) or self._wrong(said)
        if wrong is not None:
            self.tally.refused += 1
            return Answer(number, False, f"refused: {wrong}")
        self._seen[number] = None
        if len(self._seen) > SEEN_MAX:
            self._seen.popitem(last=False)
        who = f"{_clean(said['who'])}, by MQTT"
        return Ask(self.before + number, float(said["asked_utc_s"]), said["kind"], who, {"tag": said["tag"]})

    def answered(self, request_id: str, accepted: bool, text: str) -> Answer | None:
        """The run's answer, for whoever asked; None when it is to nobody here."""
        number = request_id.removeprefix(self.before)
        if number == request_id or number not in self._seen:
            return None
        if accepted:
            self.tally.accepted += 1
        else:
            self.tally.refused += 1
        answer = self._seen[number] = Answer(number, accepted, text)
        return answer

    def _read(self, arrived: Arrived, now_s: float) -> dict[str, Any] | None:
        """The message as JSON with a number to answer to; None when it is too much, too long, or no such thing."""
        if self._at_s != float("-inf"):
            self._left = min(float(BURST), self._left + PER_S * max(0.0, now_s - self._at_s))
        self._at_s = now_s
        if self._left < 1.0:
            return None
        self._left -= 1.0
        if len(arrived.payload) > BYTES_MAX:
            return None
        try:
            said = json.loads(arrived.payload.decode())
        except (ValueError, RecursionError):
            return None
        if not isinstance(said, dict) or not _matches(_ID, said.get("id")):
            return None
        return said

    def _wrong(self, said: dict[str, Any]) -> str | None:
        """What is not as the schema has it, or not for this session, in words."""
        unknown, missing = [k for k in said if k not in _KEYS], [k for k in _KEYS if k not in said]
        if unknown or missing:
            return f"found the keys {_shown(', '.join(said))}, wanted {', '.join(_KEYS)} and no other"
        if not _is_number(said["v"]) or said["v"] != 1:
            return f"found v {_shown(said['v'])}, wanted 1"
        if said["session"] != self._session:
            return f"found session {_shown(said['session'])}, wanted the one that now watches, {self._session}"
        if said["kind"] not in KINDS:
            return f"found kind {_shown(said['kind'])}, wanted one that may be asked from afar: {', '.join(KINDS)}"
        who = said["who"]
        if not isinstance(who, str) or len(who) > WHO_MAX or not _clean(who):
            return f"found who {_shown(who)}, wanted a name of 1 to {WHO_MAX} characters"
        asked_utc_s = said["asked_utc_s"]
        if not _is_number(asked_utc_s) or not 0 <= asked_utc_s <= _UTC_MAX_S:
            return f"found asked_utc_s {_shown(asked_utc_s)}, wanted UTC as Unix seconds"
        if not _matches(_TAG, said["tag"]) or len(said["tag"]) > _TAG_MAX:
            return f"found tag {_shown(said['tag'])}, wanted the tag of one alarm"
        return None


def _wrong_sending(arrived: Arrived) -> str | None:
    if arrived.retained:
        return "found a message to be kept by the broker, wanted one that is not"
    if arrived.expiry_s is None or arrived.expiry_s > EXPIRY_MAX_S:
        found = "no expiry" if arrived.expiry_s is None else f"an expiry of {arrived.expiry_s} s"
        return f"found {found}, wanted a message that expires within {EXPIRY_MAX_S} s"
    return None


def _clean(who: str) -> str:
    """Without control and formatting characters, which could turn a line of the record round or break it."""
    plain = "".join(" " if c.isspace() else c for c in who if c.isspace() or unicodedata.category(c)[0] != "C")
    return " ".join(plain.split())


def _matches(pattern: re.Pattern[str], value: object) -> bool:
    return isinstance(value, str) and pattern.fullmatch(value) is not None


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _shown(value: object) -> str:
    text = ascii(value)
    return text if len(text) <= WHO_MAX else text[:WHO_MAX] + "…"
