"""A listener to many benches in a thread of its own, with its list at hand."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Self, TypeVar

from monitor.benches.levels import Level
from monitor.benches.picture import Picture
from monitor.bencheslive import Listening
from monitor.edges.mqtt_broker import Broker, broker_of
from monitor.edges.mqtt_ears import Patience
from monitor.terms import MqttTerms
from monitor.uptime import uptime_s
from tests.edges.broker import wait_until

Asked = TypeVar("Asked")
QUICK = Patience(keepalive_s=1, answer_s=0.5, first_retry_s=0.05, last_retry_s=0.4)


class Hearing:
    """Listens, and keeps the list shown in `folder` if there is one."""

    def __init__(self, broker: Broker | str, folder: Path | None = None) -> None:
        known = broker_of(MqttTerms(broker)) if isinstance(broker, str) else broker
        self.said: list[str] = []
        self.listening = Listening(known, say=self.said.append, patience=QUICK)
        self._folder = folder
        self._loop: asyncio.AbstractEventLoop | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self._started = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._main()), name="hearing")

    def __enter__(self) -> Self:
        self._thread.start()
        self._started.wait()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    async def _main(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._tasks = [asyncio.create_task(self.listening.run())]
        if self._folder is not None:
            self._tasks.append(asyncio.create_task(self.listening.keep_shown(self._folder)))
        self._started.set()
        await asyncio.wait(self._tasks)

    def stop(self, within_s: float = 10.0) -> None:
        """End it as Ctrl-C does."""
        if self._thread.is_alive() and self._loop is not None:
            for task in self._tasks:
                self._loop.call_soon_threadsafe(task.cancel)
        self._thread.join(within_s)
        assert not self._thread.is_alive(), "the listener does not end"

    def _asked(self, what: Callable[[], Asked]) -> Asked:
        """Ask in the listener's own thread, as everything of the program does."""
        if self._loop is None or not self._thread.is_alive():
            return what()
        got: Future[Asked] = Future()
        self._loop.call_soon_threadsafe(lambda: got.set_result(what()))
        return got.result(20.0)

    @property
    def picture(self) -> Picture:
        return self._asked(self.listening.picture)

    @property
    def levels(self) -> dict[str, Level]:
        seen = self._asked(lambda: self.listening.roll.look(uptime_s()))
        return {j.name: j.level for j in seen}

    @property
    def connected(self) -> bool:
        broker = self.picture.whole.broker
        return broker is not None and broker.connected

    def wait_level(self, bench: str, level: Level, within_s: float = 20.0) -> None:
        wait_until(lambda: self.levels.get(bench) is level, f"{bench} is {level.name}", within_s)

    def wait_connected(self, *, there: bool = True) -> None:
        wait_until(lambda: self.connected is there, f"connected: {there}")
