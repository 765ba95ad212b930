"""The roll of benches: one message after the other goes in, and at any moment the list comes out, worst first.

Promise: a bench is on the list because it said something itself; what is none of a bench's words changes nothing but
a count by cause; it holds a bounded number of benches and of words of each. It knows nothing of brokers, files or
clocks.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from monitor.benches.judging import STANDING_S, STATE_S, WATCHED_S, Bench, Judged, judged, order, watched_now
from monitor.benches.keys import Cause, NotOursError
from monitor.benches.levels import alarm_key, calls
from monitor.benches.said import Changed, Standing, State, Watched, Word, bench_and_name, word_of
from monitor.core.events import Instant

NOT_FOR_US = ("ask", "answer", "doctor")  # between a bench and who asks something of it (edges/MQTT.md)
BENCHES_MAX = 5000  # when full, further ones are refused and counted; those that are there stay


class Message(NamedTuple):
    """A message as it arrived. `expiry_s` is what was left of its life, None where it has no end."""

    topic: str
    payload: bytes
    retained: bool = False
    expiry_s: float | None = None


class Roll:
    """All benches that were heard, at most `benches_max`."""

    def __init__(self, benches_max: int = BENCHES_MAX) -> None:
        self.benches_max = benches_max
        self._benches: dict[str, Bench] = {}
        self.refused: dict[Cause, int] = dict.fromkeys(Cause, 0)
        self.taken = 0

    def hear(self, message: Message, at: Instant) -> Cause | None:
        """Take in one message; gives the cause if it is none of a bench's words."""
        if message.topic.rpartition("/")[2] in NOT_FOR_US:
            return None
        try:
            self._hear(message, at)
        except NotOursError as why:
            self.refused[why.cause] += 1
            return why.cause
        self.taken += 1
        return None

    def _hear(self, m: Message, at: Instant) -> None:
        name, what = bench_and_name(m.topic)
        if not m.payload and what == "watched":
            self._forget(name, at)
            return
        word = word_of(name, what, m.payload)
        age_s = _age_s(word, m)
        bench = self._benches.get(name)
        if bench is None:
            if len(self._benches) >= self.benches_max:
                raise NotOursError(Cause.FULL)
            bench = self._benches[name] = Bench(name)
        said_s = at.mono_s - age_s
        if isinstance(word, Watched):
            _hear_watched(bench, word, m.retained, said_s)
        elif isinstance(word, State):
            _hear_state(bench, word, m, said_s, at)
        elif isinstance(word, Standing):
            _hear_standing(bench, word, m, said_s)
        else:
            _hear_change(bench, word, m)
        # When a word without an end that the broker kept was said, nobody knows; a last will is not the bench's own.
        silent = isinstance(word, Watched) and not word.watched and (m.retained or word.why == "lost")
        if not silent and (bench.heard_s is None or said_s > bench.heard_s):
            bench.heard_s = said_s

    def _forget(self, name: str, at: Instant) -> None:
        """Somebody cleared the word that the broker kept for a bench: one that is not watched goes off the list."""
        bench = self._benches.get(name)
        if bench is not None and not watched_now(bench, at.mono_s):
            del self._benches[name]

    def __len__(self) -> int:
        return len(self._benches)

    def look(self, now_s: float) -> list[Judged]:
        """Every bench as it stands at that monotonic second, worst first."""
        seen = [(judged(bench, now_s), bench) for bench in self._benches.values()]
        seen.sort(key=lambda pair: order(pair[1], pair[0].level))
        return [one for one, _ in seen]

    def payload(self, name: str, what: str) -> bytes:
        """The newest `state` or `standing` of a bench, word for word; empty if there is none."""
        return self._benches[name].payloads.get(what, b"")

    def changes(self, name: str) -> Iterator[bytes]:
        """The newest alarm changes of a bench, word for word, oldest first."""
        return iter(self._benches[name].changes)


# --- taking in ----------------------------------------------------------------------------------------------------


def _age_s(word: Word, m: Message) -> float:
    """How old a word is on arrival, by what is left of its life; 0 where that is not told."""
    if isinstance(word, Changed) or (isinstance(word, Watched) and not word.watched):
        return 0.0
    life_s = {Watched: WATCHED_S, Standing: STANDING_S, State: STATE_S}[type(word)]
    if m.expiry_s is None:
        if m.retained:
            raise NotOursError(Cause.KEPT)  # another program's, or put there by hand: it could be years old
        return 0.0
    return life_s - min(life_s, max(0.0, m.expiry_s))


def _hear_watched(bench: Bench, word: Watched, retained: bool, said_s: float) -> None:
    old = bench.watched
    if retained and old is not None:
        if word.watched and said_s < bench.watched_s:
            return  # an echo of what was heard before
        if (word.session, word.why) == (old.session, old.why) and not word.watched:
            return  # the same word once more: it was said when it was first heard
    bench.watched, bench.watched_s = word, said_s


def _hear_state(bench: Bench, word: State, m: Message, said_s: float, at: Instant) -> None:
    missed = _missed(bench.newest_state, (word.session, word.number), bench.states_missed)
    if missed is None:
        return
    bench.newest_state, bench.states_missed = (word.session, word.number), missed
    bench.state, bench.state_s, bench.payloads["state"] = word, said_s, m.payload
    bench.clock_ahead_s = word.utc_s - (at.utc_s - (at.mono_s - said_s))


def _hear_standing(bench: Bench, word: Standing, m: Message, said_s: float) -> None:
    if m.retained and bench.standing is not None and said_s < bench.standing_s:
        return  # an echo
    bench.standing, bench.standing_s, bench.payloads["standing"] = word, said_s, m.payload
    bench.worst = min(filter(calls, word.alarms), key=alarm_key, default=None)


def _hear_change(bench: Bench, word: Changed, m: Message) -> None:
    missed = _missed(bench.newest_change, (word.session, word.seq), bench.changes_missed)
    if missed is None:
        return
    bench.newest_change, bench.changes_missed = (word.session, word.seq), missed
    bench.changes.append(m.payload)


def _missed(newest: tuple[str, int], this: tuple[str, int], missed: int) -> int | None:
    """How many of its session's numbers have not arrived, counted on; None for one that came before."""
    if newest[0] != this[0]:
        return 0
    return missed + this[1] - newest[1] - 1 if this[1] > newest[1] else None
