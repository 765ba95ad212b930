"""The real image behind a real serial port, watched by the real service."""

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from monitor.core.events import AlarmChanged, AlarmState, Answered, Noted, PermitChanged
from monitor.core.ready import ITEMS
from monitor.edges.inbox import inbox_path, put
from monitor.edges.logreader import LogReader
from monitor.replay import Tally, replay_log, summary
from monitor.rig.firmware import Firmware
from monitor.rig.thermocouple import converter_word
from tests.live import LiveRun, terms, wait_until

pytestmark = [pytest.mark.firmware, pytest.mark.usefixtures("built")]

SPEED = 4.0  # the bouncing drops come 70 ms apart; a board at four times its pace is still idle


@pytest.fixture
def board() -> Iterator[Firmware]:
    with Firmware(speed=SPEED) as firmware:
        sense(firmware, 60.0)
        yield firmware


def sense(board: Firmware, plate_c: float) -> None:
    board.tc_word(converter_word(plate_c, 24.0))
    board.gas_sum(8430.0)


def rain(board: Firmware, count: int) -> None:
    """Drops 70 ms apart, each with four bounces on its edge; the last has fallen when this returns."""
    for _ in range(count):
        board.drop(bounces=4)
        time.sleep(0.070 / SPEED)


def wait_for_drops(run: LiveRun, count: int) -> None:
    wait_until(lambda: run.bench.drops >= count, f"{count} drops")


def raised(run: LiveRun, tag: str) -> bool:
    return any(
        isinstance(e, AlarmChanged) and e.tag == tag and e.after is AlarmState.UNACKNOWLEDGED
        for e in list(run.events)
    )


def test_drops_over_an_unplugging(board: Firmware, tmp_path: Path) -> None:
    """500 drops with bounces are 500 in the log, though the cable was out for 5 s while they fell; replay agrees."""
    log = tmp_path / "run.so2log"
    with LiveRun(log, board.port, SPEED) as run:
        wait_until(lambda: run.bench.overview().frames_accepted > 5, "the first samples")
        rain(board, 200)
        wait_for_drops(run, 200)
        board.unplug()
        wait_until(
            lambda: any(isinstance(e, Noted) and "broke off" in e.text for e in list(run.events)), "broken off"
        )
        rain(board, 100)
        wait_until(lambda: raised(run, "LINK-LOST"), "LINK-LOST")
        time.sleep(max(0.0, 5.0 / SPEED))  # the cable is out in wall time too, it is what is under test
        board.plug()
        wait_for_drops(run, 300)
        rain(board, 200)
        wait_for_drops(run, 500)
        time.sleep(2.0 / SPEED)  # were there a drop too many, it would come now
        live = summary(run.bench, Tally())["account"]
    assert run.bench.drops == 500
    assert run.bench.counts.restarts == 0
    with closing(sqlite3.connect(log)) as db:
        assert db.execute("SELECT max(drops), min(rejects) FROM sample").fetchone()[0] == 500
        assert db.execute("SELECT drops FROM account ORDER BY id DESC LIMIT 1").fetchone()[0] == 500
        kept = db.execute("SELECT t_s, tag, before, after, cause FROM alarm ORDER BY id").fetchall()
    bench, _, generation, _ = terms()
    again, tally = replay_log(log, bench, generation)
    assert summary(again, tally)["account"] == live
    assert replay_changes(log) == kept


def replay_changes(log: Path) -> list[tuple[float, str, str, str, str]]:
    """The alarm changes that a replay of the log gives, as the log's table keeps them."""
    from monitor.core.bench import Bench

    bench, _, generation, _ = terms()
    reader = LogReader(log)
    live = Bench(bench, generation, reader.header().start)
    found = []
    for at, data in reader.inputs():
        found += live.receive(data, at) if isinstance(data, bytes) else live.command(data, at)
    found += live.tick(reader.header().last)
    return [(e.t_s, e.tag, e.before.value, e.after.value, e.cause) for e in found if isinstance(e, AlarmChanged)]


def test_overheat_at_the_pin(board: Firmware, tmp_path: Path) -> None:
    """A plate over its limit takes the permit away at the pin, and it does not come back by itself."""
    with LiveRun(tmp_path / "run.so2log", board.port, SPEED) as run:
        wait_until(lambda: run.bench.overview().frames_accepted > 5, "the first samples")
        run.ask("permit", on=True)
        wait_until(board.permit_pin, "the permit at the pin")
        over_c = run.bench.bench.limits.plate_high_high_c + 5.0
        for tenth in range(600, round(10.0 * over_c), 40):  # 40 °C/s: over 60 would be a fault, not heat
            sense(board, tenth / 10.0)
            time.sleep(0.1 / SPEED)
        sense(board, over_c)
        wait_until(lambda: not board.permit_pin(), "no permit at the pin")
        wait_until(lambda: raised(run, "PLATE-HIGH-HIGH"), "PLATE-HIGH-HIGH")
        run.ask("permit", on=True)
        wait_until(lambda: any(isinstance(e, Answered) and not e.accepted for e in list(run.events)), "the refusal")
        assert not board.permit_pin()
    assert any(isinstance(e, PermitChanged) and not e.on for e in run.events)


def test_host_killed(board: Firmware, tmp_path: Path) -> None:
    """The monitor killed without warning, the pin drops within 3.5 s by the board's own clock; the log opens."""
    _, bench_toml, _, run_toml = terms(str(board.port))
    (tmp_path / "bench.toml").write_text(bench_toml, "utf-8")
    (tmp_path / "run.toml").write_text(run_toml, "utf-8")
    log = tmp_path / "run.so2log"
    command = [sys.executable, "-m", "monitor", "watch", "--bench", "bench.toml", "--run", "run.toml"]
    with Firmware() as paced:  # at its own pace: this host's clock is the wall's
        sense(paced, 60.0)
        host = subprocess.Popen(
            [*command, "--log", str(log), "--port", str(paced.port), "--no-dashboard"],
            cwd=tmp_path,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        try:
            wait_until(lambda: inbox_path(log).exists(), "the inbox")
            for item, _, by_person in ITEMS:
                outcome, reason = ("passed", "") if by_person else ("waived", "a bench on a chip")
                put(log, "check", "tester", {"item": item, "outcome": outcome, "reason": reason}, time.time())
            asked = put(log, "permit", "tester", {"on": True}, time.time())
            wait_until(lambda: LogReader(log).answer(asked) is not None, "an answer")
            wait_until(paced.permit_pin, "the permit at the pin")
            paced.events()
            host.send_signal(signal.SIGKILL)
            host.wait()
            wait_until(lambda: not paced.permit_pin(), "no permit at the pin")
        finally:
            host.kill()
            host.communicate()
        told = paced.events()
    closed_us = next(e.us for e in told if e.kind == "port" and e.detail == "closed")
    off_us = next(e.us for e in told if e.kind == "permit" and e.detail == "0")
    assert off_us - closed_us <= 3_500_000
    header = LogReader(log).header()
    assert not header.closed
    assert json.dumps(LogReader(log).overview())
