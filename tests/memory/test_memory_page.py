"""The page that documents the memory: complete, and its example runs."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import duckdb
import pytest

from monitor.memory.gather import gather
from monitor.memory.tables import FORMAT, TABLES
from tests.labyear import make_logs

PAGE = (files("monitor.memory") / "MEMORY.md").read_text("utf-8")


def test_every_table_and_column_that_gathering_adds_is_documented() -> None:
    """Those of the run log stand on its own page; the others here."""
    assert PAGE.startswith(f"# The memory of a laboratory, format {FORMAT}\n")
    for table, kept in TABLES.items():
        assert f"`{table}`" in PAGE
        if kept.from_log is None:
            line = next(part for part in re.split(r"\n\n|\n\|", PAGE) if re.match(rf"(\*\*| `){table}(\*\*|`)", part))
            own = PAGE[PAGE.index(f"**{table}**:") :].split("\n\n")[0] if f"**{table}**:" in PAGE else line
            assert [name for name in kept.columns if f"`{name}`" not in own] == [], table


def test_the_example_runs_in_the_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In bare DuckDB, as the page says: the made year's runs of 2.5 h, a sample in ten seconds."""
    (tmp_path / "logs").mkdir()
    gather(make_logs(tmp_path / "logs", 2, 3), tmp_path / "memory")
    (example,) = re.findall(r"```sql\n(.*?)```", PAGE, re.DOTALL)
    monkeypatch.chdir(tmp_path / "memory")
    with duckdb.connect() as db:
        *_, last = [db.execute(s).fetchall() for s in example.split(";") if s.strip()]
    assert {row[0] for row in last} <= {"hood-1", "hood-2"}
    assert len(last) >= 1
    assert all(row[2] == 79.5 and row[3] % 1.5 == 0.0 for row in last)
