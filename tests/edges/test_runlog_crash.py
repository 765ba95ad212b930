"""Crashes: a writer killed at any moment leaves a file that opens, and loses at most what the last second brought."""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from monitor.core.bench import Bench
from monitor.core.events import Taken
from monitor.edges.logreader import LogReader
from monitor.edges.runlog import LogWriter
from monitor.errors import LogError
from tests.core.runs import BENCH, BURNER
from tests.edges.logs import Source, Troubles, new_log, rows
from tests.examples import CAMPAIGN

pytestmark = pytest.mark.live

KILLS = 200 if CAMPAIGN else 4
PROMISE_S = 1.0

WRITER = """
import sys, time
from pathlib import Path
from tests.edges.logs import Source, Troubles, new_log
from monitor.edges.runlog import LogWriter
writer = LogWriter(new_log(Path(sys.argv[1])), Troubles())
source = Source()
while True:
    writer.write(*source.batch())
    print(source.samples, flush=True)
    time.sleep(0.002)
"""


def test_kill_at_any_moment(tmp_path: Path) -> None:
    """Killed at a random moment, the log opens whole and holds, without a gap, all that was given a second before."""
    rng = random.Random(20261120)
    for n in range(KILLS):
        log = tmp_path / f"{n}.so2log"
        child = subprocess.Popen([sys.executable, "-c", WRITER, str(log)], stdout=subprocess.PIPE, text=True)
        assert child.stdout is not None
        given: list[tuple[float, int]] = []
        kill_at_s: float | None = None
        for text in child.stdout:
            now_s = time.monotonic()
            kill_at_s = kill_at_s or now_s + PROMISE_S + rng.uniform(0.0, 0.9)
            given.append((now_s, int(text)))
            if now_s >= kill_at_s:
                break
        os.kill(child.pid, signal.SIGKILL)
        killed_s = time.monotonic()
        child.wait()
        child.stdout.close()
        assert rows(log, "PRAGMA integrity_check") == [("ok",)]
        inputs = list(LogReader(log).inputs())
        due = max(number for at_s, number in given if at_s <= killed_s - PROMISE_S)
        assert len(inputs) >= due, f"kill {n}"
        twin = Source()
        assert [data for _, data in inputs] == [_line(twin) for _ in inputs]


def _line(source: Source) -> bytes:
    """The line that a source's next sample brings."""
    events, _ = source.batch()
    taken = events[0]
    assert isinstance(taken, Taken)
    assert isinstance(taken.data, bytes)
    return taken.data


def test_a_crash_is_taken_up_where_it_ended(tmp_path: Path) -> None:
    """A copy of the files as they lie in mid-run, as a crash leaves them, opens and replays to what it holds."""
    log = new_log(tmp_path / "run.so2log")
    writer = LogWriter(log, Troubles())
    source = Source()
    for n in range(5):
        source.write(writer, 40)
        time.sleep(0.3)
        crashed = tmp_path / f"crashed-{n}.so2log"
        for suffix in ("", "-wal"):
            part = log.with_name(log.name + suffix)
            if part.exists():
                shutil.copyfile(part, crashed.with_name(crashed.name + suffix))
        reader = LogReader(crashed)
        live = Bench(BENCH, BURNER, reader.header().start)
        inputs = list(reader.inputs())
        for at, data in inputs:
            assert isinstance(data, bytes)
            live.receive(data, at)
        assert live.counts.accepted == len(inputs) == rows(crashed, "SELECT count(*) FROM sample")[0][0]
    writer.close()


def _closed_log(path: Path) -> bytes:
    new_log(path)
    writer = LogWriter(path, Troubles())
    Source().write(writer, 300)
    writer.close()
    return path.read_bytes()


def test_a_file_cut_off_anywhere_is_told(tmp_path: Path) -> None:
    """A log cut off at any length, as by a copy that broke off, gives what can be read, or one sentence."""
    whole = _closed_log(tmp_path / "whole.so2log")
    told = 0
    for n in range(40):
        cut = tmp_path / f"cut-{n}.so2log"
        cut.write_bytes(whole[: len(whole) * n // 40])
        said = _read_all(cut)
        told += said is not None
        assert said is None or (str(cut) in said and "\n" not in said)
    assert told >= 30


def _read_all(path: Path) -> str | None:
    """Read all there is; gives the refusal, if there is one."""
    try:
        reader = LogReader(path)
        reader.header()
        list(reader.inputs())
        reader.overview()
        reader.trace(0.0, 100.0)
        reader.alarms()
    except LogError as why:
        return str(why)
    return None


@pytest.mark.parametrize("offset", [100, 4096, 9000, 30_000])
def test_a_file_with_rubbish_in_it_is_told(tmp_path: Path, offset: int) -> None:
    """A log with a page of rubbish in its middle gives what can be read, or one sentence."""
    whole = bytearray(_closed_log(tmp_path / "whole.so2log"))
    whole[offset : offset + 4096] = random.Random(offset).randbytes(4096)
    spoiled = tmp_path / "spoiled.so2log"
    spoiled.write_bytes(whole)
    said = _read_all(spoiled)
    assert said is None or (str(spoiled) in said and "\n" not in said)


def test_a_spoiled_log_ends_the_writer_not_the_file(tmp_path: Path) -> None:
    """A writer that meets a spoiled file raises what the database says: it does not go on as if all were well."""
    whole = bytearray(_closed_log(tmp_path / "whole.so2log"))
    whole[4096 : 4096 + 40_000] = bytes(40_000)
    spoiled = tmp_path / "spoiled.so2log"
    spoiled.write_bytes(whole)
    with pytest.raises((LogError, sqlite3.DatabaseError)):
        _write_and_close(spoiled)


def _write_and_close(path: Path) -> None:
    writer = LogWriter(path, Troubles())
    try:
        Source().write(writer, 50)
    finally:
        writer.close(give_up_after_s=1.0)


def test_a_half_made_log_is_told(tmp_path: Path) -> None:
    """What a crash in the very making of a log leaves is told as a file without a run, and not written over."""
    half = tmp_path / "half.so2log"
    with closing(sqlite3.connect(half)) as db:
        db.execute("PRAGMA journal_mode=WAL")
    with pytest.raises(LogError, match="without a run in it"):
        LogReader(half)
    with pytest.raises(LogError, match="never overwrites"):
        new_log(half)


CUT_SHORT = """
import os, sys
from pathlib import Path
from monitor.edges import runlog
from tests.edges.logs import new_log
whole = runlog._statements
def half():
    yield from whole()[:5]
    os._exit(9)
runlog._statements = half
new_log(Path(sys.argv[1]))
"""


def test_killed_while_the_log_is_made(tmp_path: Path) -> None:
    """Killed in the making, nothing stands in the log's place, so the same command begins the run the next time."""
    log = tmp_path / "run.so2log"
    child = subprocess.run([sys.executable, "-c", CUT_SHORT, str(log)], check=False)
    assert child.returncode == 9
    assert not log.exists()
    assert LogReader(new_log(log)).header().made_by == "so2bench test"
