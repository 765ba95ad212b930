"""Questions to a memory: the answers are those worked out from the plain logs, and are given in three forms."""

from __future__ import annotations

import csv
import io
import json
import random
import shutil
import sqlite3
import threading
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.errors import RefusalError
from monitor.memory.ask import Question, ask
from monitor.memory.gather import gather
from monitor.rig import scenario
from tests import plainmemory
from tests.labyear import START_UTC_S, make_logs, patterns, scenario_bench, write_log
from tests.memory.same import differences
from tests.recorded import record_run

pytestmark = pytest.mark.live

QUESTIONS: tuple[Question, ...] = ("exposure", "yields", "alarms")


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the logs of a small laboratory and of a run by the rig, and the memory of them."""
    folder = tmp_path_factory.mktemp("lab")
    (folder / "logs").mkdir()
    list(make_logs(folder / "logs", 3, 12))
    record_run(folder / "logs" / "rig.so2log", 700.0)
    gather([folder / "logs"], folder / "memory")
    return folder


@pytest.mark.parametrize("question", QUESTIONS)
def test_the_answer_is_the_one_from_the_plain_logs(lab: Path, question: Question) -> None:
    """DuckDB over the Parquet, and Python over each log's own tables: the same rows, to nine digits."""
    logs = sorted((lab / "logs").glob("*.so2log"))
    wanted = getattr(plainmemory, question)(logs)
    assert len(wanted) >= 3
    assert differences(question, ask(lab / "memory", question, by=frozenset({"bench", "month"})), wanted) == []


def test_alarms_are_of_all_benches_unless_asked(lab: Path) -> None:
    """The counts of each bench and month add up to the whole."""
    whole, parts = ask(lab / "memory", "alarms"), ask(lab / "memory", "alarms", by=frozenset({"bench"}))
    assert "bench" in parts.columns
    assert "bench" not in whole.columns
    at, of_part = whole.columns.index("raised"), parts.columns.index("raised")
    assert sum(row[at] for row in whole.rows) == sum(row[of_part] for row in parts.rows)


def test_weeks_are_those_of_iso_8601(tmp_path: Path) -> None:
    """A run over midnight to Monday 4 January 2027: before it week 53 of 2026, after it week 1 (ISO 8601)."""
    sunday_23_utc_s = datetime(2027, 1, 3, 23, tzinfo=UTC).timestamp()
    log = tmp_path / "a.so2log"
    write_log(log, scenario_bench(), scenario.run_toml(), sunday_23_utc_s, patterns(2.0)[0], random.Random(1))
    gather([log], tmp_path / "memory")
    answer = ask(tmp_path / "memory", "exposure")
    hours: dict[str, float] = {}
    for row in answer.rows:
        hours[row[1]] = hours.get(row[1], 0.0) + row[answer.columns.index("watched_h")]
    assert hours == pytest.approx({"2026-W53": 1.0, "2027-W01": 1.0}, abs=0.02)
    later = ask(tmp_path / "memory", "exposure", zone="Asia/Tokyo")
    assert {row[1] for row in later.rows} == {"2027-W01"}


def test_a_zone_moves_runs_between_weeks_and_loses_nothing(lab: Path) -> None:
    """Fourteen hours east some of a week's dose lies in another week; the sum stays."""
    here, east = (ask(lab / "memory", "exposure", zone=zone) for zone in ("UTC", "Pacific/Kiritimati"))
    at = here.columns.index("dose_ppm_h")
    assert sum(row[at] for row in here.rows) == pytest.approx(sum(row[at] for row in east.rows))
    assert [row[:2] for row in here.rows] != [row[:2] for row in east.rows]


