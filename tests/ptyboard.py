"""A board at one end of a pseudo-terminal, and the real service, in a process of its own, at the other.

For what has to be timed from outside: the script that uses this is the board, and reads what the service sends it.
"""

from __future__ import annotations

import asyncio
import json
import os
import select
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path
from typing import Self

from monitor.core.frames import IO_CONTACT, IO_KEPT_ALIVE, IO_PERMIT, IO_TRIP_HEAT, crc
from monitor.core.requests import make_request
from monitor.edges.mqtt_broker import broker_of
from monitor.edges.port import SerialPort
from monitor.service import Service, begin
from monitor.settings import bench_from, parse_toml
from tests.live import terms

PATIENCE_S = 30.0
QUIET_S = 0.03  # before each trial, so that neither side is still busy with the last
PLATE_WORD = (240 << 18) | (384 << 4)  # 60 °C and 24 °C as the converter reports them
_END = "end"


def frame(seq: int, io: int) -> bytes:
    """A sample, with the wobble of live converters."""
    body = b"S,1,%d,%d,0,0,0,%08X,%d,4,%02X" % (seq, 100 * seq, PLATE_WORD ^ (seq % 2 << 4), 8430 + seq % 7, io)
    return body + b"*" + crc(body) + b"\n"


class Board:
    """The script's end of a pseudo-terminal."""

    def __init__(self) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        self.seq = 0

    def send(self, io: int) -> None:
        """Send the next sample."""
        self.seq += 1
        os.write(self.master, frame(self.seq, io))

    def wait_for(self, wanted: bytes, within_s: float) -> bool:
        """Read until `wanted` has come."""
        got, deadline_s = b"", time.perf_counter() + within_s
        while time.perf_counter() < deadline_s:
            if select.select([self.master], [], [], 0.01)[0]:
                got += os.read(self.master, 4096)
                if wanted in got:
                    return True
        return False

    def drain(self) -> None:
        """Throw away what has come."""
        while select.select([self.master], [], [], 0.0)[0]:
            os.read(self.master, 4096)


class Watching:
    """A context manager: the service watches the board's line inside it.

    `more_toml` goes on with bench.toml; `name` is the bench's.
    """

    def __init__(self, board: Board, log: Path, more_toml: str = "", name: str = "hood-9") -> None:
        self.board, self.log = board, log
        self._given = json.dumps({"path": board.path, "log": str(log), "more_toml": more_toml, "name": name})
        self.process: subprocess.Popen[str] | None = None

    def __enter__(self) -> Self:
        command, root = [sys.executable, "-m", "tests.ptyboard"], Path(__file__).parents[1]
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, text=True, cwd=root)
        self._write(self._given)
        assert self.board.wait_for(b"K,", PATIENCE_S), "the service never spoke"
        return self

    def __exit__(self, *_: object) -> None:
        assert self.process is not None
        self.process.kill()
        self.process.wait()
        assert self.process.stdin is not None
        self.process.stdin.close()

    def _write(self, line: str) -> None:
        assert self.process is not None
        assert self.process.stdin is not None
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def ask(self, kind: str, **args: object) -> None:
        """Ask something of the run."""
        self._write(json.dumps([kind, args]))

    def end(self) -> None:
        """End watching in good order."""
        assert self.process is not None
        self.ask(_END)
        assert self.process.wait(PATIENCE_S) == 0

    def make_ready(self) -> None:
        """Get the permit, after whatever was before."""
        board, io = self.board, IO_KEPT_ALIVE
        deadline_s = time.perf_counter() + PATIENCE_S
        while not self._asked_for_permit():  # on a busy machine what is asked may overtake the samples
            assert time.perf_counter() < deadline_s, "the permit never came"
        board.send(io | IO_PERMIT | IO_CONTACT)
        time.sleep(QUIET_S)
        board.drain()

    def _asked_for_permit(self) -> bool:
        for kind, args in (("acknowledge", {"tag": "*"}), ("reset", {"tag": "TRIP-LATCHED"})):
            self.ask(kind, **args)
            self.board.send(IO_KEPT_ALIVE)
            time.sleep(QUIET_S)
        self.ask("permit", on=True)
        for _ in range(20):
            if self.board.wait_for(b",1,0*", 0.05):
                return True
            self.board.send(IO_KEPT_ALIVE)
        return False

    def trip(self) -> float:
        """Tell of a trip; gives when its last byte was written (`time.perf_counter`)."""
        begun_s = time.perf_counter()
        self.board.send(IO_KEPT_ALIVE | IO_TRIP_HEAT)
        return begun_s

    def permit_gone_s(self) -> float:
        """Tell of a trip; gives the seconds from its last byte to the keep-alive that takes the permit away."""
        begun_s = self.trip()
        assert self.board.wait_for(b",0,1*", PATIENCE_S), "the permit was never taken away"
        return time.perf_counter() - begun_s


def main() -> None:
    """Watch as the first line on standard input says, and ask what the following ones do."""
    given = json.loads(sys.stdin.readline())
    own, bench_toml, run, run_toml = terms()
    bench_toml = bench_toml.replace(f'"{own.name}"', f'"{given["name"]}"', 1) + given["more_toml"]
    bench = bench_from(parse_toml(bench_toml, "bench.toml"), "bench.toml")
    broker = None if bench.mqtt is None else broker_of(bench.mqtt)
    begun = begin(Path(given["log"]), bench, bench_toml, run, run_toml)
    service = Service(begun, lambda: SerialPort(given["path"], 115200), broker=broker)

    def listen() -> None:
        for line in sys.stdin:
            kind, args = json.loads(line)
            if kind == _END:
                break
            service.ask(make_request(kind, "script", args))
        service.stop()

    threading.Thread(target=listen, daemon=True).start()
    asyncio.run(service.watch())


if __name__ == "__main__":
    main()
