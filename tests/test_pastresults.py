"""From logs of past runs to what is said for next time: on the command line, in a report, and in the saved file."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from dashboards import planning
from monitor.cli import main
from monitor.core.balance import course_of
from monitor.core.events import Accounted, Corrected, Event, Instant, Noted, Phase, PhaseChanged
from monitor.edges import runlog
from monitor.errors import PlanError
from monitor.nexttime import sentences
from monitor.pastresults import BY_NOTE, BY_SENSOR, learned_from, result_of
from monitor.report.facts import gather
from monitor.report.page import page
from monitor.settings import bench_from, load_run, parse_toml, run_from
from monitor.terms import DripTerms
from tests.dashboards.runs import sampled
from tests.recorded import record_run
from tests.settings import BENCH_TOML, RUN_TOML

TODAY = date(2026, 11, 25)
DROPS_UL, DROP_S = 38.4, 2.0  # as the bench file says; a drop every two seconds
BENCH = bench_from(parse_toml(BENCH_TOML, "bench.toml"), "bench.toml")
SHARES = (0.93, 0.89, 0.91, 0.90, 0.92)


def past_log(
    folder: Path,
    day: str,
    share: float | None,
    *,
    run_toml: str = RUN_TOML,
    bench_toml: str = BENCH_TOML,
    closed: bool = True,
    undone: bool = False,
    more: tuple[Event, ...] = (),
) -> Path:
    """The log of an invented run of 1000 drops that was weighed at its end as `share` of what its count says."""
    began = datetime.fromisoformat(day).replace(tzinfo=UTC).timestamp()
    charge = run_from(parse_toml(run_toml, "run.toml"), "run.toml").charge
    assert isinstance(charge, DripTerms)
    course = course_of(charge)
    events: list[Event] = [PhaseChanged(0.0, Phase.GENERATING, "Ada"), *more]
    for drops in range(10, 1001, 10):
        at = course.at(drops * DROPS_UL / 1000.0)
        amounts = (at.generated_mol, at.held_mol, at.delivered_mol, at.locked_mol)
        events.append(Accounted(DROP_S * drops, drops, drops * DROPS_UL / 1000.0, *amounts, *(0.01,) * 4))
    by_count = course.at(1000 * DROPS_UL / 1000.0).delivered_mol
    if share is not None:
        weighed = by_count * share
        events += [_weighed(2001.0, "flask loss", weighed, by_count)]
        if undone:
            events += [_weighed(2002.0, "flask loss", 2 * weighed, by_count)]
            events += [_weighed(2003.0, "undo flask loss", 2 * weighed, by_count)]
    if closed:
        events.append(PhaseChanged(2100.0, Phase.CLOSED, "Ada"))
    log = folder / f"{day}.so2log"
    start = {"start_mono_s": "0.0", "start_utc_s": repr(began), "made_by": "a test"}
    runlog.create(log, {"bench_toml": bench_toml, "run_toml": run_toml, **start})
    writer = runlog.LogWriter(log, _trouble)
    writer.write(events, Instant(2100.0, began + 2100.0))
    writer.close()
    return log


def _weighed(t_s: float, what: str, mol: float, by_count: float) -> Corrected:
    after = (mol, 0.002, DROPS_UL, 0.6, DROPS_UL, 0.5)
    return Corrected(t_s, "Ada", what, 64.058 * mol, 0.1, mol, 0.1 / 64.058, by_count, 0.01, *after)


def _trouble(failing: bool, text: str) -> None:
    raise AssertionError(f"the log of a test cannot be written: {failing}, {text}")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five runs of one bench, one of another, one that was not ended, and a file that is no log."""
    runs = tmp_path_factory.mktemp("runs")
    for number, share in enumerate(SHARES):
        past_log(runs, f"2026-0{5 + number}-03", share)
    past_log(runs, "2026-10-01", 0.5, bench_toml=BENCH_TOML.replace("hood-2", "hood-3"))
    past_log(runs, "2026-10-02", 0.5, closed=False)
    (runs / "torn.so2log").write_text("no database")
    return runs


