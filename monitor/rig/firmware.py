"""The real firmware on a simulated part: build it, run it, wire things to it.

Promise: what runs is the image of `firmware_notes/board`, unchanged, on the simulator of `firmware_notes/simulator`,
which is a process of its own and ends with this one. Two modes:

- paced (the rule): simulated time follows the wall clock, `speed` times as fast, and the board is a serial port at
  `port`, a symbolic link that keeps its name over unplugging;
- lockstep: simulated time stands still but for `run_ms`, bytes go by `send` and `received`, and the same calls give
  the same bytes each time.

    with Firmware() as board:                       # paced
        watch(board.port)                           # any serial library opens this path
        board.gas_sum(8700.0)                       # inject, as often as wanted
        board.drop()

    with Firmware(lockstep=True) as board:
        board.send(keep_alive)
        board.run_ms(500)
        lines = board.received()

Injections are one short line on a pipe that the simulator empties each millisecond: they return at once, may come
from any thread, and take effect at the simulated time at which they are read (in lockstep: now). A plant model may
call `gas_sum` and `tc_word` dozens of times a second.

    drop beam contact gas_sum gas_mv tc_word        what the board senses
    reset hang power_off power_on unplug plug garble  what befalls it
    permit_pin buzzer_pin events                    what it does
    peek                                            a variable of the image, by its name

Linux alone. What is missing is said by `FirmwareToolsMissing`; a build or a simulator that fails, by
`FirmwareFailed`.
"""

from __future__ import annotations

import contextlib
import queue
import subprocess
import tempfile
import threading
from collections import deque
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO, Final, Literal, Self, TypeVar

from monitor.rig.firmware_build import FirmwareFailed, FirmwareToolsMissing, build

__all__ = ["Event", "Firmware", "FirmwareFailed", "FirmwareToolsMissing", "build"]

T = TypeVar("T")

