"""The whole chain against the fastest wire: decode, sensing, account, rules and log, in frames a second of one core.

    python -m tests.benchmarks.bench_chain

A simulated hour of dripping is decoded and written to a real run log. Processor time of the whole process is counted
(the log's own thread in it), so the figure is for one core. The measure is the most that 115200 baud can carry: 144
frames a second of 80 bytes and ten bits a byte. Aim: 100 times.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from monitor.core.bench import Bench
from monitor.core.events import Instant
from monitor.edges import runlog
from monitor.rig.bench import SimulatedBench
from monitor.rig.recordings import Keeper, record
from tests.live import terms

WIRE_PER_S = 144.0
AIM = 100.0
SPAN_S = 3600.0
UTC_S = 1.8e9
ROUNDS = 3


def main() -> None:
    """Print one line a round, and the ratio."""
    bench, bench_toml, run, run_toml = terms()
    simulated = SimulatedBench(bench, run, seed=1)
    simulated.do("tap 60")
    lines = [line.split(b" ", 1) for line in record(simulated, Keeper(bench), SPAN_S)]
    frames = [(float(at), frame) for at, frame in lines]
    best = 0.0
    for number in range(1, ROUNDS + 1):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "run.so2log"
            runlog.create(path, {"bench_toml": bench_toml, "run_toml": run_toml})
            live = Bench(bench, run, Instant(0.0, UTC_S))
            begun_s = time.process_time()
            writer = runlog.LogWriter(path, lambda *_: None)
            for t_s, frame in frames:
                writer.write(live.receive(frame, Instant(t_s, UTC_S + t_s)), live.now)
            writer.close(60.0)
            per_s = len(frames) / (time.process_time() - begun_s)
        best = max(best, per_s)
        print(f"round {number}: {per_s:8.0f} frames/s, {per_s / WIRE_PER_S:6.1f} times the wire")
    ratio = best / WIRE_PER_S
    print(f"best {ratio:.0f} times the wire; aim {AIM:.0f} times: {'reached' if ratio >= AIM else 'NOT reached'}")


if __name__ == "__main__":
    main()
