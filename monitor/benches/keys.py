"""The keys of one JSON object from a broker, each checked as it is asked for, and the causes of refusal.

Promise: what comes out is of the kind that was asked for; every number is finite, every text is short and printable;
all else is `NotOursError` with its cause.
"""

from __future__ import annotations

import math
from enum import Enum
from typing import Any, TypeVar

from monitor.core.events import Reading

PAYLOAD_MAX = 32_768  # bytes; a list of every alarm in the catalogue is a third of it
TEXT_MAX = 400  # characters of any text; the rest is cut off, with a mark
WHOLE_MAX = 2**53  # beyond it JSON numbers are not whole any more (RFC 8259, section 6)
UTC_MAX_S = 253_402_214_400.0  # the last day of the year 9999, where calendars here end


class Cause(Enum):
    """Why a message is none of a bench's words; the value is for a person, after "on" or "with" nothing."""

    TOPIC = "on a topic that is not read here"
    NAME = "under a name that no bench can have"
    LARGE = f"over {PAYLOAD_MAX} bytes"
    JSON = "not a JSON object"
    VERSION = "of another version of the payloads"
    OTHER_BENCH = "under the topic of another bench"
    SHAPE = "with a key missing or a value that cannot be"
    KEPT = "kept by the broker with no end, which benches never ask for"
    FULL = "from a bench for which there is no room"


class NotOursError(Exception):
    """This is no bench's word; `cause` says why."""

    def __init__(self, cause: Cause) -> None:
        super().__init__(cause.value)
        self.cause = cause


Choice = TypeVar("Choice", bound=Enum)


def printable(text: str) -> str:
    """A text as it may go to a terminal or a page: of bounded length, without anything that steers either."""
    if len(text) > TEXT_MAX:
        text = text[: TEXT_MAX - 1] + "…"
    return text if text.isprintable() else "".join(c if c.isprintable() else " " for c in text)


class Keys:
    """The keys of one JSON object; what is missing or cannot be is refused."""

    def __init__(self, got: Any) -> None:
        if not isinstance(got, dict):
            raise NotOursError(Cause.SHAPE)
        self._got: dict[str, Any] = got

    def has(self, key: str) -> bool:
        """Whether the key is there and not null; for keys that a monitor need not send."""
        return self._got.get(key) is not None

    def raw(self, key: str) -> Any:
        """The value, whatever it is."""
        try:
            return self._got[key]
        except KeyError:
            raise NotOursError(Cause.SHAPE) from None

    def number(self, key: str) -> float:
        """A finite number."""
        value = self.raw(key)
        if type(value) not in (int, float) or not abs(value) <= WHOLE_MAX or not math.isfinite(value):
            raise NotOursError(Cause.SHAPE)
        return float(value)

    def number_or_none(self, key: str) -> float | None:
        """A finite number, or null."""
        return None if self.raw(key) is None else self.number(key)

    def utc_s(self, key: str) -> float:
        """A moment that a calendar can name, as Unix seconds."""
        value = self.number(key)
        if not 0.0 <= value <= UTC_MAX_S:
            raise NotOursError(Cause.SHAPE)
        return value

    def whole(self, key: str) -> int:
        """A whole number, not negative."""
        value = self.raw(key)
        if type(value) is not int or not 0 <= value <= WHOLE_MAX:
            raise NotOursError(Cause.SHAPE)
        return value

    def whole_or_none(self, key: str) -> int | None:
        """A whole number, not negative, or null."""
        return None if self.raw(key) is None else self.whole(key)

    def flag(self, key: str) -> bool:
        """True or false."""
        value = self.raw(key)
        if not isinstance(value, bool):
            raise NotOursError(Cause.SHAPE)
        return value

    def text(self, key: str) -> str:
        """A text, made printable."""
        value = self.raw(key)
        if not isinstance(value, str):
            raise NotOursError(Cause.SHAPE)
        return printable(value)

    def text_or_none(self, key: str) -> str | None:
        """A text, or null."""
        return None if self.raw(key) is None else self.text(key)

    def choice(self, key: str, kind: type[Choice]) -> Choice:
        """One of the words of `kind`."""
        try:
            return kind(self.raw(key))
        except ValueError:
            raise NotOursError(Cause.SHAPE) from None

    def part(self, key: str) -> Keys:
        """An object within."""
        return Keys(self.raw(key))

    def reading(self, key: str) -> Reading:
        """A reading; what has no value has a reason."""
        k = self.part(key)
        got = Reading(
            k.number_or_none("value"), k.number_or_none("u"), k.text_or_none("why"), k.number_or_none("at_least")
        )
        if got.value is None and got.why is None:
            raise NotOursError(Cause.SHAPE)
        return got
