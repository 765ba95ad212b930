"""A simulated bench behind a serial port that is not there: a pseudo-terminal, paced by the wall clock.

Promises a stable path (a symbolic link) that a serial library can open, raw and without echo; that pulling the
cable looks as it does on a real port; that output is thrown away while nobody listens, so that nothing ever waits for
a reader; and that `stop` leaves no thread, port or link behind. Simulated time is `speed` times the wall clock's.
Of the rig, this module and `firmware_bench` alone read a clock. It needs a POSIX system.
"""

from __future__ import annotations

import os
import select
import threading
import time
import tty
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from monitor.rig.bench import TICK_MS, SimulatedBench
from monitor.rig.plant import Truth
from monitor.rig.timeline import Action

WALL_STEP_S: Final = 0.01
MAX_BEHIND_S: Final = 1.0  # wall seconds; a host that slept longer goes on from where it is, not in a burst
READ_BYTES: Final = 4096  # also what a pseudo-terminal holds for a reader who is slow; beyond it, output is dropped


class BenchServer:
    """Runs a bench in a thread. Use as a context manager, or call `start` and `stop`."""

    def __init__(
        self, bench: SimulatedBench, link: Path, speed: float = 1.0, *, restarts_on_open: bool = False
    ) -> None:
        if speed <= 0.0:
            raise ValueError(f"found the speed {speed:g}; wanted a number over 0")
        self.bench = bench
        self.link = link
        self.speed = speed
        self.dropped_bytes = 0
        self._restarts_on_open = restarts_on_open  # as a common hobby board does when its port is opened
        self._master: int | None = None
        self._listened = False
        self._lock = threading.Lock()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="simulated-bench", daemon=True)
        self._failure: BaseException | None = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def start(self) -> None:
        """Make the port and begin; OSError if the link's path is taken by something that is not a link."""
        self._open_port()
        self._thread.start()

    def stop(self) -> None:
        """End the thread and take the port away; raises again what ended the thread early, if anything did."""
        self._stopping.set()
        self._thread.join()
        self._close_port()
        if self._failure is not None:
            raise self._failure

    def do(self, action: Action | str) -> None:
        """Do an action on the bench now, from any thread; its port has followed when this returns."""
        with self._lock:
            self.bench.do(action)
            self._follow_cable()

    def truth(self) -> Truth:
        """What is really so on the bench now, from any thread."""
        with self._lock:
            return self.bench.truth()

    @property
    def time_s(self) -> float:
        """Simulated seconds so far."""
        return self.bench.time_s

    def _run(self) -> None:
        try:
            last_s = time.monotonic()
            while not self._stopping.wait(WALL_STEP_S):
                now_s = time.monotonic()
                due_s = min(now_s - last_s, MAX_BEHIND_S) * self.speed
                last_s = now_s
                self._advance(due_s)
        except BaseException as failure:  # noqa: BLE001 - handed to whoever calls `stop`
            self._failure = failure

    def _advance(self, due_s: float) -> None:
        # In pieces of a sample at most, so that at a high speed the host's commands still reach the board in time.
        piece_s = 4 * TICK_MS * 1e-3
        while due_s > 0.0 and not self._stopping.is_set():
            with self._lock:
                self._take_from_host()
                self._give_to_host(self.bench.step(min(piece_s, due_s)))
                self._follow_cable()
            due_s -= piece_s

    def _follow_cable(self) -> None:
        if self.bench.plugged and self._master is None:
            self._open_port()
        elif not self.bench.plugged and self._master is not None:
            self._close_port()

    def _open_port(self) -> None:
        if self.link.exists() and not self.link.is_symlink():
            raise FileExistsError(f"found something at {self.link} that is no link; wanted a free path for the port")
        master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(master, False)
        name = os.ttyname(slave)
        os.close(slave)  # opened and closed once, so that a hang-up from now on means that nobody has it open
        fresh = self.link.with_name(f".{self.link.name}.new")
        fresh.unlink(missing_ok=True)
        fresh.symlink_to(name)
        fresh.replace(self.link)
        self._master = master
        self._listened = False

    def _close_port(self) -> None:
        if self._master is not None:
            self.link.unlink(missing_ok=True)
            os.close(self._master)
            self._master = None

    def _take_from_host(self) -> None:
        if self._master is None:
            return
        poll = select.poll()
        poll.register(self._master, select.POLLIN)
        events = sum(event for _, event in poll.poll(0))
        listened = not events & select.POLLHUP
        if listened and not self._listened and self._restarts_on_open:
            self.bench.do("reset")
        self._listened = listened
        if events & select.POLLIN:
            self.bench.write(os.read(self._master, READ_BYTES))

    def _give_to_host(self, data: bytes) -> None:
        if self._master is None or not data:
            return
        written = 0
        if self._listened:
            try:
                written = os.write(self._master, data)
            except BlockingIOError:
                written = 0
        self.dropped_bytes += len(data) - written
