"""The list of all benches at one moment as bytes: what one program hears, and others only look at.

Promise: what is decoded is what was encoded. The bytes are a first line for the whole, then a line for each bench,
worst first, with what it said word for word, parted by tabs. A reader takes apart only the lines that it shows,
through the same checks as what comes from a broker.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

from monitor.benches.judging import Judged
from monitor.benches.keys import Cause
from monitor.benches.levels import Level
from monitor.benches.roll import Roll
from monitor.benches.said import Changed, Standing, State, word_of

Said = TypeVar("Said", State, Standing, Changed)
LIST_NAME = "benches.list"  # in a folder of its own
_SPACES = bytes.maketrans(b"\t\n\r", b"   ")  # between the parts of a JSON text they mean the same as a space


class BrokerSeen(NamedTuple):
    """How it stands with the broker. `since` is when it became so."""

    at: str
    connected: bool
    since_s: float  # by the clock of `monitor.uptime`
    since_utc_s: float
    text: str


class Whole(NamedTuple):
    """What is so of all benches together, at second `now_s` of that clock."""

    now_s: float
    utc_s: float
    invented: bool
    broker: BrokerSeen | None  # None where none is needed
    counts: Mapping[Level, int]
    benches_max: int
    taken: int
    refused: Mapping[Cause, int]


class Row(NamedTuple):
    """One bench: the judgement, and what it said; None where it has not said that."""

    judged: Judged
    state: State | None
    standing: Standing | None
    changes: tuple[Changed, ...]  # oldest first


def encoded(roll: Roll, now_s: float, utc_s: float, broker: BrokerSeen | None, *, invented: bool = False) -> bytes:
    """The list as it stands at that moment."""
    seen = roll.look(now_s)
    counts = dict.fromkeys(Level, 0)
    for judged in seen:
        counts[judged.level] += 1
    whole = {
        "now_s": now_s,
        "utc_s": utc_s,
        "invented": invented,
        "broker": broker,
        "counts": [counts[level] for level in Level],
        "benches_max": roll.benches_max,
        "taken": roll.taken,
        "refused": {cause.name: count for cause, count in roll.refused.items() if count},
    }
    lines = [json.dumps(whole).encode()]
    for judged in seen:
        name = judged.name
        said = (roll.payload(name, "state"), roll.payload(name, "standing"), *roll.changes(name))
        lines.append(b"\t".join((json.dumps(judged).encode(), *(part.translate(_SPACES) for part in said))))
    return b"\n".join(lines)


@dataclass(frozen=True, slots=True)
class Picture:
    """A decoded list; a bench's line is taken apart when it is asked for."""

    whole: Whole
    lines: tuple[bytes, ...]

    def rows(self, first: int, count: int) -> Iterator[Row]:
        """So many benches from a place in the order."""
        return (_row(line) for line in self.lines[first : first + count])

    def named(self, part: str) -> Picture:
        """Only the benches whose names hold that part, in the same order."""
        wanted = part.casefold()
        kept = tuple(line for line in self.lines if wanted in _name(line).casefold())
        return Picture(self.whole, kept)

    def one(self, name: str) -> Row | None:
        """The bench of that name."""
        return next((_row(line) for line in self.lines if _name(line) == name), None)


def decoded(data: bytes) -> Picture:
    """The list from its bytes.

    Raises:
        ValueError: these are not the bytes of one.
    """
    first, *lines = data.split(b"\n")
    try:
        got = json.loads(first)
        broker = got.pop("broker")
        whole = Whole(
            broker=None if broker is None else BrokerSeen(*broker),
            counts=dict(zip(Level, got.pop("counts"), strict=True)),
            refused={Cause[name]: count for name, count in got.pop("refused").items()},
            **got,
        )
    except (AttributeError, KeyError, TypeError) as why:
        raise ValueError(f"not a list of benches: {why}") from why
    return Picture(whole, tuple(lines))


def _name(line: bytes) -> str:
    return line[2 : line.index(b'"', 2)].decode()  # a line begins with ["NAME"


def _row(line: bytes) -> Row:
    judgement, state, standing, *changes = line.split(b"\t")
    name, level, *rest = json.loads(judgement)
    return Row(
        Judged(name, Level(level), *rest),
        _said(name, "state", state, State) if state else None,
        _said(name, "standing", standing, Standing) if standing else None,
        tuple(_said(name, "alarm", change, Changed) for change in changes),
    )


def _said(name: str, what: str, payload: bytes, kind: type[Said]) -> Said:
    word = word_of(name, what, payload)
    assert isinstance(word, kind)
    return word
