"""A board listened to without a run: for calibration and the check before a run.

Promise: a thread of its own reads the line, so nothing that the person takes time over loses a sample; the board
hears a keep-alive twice a second and therefore keeps quiet; the permit is off unless it is asked for here, and always
off afterwards. Times are the board's own (`ms`), so a simulated bench may run at any speed.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from typing import Self

from monitor.core.frames import Decoder, SampleFrame, keep_alive, set_trips, who_is_there
from monitor.core.sensing import gas_trip_sum, tc_trip_quarters
from monitor.edges.port import SerialPort
from monitor.errors import PortError, RefusalError
from monitor.heard import seconds_between
from monitor.terms import BenchTerms

READ_S = 0.05
KEEP_ALIVE_S = 0.5  # twice a second (protocol)
KEPT = 1300  # samples: two minutes, and what comes until somebody looks
SILENT_S = 5.0  # without a sample, by this machine's clock
POLL_S = 0.02


class Listener:
    """Use as a context manager. `port` is open already; it is closed afterwards."""

    def __init__(self, port: SerialPort) -> None:
        self._port = port
        self._samples: deque[SampleFrame] = deque(maxlen=KEPT)
        self._raw: deque[tuple[float, bytes]] = deque(maxlen=KEPT)
        self._permit = False
        self._trips = b""
        self._heard_s = time.monotonic()
        self._stop = threading.Event()
        self._lost: PortError | None = None
        self._thread = threading.Thread(target=self._run, name="listener", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()
        self._port.close()

    def _run(self) -> None:
        decoder, n, next_s = Decoder(), 0, 0.0
        try:
            self._port.write(who_is_there(0))
            while not self._stop.is_set():
                if time.monotonic() >= next_s:
                    n, next_s = n + 1, time.monotonic() + KEEP_ALIVE_S
                    trips, self._trips = self._trips, b""
                    self._port.write(trips + keep_alive(n, self._permit, False))
                data = self._port.read(READ_S)
                if data:
                    self._raw.append((time.monotonic(), data))
                for item in decoder.feed(data):
                    if isinstance(item, SampleFrame):
                        self._samples.append(item)
                        self._heard_s = time.monotonic()
            self._port.write(keep_alive(n + 1, False, False))
        except PortError as why:
            self._lost = why

    def permit(self, on: bool, bench: BenchTerms | None = None) -> None:
        """What the keep-alive asks for from the next one on; the board gets its own trip limits of `bench` first."""
        if on and bench is not None:
            cold_c = self.newest().cold_c
            heat = tc_trip_quarters(
                bench.limits.plate_high_high_c, bench.thermocouple.offset_c.value, 25.0 if cold_c is None else cold_c
            )
            self._trips = set_trips(0, heat, gas_trip_sum(bench.limits.gas_high_high_ppm, bench.gas))
        self._permit = on

    def taken(self) -> list[tuple[float, bytes]]:
        """The bytes that have come since the last time this was asked, each with this machine's seconds."""
        out = []
        while self._raw:
            out.append(self._raw.popleft())
        return out

    def heard(self) -> tuple[SampleFrame, ...]:
        """The samples kept, oldest first, without waiting. Raises PortError when the line is gone."""
        if self._lost is not None:
            raise self._lost
        while True:
            try:
                return tuple(self._samples)
            except RuntimeError:  # one came meanwhile
                continue

    def silent_s(self) -> float:
        """Seconds since the newest sample, by this machine's clock; since the beginning, where there is none."""
        return time.monotonic() - self._heard_s

    def newest(self) -> SampleFrame:
        """The newest sample; waits for the first.

        Raises:
            RefusalError: the line is gone, or the board says nothing.
        """
        return self._wait_for(lambda: self._samples[-1] if self._samples else None)

    def after(self, seen: SampleFrame) -> SampleFrame:
        """The newest sample, once it is another than `seen`. Raises as `newest` does."""

        def fresh() -> SampleFrame | None:
            newest = self._samples[-1]
            return newest if newest is not seen else None

        return self._wait_for(fresh)

    def stretch(self, seconds: float, show: Callable[[float], None] = lambda _: None) -> list[SampleFrame]:
        """The samples of so many seconds from now. `show` hears the seconds to go.

        Raises:
            RefusalError: the line is gone, the board falls silent or starts anew.
        """
        first = seen = self.newest()
        out: list[SampleFrame] = []
        fresh: list[SampleFrame] = []
        while seconds_between(first, seen) < seconds:
            self.after(seen)
            for sample in self.heard()[::-1]:  # all that came meanwhile, on a busy machine more than one
                if sample is seen:
                    break
                fresh.append(sample)
            out += reversed(fresh)
            seen = out[-1]
            fresh.clear()
            show(max(0.0, seconds - seconds_between(first, seen)))
        return out

    def _wait_for(self, found: Callable[[], SampleFrame | None]) -> SampleFrame:
        deadline_s = time.monotonic() + SILENT_S
        while (got := found()) is None:
            if self._lost is not None:
                raise self._lost
            if time.monotonic() > deadline_s:
                raise RefusalError(
                    f"the board has said nothing for {SILENT_S:g} s: is it powered, is the path right?"
                )
            time.sleep(POLL_S)
        return got
