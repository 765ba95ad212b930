"""A disk that refuses: everything waits, in order, and says so; when there is room again, nothing is missing."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from monitor.edges import runlog
from monitor.edges.logreader import LogReader
from monitor.edges.runlog import LogWriter
from monitor.errors import LogError
from tests.edges.logs import Source, Troubles, Waiter, new_log, rows, wait_until

pytestmark = pytest.mark.live

# The system's own limit on a file's size stands in for a full disk: the write fails half way, with no room for more.
LIMITED = """
import resource, sys, time
from pathlib import Path
from tests.edges.logs import Source, Troubles, Waiter, new_log, wait_until
from monitor.edges.runlog import LogWriter
log = new_log(Path(sys.argv[1]))
troubles, source = Troubles(), Source()
writer = LogWriter(log, troubles)
source.write(writer, 50)
time.sleep(0.6)
soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, hard))
for _ in range(200):
    source.write(writer, 20)
    time.sleep(0.005)
wait_until(lambda: troubles, "the disk's refusal")
source.write(writer, 500)
assert [failing for failing, _ in troubles] == [True], troubles
assert "cannot be written" in troubles[0][1]
resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
wait_until(lambda: len(troubles) == 2, "the writing's return")
source.write(writer, 50)
writer.close()
assert troubles[1] == (False, "the run log is written again; nothing was lost"), troubles
print(source.samples)
"""


def test_nothing_is_lost_over_a_full_disk(tmp_path: Path) -> None:
    """What was given while the disk refused is in the file once there is room, every sample once and in order."""
    log = tmp_path / "run.so2log"
    child = subprocess.run([sys.executable, "-c", LIMITED, str(log)], capture_output=True, text=True, check=False)
    assert child.returncode == 0, child.stderr
    samples = int(child.stdout)
    assert samples == 50 + 200 * 20 + 500 + 50
    t_s = [at.mono_s for at, _ in LogReader(log).inputs()]
    assert t_s == [pytest.approx((n + 1) * 0.1) for n in range(samples)]
    assert rows(log, "SELECT count(*) FROM sample") == [(samples,)]
    assert rows(log, "SELECT sum(gas_n) FROM roll WHERE level_s = 60") == [(samples,)]
    assert rows(log, "PRAGMA integrity_check") == [("ok",)]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of one megabyte, where the test may mount one."""
    folder = tmp_path / "small"
    folder.mkdir()
    mounted = os.geteuid() == 0 and (
        subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)], capture_output=True, check=False
        ).returncode
        == 0
    )
    if not mounted:
        pytest.skip("a small file system cannot be mounted here")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def _fill(path: Path) -> None:
    with path.open("wb", buffering=0) as file:
        while True:
            file.write(bytes(4096))


def test_a_really_full_disk(small_disk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a file system that another file has filled up, the same: nothing is lost when that file is gone."""
    monkeypatch.setattr(runlog, "RETRY_S", 0.05)
    log = new_log(small_disk / "run.so2log")
    troubles, source = Troubles(), Source()
    writer = LogWriter(log, troubles)
    source.write(writer, 20)
    filler = small_disk / "filler"
    with pytest.raises(OSError, match="No space left"):
        _fill(filler)
    for _ in range(200):
        source.write(writer, 10)
        if troubles:
            break
        wait_until(lambda: troubles or not writer._waiting, "the writer")
    wait_until(lambda: troubles, "the disk's refusal")
    with pytest.raises(LogError, match="full"):
        new_log(small_disk / "second.so2log")
    assert not (small_disk / "second.so2log").exists()
    filler.unlink()
    wait_until(lambda: len(troubles) == 2, "the writing's return")
    writer.close()
    assert [failing for failing, _ in troubles] == [True, False]
    assert "full" in troubles[0][1]
    assert rows(log, "SELECT count(*) FROM input") == [(source.samples,)]


@pytest.fixture
def short_of_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, LogWriter, Troubles]:
    """A log, its writer with a small waiting room, who tries again soon and waits for no other, and what it told."""
    monkeypatch.setattr(runlog, "QUEUE_MAX", 50)
    monkeypatch.setattr(runlog, "RETRY_S", 0.05)
    log, troubles = new_log(tmp_path / "run.so2log"), Troubles()
    writer = LogWriter(log, troubles)
    writer._db.execute("PRAGMA busy_timeout=50")
    return log, writer, troubles


def test_a_full_queue_makes_the_run_wait(short_of_room: tuple[Path, LogWriter, Troubles]) -> None:
    """When even the waiting room is full, whoever writes waits; nothing is thrown away, and it goes on by itself."""
    (log, writer, troubles), source = short_of_room, Source()
    with closing(sqlite3.connect(log, isolation_level=None)) as db:
        db.execute("BEGIN IMMEDIATE")  # a writer that does not let go is as good as a full disk
        source.write(writer, 30)
        wait_until(lambda: troubles, "the refusal")
        waited = Waiter(source, writer, 200)
        assert not waited.done_within(0.5)
        assert source.samples < 150
        db.execute("ROLLBACK")
    assert waited.done_within(20.0)
    writer.close()
    assert rows(log, "SELECT count(*) FROM input") == [(230,)]


def test_a_run_that_is_to_end_waits_no_longer(short_of_room: tuple[Path, LogWriter, Troubles]) -> None:
    """Who waits for room in a full waiting room is let go when the run is to end; what found none is counted."""
    (log, writer, troubles), source = short_of_room, Source()
    with closing(sqlite3.connect(log, isolation_level=None)) as db:
        db.execute("BEGIN IMMEDIATE")
        source.write(writer, 30)
        wait_until(lambda: troubles, "the refusal")
        waited = Waiter(source, writer, 200)
        assert not waited.done_within(0.5)
        writer.wait_no_longer()
        assert waited.done_within(5.0)
        with pytest.raises(LogError, match=r"could not be written \(230 entries lost\)"):
            writer.close(give_up_after_s=0.3)
        db.execute("ROLLBACK")


def test_closing_on_a_full_disk_says_what_is_lost(short_of_room: tuple[Path, LogWriter, Troubles]) -> None:
    """Closing while the disk refuses gives up after the time it was given, and says how much is lost."""
    log, writer, troubles = short_of_room
    with closing(sqlite3.connect(log, isolation_level=None)) as db:
        db.execute("BEGIN IMMEDIATE")
        Source().write(writer, 30)
        wait_until(lambda: troubles, "the refusal")
        with pytest.raises(LogError, match=r"could not be written \(30 entries lost\)"):
            writer.close(give_up_after_s=0.3)
        db.execute("ROLLBACK")
    assert not writer._thread.is_alive()
    LogWriter(log, Troubles()).close()  # and let go of
