"""Memory over a simulated day: the chain with its log, ten frames a second for 24 hours.

    python -m tests.benchmarks.bench_memory

A day of frames is fed hour by hour. The resident set once the 8-hour window of exposure is full is compared with the
one at the end of the day. Aim: within 1.1 times.
"""

from __future__ import annotations

import gc
import tempfile
from pathlib import Path

import psutil

from monitor.core.bench import Bench
from monitor.core.events import Instant
from monitor.core.frames import crc
from monitor.edges import runlog
from tests.live import terms

HOURS = 24
FULL_H = 9  # the 8-hour window is full
UTC_S = 1.8e9
AIM = 1.1


def _frame(seq: int) -> bytes:
    body = b"S,1,%d,%d,%d,%d,0,%08X,%d,4,08" % (
        seq,
        100 * seq,
        seq // 600,
        seq // 600 * 60000,
        (240 + seq // 7 % 3 << 18) | (384 + seq % 2 << 4),
        8430 + seq * 7919 % 23,
    )
    return body + b"*" + crc(body) + b"\n"


def main() -> None:
    """Print the resident set by the hour, and the ratio."""
    bench, bench_toml, run, run_toml = terms()
    process, sizes = psutil.Process(), []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "run.so2log"
        runlog.create(path, {"bench_toml": bench_toml, "run_toml": run_toml})
        writer = runlog.LogWriter(path, lambda *_: None)
        live = Bench(bench, run, Instant(0.0, UTC_S))
        for hour in range(HOURS):
            for seq in range(36000 * hour, 36000 * (hour + 1)):
                t_s = 0.1 * seq
                writer.write(live.receive(_frame(seq), Instant(t_s, UTC_S + t_s)), live.now)
            gc.collect()
            sizes.append(process.memory_info().rss / 2**20)
            print(f"after {hour + 1:2d} h: {sizes[-1]:6.1f} MiB", flush=True)
        writer.close(60.0)
    ratio = sizes[-1] / sizes[FULL_H - 1]
    print(
        f"{ratio:.3f} times from hour {FULL_H} to {HOURS}; aim {AIM:g}: "
        f"{'reached' if ratio <= AIM else 'NOT reached'}"
    )


if __name__ == "__main__":
    main()
