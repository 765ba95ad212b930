"""The outlet to an MQTT broker: state each second, every alarm change, and whether this bench is watched at all.

Promise: nothing a broker or a network does can hold up the bench or end the run. Alarm changes arrive in order and
at least once for as long as this program lives; a state that comes too late is left out and counted. Whoever
listens is told when nobody watches any more: by the goodbye, by the last will, or because the message expires.

Where the bench allows it, requests come in on the same connection; `mqtt_requests.py` judges them.
"""

from __future__ import annotations

import asyncio
import contextlib
import random
import secrets
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from monitor.core.events import Event
from monitor.edges.mqtt_broker import Broker
from monitor.edges.mqtt_link import BrokerError, Connection, connect
from monitor.edges.mqtt_outbox import ANSWERS_MAX, Outbox
from monitor.edges.mqtt_payloads import Voice
from monitor.edges.mqtt_requests import Answer, Arrived, Ask, Desk
from monitor.edges.mqtt_sender import Sender
from monitor.terms import Route

LOOK_S = 1.0  # how often to look whether the bench still speaks
FAREWELL_S = 2.0  # for what is left to say at the end; what is not out by then stays unsaid, the record has it


@dataclass(frozen=True, slots=True)
class Pace:
    """How patient to be, in seconds. The keep-alive is the broker's measure for a monitor that hangs: × 1.5."""

    keepalive_s: int = 15
    answer_s: float = 5.0
    first_retry_s: float = 0.25  # doubles with each failure, ± 20 % so that many benches do not come at once
    last_retry_s: float = 30.0  # a connection that held this long makes the next retry a first one again
    renew_s: float = 10.0  # for "watched" and "standing", well within their expiry
    stalled_s: float = 5.0  # overviews come once a second: five missing are no hiccup


class Mqtt:
    """An outlet of the service, and the task that sends.

    `on_trouble(failing, text)` is called in the event loop: with True for each new reason since the broker was last
    in order, and with False when it is in order first or again, and everything that waited has been delivered.
    `on_ask` is called there with each request that may be put before the run, which answers it by an event; without
    it none is taken in.
    """

    def __init__(
        self,
        bench: str,
        route: Route,
        broker: Broker,
        on_trouble: Callable[[bool, str], None],
        pace: Pace | None = None,
        on_ask: Callable[[Ask], None] | None = None,
    ) -> None:
        self._broker, self._on_trouble, self._pace = broker, on_trouble, pace or Pace()
        self._on_ask = on_ask
        self._name = f"so2bench-{bench}"  # one a bench: an older connection, dead or doubled, is thrown out
        session = secrets.token_hex(4)
        self._voice, self._desk = Voice(bench, session, route), Desk(session)
        self._at_once: deque[Answer] = deque(maxlen=ANSWERS_MAX)  # no word of the run's; when full, the oldest goes
        self._deaf: str | None = None  # why requests do not come in on this connection
        self._outbox = Outbox(self._desk.before)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._news = asyncio.Event()
        self._told: set[str] = set()  # sentences of the present trouble
        self._in_order = False

    def __call__(self, events: list[Event]) -> None:
        """Take events, in the bench's thread; never waits."""
        if self._outbox.put(events, time.monotonic()) and self._loop is not None:
            with contextlib.suppress(RuntimeError):  # the loop has ended: nobody is left to send
                self._loop.call_soon_threadsafe(self._news.set)

    async def run(self) -> None:
        """Send until cancelled, then say goodbye. Trouble with the broker is told, not raised."""
        self._loop = asyncio.get_running_loop()
        pace, retry_s = self._pace, self._pace.first_retry_s
        while True:
            begun_s = time.monotonic()
            try:
                async with connect(
                    self._broker, self._name, self._voice.lost(), pace.keepalive_s, pace.answer_s
                ) as connection:
                    await self._serve(connection)
            except BrokerError as why:
                self._trouble(str(why))
            if time.monotonic() - begun_s > pace.last_retry_s:
                retry_s = pace.first_retry_s
            await asyncio.sleep(retry_s * random.uniform(0.8, 1.2))
            retry_s = min(2.0 * retry_s, pace.last_retry_s)

    async def _serve(self, connection: Connection) -> None:
        """Send and listen until the connection breaks, which is raised, or until cancelled."""
        tally = self._desk.tally if self._on_ask is not None else None
        sender = Sender(connection, self._outbox, self._voice, self._answer, tally)
        try:
            _heed_cancelling()
            await self._talk(connection, sender)
        except asyncio.CancelledError:
            # When the broker does not take the goodbye, its last will has to do.
            with contextlib.suppress(TimeoutError, BrokerError):
                async with asyncio.timeout(FAREWELL_S):
                    await sender.goodbye(self._pace.stalled_s)
            raise

    async def _talk(self, connection: Connection, sender: Sender) -> None:
        listening = asyncio.create_task(self._listen(connection), name="mqtt listen")
        sending = asyncio.create_task(self._send(sender), name="mqtt send")
        try:
            done, _ = await asyncio.wait({listening, sending}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            listening.cancel()
            sending.cancel()
            await asyncio.gather(listening, sending, return_exceptions=True)
        # If both are done, the listener knows better why.
        (listening if listening in done else sending).result()

    async def _listen(self, connection: Connection) -> None:
        self._deaf = None
        if self._on_ask is not None:
            self._deaf = await connection.subscribe(self._voice.ask_topic, self._take)
            if self._deaf is not None:
                self._trouble(self._deaf)
        await connection.listen()

    def _take(self, arrived: Arrived) -> None:
        """Have the desk judge what came; the run answers later."""
        got = self._desk.take(arrived, time.monotonic())
        if isinstance(got, Ask) and self._on_ask is not None:
            self._on_ask(got)
        elif isinstance(got, Answer):
            self._at_once.append(got)
            self._news.set()

    def _answer(self) -> Answer | None:
        """The next answer to send."""
        said = self._outbox.take_answer()
        if said is not None:
            return self._desk.answered(said.request_id, said.accepted, said.text)
        return self._at_once.popleft() if self._at_once else None

    async def _send(self, sender: Sender) -> None:
        while True:
            self._news.clear()
            while await sender.some(self._pace.renew_s, self._pace.stalled_s):
                _heed_cancelling()
            self._recovered()
            _heed_cancelling()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(LOOK_S):
                    await self._news.wait()

    def _trouble(self, text: str) -> None:
        self._in_order = False
        if text not in self._told:
            self._told.add(text)
            self._on_trouble(True, text)

    def _recovered(self) -> None:
        if self._in_order or self._deaf is not None:
            return
        self._in_order = True
        text = f"connected to the broker at {self._broker.at}"
        if self._told:
            lost, dropped = self._outbox.alarms_lost, self._outbox.states_dropped
            rest = f"{lost} alarm changes found no room and were not sent" if lost else "no alarm change was lost"
            text += f" again; so far {rest}, and {dropped} states were left out"
        self._told.clear()
        self._on_trouble(False, text)


def _heed_cancelling() -> None:
    """Stop here if this task was told to stop.

    Needed after waiting on the library: up to Python 3.11 `asyncio.wait_for`, which it uses, forgets a cancelling
    that comes in the same instant as the answer (python/cpython#86296).
    """
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError
