"""The page that documents the run log: complete, and its examples run."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from importlib.resources import files
from pathlib import Path

import pytest

from monitor.edges.runlog import FORMAT, create
from tests.recorded import record_run

PAGE = (files("monitor.edges") / "SCHEMA.md").read_text("utf-8")


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return record_run(tmp_path_factory.mktemp("runs") / "a.so2log", 480.0, stop=False)


def _section(table: str) -> str:
    """The part of the page about a table: its own heading, or its line in the table of small ones."""
    own = re.search(rf"^## {table}: .*?(?=^## |\Z)", PAGE, re.MULTILINE | re.DOTALL)
    if own is not None:
        return own.group()
    line = re.search(rf"^\| `{table}` \|.*$", PAGE, re.MULTILINE)
    assert line is not None, f"{table} is not on the page"
    return line.group()


def test_every_table_and_column_is_documented(tmp_path: Path) -> None:
    """What a log has, the page names, each column in the part about its table."""
    log = tmp_path / "a.so2log"
    create(log, {})
    missing = []
    with closing(sqlite3.connect(log)) as db:
        tables = [name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        for table in tables:
            part = _section(table)
            names = [name for (name,) in db.execute("SELECT name FROM pragma_table_info(?)", (table,))]
            missing += [f"{table}.{name}" for name in names if f"`{name}`" not in part]
    assert len(tables) >= 14
    assert missing == []


def test_the_page_is_of_this_format() -> None:
    """The page says which format it documents."""
    assert PAGE.startswith(f"# The run log, format {FORMAT}\n")


def test_the_keys_of_meta_are_documented(story: Path) -> None:
    """Every key that a run writes about itself is on the page."""
    part = _section("meta")
    with closing(sqlite3.connect(story)) as db:
        keys = [key for (key,) in db.execute("SELECT key FROM meta")]
    assert len(keys) >= 8
    assert [key for key in keys if f"`{key}`" not in part] == []


def test_the_examples_run_and_say_what_they_promise(story: Path) -> None:
    """Over 1 ppm from the loose joint at 360 s to the end at 480 s; some gas has gone over."""
    queries = re.findall(r"```sql\n(.*?)```", PAGE, re.DOTALL)
    assert len(queries) == 2
    with closing(sqlite3.connect(f"{story.as_uri()}?mode=ro", uri=True)) as db:
        minutes, (over,) = (db.execute(query).fetchall() for query in queries)
    assert [minute for minute, _, _ in minutes] == [6, 7, 8]
    assert all(mean_ppm <= most_ppm and most_ppm > 1.0 for _, mean_ppm, most_ppm in minutes)
    delivered_mol, expanded_mol = over
    assert 0.0 < expanded_mol < delivered_mol < 0.1


def test_every_request_has_its_answer_in_order(story: Path) -> None:
    """The page promises one answer a request, in the same order and at the same moment."""
    with closing(sqlite3.connect(story)) as db:
        asked = db.execute("SELECT mono_s FROM input WHERE kind = 'request' ORDER BY id").fetchall()
        answered = db.execute("SELECT t_s FROM answer ORDER BY id").fetchall()
    assert len(asked) >= 8
    assert asked == answered
