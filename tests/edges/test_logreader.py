"""Reading a run log: what is no log is told in a sentence, and nobody who reads is in the writer's way."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.events import Answered, Overview, Phase, PhaseChanged, Reading, Sampled
from monitor.edges.logreader import LEVELS_S, LogReader, logs_in
from monitor.edges.runlog import LogWriter, overview_json
from monitor.errors import LogError
from tests.core.runs import SMALL, instant
from tests.edges.logs import HEADER, Source, Troubles, new_log, wait_until

pytestmark = pytest.mark.live


def altered(path: Path, *statements: str) -> Path:
    """A log with something changed in it by another program."""
    new_log(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        for statement in statements:
            db.execute(statement)
    return path


def test_no_such_log(tmp_path: Path) -> None:
    """A log that is not there is said to be not there, and is not made by looking for it."""
    path = tmp_path / "none.so2log"
    with pytest.raises(LogError, match="there is no such run log"):
        LogReader(path)
    assert not path.exists()


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"", "without a run in it"), (b"my notes, not a log\n" * 100, "no run log"), (b"\x00" * 5000, "no run log")],
)
def test_a_file_that_is_no_log(tmp_path: Path, content: bytes, words: str) -> None:
    """A file that is something else is told apart, in one sentence with its path."""
    path = tmp_path / "odd.so2log"
    path.write_bytes(content)
    with pytest.raises(LogError) as refused:
        LogReader(path)
    assert words in str(refused.value)
    assert str(path) in str(refused.value)
    assert path.read_bytes() == content


def test_a_folder_is_no_log(tmp_path: Path) -> None:
    """A folder in the place of a log is refused in a sentence that names the logs in it, the newest first."""
    with pytest.raises(LogError) as refused:
        LogReader(tmp_path)
    assert str(refused.value) == f"{tmp_path}: found a folder, wanted one run log (*.so2log); none is in it"
    for number in range(7):
        path = tmp_path / f"{number}.so2log"
        path.write_bytes(b"")
        os.utime(path, (1000.0 + number, 1000.0 + number))
    (tmp_path / "bench.toml").write_text("", "utf-8")
    with pytest.raises(LogError) as refused:
        LogReader(tmp_path)
    assert str(refused.value).endswith("; in it are 6.so2log, 5.so2log, 4.so2log, 3.so2log, 2.so2log and 2 more")


def test_a_link_to_nothing_among_logs(tmp_path: Path) -> None:
    """A link whose log is gone is listed last among the logs of a folder, and is said to be gone when it is read."""
    (tmp_path / "a.so2log").symlink_to(tmp_path / "gone")
    (tmp_path / "b.so2log").write_bytes(b"")
    assert [log.name for log in logs_in(tmp_path)] == ["b.so2log", "a.so2log"]
    with pytest.raises(LogError, match=r"a\.so2log: there is no such run log"):
        LogReader(tmp_path / "a.so2log")


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Path]:
    """A folder with a log that was closed and one that was not, and in which nobody can write."""
    folder = tmp_path / "kept"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("a folder in which nobody can write cannot be mounted here")
    writer, source = LogWriter(new_log(folder / "closed.so2log"), Troubles()), Source()
    source.write(writer, 20)
    writer.close()
    writer = LogWriter(new_log(tmp_path / "run.so2log"), Troubles())
    source.write(writer, 20)
    wait_until(lambda: LogReader(tmp_path / "run.so2log").count_inputs() == 20, "the writing")
    for end in ("", "-wal"):
        shutil.copy(tmp_path / f"run.so2log{end}", folder / f"open.so2log{end}")
    writer.close()
    subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def test_a_log_in_a_folder_that_nobody_can_write(kept: Path) -> None:
    """A log that was closed is read from a disk that takes no writing; one that was not says what helps."""
    reader = LogReader(kept / "closed.so2log")
    assert reader.count_inputs() == 20
    with reader.standing_still() as db:
        assert db.execute("SELECT count(*) FROM sample").fetchone() == (20,)
    with pytest.raises(
        LogError, match=r"cannot be read: .*; it was not closed, so copy it together with open.so2log-wal"
    ):
        LogReader(kept / "open.so2log")
    assert not list(kept.glob("*-shm"))


@pytest.mark.parametrize(("version", "words"), [(3, "a newer so2bench wrote it"), (1, "an older so2bench wrote it")])
def test_a_log_of_another_version(tmp_path: Path, version: int, words: str) -> None:
    """A log of another format is refused, saying which it is, which is wanted, and whether it is newer or older."""
    path = altered(tmp_path / "odd.so2log", f"PRAGMA user_version={version}")
    with pytest.raises(LogError) as refused:
        LogReader(path)
    assert f"format {version} ({words}), wanted format 2" in str(refused.value)


def test_a_header_that_lacks_something(tmp_path: Path) -> None:
    """A log whose header lacks the start, or has rubbish there, is told so."""
    path = altered(tmp_path / "a.so2log", "DELETE FROM meta WHERE key = 'start_mono_s'")
    with pytest.raises(LogError, match="start_mono_s"):
        LogReader(path).header()
    path = altered(tmp_path / "b.so2log", "UPDATE meta SET value = 'noon' WHERE key = 'start_utc_s'")
    with pytest.raises(LogError, match="noon"):
        LogReader(path).header()


@pytest.mark.parametrize("key", ["start_utc_s", "start_mono_s"])
@pytest.mark.parametrize("value", ["nan", "inf", "-1e9", "1e300"])
def test_a_moment_that_no_calendar_has(tmp_path: Path, key: str, value: str) -> None:
    """A log that began at no time at all is refused in a sentence, and crashes no report or list."""
    path = altered(tmp_path / "a.so2log", f"UPDATE meta SET value = '{value}' WHERE key = '{key}'")
    with pytest.raises(LogError, match="found a start in its header that no calendar has"):
        LogReader(path).header()


def test_an_input_that_cannot_be_understood(tmp_path: Path) -> None:
    """A request in the record that is none is told with its number; it is not skipped as if it had not been."""
    path = altered(tmp_path / "a.so2log", "INSERT INTO input VALUES (17, 0.0, 0.0, 'request', x'7b7d')")
    with pytest.raises(LogError, match="input 17: not a request"):
        list(LogReader(path).inputs())


def test_rows_of_a_wrong_kind_do_not_get_in(tmp_path: Path) -> None:
    """The file's own rules keep text out of a column of numbers."""
    with pytest.raises(sqlite3.IntegrityError):
        altered(tmp_path / "a.so2log", "INSERT INTO note VALUES (1, 'noon', 'note', 'x')")


