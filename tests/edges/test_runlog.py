"""The run log's writer: what is given is in the file, once, in order, and another run is never written over."""

from __future__ import annotations

import sqlite3
import threading
import time
from pathlib import Path

import pytest

from monitor.core.events import Event, Exposed, Instant, Noted, Sampled, Taken
from monitor.edges import runlog
from monitor.edges.logreader import LogReader
from monitor.edges.runlog import LogWriter
from monitor.errors import LogError, RefusalError
from tests.core.runs import SMALL, instant, request
from tests.edges.logs import HEADER, Source, Troubles, new_log, rows, wait_until

pytestmark = pytest.mark.live


def test_what_is_given_is_in_the_file(tmp_path: Path) -> None:
    """Every input, sample, account, alarm and note that was given is in the file, in order, to the last digit."""
    log = new_log(tmp_path / "run.so2log")
    source, troubles = Source(SMALL), Troubles()
    writer = LogWriter(log, troubles)
    given: list[Event] = []
    for n in range(600):
        events, now = source.batch()
        if n == 100:
            events += source.bench.command(request("permit", on=True), now)
        if n == 300:
            events += source.bench.receive(b"rubbish\xff\n", now)
        given += events
        writer.write(events, now)
    writer.close()
    assert troubles == []
    taken = [e for e in given if isinstance(e, Taken)]
    assert [(at, data) for at, data in LogReader(log).inputs()] == [(e.at, e.data) for e in taken]
    samples = [e for e in given if isinstance(e, Sampled)]
    assert rows(log, "SELECT t_s, drops, plate_c, gas_ppm, gas_why, io FROM sample ORDER BY id") == [
        (e.t_s, e.drops, e.plate.value, e.gas.value, e.gas.why, e.io) for e in samples
    ]
    for table, kind in (("account", "Accounted"), ("alarm", "AlarmChanged"), ("permit", "PermitChanged")):
        count = sum(type(e).__name__ == kind for e in given)
        assert rows(log, f"SELECT count(*) FROM {table}") == [(count,)]
        assert count > 0
    assert rows(log, "SELECT cause FROM rejected") == [("not_ascii",)]
    header = LogReader(log).header()
    assert (header.start, header.last) == (instant(0.0), source.bench.now)
    assert (header.bench_toml, header.run_toml) == (HEADER["bench_toml"], HEADER["run_toml"])


def test_traces_are_least_greatest_and_mean(tmp_path: Path) -> None:
    """A bucket holds the least, the greatest and the mean of its samples, however its samples were batched."""
    log = new_log(tmp_path / "run.so2log")
    source = Source()
    writer = LogWriter(log, Troubles())
    sums: dict[int, list[float]] = {}
    for n in range(100):
        source.board.gas_sum = 8410 + (n * 37) % 200
        events, now = source.batch()
        for e in events:
            if isinstance(e, Sampled) and e.gas.value is not None:
                sums.setdefault(int(e.t_s), []).append(e.gas.value)
        writer.write(events, now)
        if n % 23 == 0:
            time.sleep(0.05)
    writer.close()
    trace = LogReader(log).trace(0.0, 10.0)
    assert trace.level_s == 1
    assert trace.t_s == [second + 0.5 for second in sums]
    assert trace.gas_lo == [min(v) for v in sums.values()]
    assert trace.gas_hi == [max(v) for v in sums.values()]
    assert trace.gas == pytest.approx([sum(v) / len(v) for v in sums.values()])


def test_a_run_never_overwrites_another(tmp_path: Path) -> None:
    """A file that is there is refused and left as it is, whatever it is."""
    for content in (b"", b"my notes", b"SQLite format 3\x00"):
        path = tmp_path / "run.so2log"
        path.write_bytes(content)
        with pytest.raises(LogError, match="never overwrites another"):
            runlog.create(path, HEADER)
        assert path.read_bytes() == content
    dangling = tmp_path / "link.so2log"
    dangling.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(LogError, match="never overwrites another"):
        runlog.create(dangling, HEADER)
    assert not (tmp_path / "elsewhere").exists()


