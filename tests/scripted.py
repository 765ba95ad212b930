"""A real service on a scripted board, its run's time passing fifty times as fast as the clock's."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable
from functools import partial
from types import TracebackType
from typing import Self

from monitor.core.events import Event
from monitor.edges import inbox
from monitor.edges.mqtt_broker import Broker
from monitor.service import Run, Service
from monitor.settings import bench_from, parse_toml, run_from
from monitor.terms import BenchTerms, RunTerms
from tests.core.lines import CONTACT, PERMIT, BoardScript
from tests.settings import BENCH_TOML, RUN_TOML

SPEED = 50.0  # run seconds a second
CALM = 8.0  # slow enough for a permit to stay on a busy machine: three seconds of silence are a third of one
PATIENCE_S = 60.0

Script = Callable[[BoardScript, int], bytes | None]


class ScriptedPort:
    """A line on which a scripted board speaks, a sample every tenth of a second of the run's time."""

    def __init__(self, board: BoardScript, script: Script, speed: float = SPEED) -> None:
        self._board, self._script, self._speed = board, script, speed
        self.samples = 0
        self.done = threading.Event()

    def read(self, timeout_s: float) -> bytes:
        time.sleep(min(0.1 / self._speed, timeout_s))
        self.samples += 1
        data = self._script(self._board, self.samples)
        if data is None:
            self.done.set()
            return b""
        return data

    def has_given(self, samples: int) -> bool:
        """Whether the script has come so far."""
        return self.samples >= samples

    def write(self, data: bytes) -> None:
        for body in data.split(b"\n"):
            if body.startswith(b"K,"):
                on = body.split(b",")[2] == b"1"
                self._board.io = self._board.io & ~(PERMIT | CONTACT) | (PERMIT | CONTACT if on else 0)

    def close(self) -> None:
        """Nothing to let go of."""


def terms() -> tuple[BenchTerms, str, RunTerms, str]:
    bench = bench_from(parse_toml(BENCH_TOML, "bench.toml"), "bench.toml")
    return bench, BENCH_TOML, run_from(parse_toml(RUN_TOML, "run.toml"), "run.toml"), RUN_TOML


class Watched:
    """A context manager: the service watches the run on that line inside it, and has ended after it."""

    def __init__(self, run: Run, port: ScriptedPort, broker: Broker | None = None) -> None:
        self.run, self.port = run, port
        self.events: list[Event] = []
        self.lengths: list[int] = []  # of the lists of events, as the service gave them
        self.service = Service(run, lambda: port, (self._hear,), port, broker)
        self._failures: list[BaseException] = []
        self._thread = threading.Thread(target=self._live, name="watched")

    def _live(self) -> None:
        try:
            asyncio.run(self.service.watch())
        except BaseException as why:  # noqa: BLE001 - raised again at the end
            self._failures.append(why)

    def _hear(self, events: list[Event]) -> None:
        self.events += events
        self.lengths.append(len(events))

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.service.stop()
        self._thread.join()
        if self._failures and error is None:
            raise self._failures[0]

    def wait(self, true: Callable[[], object], what: str) -> None:
        """Poll until `true()`; fail when the service ends or saying that `what` never came."""
        deadline_s = time.monotonic() + PATIENCE_S
        while not true():
            assert self._thread.is_alive(), self._failures
            assert time.monotonic() < deadline_s, f"waited in vain: {what}"
            time.sleep(0.005)

    def ask(self, kind: str, args: dict[str, object], utc_s: float | None = None) -> str:
        """Ask by the inbox, as the page does; gives the request's number."""
        return inbox.put(self.run.path, kind, "Ada", args, time.time() if utc_s is None else utc_s)


def watch(run: Run, port: ScriptedPort, asks: list[tuple[int, str, dict[str, object]]]) -> list[Event]:
    """Watch a run until the script has ended, asking things by the inbox as samples go by; gives its events."""
    with Watched(run, port) as watched:
        for at, kind, args in asks:
            watched.wait(partial(port.has_given, at), "the sample")
            watched.ask(kind, args)
        watched.wait(port.done.is_set, "the script's end")
    return watched.events