def test_a_spoiled_overview_is_said(tmp_path: Path) -> None:
    """A state that rotted on the disk is a sentence for whoever looks, with the file's name."""
    path = altered(tmp_path / "a.so2log", "INSERT INTO overview VALUES (1, 0, 0, '{\"t_s\"; 1}')")
    with pytest.raises(LogError, match=r"a\.so2log: is damaged: its newest overview is not JSON"):
        LogReader(path).overview()


def test_a_new_log_is_empty_but_readable(tmp_path: Path) -> None:
    """Before the first sample there is no overview and no trace, and the run has got as far as its start."""
    reader = LogReader(new_log(tmp_path / "run.so2log"))
    assert reader.overview() is None
    assert reader.trace(0.0, 100.0).t_s == []
    assert (reader.alarms(), reader.notes(), reader.answer("x"), reader.count_inputs()) == ([], [], None, 0)
    header = reader.header()
    assert header.start == header.last == instant(0.0)
    assert header.made_by == HEADER["made_by"]
    assert not header.closed


def test_a_closed_run_is_known_as_closed(tmp_path: Path) -> None:
    """A run whose record ends with the closing is closed, and only such a one."""
    log = new_log(tmp_path / "run.so2log")
    writer = LogWriter(log, Troubles())
    writer.write([PhaseChanged(1.0, Phase.CLOSING_DOWN, "Ada"), Answered(1.0, "r1", True, "done")], instant(1.0))
    writer.close()
    assert not LogReader(log).header().closed
    assert LogReader(log).answer("r1") == (True, "done")
    writer = LogWriter(log, Troubles())
    writer.write([PhaseChanged(2.0, Phase.CLOSED, "Ada")], instant(2.0))
    writer.close()
    assert LogReader(log).header().closed


def test_a_path_with_odd_signs(tmp_path: Path) -> None:
    """A log whose name holds blanks, question marks, percent and hash signs is found."""
    log = new_log(tmp_path / "run 1? 50% #2 ä.so2log")
    assert LogReader(log).header().start == instant(0.0)


@given(st.floats(-100.0, 20_000.0), st.floats(0.1, 100_000.0), st.integers(10, 1000))
def test_a_trace_has_no_more_points_than_asked(from_s: float, span_s: float, most: int) -> None:
    """A trace has at most so many buckets, or those of the coarsest level, and its times rise."""
    trace = LogReader(_long_log()).trace(from_s, from_s + span_s, most)
    assert trace.level_s in LEVELS_S
    if trace.level_s != LEVELS_S[-1]:
        assert len(trace.t_s) <= most + 1
    assert trace.t_s == sorted(set(trace.t_s))
    assert all(len(column) == len(trace.t_s) for column in trace[2:])


def test_a_day_is_read_in_ten_minute_buckets() -> None:
    """A whole day costs a page no more than a few minutes do, and its peaks and troughs are those of the seconds."""
    reader = LogReader(_long_log())
    day, fine = reader.trace(0.0, 86_400.0, 360), reader.trace(0.0, 700.0, 750)
    assert (day.level_s, fine.level_s) == (600, 1)
    first = [i for i, t_s in enumerate(fine.t_s) if t_s < 600.0]
    for coarse, column, most in ((day.plate_lo, fine.plate_lo, min), (day.gas_hi, fine.gas_hi, max)):
        assert coarse[0] == most(v for i in first if (v := column[i]) is not None)


