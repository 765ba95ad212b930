"""Listens to every bench on a broker, or to invented ones, and keeps the list of them for whoever looks.

Promise: whatever looks, and however often, the broker is asked once; a page that falls over or is reloaded changes
nothing here. The page gets the list as a file that is replaced whole each second. Only here are clocks read.
"""

from __future__ import annotations

import asyncio
import contextlib
import sys
import time
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

from monitor.benches.cells import cells_of
from monitor.benches.picture import LIST_NAME, BrokerSeen, Picture, decoded, encoded
from monitor.benches.roll import Message, Roll
from monitor.benches.table import table_lines
from monitor.core.events import Instant
from monitor.edges.mqtt_broker import Broker
from monitor.edges.mqtt_ears import Ears, Patience
from monitor.invented import invented_room
from monitor.uptime import uptime_s

SHOWN_EVERY_S = 1.0
TABLE_EVERY_S = 60.0  # a table at least this often, and one whenever a bench's state changes
PRINTED_MOST = 40  # benches in a table that is printed again and again
NOT_YET = "no connection yet"


class Listening:
    """The list, and what keeps it. `say` gets a line when the broker comes or goes, and for other trouble."""

    def __init__(
        self,
        broker: Broker | None,
        invented: int = 0,
        say: Callable[[str], None] = print,
        patience: Patience | None = None,
    ) -> None:
        self.roll = Roll()
        self._invented, self._say = invented, say
        self._ears, self._seen = None, None
        if broker is not None:
            self._ears = Ears(broker, self._hear, self._broker_is, patience)
            self._seen = BrokerSeen(broker.at, False, uptime_s(), time.time(), NOT_YET)

    async def run(self) -> None:
        """Listen until cancelled."""
        if self._ears is not None:
            await self._ears.run()
        else:
            await self._invent()

    def _hear(self, topic: str, payload: bytes, retained: bool, expiry_s: float | None) -> None:
        self.roll.hear(Message(topic, payload, retained, expiry_s), Instant(uptime_s(), time.time()))

    def _broker_is(self, there: bool, text: str) -> None:
        old = self._seen
        assert old is not None
        if (there, text) == (old.connected, old.text):
            return
        since = (uptime_s(), time.time()) if there is not old.connected else (old.since_s, old.since_utc_s)
        self._seen = BrokerSeen(old.at, there, *since, text)
        self._say(f"{clock(time.time())}  {text}")

    async def _invent(self) -> None:
        room, begun_s, second = invented_room(self._invented, time.time()), uptime_s(), 0
        while True:
            for bench in room:
                for m in bench.says(second):
                    self._hear(m.topic, m.payload, False, m.expiry_s)
            second += 1
            await asyncio.sleep(begun_s + second - uptime_s())

    def encoded(self) -> bytes:
        """The list as it stands now."""
        now_s, utc_s = uptime_s(), time.time()
        return encoded(self.roll, now_s, utc_s, self._seen, invented=self._ears is None)

    def picture(self) -> Picture:
        """The list as it stands now, as a reader gets it."""
        return decoded(self.encoded())

    def table(self) -> Iterator[str]:
        """The list as lines."""
        return table_lines(self.picture(), uptime_s(), clock(time.time()))

    async def keep_shown(self, folder: Path) -> None:
        """Write the list for the page each second, until cancelled."""
        file, new, told = folder / LIST_NAME, folder / f"{LIST_NAME}.new", ""
        while True:
            try:
                new.write_bytes(self.encoded())
                new.replace(file)  # a reader finds the old one or the new one, whole
            except OSError as why:  # the page sees that the list is old, and says so
                if str(why) != told:
                    told = str(why)
                    self._say(f"the list for the page cannot be written: {why}")
            await asyncio.sleep(SHOWN_EVERY_S)

    async def keep_printing(self) -> None:
        """Print a table whenever a bench's state or worst alarm changes, and every minute, until cancelled."""
        shown: list[tuple[object, ...]] | None = None
        printed_s = 0.0
        while True:
            await asyncio.sleep(SHOWN_EVERY_S)
            picture, now_s = self.picture(), uptime_s()
            cells = [cells_of(row, now_s) for row in picture.rows(0, len(picture.lines))]
            states: list[tuple[object, ...]] = [(c.name, c.level, c.what) for c in cells]
            states.append((self._seen is not None and self._seen.connected,))
            if states != shown or now_s - printed_s >= TABLE_EVERY_S:
                shown, printed_s = states, now_s
                lines = table_lines(picture, now_s, clock(time.time()), PRINTED_MOST)
                print("\n".join(lines), end="\n\n", flush=True)


def clock(utc_s: float) -> str:
    """The time of day on this machine."""
    return f"{datetime.fromtimestamp(utc_s).astimezone():%H:%M:%S}"


def to_stderr(line: str) -> None:
    """A line that does not belong to the tables."""
    with contextlib.suppress(BrokenPipeError):
        print(f"so2bench: {line}", file=sys.stderr, flush=True)
