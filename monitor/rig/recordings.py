"""Recordings of simulated runs, as text lines `SECONDS FRAME`, made faster than they would have lasted.

Promises that the same bench, seed and timeline give the same file. A small keeper stands where the host would: it
answers each start with limits and sends a keep-alive twice a second, because a board that hears nobody gives no
permit.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

from monitor.rig.bench import SimulatedBench
from monitor.rig.wire import GAS_SUM_MAX, TC_TRIP_MAX, UINT16_MAX, frame
from monitor.terms import BenchTerms

STEP_S: Final = 0.1
KEEP_ALIVE_EVERY: Final = 5  # steps


class Keeper:
    """The least that a host must do for a bench to run: limits after each start, and keep-alives."""

    def __init__(self, terms: BenchTerms, *, permit: bool = True) -> None:
        self.permit = permit
        limits = terms.limits
        gas_trip = round(terms.gas.zero_sum + limits.gas_high_high_ppm / terms.gas.ppm_per_sum)
        self._limits = (min(round(limits.plate_high_high_c * 4), TC_TRIP_MAX), min(gas_trip, GAS_SUM_MAX))
        self._n = 0

    def limits(self) -> bytes:
        """The L frame, from the terms' highest limits."""
        return self._command("L", *self._limits)

    def keep_alive(self) -> bytes:
        """The next K frame."""
        return self._command("K", int(self.permit), 0)

    def _command(self, kind: str, *fields: int) -> bytes:
        self._n = (self._n + 1) & UINT16_MAX
        return frame(",".join([kind, str(self._n), *map(str, fields)]).encode("ascii"))


def record(bench: SimulatedBench, keeper: Keeper | None, duration_s: float) -> Iterator[bytes]:
    """The lines of a recording, each with its newline; with no keeper the board stays alone and gives no permit.

    A line's time is the simulated second at which its last byte reached the host, to 0.1 s. Bytes that the line has
    garbled stand as they came.
    """
    rest = b""
    for step in range(round(duration_s / STEP_S)):
        if keeper is not None and step % KEEP_ALIVE_EVERY == 0:
            bench.write(keeper.keep_alive())
        *lines, rest = (rest + bench.step(STEP_S)).split(b"\n")
        for line in lines:
            if keeper is not None and line.startswith(b"B,"):
                bench.write(keeper.limits())
            yield b"%.1f %s\n" % (bench.time_s, line)


def write_recording(path: Path, bench: SimulatedBench, keeper: Keeper | None, duration_s: float) -> int:
    """Write a recording to `path`; return the number of lines. OSError if it cannot be written."""
    count = 0
    with path.open("wb") as file:
        for line in record(bench, keeper, duration_s):
            file.write(line)
            count += 1
    return count
