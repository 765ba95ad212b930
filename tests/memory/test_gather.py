"""Gathering: in any order, repeated, cut short at any step, the memory holds the same, and no run twice."""

from __future__ import annotations

import shutil
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyarrow import parquet

from monitor.cli import main
from monitor.edges import runlog
from monitor.edges.logreader import LogReader
from monitor.errors import RefusalError
from monitor.memory import store
from monitor.memory.gather import gather
from monitor.memory.tables import TABLES
from tests.examples import CAMPAIGN, examples
from tests.labyear import make_logs
from tests.recorded import record_run

Tables = dict[str, list[tuple[Any, ...]]]


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Runs of two benches in one month, one of them at three stages of its growth."""
    folder = tmp_path_factory.mktemp("logs")
    made = list(make_logs(folder, 2, 2, hours=0.5, span_s=3.0 * 86_400.0))
    for share in (3, 2):
        made.append(_shorter(made[0], folder / f"part-{share}.so2log", share))
    return made


def _shorter(log: Path, to: Path, share: int) -> Path:
    """The log as it was after a part of its run."""
    shutil.copy(log, to)
    with closing(sqlite3.connect(to)) as db:
        last_s = db.execute("SELECT max(t_s) FROM sample").fetchone()[0] / share
        for table in ("sample", "account", "exposure", "alarm", "phase"):
            db.execute(f"DELETE FROM {table} WHERE t_s > ?", (last_s,))
        db.execute("DELETE FROM correction")
        kept = db.execute("SELECT count(*) FROM input WHERE kind = 'bytes' AND mono_s <= ?", (last_s,)).fetchone()[0]
        db.execute("DELETE FROM input WHERE id > ?", (kept,))
        db.execute("UPDATE meta SET value = ? WHERE key = 'last_mono_s'", (repr(last_s),))
        db.commit()
    return to


def _tables(memory: Path) -> Tables:
    """Every row of every table, file by file, without so2bench."""
    got: Tables = {}
    for table in TABLES:
        for path in sorted((memory / table).rglob("*.parquet")):
            with path.open("rb") as file:
                columns = parquet.ParquetFile(file).read().to_pydict()
            columns.pop("log", None)  # a copy has the name by which it came
            got[f"{table} {path.parent}".replace(str(memory), "")] = list(zip(*columns.values(), strict=True))
    return got


@pytest.fixture(scope="module")
def wanted(logs: list[Path], tmp_path_factory: pytest.TempPathFactory) -> Tables:
    memory = tmp_path_factory.mktemp("wanted") / "memory"
    gather(logs[:4], memory)
    return _tables(memory)


def test_every_row_of_a_log_is_there_as_it_was_recorded(tmp_path: Path) -> None:
    """A run by the rig: all rows, all columns, to the last digit; whoever adds a column to the log sees this fail."""
    log = record_run(tmp_path / "a.so2log", 400.0)
    gather([log], tmp_path / "memory")
    tables = _tables(tmp_path / "memory")
    reader = LogReader(log)
    for table, kept in TABLES.items():
        if kept.from_log is None:
            continue
        (rows,) = (rows for name, rows in tables.items() if name.startswith(f"{table} "))
        assert list(kept.columns) == reader.columns(table)
        assert [row[1:] for row in rows] == list(reader.rows(table))
    (exposed,) = (rows for name, rows in tables.items() if name.startswith("exposure "))
    recorded = list(reader.rows("exposure"))
    assert [(row[1], *row[3:8]) for row in exposed][: len(recorded)] == recorded
    assert len(exposed) <= len(recorded) + 1


@examples(10)
@given(data=st.data())
def test_any_order_any_repetition_gives_the_same(
    data: st.DataObject, logs: list[Path], wanted: Tables, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Logs, their older copies and doubles, in batches of any size and order: the same tables, none doubled."""
    memory = tmp_path_factory.mktemp("any") / "memory"
    batches = data.draw(st.lists(st.lists(st.sampled_from(logs), max_size=5), max_size=4))
    for batch in [*batches, data.draw(st.permutations(logs))]:
        assert [o for o in gather(batch, memory) if o.what == "refused"] == []
    assert _tables(memory) == wanted
    assert {o.what for o in gather(logs, memory)} == {"as before", "older"}
    shutil.rmtree(memory)


