"""A board in Python: what the microcontroller does, as the wire protocol (version 1) says it.

Promises one B frame at each start and one S frame each 100 ms of its own time, answers to every valid command,
and the board's own protections: permit off without a keep-alive for 3 s, local trips after three samples,
a watchdog. Time is an argument, in simulated milliseconds; the board reads no clock and keeps nothing but its
own state. It does not know what is wired to it: what it senses is handed to `advance`.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from monitor.rig import wire
from monitor.rig.wire import UINT16_MAX, UINT32_MAX, Command, CommandReader, frame

TC_TRIP_AT_START: Final = 1360  # 340 °C in quarter degrees, until an L says otherwise
GAS_TRIP_AT_START: Final = wire.GAS_SUM_MAX  # the zero of a sensor is not known before an L
MAX_WAITING: Final = 64  # answers that wait for the next advance; further ones are not sent


@dataclass(slots=True)
class Senses:
    """What is on the board's pins. `contact` None means that the relay's contact follows the permit at once."""

    tc_word: int
    gas_sum: int
    gas_span: int
    edges_ms: Sequence[float] = ()  # beam breaks since the last advance, simulated ms, ascending
    gate_dark: bool = False
    contact: bool | None = None


class Board:
    """One board. `uptime_ms`: begin as though it had run so long already; `clock_ratio`: its ms in a true ms."""

    def __init__(
        self,
        boot: int = 1,
        *,
        at_ms: float = 0.0,
        firmware: int = 1,
        dead_ms: int = 20,
        clock_ratio: float = 1.0,
        uptime_ms: int = 0,
        reset_cause: int = wire.POWER_ON,
    ) -> None:
        self.boot = boot
        self._firmware = firmware
        self.dead_ms = dead_ms
        self._clock_ratio = clock_ratio
        self.rejected: Counter[str] = Counter()
        self._start(at_ms, reset_cause, uptime_ms)

    def _start(self, at_ms: float, reset_cause: int, uptime_ms: int = 0) -> None:
        self.powered = True
        self._reset_cause = reset_cause
        self._started_at_ms = at_ms
        self._uptime_ms = uptime_ms
        self._now_ms = 0.0  # own time since the start
        self._samples = 0
        self._hung_at_ms: float | None = None
        self.permit = False
        self._buzzer_asked = False
        self._kept_alive_ms: float | None = None
        self.overheat_latched = False
        self.gas_latched = False
        self._overheat_run = 0  # samples in a row with a cause
        self._gas_run = 0
        self.tc_trip = TC_TRIP_AT_START
        self.gas_trip = GAS_TRIP_AT_START
        self.drops = 0
        self._drop_ms: float | None = None
        self.rejects = 0
        self._edges: deque[float] = deque()  # own ms; emptied by each advance up to its time
        self._dark_since_ms: float | None = None
        self._reader = CommandReader()
        self._reader.rejected = self.rejected
        self._out: list[bytes] = []
        self._say_hello()

    @property
    def fresh(self) -> bool:
        """Whether a keep-alive was received within its limit."""
        return self._kept_alive_ms is not None and self._now_ms - self._kept_alive_ms < wire.KEEP_ALIVE_LIMIT_MS

    @property
    def buzzer(self) -> bool:
        """Whether the buzzer sounds: asked for, or by itself for a trip or a missing keep-alive."""
        return self._buzzer_asked or self.overheat_latched or self.gas_latched or not self.fresh

    def restart(self, at_ms: float, cause: int = wire.EXTERNAL) -> None:
        """Start anew, with the next boot number and the permit off."""
        self.boot = (self.boot + 1) & UINT16_MAX
        self._start(at_ms, cause)

    def power_off(self) -> None:
        """Take the supply away: nothing is sent, heard or counted, and the permit is off, until `restart`."""
        self.powered = False
        self.permit = False
        self._out.clear()

    def hang(self, at_ms: float) -> None:
        """Stop the loop; the outputs stay as they are until the watchdog restarts the board 1 s later."""
        self._hung_at_ms = at_ms

    def receive(self, data: bytes) -> None:
        """Take bytes from the host, as of the last advance; answers go out with the next advance."""
        if self.powered and self._hung_at_ms is None:
            for command in self._reader.feed(data):
                self._obey(command)

    def advance(self, to_ms: float, senses: Senses) -> bytes:
        """Go on to `to_ms` under `senses`; return what the board sent meanwhile."""
        if not self.powered:
            return b""
        if self._hung_at_ms is not None:
            if to_ms < self._hung_at_ms + wire.WATCHDOG_MS:
                return b""
            self.restart(self._hung_at_ms + wire.WATCHDOG_MS, wire.WATCHDOG)
        end_ms = self._own_ms(to_ms)
        if senses.edges_ms:
            self._edges.extend(own for t in senses.edges_ms if (own := self._own_ms(t)) >= 0.0)
        while (due_ms := self._samples * wire.SAMPLE_MS) <= end_ms:
            self._count_edges(due_ms)
            self._now_ms = float(due_ms)
            self._sample(senses)
        if self._edges:
            self._count_edges(end_ms)
        self._now_ms = end_ms
        if self.permit:
            self._watch_keep_alive()
        if not self._out:
            return b""
        sent = b"".join(self._out)
        self._out.clear()
        return sent

    def _own_ms(self, at_ms: float) -> float:
        return (at_ms - self._started_at_ms) * self._clock_ratio

    def _count_edges(self, up_to_ms: float) -> None:
        while self._edges and self._edges[0] <= up_to_ms:
            edge_ms = self._edges.popleft()
            if self._drop_ms is not None and edge_ms - self._drop_ms < self.dead_ms:
                self.rejects = (self.rejects + 1) & UINT16_MAX
            else:
                self.drops = (self.drops + 1) & UINT32_MAX
                self._drop_ms = edge_ms

    def _watch_keep_alive(self) -> None:
        if not self.fresh:
            self.permit = False

    def _sample(self, senses: Senses) -> None:
        self._watch_keep_alive()
        self._watch_trips(senses)
        if not senses.gate_dark:
            self._dark_since_ms = None
        elif self._dark_since_ms is None:
            self._dark_since_ms = self._now_ms
        own_ms = self._uptime_ms + self._samples * wire.SAMPLE_MS
        drop_ms = 0 if self._drop_ms is None else int(self._uptime_ms + self._drop_ms) & UINT32_MAX
        self._out.append(
            frame(
                b"S,%d,%d,%d,%d,%d,%d,%08X,%d,%d,%02X"
                % (
                    self.boot,
                    own_ms // wire.SAMPLE_MS & UINT32_MAX,
                    own_ms & UINT32_MAX,
                    self.drops,
                    drop_ms,
                    self.rejects,
                    senses.tc_word,
                    senses.gas_sum,
                    senses.gas_span,
                    self._io(senses),
                )
            )
        )
        self._samples += 1

    def _watch_trips(self, senses: Senses) -> None:
        self._overheat_run = self._overheat_run + 1 if self._too_hot(senses.tc_word) else 0
        self._gas_run = self._gas_run + 1 if senses.gas_sum >= self.gas_trip else 0
        self.overheat_latched |= self._overheat_run >= wire.TRIP_SAMPLES
        self.gas_latched |= self._gas_run >= wire.TRIP_SAMPLES
        if self.overheat_latched or self.gas_latched:
            self.permit = False

    def _too_hot(self, word: int) -> bool:
        if word & wire.TC_FAULTS or word in wire.TC_SILENT:
            return True
        counts = word >> 18
        return (counts - 0x4000 if counts & 0x2000 else counts) >= self.tc_trip

    def _io(self, senses: Senses) -> int:
        contact = self.permit if senses.contact is None else senses.contact
        dark = self._dark_since_ms is not None and self._now_ms - self._dark_since_ms > wire.GATE_DARK_LIMIT_MS
        return (
            (wire.IO_PERMIT if self.permit else 0)
            | (wire.IO_CONTACT if contact else 0)
            | (wire.IO_BUZZER if self.buzzer else 0)
            | (wire.IO_FRESH if self.fresh else 0)
            | (wire.IO_OVERHEAT if self.overheat_latched else 0)
            | (wire.IO_GAS if self.gas_latched else 0)
            | (wire.IO_GATE_DARK if dark else 0)
            | (wire.IO_WATCHDOG if self._reset_cause & wire.WATCHDOG else 0)
        )

    def _obey(self, command: Command) -> None:
        match command.kind:
            case "K":
                self._kept_alive_ms = self._now_ms
                self._buzzer_asked = bool(command.fields[1])
                self.permit = bool(command.fields[0]) and not (self.overheat_latched or self.gas_latched)
            case "L":
                tc_trip, gas_trip = command.fields
                possible = tc_trip <= wire.TC_TRIP_MAX and gas_trip <= wire.GAS_SUM_MAX
                if possible:
                    self.tc_trip, self.gas_trip = tc_trip, gas_trip
                self._answer(command, done=possible)
            case "C":
                clear = not (self._overheat_run or self._gas_run)
                if clear:
                    self.overheat_latched = self.gas_latched = False
                self._answer(command, done=clear)
            case "Q":
                self._say_hello()

    def _answer(self, command: Command, *, done: bool) -> None:
        self._say(f"A,{command.kind},{command.n},{0 if done else 1}")

    def _say_hello(self) -> None:
        self._say(
            f"B,{self.boot},{wire.PROTOCOL},{self._firmware},{self._reset_cause:02X},{wire.SAMPLE_MS},{self.dead_ms}"
        )

    def _say(self, body: str) -> None:
        if len(self._out) < MAX_WAITING:
            self._out.append(frame(body.encode("ascii")))
