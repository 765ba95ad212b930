"""From the last byte of a frame on the line to the permit command back on it, against a bare echo on the same line.

    python -m tests.benchmarks.bench_permit

The real service, in a process of its own, watches one end of a pseudo-terminal; this script is the board at the
other. In each trial the permit is asked for, then comes a frame that says that the board has tripped; the time is
taken from its last byte to the keep-alive that takes the permit away. The echo is a process of its own that reads
the same kind of port with the serial library and writes back what came. Measured: the 99th percentile of each, in
one run. Aim: at most 2 times.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import select
import statistics
import tempfile
import threading
import time
import tty
from multiprocessing.connection import Connection
from pathlib import Path

import serial

from monitor.core.frames import IO_CONTACT, IO_KEPT_ALIVE, IO_PERMIT, IO_TRIP_HEAT, crc
from monitor.core.requests import make_request
from monitor.edges.port import SerialPort
from monitor.service import Service, begin
from tests.live import terms

TRIALS = 300
AIM = 2.0
PATIENCE_S = 30.0
QUIET_S = 0.03  # before each trial, so that neither side is still busy with the last
PLATE_WORD = (240 << 18) | (384 << 4)  # 60 °C and 24 °C as the converter reports them


def _frame(seq: int, io: int) -> bytes:
    body = b"S,1,%d,%d,0,0,0,%08X,%d,4,%02X" % (seq, 100 * seq, PLATE_WORD ^ (seq % 2 << 4), 8430 + seq % 7, io)
    return body + b"*" + crc(body) + b"\n"


def _echo(path: str) -> None:
    with serial.Serial(path, 115200, timeout=0.1) as port:
        while True:
            data = port.read(port.in_waiting or 1)
            if data:
                port.write(data)


def _watch(path: str, folder: str, asked: Connection) -> None:
    bench, bench_toml, run, run_toml = terms()
    begun = begin(Path(folder) / "run.so2log", bench, bench_toml, run, run_toml)
    service = Service(begun, lambda: SerialPort(path, 115200))

    def listen() -> None:
        while True:
            kind, args = asked.recv()
            service.ask(make_request(kind, "benchmark", args))

    threading.Thread(target=listen, daemon=True).start()
    asyncio.run(service.watch())


class Board:
    """The script's end of a pseudo-terminal."""

    def __init__(self) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        self.seq = 0

    def send(self, io: int) -> None:
        self.seq += 1
        os.write(self.master, _frame(self.seq, io))

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
        while select.select([self.master], [], [], 0.0)[0]:
            os.read(self.master, 4096)


def _p99(times_s: list[float]) -> float:
    return statistics.quantiles(times_s, n=100)[98]


def measure_echo() -> list[float]:
    """Seconds from the last byte written to the last of its echo read."""
    board, times_s = Board(), []
    process = multiprocessing.Process(target=_echo, args=(board.path,), daemon=True)
    process.start()
    deadline_s = time.perf_counter() + PATIENCE_S
    os.write(board.master, b"x")
    while not board.wait_for(b"x", 0.2):  # what came before the port was open is thrown away
        os.write(board.master, b"x")
        assert time.perf_counter() < deadline_s, "the echo never came"
    for seq in range(TRIALS):
        frame = _frame(seq, 0)
        time.sleep(QUIET_S)
        begun_s = time.perf_counter()
        os.write(board.master, frame)
        assert board.wait_for(frame[-6:], PATIENCE_S)
        times_s.append(time.perf_counter() - begun_s)
    process.kill()
    return times_s


def measure_permit() -> list[float]:
    """Seconds from the last byte of a frame that tells of a trip to the keep-alive that takes the permit away."""
    board, times_s = Board(), []
    ours, theirs = multiprocessing.Pipe()
    with tempfile.TemporaryDirectory() as folder:
        process = multiprocessing.Process(target=_watch, args=(board.path, folder, theirs), daemon=True)
        process.start()
        io = IO_KEPT_ALIVE
        assert board.wait_for(b"K,", PATIENCE_S)
        for _ in range(TRIALS):
            for kind, args in (("acknowledge", {"tag": "*"}), ("reset", {"tag": "TRIP-LATCHED"})):
                ours.send((kind, args))
                board.send(io)
                time.sleep(QUIET_S)
            ours.send(("permit", {"on": True}))
            deadline_s = time.perf_counter() + PATIENCE_S
            while not board.wait_for(b",1,0*", 0.05):
                board.send(io)
                assert time.perf_counter() < deadline_s, "the permit never came"
            board.send(io | IO_PERMIT | IO_CONTACT)
            time.sleep(QUIET_S)
            board.drain()
            begun_s = time.perf_counter()
            board.send(io | IO_TRIP_HEAT)
            assert board.wait_for(b",0,1*", PATIENCE_S)
            times_s.append(time.perf_counter() - begun_s)
        process.kill()
    return times_s


def main() -> None:
    """Print both, and their ratio."""
    multiprocessing.set_start_method("spawn")
    echo, permit = measure_echo(), measure_permit()
    for name, times_s in (("echo", echo), ("permit", permit)):
        print(f"{name:<7} median {1e3 * statistics.median(times_s):6.2f} ms   p99 {1e3 * _p99(times_s):6.2f} ms")
    ratio = _p99(permit) / _p99(echo)
    print(f"p99 {ratio:.2f} times the echo; aim {AIM:g} times: {'reached' if ratio <= AIM else 'NOT reached'}")


if __name__ == "__main__":
    main()
