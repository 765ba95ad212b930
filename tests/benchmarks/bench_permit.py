"""From the last byte of a frame on the line to the permit command back on it, against a bare echo on the same line.

    python -m tests.benchmarks.bench_permit

The real service, in a process of its own, watches one end of a pseudo-terminal; this script is the board at the
other. In each trial the permit is asked for, then comes a frame that says that the board has tripped; the time is
taken from its last byte to the keep-alive that takes the permit away. The echo is a process of its own that reads
the same kind of port with the serial library and writes back what came. Measured: the 99th percentile of each, in
one run. Aim: at most 2 times.
"""

from __future__ import annotations

import multiprocessing
import os
import statistics
import tempfile
import time
from pathlib import Path

import serial

from tests.ptyboard import PATIENCE_S, QUIET_S, Board, Watching, frame

TRIALS = 300
AIM = 2.0


def _echo(path: str) -> None:
    with serial.Serial(path, 115200, timeout=0.1) as port:
        while True:
            data = port.read(port.in_waiting or 1)
            if data:
                port.write(data)


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
        sent = frame(seq, 0)
        time.sleep(QUIET_S)
        begun_s = time.perf_counter()
        os.write(board.master, sent)
        assert board.wait_for(sent[-6:], PATIENCE_S)
        times_s.append(time.perf_counter() - begun_s)
    process.kill()
    return times_s


def measure_permit() -> list[float]:
    """Seconds from the last byte of a frame that tells of a trip to the keep-alive that takes the permit away."""
    times_s = []
    with tempfile.TemporaryDirectory() as folder, Watching(Board(), Path(folder) / "run.so2log") as watching:
        for _ in range(TRIALS):
            watching.make_ready()
            times_s.append(watching.permit_gone_s())
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
