"""The demonstration: a simulated bench on a serial port that is not there, and somebody who plays the operator.

All of it is invented (`monitor.rig.scenario`). With `firmware`, the board is the real image in its simulator.
"""

from __future__ import annotations

import asyncio
import contextlib
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from monitor.core.requests import make_request
from monitor.errors import RefusalError
from monitor.rig import scenario
from monitor.rig.bench import SimulatedBench
from monitor.service import Service
from monitor.settings import bench_from, parse_toml, run_from
from monitor.terms import BenchTerms, Meter, Route, RunTerms

OPERATOR = "the story"
LOOK_S = 0.05  # wall seconds between looks at the clock


@dataclass(frozen=True, slots=True)
class Demo:
    """The settings of the demonstration, the port that its board is on, and its operator."""

    bench: BenchTerms
    bench_toml: str
    run: RunTerms
    run_toml: str
    port: str
    route: Route

    async def act(self, service: Service) -> None:
        """Ask of the monitor what the story's operator asks, at its times."""
        for at_s, kind, args in scenario.requests(self.route):
            while service.now.mono_s < at_s:  # noqa: ASYNC110
                await asyncio.sleep(LOOK_S)  # the run's clock is not the loop's: it may be faster
            service.ask(make_request(kind, OPERATOR, args))


@contextlib.contextmanager
def demo_bench(
    *, speed: float, firmware: bool, route: Route = "acid-drip", meter: Meter | None = None
) -> Iterator[Demo]:
    """A running simulated bench on a route, with the story's meter or another.

    Raises:
        RefusalError: the meter makes no sense on the route, the firmware's tools are missing, or its simulator fails.
    """
    with tempfile.TemporaryDirectory(prefix="so2bench-demo-") as folder, contextlib.ExitStack() as stack:
        link = Path(folder) / "board"
        today = datetime.now(UTC).date()
        bench_toml = scenario.bench_toml(str(link), today, route)
        bench = bench_from(parse_toml(bench_toml, "the demonstration's bench.toml"), "bench.toml")
        run_toml = scenario.run_toml(route, meter, today)
        run = run_from(parse_toml(run_toml, "the demonstration's run.toml"), "run.toml")
        if firmware:
            from monitor.rig.firmware import Firmware, FirmwareFailed, FirmwareToolsMissing
            from monitor.rig.firmware_bench import FirmwareBench

            try:
                board = stack.enter_context(Firmware(speed=speed, port=link))
            except (FirmwareFailed, FirmwareToolsMissing) as why:
                raise RefusalError(str(why)) from why
            stack.enter_context(FirmwareBench(bench, run, scenario.SEED, scenario.timeline(route), speed, board))
        else:
            from monitor.rig.serve import BenchServer

            simulated = SimulatedBench(bench, run, scenario.SEED, scenario.timeline(route))
            stack.enter_context(BenchServer(simulated, link, speed))
        yield Demo(bench, bench_toml, run, run_toml, str(link), route)
