"""A real run on a scripted board that restarts once, connected to a real broker."""

from __future__ import annotations

from pathlib import Path

from monitor.core.events import AlarmChanged
from monitor.edges.mqtt_broker import broker_of
from monitor.service import begin
from monitor.settings import bench_from, parse_toml
from tests.core.lines import BoardScript
from tests.scripted import CALM, ScriptedPort, Watched, terms
from tests.settings import BENCH_TOML

TAG = "BOARD-RESTARTED"  # medium; waits to be acknowledged when a board has restarted


def restarting(board: BoardScript, n: int) -> bytes:
    """A board that restarts once."""
    if n == 20:
        board.restart()
    return board.sample()


class Bench(Watched):
    """The run. `more` are further lines of `[mqtt]`."""

    def __init__(self, folder: Path, url: str, *more: str) -> None:
        toml = "\n".join((BENCH_TOML, "[mqtt]", f'url = "{url}"', *more, ""))
        self.terms = bench_from(parse_toml(toml, "bench.toml"), "bench.toml")
        assert self.terms.mqtt is not None
        _, _, run, run_toml = terms()
        self.log, self.run_terms = folder / "run.so2log", run
        begun = begin(self.log, self.terms, toml, run, run_toml, speed=CALM)
        super().__init__(begun, ScriptedPort(BoardScript(), restarting, CALM), broker_of(self.terms.mqtt))

    def changes(self, tag: str = TAG) -> list[AlarmChanged]:
        return [e for e in list(self.events) if isinstance(e, AlarmChanged) and e.tag == tag]
