"""A live run for the page: the real service and log, the rig's board in Python, and senses set by hand.

Invented throughout: the scenario is the demonstration's, a workshop recovering selenium from a spent liquor.
"""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path

from monitor.errors import PortError
from monitor.rig.board import Board, Senses
from monitor.rig.thermocouple import converter_word, reported_hot_c
from monitor.service import Service, begin
from monitor.settings import bench_from, parse_toml
from tests.live import terms

BENCH, BENCH_TOML, RUN, RUN_TOML = terms()
COLD_C = 24.5


def a_port() -> int:
    """A TCP port that the system picks: two tests at once never meet on it, as they would on the first free one."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


class BoardPort:
    """A line with a board at its end that senses what it is told to; see `monitor.edges.port.Port`."""

    def __init__(self, speed: float = 1.0) -> None:
        self.gas_ppm, self.plate_c, self.drops_per_min = 0.0, 78.0, 0.0
        self.mute = False  # the cable lies there, and nothing comes
        self._speed, self._board, self._lock = speed, Board(), threading.Lock()
        self._began_s, self._ms, self._next_drop_ms = time.monotonic(), 0.0, 0.0
        self._dither = count()
        self._closed = threading.Event()

    def read(self, timeout_s: float) -> bytes:
        """What the board has sent since the last call, after waiting."""
        self._closed.wait(timeout_s / 2)
        now_ms = (time.monotonic() - self._began_s) * 1e3 * self._speed
        with self._lock:
            data = b""
            while self._ms + 100.0 <= now_ms:
                data += self._board.advance(self._ms + 100.0, self._senses(self._ms))
                self._ms += 100.0
        return b"" if self.mute else data

    def _senses(self, from_ms: float) -> Senses:
        edges: list[float] = []
        self._next_drop_ms = max(self._next_drop_ms, from_ms)
        while self.drops_per_min and self._next_drop_ms < from_ms + 100.0:
            edges.append(self._next_drop_ms)
            self._next_drop_ms += 60e3 / self.drops_per_min
        wobble = next(self._dither) % 5 - 2
        cold_c = COLD_C + 0.0625 * wobble
        word = converter_word(reported_hot_c(self.plate_c - BENCH.thermocouple.offset_c.value, cold_c), cold_c)
        gas_sum = int(BENCH.gas.zero_sum + self.gas_ppm / BENCH.gas.ppm_per_sum) + 2 * wobble
        return Senses(word, gas_sum, 5, edges)

    def write(self, data: bytes) -> None:
        """The service's bytes for the board."""
        if self._closed.is_set():
            raise PortError("the line is closed")
        with self._lock:
            self._board.receive(data)

    def close(self) -> None:
        """Let go of the line."""
        self._closed.set()


class LiveRun:
    """A run that is being watched: its log, its board, and a way to end the watching."""

    def __init__(self, log: Path, speed: float, more: str) -> None:
        self.log, self.port = log, BoardPort(speed)
        bench_toml = BENCH_TOML + more
        bench = bench_from(parse_toml(bench_toml, "bench.toml"), "bench.toml")
        self.run = begin(log, bench, bench_toml, RUN, RUN_TOML, speed)
        self._service = Service(self.run, lambda: self.port, (), self.port)
        self._thread = threading.Thread(target=lambda: asyncio.run(self._service.watch()), name="service")
        self._thread.start()

    def stop(self) -> None:
        """End the watching, as Ctrl-C does."""
        self._service.stop()
        self._thread.join()


@contextmanager
def live_run(log: Path, speed: float = 1.0, more: str = "") -> Iterator[LiveRun]:
    """A run watched for as long as the block lasts; `more` goes to the end of its bench.toml."""
    live = LiveRun(log, speed, more)
    try:
        yield live
    finally:
        live.stop()