def test_benches_without_a_name_are_no_one_person(tmp_path: Path) -> None:
    """Two benches, one hour, nobody's name: the 8-hour average is that of one; under one name it is of both."""
    course = patterns(1.0)[0]
    twa_ppm = {}
    for who in ("bench", "Anker"):
        for bench in ("hood-1", "hood-2"):
            log = tmp_path / who / f"{bench}.so2log"
            log.parent.mkdir(exist_ok=True)
            bench_toml = scenario_bench().replace('name = "hood-2"', f'name = "{bench}"')
            write_log(log, bench_toml, scenario.run_toml(), START_UTC_S, course, random.Random(1))
            with closing(sqlite3.connect(log)) as db:
                said = json.dumps({"kind": "note", "who": who, "args": {"text": "here"}, "id": ""})
                db.execute("UPDATE input SET data = CAST(? AS BLOB) WHERE kind = 'request'", (said,))
                db.commit()
        gather([tmp_path / who], tmp_path / f"memory-{who}")
        (row,) = ask(tmp_path / f"memory-{who}", "exposure").rows
        assert row[0] == who.replace("bench", "")
        twa_ppm[who] = row[3]
    assert twa_ppm["bench"] > 0.0
    assert twa_ppm["Anker"] == pytest.approx(2.0 * twa_ppm["bench"])


def test_since_leaves_out_what_was_before(lab: Path) -> None:
    """No earlier week and month; a day of the zone."""
    weeks = [row[1] for row in ask(lab / "memory", "exposure", date(2027, 6, 7)).rows]
    assert weeks
    assert min(weeks) >= "2027-W23"
    months = ask(lab / "memory", "alarms", date(2027, 6, 1), by=frozenset({"month"}))
    assert min(row[months.columns.index("month")] for row in months.rows) >= "2027-06"
    assert ask(lab / "memory", "yields", date(2030, 1, 1)).rows == []


