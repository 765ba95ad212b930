"""The export: every row as it was recorded, a unit in every head, nothing written over."""

from __future__ import annotations

import builtins
import csv
import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path

import pyarrow.parquet
import pytest

from monitor.cli import main
from monitor.core.events import Event, Instant, Noted, Reading, Rejected
from monitor.edges import runlog
from monitor.edges.logreader import LogReader
from monitor.errors import LogError, RefusalError
from monitor.export import TABLES, export, head
from tests.dashboards.runs import sampled
from tests.recorded import record_run


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return record_run(tmp_path_factory.mktemp("runs") / "a.so2log", 420.0)


def _recorded(log: Path, table: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(log)) as db:
        return db.execute(f"SELECT * FROM {table} ORDER BY 1").fetchall()


def _csv(path: Path) -> tuple[list[str], list[list[str]]]:
    with path.open(encoding="utf-8", newline="") as file:
        heads, *rows = list(csv.reader(file))
    return heads, rows


def test_csv_holds_every_row_to_the_last_digit(story: Path, tmp_path: Path) -> None:
    """Numbers read back are the recorded ones; NULL is an empty cell; bytes are one character each."""
    made = export(story, "csv", tmp_path / "out")
    assert [path.stem for path in made] == list(TABLES)
    for path in made:
        heads, rows = _csv(path)
        recorded = _recorded(story, path.stem)
        assert len(rows) == len(recorded)
        assert len(heads) == len(LogReader(story).columns(path.stem)) + 1
        for row, kept in zip(rows, recorded, strict=True):
            for cell, value in zip(row[1:], kept, strict=True):
                if value is None:
                    assert cell == ""
                elif isinstance(value, bytes):
                    assert cell.removeprefix("'").encode("latin-1") == value
                else:
                    assert (float(cell) if isinstance(value, float) else cell) == (
                        value if isinstance(value, float) else str(value)
                    )


def test_parquet_holds_the_same(story: Path, tmp_path: Path) -> None:
    """Types are kept: numbers are numbers, and NULL is null."""
    for path in export(story, "parquet", tmp_path / "out"):
        table = pyarrow.parquet.read_table(path)
        columns = [column.to_pylist() for column in table.columns[1:]]
        rows = list(zip(*columns, strict=True))
        recorded = [
            tuple(v.decode("latin-1") if isinstance(v, bytes) else v for v in row)
            for row in _recorded(story, path.stem)
        ]
        assert rows == recorded
        assert table.num_rows == len(recorded)


def test_every_measured_column_names_its_unit(story: Path) -> None:
    """A number in a physical unit says which; a word, a mark or a key needs none."""
    without = {"id", "io", "accepted", "is_on"}
    reader = LogReader(story)
    for table in TABLES:
        for name, kind in zip(reader.columns(table), reader.types(table), strict=True):
            assert ("[" in head(name)) == (kind in ("REAL", "INTEGER") and name not in without), name
    assert [
        head(n) for n in ("plate_c", "u_held_mol", "acid_ml", "gas_at_least_ppm", "utc_s", "volume_after_ul")
    ] == [
        "plate_c [°C]",
        "u_held_mol [mol]",
        "acid_ml [mL]",
        "gas_at_least_ppm [ppm]",
        "utc_s [s]",
        "volume_after_ul [µL]",
    ]


def test_rows_carry_the_time_of_day(story: Path, tmp_path: Path) -> None:
    """RFC 3339 in UTC, from the run's own start: Unix second 1 795 600 000 is 2026-11-25 09:46:40 (POSIX time)."""
    export(story, "csv", tmp_path / "out")
    heads, rows = _csv(tmp_path / "out" / "phase.csv")
    assert heads[0] == "time_utc"
    assert rows[1][:3] == ["2026-11-25T09:48:00.000Z", "2", "80.0"]


