"""The messenger's process: `python -m monitor.messenger BENCH TITLE ROUTE URLS_ENV LOWEST REPEAT_S`.

It hears the monitor on standard input and answers on standard output. It takes no heed of being told to stop: when
the monitor goes, it tells those whom it was to tell, and ends by itself.
"""

from __future__ import annotations

import asyncio
import signal
import sys
import threading
import time
from datetime import datetime
from typing import cast

from monitor.core.events import Priority
from monitor.errors import RefusalError
from monitor.messenger import wire
from monitor.messenger.letters import Scene, Teller
from monitor.messenger.targets import Target, targets_of
from monitor.terms import Route

LOOK_S = 0.5  # how often to look whether a letter is due
FAILED_AFTER = 3  # deliveries in a row, before it is told to the monitor


def _clock_time(utc_s: float) -> str:
    return f"{datetime.fromtimestamp(utc_s).astimezone():%H:%M:%S %Z}"


class Messenger:
    """Hears the monitor, and tells each target what it is to be told."""

    def __init__(self, scene: Scene, targets: list[Target], lowest: Priority, repeat_s: float) -> None:
        self.scene = scene
        self._tellers = [(target, Teller(lowest, repeat_s, _clock_time)) for target in targets]
        self._trouble: dict[str, str] = {}
        self._heard, self._over = asyncio.Event(), asyncio.Event()

    def hear(self, line: bytes, now_s: float) -> None:
        """Take in a line of the monitor's; an empty one says that it is gone."""
        if not line:
            self.scene = self.scene._replace(cut=self.scene.ended is None)
            self._over.set()
            return
        said = wire.parse(line)
        if "scene" in said:
            self.scene = self.scene._replace(
                alarms=wire.standing(said["scene"]), heard_s=now_s, start_utc_s=said["start_utc_s"]
            )
            self._heard.set()
        elif "ended" in said:
            self.scene = self.scene._replace(ended=str(said["ended"]))

    async def run(self) -> None:
        """Tell until there is nothing left to tell: nothing at all, when the monitor never began."""
        async with asyncio.TaskGroup() as group:
            alive = group.create_task(self._say_alive())
            waits = [group.create_task(self._heard.wait()), group.create_task(self._over.wait())]
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
            if self._heard.is_set():
                await asyncio.gather(*(self._tell(target, teller) for target, teller in self._tellers))
            for task in (alive, *waits):
                task.cancel()

    async def _tell(self, target: Target, teller: Teller) -> None:
        while not teller.done:
            letter = teller.next(time.monotonic(), self.scene)
            if letter is None:
                await asyncio.sleep(LOOK_S)
                continue
            reason = await target.deliver(letter)
            if reason is None:
                teller.delivered(letter, time.monotonic())
                self._went(target.name)
            else:
                teller.failed(time.monotonic())
                if teller.failures == FAILED_AFTER:
                    self._went(target.name, reason)

    def _went(self, name: str, reason: str = "") -> None:
        if not reason and name not in self._trouble:
            return
        if reason:
            self._trouble[name] = reason
        else:
            del self._trouble[name]
        _say(wire.failing_line(bool(self._trouble), "; ".join(self._trouble.values()) or f"{name} takes them again"))

    async def _say_alive(self) -> None:
        while True:
            _say(wire.alive_line())
            await asyncio.sleep(wire.ALIVE_S)


def _say(line: bytes) -> None:
    try:
        sys.stdout.buffer.write(line)
        sys.stdout.buffer.flush()
    except OSError:  # the monitor is gone; what is left is for people
        return


async def _main(bench: str, title: str, route: str, urls_env: str, lowest: str, repeat_s: str) -> None:
    loop = asyncio.get_running_loop()
    scene = Scene(bench, title, cast(Route, route), heard_s=time.monotonic())
    messenger = Messenger(scene, targets_of(urls_env), Priority(lowest), float(repeat_s))

    def listen() -> None:
        while True:
            line = sys.stdin.buffer.readline()
            try:
                loop.call_soon_threadsafe(messenger.hear, line, time.monotonic())
            except RuntimeError:  # the loop has ended: everything is told
                return
            if not line:
                return

    threading.Thread(target=listen, name="ears", daemon=True).start()
    await messenger.run()


if __name__ == "__main__":
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_IGN)
    try:
        asyncio.run(_main(*sys.argv[1:7]))
    except RefusalError as why:
        _say(wire.failing_line(True, str(why)))
        sys.exit(1)