class DeadError(OSError):
    """The end of a process, or of a disk, as the code in it sees it."""


class _Reaper:
    """Lets so many operations on files happen, then no more; counts them. Watches Python's own audit events."""

    EVENTS = frozenset({"open", "os.rename", "os.remove", "os.mkdir", "os.rmdir", "shutil.rmtree"})

    def __init__(self) -> None:
        self.left: int | None = None
        self.seen = 0
        self.goes_on = False
        sys.addaudithook(self._hear)

    def _hear(self, event: str, arguments: tuple[Any, ...]) -> None:
        if self.left is None or event not in self.EVENTS or not self._in_memory(event, str(arguments[0])):
            return
        self.seen += 1
        if self.seen > self.left and not (self.goes_on and self.seen > self.left + 1):
            raise DeadError(28, "No space left on device")

    @staticmethod
    def _in_memory(event: str, path: str) -> bool:
        """Whether it is of the memory; what is taken away with its folder is named without a path."""
        return "/doomed/" in path or (event in ("os.remove", "os.rmdir") and "/" not in path)

    @contextmanager
    def after(self, operations: int, goes_on: bool) -> Iterator[None]:
        """Fail the next operation after so many, and every later one unless it `goes_on`."""
        self.left, self.seen, self.goes_on = operations, 0, goes_on
        try:
            yield
        finally:
            self.left = None


REAPER = _Reaper()


@pytest.mark.timeout(600)
@pytest.mark.parametrize("goes_on", [False, True], ids=["it dies there", "that one fails"])
def test_cut_short_at_any_operation_nothing_is_half(
    logs: list[Path], wanted: Tables, tmp_path: Path, goes_on: bool
) -> None:
    """At an operation on a file: then each shelf is as before or as after, and gathering again gives the whole.

    At one in seven, and in a campaign at each.

    A run that grew and a new one come to a shelf that holds its former part. "Dies" fails every later operation too,
    so that no tidying up happens, as after a kill.
    """
    begun = tmp_path / "begun"
    gather([logs[4], logs[2]], begun)
    before = _tables(begun)
    operations = rounds = cut = 0
    while True:
        memory = tmp_path / "doomed" / f"{operations}"
        shutil.copytree(begun, memory)
        rounds += 1
        try:
            with REAPER.after(operations, goes_on):
                gather(logs[:2], memory)
        except RefusalError:
            cut += 1
        else:
            if REAPER.seen <= operations:
                break
        if not store.is_changing(memory):
            assert _tables(memory) in (before, _after(wanted, before))
        with store.Store(memory):
            got = _tables(memory)
        assert got in (before, _after(wanted, before)), operations
        gather(logs, memory)
        assert _tables(memory) == wanted, operations
        shutil.rmtree(memory)
        operations += 1 if CAMPAIGN else 7
    assert operations >= 60
    assert cut >= 0.6 * (rounds - 1)  # making a folder that is there may fail and nobody minds


def _after(wanted: Tables, before: Tables) -> Tables:
    """The shelves of the first bench whole, the other bench's as it was."""
    return {
        **{k: v for k, v in wanted.items() if "hood-1" in k},
        **{k: v for k, v in before.items() if "hood-2" in k},
    }