def test_only_finished_runs_of_the_bench_count(folder: Path) -> None:
    """Five runs, their mean of 91 %, since the first; another bench and a run that goes on are not in it."""
    found = learned_from(folder, BENCH, "acid-drip", TODAY)
    assert [run.day.month for run in found.runs] == [5, 6, 7, 8, 9]
    assert found.yields is not None
    assert found.yields.value == pytest.approx(0.91)
    assert next(iter(sentences(found))).startswith("In 5 runs since 2026-05-03 this bench gave 91")
    assert learned_from(folder, BENCH, "burner", TODAY).runs == ()
    until = datetime(2026, 7, 15, tzinfo=UTC).timestamp()
    assert len(learned_from(folder, BENCH, "acid-drip", TODAY, until).runs) == 3


def test_what_was_learned_is_not_learned_again(tmp_path: Path) -> None:
    """A run file that states a yield does not change what the run is held against: 91 % stays 91 %."""
    learned = '\n[learned]\nyield = "91 +/- 4 %"\nruns = 6\nsince = 2026-01-03\nfitted = 2026-04-01\n'
    log = past_log(tmp_path, "2026-05-03", 0.91, run_toml=RUN_TOML + learned)
    share = result_of(log, 0.0).yield_share
    assert share is not None
    assert share.value == pytest.approx(0.91)
    html = page(gather(log))
    assert "Planned with a past yield" in html
    assert "91.0 ± 8.0 %, of 6 runs since 2026-01-03, fitted 2026-04-01; the account does not use it" in html


def test_an_undone_weighing_does_not_count(tmp_path: Path) -> None:
    """The one before it stands."""
    share = result_of(past_log(tmp_path, "2026-05-03", 0.9, undone=True), 0.0).yield_share
    assert share is not None
    assert share.value == pytest.approx(0.9)


def test_a_run_that_was_not_weighed_says_why_it_tells_nothing(tmp_path: Path) -> None:
    """A count of drops is the plan itself: it cannot say what share of it really came."""
    result = result_of(past_log(tmp_path, "2026-05-03", None), 0.0)
    assert (result.yield_share, result.drop) == (None, None)
    assert result.left_out == ("nothing was weighed, and a count of drops alone cannot tell its yield",)


def test_a_run_of_the_simulated_bench_is_read(tmp_path: Path) -> None:
    """The demonstration's own story as recorded, with its weighing: it gave nearly what was planned."""
    result = result_of(record_run(tmp_path / "story.so2log", 2350.0), 0.0)
    assert result.left_out == ()
    assert result.yield_share is not None
    assert result.yield_share.value == pytest.approx(1.0, abs=0.05)
    assert result.drop is not None
    assert result.drop.ul == pytest.approx(38.4, abs=2.0 * (result.drop.u_ul + result.drop.common_u_ul))
    assert (result.charge, result.first_gas_by) == ("Na2S2O5 and HCl", BY_SENSOR)  # a joint works loose at 360 s
    assert result.first_gas_s == pytest.approx(360.0 - 90.0, abs=60.0)


