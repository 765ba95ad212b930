"""Run logs for tests: a bench's real events, written by the real writer."""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from monitor.core.bench import Bench
from monitor.core.events import Event, Instant
from monitor.edges import runlog
from monitor.edges.runlog import LogWriter
from monitor.terms import RunTerms
from tests.core.lines import BoardScript
from tests.core.runs import BENCH, BURNER, UTC_ZERO_S, instant

HEADER = {
    "bench_toml": "name = 'hood-2'",
    "run_toml": "title = 'a test'",
    "bench_name": "hood-2",
    "title": "a test",
    "made_by": "so2bench test",
    "start_mono_s": "0.0",
    "start_utc_s": repr(UTC_ZERO_S),
}
PATIENCE_S = 30.0


class Troubles(list[tuple[bool, str]]):
    """Hears of a writer's troubles."""

    def __call__(self, failing: bool, text: str) -> None:
        self.append((failing, text))


def new_log(path: Path) -> Path:
    """A run log with nothing in it but its header."""
    runlog.create(path, HEADER)
    return path


class Source:
    """Gives what a live bench would: one batch of events a sample."""

    def __init__(self, terms: RunTerms = BURNER) -> None:
        self.bench = Bench(BENCH, terms, instant(0.0))
        self.board = BoardScript()
        self.samples = 0

    def batch(self) -> tuple[list[Event], Instant]:
        """The events of the next sample, a tenth of a second on."""
        self.samples += 1
        if self.samples % 7 == 0:
            self.board.drop()
        return self.bench.receive(self.board.sample(), instant(self.samples * 0.1)), self.bench.now

    def write(self, writer: LogWriter, samples: int) -> None:
        """So many samples into a writer."""
        for _ in range(samples):
            writer.write(*self.batch())


def rows(path: Path, query: str) -> list[tuple[Any, ...]]:
    """What a question of one's own finds in the file."""
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=10.0)) as db:
        return db.execute(query).fetchall()


def wait_until(true: Callable[[], object], what: str) -> None:
    """Poll until `true()`; fail saying `what` never came."""
    deadline_s = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < deadline_s, f"waited in vain: {what}"
        time.sleep(0.005)


class Waiter:
    """Writes samples from a thread of its own, so that a test can see whether that waits."""

    def __init__(self, source: Source, writer: LogWriter, samples: int) -> None:
        self._thread = threading.Thread(target=source.write, args=(writer, samples))
        self._thread.start()

    def done_within(self, seconds: float) -> bool:
        """Whether it has written all."""
        self._thread.join(seconds)
        return not self._thread.is_alive()