def test_a_bad_log_is_refused_and_the_rest_goes_on(
    logs: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No log, a log cut off, damaged inside, of a newer format, of another shape: one sentence each, status 1."""
    bad = tmp_path / "bad"
    bad.mkdir()
    (bad / "none.so2log").write_bytes(b"no log at all" * 100)
    whole = logs[0].read_bytes()
    (bad / "short.so2log").write_bytes(whole[: len(whole) // 2])
    middle = len(whole) // 2
    (bad / "holed.so2log").write_bytes(whole[:middle] + b"\xff" * 8192 + whole[middle + 8192 :])
    for name, change in (
        ("newer.so2log", f"PRAGMA user_version = {runlog.FORMAT + 1}"),
        ("shape.so2log", "ALTER TABLE alarm DROP COLUMN detail"),
        ("asked.so2log", "UPDATE input SET kind = 'request', data = CAST('{}' AS BLOB) WHERE id = 3"),
        ("state.so2log", "INSERT INTO alarm VALUES (NULL, 1.0, 1.0, 'X', 'high', 'normal', 'odd', '', '', '')"),
        ("bench.so2log", "UPDATE meta SET value = 'name = \"../../x\"' WHERE key = 'bench_toml'"),
        ("start.so2log", "UPDATE meta SET value = '1e300' WHERE key = 'start_utc_s'"),
    ):
        shutil.copy(logs[0], bad / name)
        with closing(sqlite3.connect(bad / name)) as db:
            db.execute(change)
            db.commit()
    assert main(["gather", str(bad), str(logs[1]), "--into", str(tmp_path / "memory")]) == 1
    said = capsys.readouterr()
    assert said.out == "1 new, 0 grown, 0 as before, 0 older, 9 refused\n"
    lines = said.err.splitlines()
    assert len(lines) == 9
    for path in bad.glob("*.so2log"):
        assert sum(str(path) in line for line in lines) == 1, path
    assert f"format {runlog.FORMAT + 1} (a newer so2bench wrote it)" in said.err
    (rows,) = (rows for name, rows in _tables(tmp_path / "memory").items() if name.startswith("run "))
    assert len(rows) == 1


def test_two_copies_that_went_on_apart_are_refused(logs: list[Path], tmp_path: Path) -> None:
    """A longer log that does not begin as the one that is there takes no place of it."""
    gather([logs[5]], tmp_path / "memory")
    other = tmp_path / "other.so2log"
    shutil.copy(logs[0], other)
    with closing(sqlite3.connect(other)) as db:
        db.execute("UPDATE input SET data = CAST('S,other' AS BLOB) WHERE id = 3")
        db.commit()
    before = _tables(tmp_path / "memory")
    (outcome,) = gather([other], tmp_path / "memory")
    assert outcome.what == "refused"
    assert "two copies were written to" in outcome.text
    assert _tables(tmp_path / "memory") == before


def test_a_run_that_goes_on_is_taken_as_far_as_it_is(logs: list[Path], tmp_path: Path) -> None:
    """The open run's former part is replaced as it grows, and a writer holds nothing up."""
    live = tmp_path / "live.so2log"
    shutil.copy(logs[4], live)
    writer = runlog.LogWriter(live, lambda *_: None)
    try:
        assert [o.what for o in gather([live], tmp_path / "memory")] == ["new"]
    finally:
        writer.close()
    assert [o.what for o in gather([logs[5]], tmp_path / "memory")] == ["grown"]
    assert [o.what for o in gather([live, logs[0]], tmp_path / "memory")] == ["older", "grown"]


def test_a_run_that_went_on_since_it_was_looked_at_refuses_no_copy(logs: list[Path], tmp_path: Path) -> None:
    """What was written between the glance and the reading counts: an older copy is older, not another run."""
    live = tmp_path / "live.so2log"
    shutil.copy(logs[4], live)

    def coming() -> Iterator[Path]:
        yield live
        shutil.copy(logs[0], live)
        yield logs[5]

    assert [o.what for o in gather(coming(), tmp_path / "memory")] == ["new", "older"]
    assert [o.what for o in gather([logs[0]], tmp_path / "memory")] == ["as before"]


def test_a_memory_is_its_owners_alone(logs: list[Path], tmp_path: Path) -> None:
    """It says what persons were exposed to: nobody else may look in, unless its owner allows it."""
    gather(logs[:1], tmp_path / "memory")
    assert (tmp_path / "memory").stat().st_mode & 0o077 == 0


def test_a_folder_of_something_else_is_left_alone(logs: list[Path], tmp_path: Path) -> None:
    """Nothing is put beside other people's files."""
    (tmp_path / "letters.txt").write_text("dear all", "utf-8")
    with pytest.raises(RefusalError, match="found a folder with other things in it"):
        gather(logs[:1], tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["letters.txt"]


def test_one_gathering_at_a_time(logs: list[Path], tmp_path: Path) -> None:
    """A second one is refused while the first goes on."""
    with store.Store(tmp_path / "memory"), pytest.raises(RefusalError, match="in use by another so2bench"):
        gather(logs[:1], tmp_path / "memory")


def test_groups_of_rows_do_not_show(logs: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Runs longer than a row group, and groups over several runs: the same rows."""
    gather(logs[:4], tmp_path / "large")
    monkeypatch.setattr(store, "GROUP_ROWS", 70)
    for log in reversed(logs):
        gather([log], tmp_path / "small")
    assert _tables(tmp_path / "small") == _tables(tmp_path / "large")