SUPPLY_MV: Final = 5000.0  # the converter's reference
READINGS: Final = 64  # in one gas_sum
FULL_SCALE: Final = 1023  # counts of one reading
MAX_EVENTS: Final = 10_000  # kept for `events`; the oldest go first
MAX_LINES: Final = 100_000  # kept for `received`; the oldest go first
REPLY_S: Final = 100.0  # wall seconds for the simulator to answer; it takes milliseconds
END_S: Final = 5.0


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened at `us` simulated microseconds.

    Kinds: permit and buzzer (detail 0 or 1), reset (the reset register, 2 hex), port (open, closed), overrun (the
    image left more than two received bytes unread), stopped (the image put the part to sleep for good), error.
    """

    us: int
    kind: str
    detail: str


class Firmware:
    """One simulated board; a context manager. See the module's own text for the two modes."""

    def __init__(
        self,
        *,
        lockstep: bool = False,
        speed: float = 1.0,
        port: Path | None = None,
        eeprom: Path | None = None,
        restart_on_open: bool = False,
        ms_start: int = 0,
        build_dir: Path | None = None,
    ) -> None:
        """Build on demand and start the board's first second.

        `port`: where the link to the serial port shall be; by default in a temporary directory. `eeprom`: a file
        that keeps the boot number from one simulator to the next. `restart_on_open`: restart the board whenever the
        port is opened, as the usual boards do. Raises FirmwareToolsMissing or FirmwareFailed.
        """
        built = build(build_dir, ms_start=ms_start)
        self._temporary = tempfile.TemporaryDirectory(prefix="so2bench-")
        self.port = port or Path(self._temporary.name) / "board"
        self._events: deque[Event] = deque(maxlen=MAX_EVENTS)
        self._received: deque[bytes] = deque(maxlen=MAX_LINES)
        self._replies: queue.SimpleQueue[Event | None] = queue.SimpleQueue()
        self._pins = {"permit": False, "buzzer": False}
        self._writing = threading.Lock()
        self._errors = tempfile.TemporaryFile("w+")  # noqa: SIM115  closed by close()
        command = [str(built.simulator), "--image", str(built.image)]
        command += ["--lockstep"] if lockstep else ["--port", str(self.port), "--speed", str(speed)]
        command += ["--eeprom", str(eeprom)] if eeprom else []
        command += ["--restart-on-open"] if restart_on_open else []
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            text=True,
            encoding="ascii",
            start_new_session=True,  # a Ctrl-C is for the run; the end of standard input ends the simulator
        )
        self._reader = threading.Thread(target=self._read_events, name="firmware-events", daemon=True)
        self._reader.start()
        try:
            self._reply("ready")
        except FirmwareFailed:
            self.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the simulator and take the port away. May be called twice."""
        with contextlib.suppress(BrokenPipeError, ValueError):
            self._stdin.close()
        try:
            self._process.wait(END_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._reader.join()
        self._stdout.close()
        self._errors.close()
        self._temporary.cleanup()

    @property
    def _stdin(self) -> IO[str]:
        assert self._process.stdin is not None
        return self._process.stdin

    @property
    def _stdout(self) -> IO[str]:
        assert self._process.stdout is not None
        return self._process.stdout

    # what the board senses

    def drop(self, *, after_ms: float = 0.0, dark_ms: float = 3.0, bounces: int = 0) -> None:
        """Let a drop fall through the gate in `after_ms`; each bounce is one further edge."""
        self._inject(f"drop {after_ms:.4f} {dark_ms:.4f} {bounces}")

    def beam(self, dark: bool) -> None:
        """Hold the beam dark or light."""
        self._inject(f"beam {'dark' if dark else 'light'}")

    def contact(self, how: Literal["follow", "open", "closed"]) -> None:
        """Wire the auxiliary contact: it follows the permit after 12 ms, or is stuck open, or welded closed."""
        self._inject(f"contact {how}")

    def gas_sum(self, total: float, *, noise_counts: float = 1.2) -> None:
        """Set the gas channel so that the sum of 64 readings has the mean `total` (0 to 65472).

        `noise_counts`: standard deviation of a single reading; with 0 each reading is the nearest whole count.
        """
        self._inject(f"gas {total:.3f} {noise_counts:.3f}")

    def gas_mv(self, millivolts: float, *, noise_mv: float = 5.9) -> None:
        """Set the gas channel's voltage, of 5000 mV full scale, and its noise (standard deviation)."""
        counts_per_mv = FULL_SCALE / SUPPLY_MV
        self.gas_sum(millivolts * counts_per_mv * READINGS, noise_counts=noise_mv * counts_per_mv)

    def tc_word(self, word: int) -> None:
        """Set the thermocouple converter's 32-bit word; FFFFFFFF is a converter that does not answer."""
        self._inject(f"tc {word & 0xFFFFFFFF:08X}")

    # what befalls the board

    def reset(self) -> None:
        """Press the reset button."""
        self._inject("reset")

    def hang(self) -> None:
        """Make the main loop stand still with the interrupts running; the watchdog is left to find it."""
        self._inject("hang")

    def power_off(self) -> None:
        """Take the supply away; simulated time goes on."""
        self._inject("power off")

    def power_on(self) -> None:
        """Give the supply back: memory is lost, EEPROM is kept."""
        self._inject("power on")

    def unplug(self) -> None:
        """Pull the serial cable: the port is gone. The board runs on."""
        self._inject("unplug")

    def plug(self) -> None:
        """Put the serial cable back: a new port behind the same link."""
        self._inject("plug")

    def garble(self, count: int, *, to: Literal["host", "board"] = "host") -> None:
        """Of the next `count` bytes on the line, get one bit of each wrong."""
        self._inject(f"garble to-{to} {count}")

    # what it does

    def permit_pin(self) -> bool:
        """Whether the board drives the permit relay."""
        return self._pins["permit"]

    def buzzer_pin(self) -> bool:
        """Whether the board drives the buzzer."""
        return self._pins["buzzer"]

    def events(self) -> list[Event]:
        """What happened since the last call, at most the newest 10 000."""
        return _drain(self._events)

    # lockstep

    def run_ms(self, ms: float) -> int:
        """Lockstep: let exactly `ms` simulated milliseconds go by; return the simulated microseconds then.

        Raises FirmwareFailed if the simulator ends, or refused an injection since the last call.
        """
        self._inject(f"run {ms:.4f}")
        return self._reply("done").us

    def send(self, data: bytes) -> None:
        """Lockstep: put bytes on the line to the board, which carries 11.5 in 1 ms; up to 8192 may wait."""
        for start in range(0, len(data), 1024):
            self._inject(f"send {data[start : start + 1024].hex().upper()}")

    def received(self) -> bytes:
        """Lockstep: the bytes from the board since the last call, in whole lines."""
        lines: list[bytes] = _drain(self._received)
        return b"".join(lines)

    def peek(self, symbol: str, count: int) -> bytes:
        """The bytes of a variable of the image. Raises FirmwareFailed if there is no such variable."""
        self._inject(f"peek {symbol} {count}")
        return bytes.fromhex(self._reply("peek").detail.split()[-1])

    def _inject(self, line: str) -> None:
        try:
            with self._writing:
                self._stdin.write(line + "\n")
                self._stdin.flush()
        except (BrokenPipeError, ValueError) as error:
            raise FirmwareFailed(f"The simulator has ended; it cannot do: {line}.") from error

    def _reply(self, kind: str) -> Event:
        """Wait for an event that answers a command. An `error` before it is raised."""
        while True:
            try:
                event = self._replies.get(timeout=REPLY_S)
            except queue.Empty:
                raise FirmwareFailed(f"The simulator gave no {kind} for {REPLY_S:.0f} s.") from None
            if event is None:
                raise FirmwareFailed(f"The simulator ended: {self._why()}")
            if event.kind == "error":
                raise FirmwareFailed(f"The simulator refused: {event.detail}")
            if event.kind == kind:
                return event

    def _why(self) -> str:
        stops = [event.detail for event in self._events if event.kind == "stopped"]
        self._process.wait(END_S)
        self._errors.seek(0)
        return "; ".join(stops) or self._errors.read().strip() or f"exit {self._process.returncode}."

    def _read_events(self) -> None:
        for line in self._stdout:
            us, kind, *rest = line.rstrip("\n").split(" ", 2)
            detail = rest[0] if rest else ""
            event = Event(int(us), kind, detail)
            if kind == "tx":
                self._received.append(bytes.fromhex(detail))
                continue
            if kind in self._pins:
                self._pins[kind] = detail == "1"
            if kind in ("ready", "done", "peek", "error"):
                self._replies.put(event)
            if kind not in ("ready", "done", "peek"):
                self._events.append(event)
        self._replies.put(None)


def _drain(source: deque[T]) -> list[T]:
    taken: list[T] = []
    with contextlib.suppress(IndexError):
        while True:
            taken.append(source.popleft())
    return taken