def test_first_gas_by_a_note_and_by_the_sensor(tmp_path: Path) -> None:
    """From the first drop to the note, or to the sensor's first rise; planned is when the count was to bring gas."""
    course = course_of(run_from(parse_toml(RUN_TOML, "run.toml"), "run.toml").charge)
    assert course.first_gas_ml is not None
    planned_s = 10.0 * DROP_S * -(-course.first_gas_ml * 1000.0 // (10 * DROPS_UL)) - 10.0 * DROP_S
    note = Noted(500.0, "note", "Ada: First gas in the tube")
    by_note = result_of(past_log(tmp_path, "2026-05-03", 0.9, more=(note,)), 0.0)
    assert (by_note.first_gas_s, by_note.first_gas_by) == (500.0 - 10 * DROP_S, BY_NOTE)
    assert by_note.first_gas_planned_s == pytest.approx(planned_s)
    rising = tuple(sampled(float(t_s), 0.1 if t_s < 700 else 0.6) for t_s in range(1, 900))
    by_sensor = result_of(past_log(tmp_path, "2026-06-03", 0.9, more=rising), 0.0)
    assert by_sensor.first_gas_by == BY_SENSOR
    assert by_sensor.first_gas_s == pytest.approx(700.0 - 10 * DROP_S, abs=15.0)
    assert result_of(past_log(tmp_path, "2026-07-03", 0.9), 0.0).first_gas_s is None


def test_a_plan_shows_and_uses_past_runs_only_when_told(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`--past` changes no figure; `--use-past` does, and stands in the saved file, which plans to the same again."""
    monkeypatch.chdir(tmp_path)
    Path("bench.toml").write_text(BENCH_TOML, encoding="utf-8")
    Path("run.toml").write_text(RUN_TOML, encoding="utf-8")
    plan = ["plan", "run.toml", "--bench", "bench.toml"]

    def figures(*more: str) -> dict[str, Any]:
        assert main([*more, "--json"]) == 0
        got: dict[str, Any] = json.loads(capsys.readouterr().out)
        return got

    assert figures(*plan) == {k: v for k, v in figures(*plan, "--past", str(folder)).items() if k != "next_time"}
    assert main([*plan, "--past", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "nothing of it is applied unless you say so" in out
    assert "In 5 runs since 2026-05-03" in out
    assert '    yield = "91 +/- ' in out
    want = ["plan", "--want", "12 g Se", "--bench", "bench.toml", "--past", str(folder)]
    without, using = figures(*want), figures(*want, "--use-past", "--save", "learned.toml")
    assert using["sulfur_iv_mol"] > without["sulfur_iv_mol"]
    run, text = load_run(Path("learned.toml"))
    assert run.learned is not None
    assert run.learned.yield_share.value == pytest.approx(0.91, abs=0.001)
    assert "[learned]" in text
    again = figures("plan", "learned.toml", "--bench", "bench.toml")
    assert {key: using[key] for key in again} == again
    assert any("5 runs since 2026-05-03" in caution for caution in again["cautions"])
    assert main([*want[:-1], str(tmp_path), "--use-past"]) == 1
    assert "too few finished runs" in capsys.readouterr().err
    for wrong in ([*plan, "--past", str(folder), "--use-past"], ["plan", "run.toml", "--past", str(folder)]):
        with pytest.raises(SystemExit):
            main(wrong)


def test_a_report_ends_with_next_time(folder: Path) -> None:
    """Of the runs up to this one, with each run's figures; later ones are not in it."""
    html = page(gather(folder / "2026-08-03.so2log"))
    assert "Next time" in html
    assert "In 4 runs since 2026-05-03 this bench gave" in html
    assert "2026-08-03 2026-08-03.so2log" in html
    assert "2026-09-03" not in html
    lone = page(gather(folder / "2026-05-03.so2log"))
    assert "too few; 3 at least are wanted" in lone


def test_the_plan_page_offers_past_runs(folder: Path) -> None:
    """Its sentences stand under the plan; the yield is used when chosen, and refused where too few runs tell."""
    html = planning.past_html(RUN_TOML, folder, BENCH_TOML, TODAY)
    assert "<p>In 5 runs since 2026-05-03" in html
    assert planning.past_html(RUN_TOML, None, BENCH_TOML, TODAY) == ""
    assert planning.reckoned(planning.FIELDS, None, folder, BENCH_TOML, TODAY) is None
    past = planning.FIELDS | {"reckoned": "past"}
    learned = planning.reckoned(past, None, folder, BENCH_TOML, TODAY)
    assert learned is not None
    worked = planning.work_out(planning.want_from(planning.FIELDS, None, learned), BENCH_TOML)
    opened = planning.opened_want(worked.text)
    assert opened is not None
    assert planning.reckoned(planning.fields_of(opened), opened, None, None, TODAY) == learned
    assert any("[learned]" in caution for caution in planning.sheet_of(worked.text, BENCH_TOML).cautions)
    with pytest.raises(PlanError, match="nothing is known"):
        planning.reckoned(past | {"route": "burner"}, None, folder, BENCH_TOML, TODAY)
    with pytest.raises(PlanError, match="wanted both"):
        planning.reckoned(past, None, None, BENCH_TOML, TODAY)
