"""What a run costs: processor time of the real service at ten frames a second, no page.

    python -m tests.benchmarks.bench_idle

The simulated board is a process of its own; only the service's process is counted. Aim: under 2 % of a core.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import tempfile
import time
from pathlib import Path

import psutil

from monitor.edges.inbox import inbox_path
from monitor.edges.port import SerialPort
from monitor.rig.bench import SimulatedBench
from monitor.rig.serve import BenchServer
from monitor.service import Service, begin
from tests.live import terms

SPAN_S = 60.0
SETTLE_S = 5.0
AIM = 0.02


def _watch(path: str, log: str) -> None:
    bench, bench_toml, run, run_toml = terms()
    begun = begin(Path(log), bench, bench_toml, run, run_toml)
    asyncio.run(Service(begun, lambda: SerialPort(path, 115200)).watch())


def main() -> None:
    """Print the share of a core."""
    multiprocessing.set_start_method("spawn")
    bench, _, run, _ = terms()
    with tempfile.TemporaryDirectory() as folder:
        link, log = Path(folder) / "board", Path(folder) / "run.so2log"
        with BenchServer(SimulatedBench(bench, run, 1), link):
            host = multiprocessing.Process(target=_watch, args=(str(link), str(log)), daemon=True)
            host.start()
            while not inbox_path(log).exists():
                time.sleep(0.05)
            time.sleep(SETTLE_S)
            process = psutil.Process(host.pid)
            before, begun_s = process.cpu_times(), time.monotonic()
            time.sleep(SPAN_S)
            after, span_s = process.cpu_times(), time.monotonic() - begun_s
            host.kill()
    share = (after.user + after.system - before.user - before.system) / span_s
    print(f"{100 * share:.2f} % of a core at ten frames a second; aim under {100 * AIM:g} %: ", end="")
    print("reached" if share < AIM else "NOT reached")


if __name__ == "__main__":
    main()