def test_an_export_never_overwrites(story: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder that is there is refused in one sentence, whatever it holds."""
    out = tmp_path / "out"
    assert main(["export", str(story), "--out", str(out)]) == 0
    assert len(capsys.readouterr().out.splitlines()) == len(TABLES)
    assert main(["export", str(story), "--out", str(out)]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert "is there already" in line


def test_what_a_killed_export_left_is_named(story: Path, tmp_path: Path) -> None:
    """An export that was killed leaves its part; the next one says what that is, and what to do."""
    part = tmp_path / "out.part"
    part.mkdir()
    with pytest.raises(
        LogError, match=r"out\.part is there already: an export that was cut short left it; take it away"
    ):
        export(story, "csv", tmp_path / "out")
    part.rmdir()
    assert export(story, "csv", tmp_path / "out")


def test_an_export_that_fails_leaves_nothing(story: Path, tmp_path: Path) -> None:
    """Half an export is taken away, and the next try is not in its way."""

    def full(part: float) -> None:
        if part > 0.5:
            raise OSError(28, "No space left on device")

    with pytest.raises(LogError, match="No space left on device"):
        export(story, "csv", tmp_path / "out", full)
    assert list(tmp_path.iterdir()) == []
    assert export(story, "csv", tmp_path / "out")


def test_without_pyarrow_one_sentence(story: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is missing, how to get it, and what works without it; no folder is begun."""
    real = builtins.__import__

    def without(
        name: str,
        globals: Mapping[str, object] | None = None,  # noqa: A002 - the names that Python calls it by
        locals: Mapping[str, object] | None = None,  # noqa: A002
        fromlist: Sequence[str] | None = (),
        level: int = 0,
    ) -> object:
        if name.partition(".")[0] == "pyarrow":
            raise ImportError(name)
        return real(name, globals, locals, fromlist, level)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(RefusalError, match=r"pip install '\.\[export\]', or --format csv"):
        export(story, "parquet", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_run_that_is_being_written_is_exported(story: Path, tmp_path: Path) -> None:
    """The writer goes on and is not held up; the export has what was committed."""
    header = LogReader(story).header()
    log = tmp_path / "live.so2log"
    start = {"start_mono_s": "0.0", "start_utc_s": "1795600000.0", "made_by": "a test"}
    runlog.create(log, {"bench_toml": header.bench_toml, "run_toml": header.run_toml, **start})
    writer = runlog.LogWriter(log, _trouble)
    try:
        for i in range(50):
            writer.write([sampled(0.1 * i)], Instant(0.1 * i, 1795600000.0 + 0.1 * i))
        while LogReader(log).count("sample") < 50:
            pass
        export(log, "csv", tmp_path / "out")
        writer.write([sampled(5.0)], Instant(5.0, 1795600005.0))
    finally:
        writer.close()
    assert len(_csv(tmp_path / "out" / "sample.csv")[1]) == 50
    assert LogReader(log).count("sample") == 51


def test_no_text_is_a_formula_to_a_spreadsheet(story: Path, tmp_path: Path) -> None:
    """As OWASP's page "CSV Injection" asks: a text cell that begins with = + - @ tab CR (or LF, or their full-width
    forms) gets a quote before it; other texts and all numbers, negative ones too, are as recorded, in Parquet all.
    """
    header = LogReader(story).header()
    log = tmp_path / "odd.so2log"
    start = {"start_mono_s": "0.0", "start_utc_s": "1795600000.0", "made_by": "a test"}
    runlog.create(log, {"bench_toml": header.bench_toml, "run_toml": header.run_toml, **start})
    began = ["=2+3", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1", '=cmd|"/c"!A1, "x"']
    plain = ["a=b", "'=1", "", " =1", "5 °C"]
    writer = runlog.LogWriter(log, _trouble)
    events: list[Event] = [Noted(float(i), "note", text) for i, text in enumerate([*began, *plain])]
    cold = sampled(1.0)._replace(plate=Reading(-1.5, 0.5))
    writer.write([*events, cold, Rejected(2.0, "no frame", b"=1+1")], Instant(20.0, 1795600020.0))
    writer.close()
    export(log, "csv", tmp_path / "csv")
    assert [row[-1] for row in _csv(tmp_path / "csv" / "note.csv")[1]] == [*("'" + text for text in began), *plain]
    assert _csv(tmp_path / "csv" / "rejected.csv")[1][0][-1] == "'=1+1"
    heads, rows = _csv(tmp_path / "csv" / "sample.csv")
    assert rows[0][heads.index("plate_c [°C]")] == "-1.5"
    export(log, "parquet", tmp_path / "parquet")
    texts = pyarrow.parquet.read_table(tmp_path / "parquet" / "note.parquet").column("text").to_pylist()
    assert texts == [*began, *plain]


def _trouble(failing: bool, text: str) -> None:
    raise AssertionError(f"the log of a test cannot be written: {failing}, {text}")


def test_progress_goes_up_and_ends(story: Path, tmp_path: Path) -> None:
    """A long export says how far it is, and never goes back."""
    heard: list[float] = []
    export(story, "csv", tmp_path / "out", heard.append)
    assert heard == sorted(heard)
    assert heard[-1] == 1.0
    assert len(heard) >= 5


def test_pages_of_any_size_give_the_same_rows(story: Path) -> None:
    """Reading in pages loses no row and doubles none, with one key column or with two."""
    reader = LogReader(story)
    for table in ("exposure", "alarm", "roll"):
        assert list(reader.rows(table, 7)) == list(reader.rows(table, 100_000))
        assert len(list(reader.rows(table, 7))) == reader.count(table)


@pytest.mark.parametrize("table", ["nothing", "sample; DROP TABLE sample", ""])
def test_a_table_that_is_not_there_is_refused(story: Path, table: str) -> None:
    """A name is looked up in the schema before it is used."""
    with pytest.raises(LogError, match="has no table"):
        list(LogReader(story).rows(table))