def test_of_many_that_make_one_log_one_does(tmp_path: Path) -> None:
    """When several make the same log at once, one does, the others are refused, and the log is whole."""
    path = tmp_path / "run.so2log"
    outcomes: list[bool] = []
    start = threading.Barrier(8)

    def make() -> None:
        start.wait()
        try:
            runlog.create(path, HEADER)
        except LogError:
            outcomes.append(False)
        else:
            outcomes.append(True)

    threads = [threading.Thread(target=make) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == [False] * 7 + [True]
    assert LogReader(path).header().made_by == "so2bench test"


def test_a_log_that_cannot_be_made_says_why(tmp_path: Path) -> None:
    """A folder that is not there is said in a sentence, and nothing is left lying about."""
    with pytest.raises(LogError, match="is the folder there"):
        runlog.create(tmp_path / "no" / "run.so2log", HEADER)
    assert list(tmp_path.iterdir()) == []


def test_one_writer(tmp_path: Path) -> None:
    """A second writer is refused with what to do, until the first has let go."""
    log = new_log(tmp_path / "run.so2log")
    first = LogWriter(log, Troubles())
    with pytest.raises(RefusalError, match="in use by another so2bench: end that one first"):
        LogWriter(log, Troubles())
    first.close()
    LogWriter(log, Troubles()).close()


def test_a_lock_that_cannot_be_made_says_why(tmp_path: Path) -> None:
    """A log whose lock cannot be made beside it is refused in a sentence."""
    log = new_log(tmp_path / "run.so2log")
    log.with_name(log.name + ".lock").mkdir()
    with pytest.raises(RefusalError, match="cannot be locked"):
        LogWriter(log, Troubles())


def test_commits_are_flushed_to_the_disk(tmp_path: Path) -> None:
    """The writer's connection flushes at every commit (synchronous = FULL) into a write-ahead log."""
    log = new_log(tmp_path / "run.so2log")
    db = runlog.connect(log)
    assert db.execute("PRAGMA synchronous").fetchone() == (2,)
    assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    db.close()


def test_what_is_urgent_is_written_at_once(tmp_path: Path) -> None:
    """A batch with an alarm or an answer in it does not wait for others, as a quiet one does to save the disk."""
    log = new_log(tmp_path / "run.so2log")
    source = Source()
    writer = LogWriter(log, Troubles())
    quiet_s: list[float] = []
    loud_s: list[float] = []
    for n in range(10):
        begun_s = time.monotonic()
        events, now = source.batch()
        if n % 2:
            events += source.bench.command(request("note", text="a test"), now)
        writer.write(events, now)
        wait_until(lambda: rows(log, "SELECT count(*) FROM sample") == [(source.samples,)], "the sample")
        (loud_s if n % 2 else quiet_s).append(time.monotonic() - begun_s)
    writer.close()
    assert min(loud_s) < 0.25 * runlog.COMMIT_S
    assert max(quiet_s) > 0.5 * runlog.COMMIT_S


def test_a_writer_that_fails_ends_the_run(tmp_path: Path) -> None:
    """What is a bug and no full disk is raised to whoever writes next, and at the end: it is not passed over."""

    class Odd(tuple[float]):
        pass

    log = new_log(tmp_path / "run.so2log")
    writer = LogWriter(log, Troubles())
    writer.write([Odd((0.0,))], instant(0.0))  # type: ignore[list-item]
    wait_until(lambda: not writer._thread.is_alive(), "the writer's end")
    with pytest.raises(TypeError, match="does not know Odd"):
        writer.write([Exposed(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)], instant(0.0))
    with pytest.raises(TypeError):
        writer.close()


def test_a_batch_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    """A batch that the file's own rules refuse leaves nothing of it behind, nor what stood before the refusal."""
    log = new_log(tmp_path / "run.so2log")
    writer = LogWriter(log, Troubles())
    at = instant(1.0)
    writer.write([Taken(at, b"whole")], at)
    wait_until(lambda: rows(log, "SELECT count(*) FROM input") == [(1,)], "the first batch")
    writer.write([Taken(at, b"half"), Noted(None, "note", "no time")], at)  # type: ignore[arg-type]
    wait_until(lambda: not writer._thread.is_alive(), "the writer's end")
    with pytest.raises(sqlite3.IntegrityError):
        writer.close()
    assert rows(log, "SELECT data FROM input") == [(b"whole",)]


def test_a_failed_writer_blocks_nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With its queue full and its thread dead, writing raises instead of waiting for ever, and so does closing."""
    monkeypatch.setattr(runlog, "QUEUE_MAX", 3)
    monkeypatch.setattr(runlog, "RETRY_S", 0.01)
    log = new_log(tmp_path / "run.so2log")
    writer = LogWriter(log, Troubles())
    # Something that is no request: an error that waiting does not mend, met while the queue fills up.
    with sqlite3.connect(log) as db:
        db.execute("BEGIN IMMEDIATE")
        writer.write([Taken(instant(0.0), b"")], instant(0.0))
        time.sleep(runlog.COMMIT_S + 0.1)
        for _ in range(3):
            writer.write([Taken(instant(0.0), object())], instant(0.0))  # type: ignore[arg-type]
        db.execute("ROLLBACK")
    with pytest.raises(AttributeError):
        _write_on(writer)
    with pytest.raises(AttributeError):
        writer.close()


def _write_on(writer: LogWriter) -> None:
    for _ in range(100_000):
        writer.write([Taken(instant(0.0), object())], instant(0.0))  # type: ignore[arg-type]


def test_nothing_given_is_nothing_written(tmp_path: Path) -> None:
    """An empty batch leaves no trace: a tick in which nothing happened does not grow the file."""
    log = new_log(tmp_path / "run.so2log")
    writer = LogWriter(log, Troubles())
    for _ in range(100):
        writer.write([], instant(1.0))
    writer.close()
    assert LogReader(log).header().last == Instant(*instant(0.0))