@pytest.mark.parametrize("question", QUESTIONS)
def test_three_forms_say_the_same(lab: Path, question: Question, capsys: pytest.CaptureFixture[str]) -> None:
    """A table to read, JSON alone, CSV alone: as many rows, the same figures."""
    answer = ask(lab / "memory", question)
    said = {}
    for form in ("", "--json", "--csv"):
        assert main(["memory", str(lab / "memory"), question, *filter(None, [form])]) == 0
        said[form] = capsys.readouterr().out
    rows = json.loads(said["--json"])["rows"]
    for row, values in zip(rows, answer.rows, strict=True):  # sums may differ in the last digit, by their order
        assert list(row.values()) == [pytest.approx(v, rel=1e-12) if isinstance(v, float) else v for v in values]
    heads, *cells = list(csv.reader(io.StringIO(said["--csv"])))
    assert tuple(heads) == answer.columns
    assert len(cells) == len(rows)
    table, _, meaning = said[""].partition("\n\n")
    assert len(table.splitlines()) == len(rows) + 1
    assert f"Runs in this memory: {answer.runs} ({answer.invented} invented, as they say)." in meaning
    if question == "exposure":
        assert "Personal data" in meaning
        assert "(no name)" in table


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["exposure", "--zone", "Atlantis/West"], "found time zone 'Atlantis/West', wanted a name like"),
        (["exposure", "--zone", "posixrules"], "found time zone 'posixrules', wanted a name like"),
        (["exposure", "--zone", "../etc"], "found time zone '../etc', wanted a name like"),
    ],
)
def test_what_makes_no_sense_gets_one_sentence(
    lab: Path, arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Found, and wanted."""
    assert main(["memory", str(lab / "memory"), *arguments]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert says in line


@pytest.mark.parametrize("name", ["mem [a]", "mem*b", "mem?c", "mem'd", "mem{e}", "µ → f"])
def test_a_memory_may_be_called_anything(lab: Path, tmp_path: Path, name: str) -> None:
    """A folder whose name holds signs that stand for other names is asked by itself, and no other beside it."""
    shutil.copytree(lab / "memory", tmp_path / name)
    beside = tmp_path / name.replace("*", "xx").replace("?", "x").replace("[a]", "a")
    if not beside.exists():
        shutil.copytree(lab / "memory", beside)
    runs, wanted = (ask(place, "yields").rows for place in (tmp_path / name, lab / "memory"))
    assert [row[:4] for row in runs] == [row[:4] for row in wanted]


@pytest.mark.parametrize("name", ["bench=z", "month=1", "back\\slash"])
def test_a_folder_that_would_be_misread_is_refused(lab: Path, tmp_path: Path, name: str) -> None:
    """A path that whoever reads Parquet takes for a bench, a month or a sign of its own is refused."""
    with pytest.raises(RefusalError, match="wanted none that begins with bench= or month="):
        gather([lab / "logs"], tmp_path / name / "memory")
    assert list(tmp_path.iterdir()) == []
    shutil.copytree(lab / "memory", tmp_path / name / "memory")
    with pytest.raises(RefusalError, match="wanted none that begins with bench= or month="):
        ask(tmp_path / name / "memory", "yields")


def test_wrong_usage_is_said(lab: Path) -> None:
    """A day that is none, and a grouping that only alarms have: status 2."""
    for arguments in (["exposure", "--since", "yesterday"], ["yields", "--by", "bench"]):
        with pytest.raises(SystemExit, match="2"):
            main(["memory", str(lab / "memory"), *arguments])


def test_a_folder_that_is_no_memory_is_refused(tmp_path: Path) -> None:
    """None there, nothing gathered, a newer format, a broken file: one sentence each."""
    with pytest.raises(RefusalError, match="there is no memory here"):
        ask(tmp_path, "exposure")
    gather([], tmp_path / "memory")
    with pytest.raises(RefusalError, match="nothing was gathered"):
        ask(tmp_path / "memory", "exposure")
    (tmp_path / "memory" / "memory.json").write_text('{"format": 2, "changes": 0}', "utf-8")
    with pytest.raises(RefusalError, match=r"found memory format 2 \(a newer so2bench made it\), wanted 1"):
        ask(tmp_path / "memory", "exposure")
    (tmp_path / "memory" / "memory.json").write_text("[]", "utf-8")
    with pytest.raises(RefusalError, match="found no mark of a memory"):
        ask(tmp_path / "memory", "exposure")


def test_a_broken_file_of_the_memory_is_said(lab: Path, tmp_path: Path) -> None:
    """A Parquet file cut short gives one sentence, no figures."""
    shutil.copytree(lab / "memory", tmp_path / "memory")
    file = next((tmp_path / "memory" / "exposure").rglob("*.parquet"))
    file.write_bytes(file.read_bytes()[:-20])
    with pytest.raises(RefusalError, match="the memory cannot be read"):
        ask(tmp_path / "memory", "exposure")


def test_an_answer_is_of_one_moment(lab: Path, tmp_path: Path) -> None:
    """While runs are gathered one by one, every answer counts each run once: its doses are those of a prefix."""
    logs = sorted((lab / "logs").glob("hood-1-*.so2log"))
    alone = []
    for number in range(1, len(logs) + 1):
        gather(logs[number - 1 : number], tmp_path / "memory")
        alone.append(_dose(tmp_path / "memory"))
    shutil.rmtree(tmp_path / "memory")
    gather(logs[:1], tmp_path / "memory")
    failed: list[BaseException] = []
    asking = threading.Semaphore(0)

    def more() -> None:
        try:
            for number in range(1, len(logs)):
                # Each log is gathered while a question that has just been begun is being answered.
                assert asking.acquire(timeout=60)
                gather(logs[number : number + 1], tmp_path / "memory")
        except BaseException as why:  # noqa: BLE001 - shown by the assertion below
            failed.append(why)

    thread = threading.Thread(target=more)
    thread.start()
    seen = []
    for _ in range(1, len(logs)):
        asking.release()
        seen.append(_dose(tmp_path / "memory"))
    thread.join()
    seen.append(_dose(tmp_path / "memory"))
    assert failed == []
    assert seen[-1] == pytest.approx(alone[-1], abs=1e-9)
    assert all(any(dose == pytest.approx(one, abs=1e-9) for one in alone) for dose in seen)


def _dose(memory: Path) -> float:
    answer = ask(memory, "exposure")
    return float(sum(row[answer.columns.index("dose_ppm_h")] for row in answer.rows))
