"""A real service in a thread, watching whatever port it is given, with its events at hand."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Self

from monitor.core.events import Event
from monitor.core.requests import make_request
from monitor.edges.port import SerialPort
from monitor.rig import scenario
from monitor.service import Service, begin
from monitor.settings import bench_from, parse_toml, run_from
from monitor.terms import BenchTerms, RunTerms

PATIENCE_S = 60.0  # wall seconds that a loaded machine may take for what takes one


def terms(port: str = "board") -> tuple[BenchTerms, str, RunTerms, str]:
    """The demonstration's settings and their texts."""
    from datetime import UTC, datetime

    bench_toml = scenario.bench_toml(port, datetime.now(UTC).date())
    run_toml = scenario.run_toml()
    return (
        bench_from(parse_toml(bench_toml, "bench.toml"), "bench.toml"),
        bench_toml,
        run_from(parse_toml(run_toml, "run.toml"), "run.toml"),
        run_toml,
    )


def wait_until(true: Callable[[], object], what: str) -> None:
    """Poll until `true()`; fail saying `what` never came."""
    deadline_s = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < deadline_s, f"waited in vain: {what}"
        time.sleep(0.01)


class LiveRun:
    """A context manager: the service runs inside it and has ended, its log closed, after it."""

    def __init__(self, log: Path, port: Path, speed: float = 1.0, *, needs_check: bool = False) -> None:
        bench, bench_toml, run, run_toml = terms()
        self.log = log
        self.events: list[Event] = []
        begun = begin(log, bench, bench_toml, run, run_toml, speed)
        self.service = Service(
            begun, lambda: SerialPort(str(port), 115200), (self.events.extend,), needs_check=needs_check
        )
        self.bench = begun.bench
        self._thread = threading.Thread(target=self._run, name="live run")
        self._failure: BaseException | None = None

    def _run(self) -> None:
        try:
            asyncio.run(self.service.watch())
        except BaseException as why:  # noqa: BLE001 - raised where the run is left
            self._failure = why

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.service.stop()
        self._thread.join(PATIENCE_S)
        assert not self._thread.is_alive()
        if self._failure is not None:
            raise self._failure

    def ask(self, kind: str, **args: object) -> None:
        """Ask something of the run, as a person would."""
        assert self.service.ask(make_request(kind, "tester", args))