_LONG: list[Path] = []


@pytest.fixture(autouse=True, scope="module")
def _long(tmp_path_factory: pytest.TempPathFactory) -> None:
    """One log of a quarter of an hour with a gap of ten seconds in it, for the traces' tests."""
    log = new_log(tmp_path_factory.mktemp("long") / "run.so2log")
    writer = LogWriter(log, Troubles())
    source = Source(SMALL)
    for n in range(9000):
        events, now = source.batch()
        if not 3000 <= n < 3100:
            writer.write(events, now)
    writer.close()
    _LONG.append(log)


def _long_log() -> Path:
    return _LONG[0]


def test_a_gap_stays_a_gap() -> None:
    """Where nothing was measured a trace has a row of nothing, so that no line is drawn across it."""
    trace = LogReader(_long_log()).trace(290.0, 320.0)
    gap = [t_s for t_s, gas in zip(trace.t_s, trace.gas, strict=True) if gas is None]
    assert len(gap) == 1
    assert 300.0 <= gap[0] <= 310.0


def test_an_unknown_value_is_no_number_in_a_trace(tmp_path: Path) -> None:
    """A bucket in which the sensor was not to be believed has no value, not zero."""
    log = new_log(tmp_path / "run.so2log")
    writer = LogWriter(log, Troubles())
    source = Source()
    source.board.tc = 0
    source.write(writer, 30)
    writer.close()
    trace = LogReader(log).trace(0.0, 2.0)
    assert set(trace.plate) == {None}
    assert None not in trace.gas


def test_an_overview_comes_back_as_it_was(tmp_path: Path) -> None:
    """The newest overview is read back with every figure to the last digit, an unknown one as nothing."""
    source = Source(SMALL)
    log = new_log(tmp_path / "run.so2log")
    writer = LogWriter(log, Troubles())
    newest: Overview | None = None
    for n in range(50):
        source.board.gas_sum = 0 if n > 30 else 9000
        events, now = source.batch()
        newest = next((e for e in events if isinstance(e, Overview)), newest)
        writer.write(events, now)
    writer.close()
    got = LogReader(log).overview()
    assert got is not None
    assert newest is not None
    assert newest.account is not None
    assert newest.forecast is not None
    assert Reading(**got["gas"]) == newest.gas
    assert got["gas"]["value"] is None
    assert got["account"] == newest.account._asdict()
    assert got["forecast"] == newest.forecast._asdict()
    assert got["exposure"] == newest.exposure._asdict()
    assert [a["tag"] for a in got["alarms"]] == [a.tag for a in newest.alarms]
    assert set(got) == set(Overview._fields)
    assert overview_json(newest)


# --- readers and the writer -----------------------------------------------------------------------------------


def test_readers_never_hold_up_the_writer(tmp_path: Path) -> None:
    """With a reader that never lets go and others that ask all the time, writing goes on without trouble."""
    log = new_log(tmp_path / "run.so2log")
    troubles, source = Troubles(), Source()
    writer = LogWriter(log, troubles)
    source.write(writer, 100)
    time.sleep(0.6)
    stop = threading.Event()
    asked: list[int] = []

    def ask() -> None:
        reader = LogReader(log)
        while not stop.is_set():
            reader.overview()
            reader.trace(0.0, 1e6)
            reader.alarms()
            asked.append(reader.count_inputs())

    threads = [threading.Thread(target=ask) for _ in range(2)]
    with closing(sqlite3.connect(f"{log.as_uri()}?mode=ro", uri=True)) as lazy:
        cursor = lazy.execute("SELECT * FROM input")
        cursor.fetchone()  # and never the rest: the read stays open
        for thread in threads:
            thread.start()
        for _ in range(20):
            source.write(writer, 100)
            time.sleep(0.1)
        writer.close()
        stop.set()
        for thread in threads:
            thread.join()
        cursor.close()
    assert troubles == []
    assert LogReader(log).count_inputs() == source.samples == 2100
    assert len(asked) > 10


def test_a_reader_sees_whole_batches(tmp_path: Path) -> None:
    """Whenever one looks, every input is there with its sample: a reader never sees half of a batch."""
    log = new_log(tmp_path / "run.so2log")
    source = Source()
    writer = LogWriter(log, Troubles())
    with closing(sqlite3.connect(f"{log.as_uri()}?mode=ro", uri=True)) as db:
        looks = 0
        for _ in range(60):
            source.write(writer, 5)
            time.sleep(0.02)
            inputs, samples = db.execute(
                "SELECT (SELECT count(*) FROM input), (SELECT count(*) FROM sample)"
            ).fetchone()
            assert inputs == samples
            looks += inputs > 0
    writer.close()
    assert looks > 5
    assert isinstance(source.batch()[0][-1], Sampled)
