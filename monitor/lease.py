"""A board that a page listens to, let go by itself when the page goes away.

Promise: the port is held, and the permit asked for, only while somebody looks at least every `LEASE_S` seconds; a
closed tab, a sleeping telephone or a lost network takes the permit away and leaves the port to the next run.
"""

from __future__ import annotations

import threading
import time

from monitor.core.frames import SampleFrame
from monitor.edges.port import SerialPort
from monitor.errors import PortError, RefusalError
from monitor.heard import seconds_between
from monitor.listening import SILENT_S, Listener
from monitor.terms import BenchTerms

LEASE_S = 10.0  # the page looks each second
WATCH_S = 0.25
IN_USE = "A run that is being watched has the board to itself: end watching first, or type the readings in."


class Lease:
    """A board held for a page."""

    def __init__(self, path: str, baud: int, lease_s: float = LEASE_S) -> None:
        """Open it.

        Raises:
            PortError: not there, not allowed, or in use: a run's monitor has it, for instance.
        """
        self._lease_s = lease_s
        try:
            self._listener = Listener(SerialPort(path, baud))
        except PortError as why:
            raise PortError(f"{why}. {IN_USE}" if "in use" in str(why) else str(why)) from why
        self._listener.__enter__()
        self._looked_s = time.monotonic()
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._watch, name="lease", daemon=True)
        self._thread.start()

    def _watch(self) -> None:
        while not self._ended.wait(WATCH_S):
            if time.monotonic() - self._looked_s > self._lease_s:
                break
        self._listener.__exit__()
        self._ended.set()

    @property
    def open(self) -> bool:
        """Whether the board is still held."""
        return not self._ended.is_set()

    def close(self) -> None:
        """Let go of the port, the permit off; it is free when this returns."""
        self._ended.set()
        self._thread.join()

    def permit(self, on: bool, bench: BenchTerms) -> None:
        """Ask for the permit or give it back. Raises RefusalError as `look`."""
        self.look()
        self._listener.permit(on, bench)

    def look(self) -> tuple[SampleFrame, ...]:
        """The newest samples, oldest first, two minutes at most; empty before the first. Looking keeps the board.

        Raises:
            RefusalError: the line is gone, the board is silent, or nobody looked for so long that it was let go.
        """
        self._looked_s = time.monotonic()
        if not self.open:
            raise RefusalError(f"nobody looked for {self._lease_s:g} s, so the port was let go: begin again")
        if self._listener.silent_s() > SILENT_S:
            raise RefusalError(f"the board has said nothing for {SILENT_S:g} s: is it powered, is the path right?")
        return self._listener.heard()


def since(samples: tuple[SampleFrame, ...], begun: SampleFrame) -> tuple[SampleFrame, ...]:
    """The samples from `begun` on, itself included, as far as they are kept.

    Raises:
        RefusalError: the board started anew meanwhile.
    """
    newest = samples[-1]
    whole_s = seconds_between(begun, newest)
    return tuple(s for s in samples if s.boot == begun.boot and seconds_between(s, newest) <= whole_s)
