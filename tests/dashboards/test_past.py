"""The page of past runs: what is listed, looked at closely, laid over each other; no alarm is out of sight."""

from __future__ import annotations

import gc
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from urllib.parse import urljoin

import pytest
import streamlit as st
from playwright.sync_api import Page as BrowserPage
from playwright.sync_api import expect
from streamlit.testing.v1 import AppTest

from dashboards.pastcharts import ticks
from dashboards.pastlist import HEAD, listed, table_of
from dashboards.stretch import WINDOWS, stretch_of
from monitor.edges.logreader import LogReader, logs_in
from monitor.edges.page import Page
from monitor.past import course, past_run
from tests.dashboards.chromium import chromium
from tests.dashboards.runs import QUIET, sampled, standing, write_log
from tests.dashboards.test_browser import PATIENCE_MS, opened, sees
from tests.recorded import record_run

SCRIPT = str(Path(__file__).parents[2] / "dashboards" / "bench.py")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two invented runs and a file that is none."""
    runs = tmp_path_factory.mktemp("runs")
    record_run(runs / "one.so2log", 500.0, title="Batch <1> (invented)")
    record_run(runs / "two.so2log", 300.0, seed=3, stop=False)
    (runs / "torn.so2log").write_text("no database")
    return runs


@pytest.fixture
def app(monkeypatch: pytest.MonkeyPatch) -> Iterator[pytest.MonkeyPatch]:
    yield monkeypatch
    st.cache_resource.clear()
    gc.unfreeze()


def shown(patch: pytest.MonkeyPatch, log: Path) -> AppTest:
    patch.setenv("SO2BENCH_LOG", str(log))
    page = AppTest.from_file(SCRIPT, default_timeout=60.0).run()
    page.switch_page("past.py").run()
    assert not page.exception
    return page


def text_of(page: AppTest) -> str:
    return "\n".join(str(element.proto.body) for element in page.get("html"))


def test_the_list_says_what_each_run_came_to(folder: Path) -> None:
    """Title, bench, what went over ± against the plan, and the alarms; a file that is none, with the reason."""
    runs, bad = listed(folder)
    assert {run.name for run in runs} == {"one.so2log", "two.so2log"}
    assert [name for name, _ in bad] == ["torn.so2log"]
    assert "no run log" in bad[0][1]
    one = next(run.cells for run in runs if run.name == "one.so2log")
    facts = past_run(folder / "one.so2log")
    assert one[:4] == ("Batch <1> (invented)", "2026-11-25 09:46", "hood-2", "8 min 20 s")
    assert "±" in one[4]
    assert facts.planned_mol is not None
    assert (facts.closed, facts.invented) == (True, True)
    assert facts.high_alarms >= 1
    html = table_of(runs, bad)
    assert "Batch &lt;1&gt;" in html
    assert "<1>" not in html
    assert "not closed" in html


def test_a_run_that_grows_is_listed_as_it_is_now(tmp_path: Path) -> None:
    """What was written since is in the list: nothing old is kept as though it were now."""
    log = write_log(tmp_path / "a.so2log", [QUIET])
    before = listed(tmp_path)[0][0].cells[4]
    log.unlink()
    account = QUIET.account
    assert account is not None
    write_log(log, [QUIET._replace(account=account._replace(delivered_mol=0.3))])
    assert listed(tmp_path)[0][0].cells[4] != before


def test_an_empty_folder_says_so(tmp_path: Path) -> None:
    """No runs is a sentence."""
    assert listed(tmp_path) == ([], [])
    assert "no run log in this folder" in table_of([], [])
    assert logs_in(tmp_path) == []


@pytest.mark.parametrize("window", [w for w in WINDOWS.values() if w is not None and w < 500.0])
def test_a_stretch_is_as_fine_as_the_record(folder: Path, window: float) -> None:
    """Up to a minute every sample is drawn, ten a second; longer stretches are summed up, and never too many."""
    seen = stretch_of(folder / "one.so2log", 370.0, 370.0 + window)
    assert len(seen.gas.t_s) <= 750
    assert seen.gas.t_s[0] >= 369.0
    assert seen.gas.t_s[-1] <= 371.0 + window
    if window <= 60.0:
        assert len(seen.gas.t_s) == pytest.approx(10 * window, abs=2)
        assert seen.gas.least is None


def test_no_peak_is_lost_in_the_whole_run(folder: Path) -> None:
    """The greatest gas reading of the record is the top of the band that is drawn."""
    seen = stretch_of(folder / "one.so2log", 0.0, 500.0)
    assert seen.gas.greatest is not None
    every = [row[3] for row in LogReader(folder / "one.so2log").samples(0.0, 500.0) if row[3] is not None]
    assert max(v for v in seen.gas.greatest if v is not None) == max(every)


def test_courses_begin_with_the_making(folder: Path) -> None:
    """Time counts from the generating phase; the share is of the run's plan; the rate sums up to what went over."""
    log = folder / "one.so2log"
    got, facts = course(log), past_run(log)
    assert got.t_s[0] == pytest.approx(0.0, abs=1.0)
    assert facts.delivered_mol is not None
    assert facts.planned_mol is not None
    assert got.share_of_plan[-1] == pytest.approx(facts.delivered_mol / facts.planned_mol, rel=1e-6)
    rates = [v for v in got.mmol_per_min if v is not None]
    summed_mol = sum(rates) / 60.0 / 1000.0  # one point a second
    assert summed_mol == pytest.approx(facts.delivered_mol, rel=0.05)
    assert min(rates) >= 0.0


def test_a_rate_does_not_reach_across_a_gap(tmp_path: Path) -> None:
    """Behind a gap a minute has to pass before there is a rate again."""
    account = QUIET.account
    assert account is not None
    events = [
        event
        for i in [*range(100), *range(200, 320)]
        for event in (account._replace(t_s=float(i), delivered_mol=0.001 * i), sampled(float(i)))
    ]
    got = course(write_log(tmp_path / "a.so2log", events))
    known = [t_s for t_s, v in zip(got.t_s, got.mmol_per_min, strict=True) if v is not None]
    assert known[0] == 60.5
    assert [t_s for t_s in known if 100.0 < t_s < 260.0] == []
    assert 260.5 in known
    assert [v for v in got.mmol_per_min if v is not None] == pytest.approx([60.0] * len(known))


def test_the_page_lists_and_draws(folder: Path, app: pytest.MonkeyPatch) -> None:
    """The list, one run from whole to a second, and another laid over it."""
    page = shown(app, folder / "one.so2log")
    assert "Batch &lt;1&gt;" in text_of(page)
    assert "torn.so2log is left out" in text_of(page)
    assert len(page.get("vega_lite_chart")) == 3
    page.selectbox(key="run").select("one.so2log").run()
    page.select_slider(key="span").set_value("1 s").run()
    page.slider(key="from-1 s").set_value(370.0).run()
    assert not page.exception
    assert "0:06:10 to 0:06:11; 1" in page.caption[0].value
    assert "single samples" in page.caption[0].value
    page.selectbox(key="other").select("two.so2log").run()
    assert not page.exception
    assert "share of what each run's own plan gives" in page.caption[0].value
    assert len(page.get("vega_lite_chart")) == 3


def test_an_alarm_of_the_run_being_watched_stays_in_sight(tmp_path: Path, app: pytest.MonkeyPatch) -> None:
    """Looking at the past, one still reads what stands now, and where to go."""
    log = write_log(tmp_path / "a.so2log", [QUIET._replace(alarms=(standing("GAS-HIGH"),)), sampled(1.0)])
    page = shown(app, log)
    assert "THE RUN BEING WATCHED: HIGH ALARM. SO2 in the air. Go to its page." in text_of(page)
    assert '<span class="sign">!!!</span> THE RUN BEING WATCHED' in text_of(page)


def test_a_torn_running_log_is_one_sentence(folder: Path, tmp_path: Path, app: pytest.MonkeyPatch) -> None:
    """What cannot be read is said; the rest of the folder is there."""
    shutil.copy(folder / "two.so2log", tmp_path / "two.so2log")
    page = shown(app, tmp_path / "gone.so2log")
    assert "THE RUN BEING WATCHED CANNOT BE READ" in text_of(page)
    assert "two.so2log" in text_of(page)


@pytest.mark.parametrize(
    "span", [(0.0, 1.0), (370.0, 371.0), (12.3, 72.3), (0.0, 2300.0), (0.0, 90_000.0), (0.0, 2e6)]
)
def test_ticks_are_whole_on_a_clock(span: tuple[float, float]) -> None:
    """Two to nine ticks within the span, at equal steps."""
    got = ticks(span)
    assert 2 <= len(got) <= 9
    assert all(span[0] <= t <= span[1] for t in got)
    steps = {round(b - a, 6) for a, b in pairwise(got)}
    assert len(steps) == 1


def test_a_run_that_was_never_weighed_claims_nothing(tmp_path: Path) -> None:
    """A burner's run before its first weighing went over by an amount that nobody knows."""
    record_run(tmp_path / "a.so2log", 60.0, route="burner", stop=False)
    ((run,), _) = listed(tmp_path)
    assert run.cells[HEAD.index("gone over")] == "unknown"


@contextmanager
def looked_at(folder: Path, width: int, height: int) -> Iterator[BrowserPage]:
    """A run's page in a window of that size; the browser lives no longer, for `AppTest` cannot run beside it."""
    server = Page(folder / "two.so2log")
    try:
        with chromium() as browser:
            yield opened(browser, server, width, height)
    finally:
        server.close()


@pytest.mark.browser
@pytest.mark.timeout(300)
def test_on_a_telephone_every_word_of_the_list_is_in_sight(folder: Path) -> None:
    """At 390 points wide no cell of the list runs off the side, and each says what it is."""
    with looked_at(folder, 390, 844) as page:
        page.goto(urljoin(page.url, "/past"))
        sees(page, ".pastruns", "Batch <1> (invented)")
        cells = "[...document.querySelectorAll('.pastruns th, .pastruns td')]"
        assert max(page.evaluate(f"{cells}.map(cell => cell.getBoundingClientRect().right)")) <= 390
        said = "getComputedStyle(document.querySelector('.pastruns td'), '::before').content"
        assert "began (UTC)" in page.evaluate(f"{said} + document.querySelector('.pastruns td').dataset.name")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.browser
@pytest.mark.timeout(300)
def test_past_runs_are_reached_and_compared_in_a_browser(folder: Path) -> None:
    """From the run's page by its link; the list, two runs over each other, and back."""
    with looked_at(folder, 1100, 1000) as page:
        page.get_by_role("link", name="Past runs").click()
        sees(page, ".pastruns", "Batch <1> (invented)")
        expect(page.locator("[data-testid=stVegaLiteChart] canvas, [data-testid=stVegaLiteChart] svg")).to_have_count(
            3, timeout=PATIENCE_MS
        )
        page.get_by_label("and lay over it").click()
        page.get_by_role("option").nth(1).click()
        sees(page, "[data-testid=stCaptionContainer]", "share of what each run's own plan gives")
        page.get_by_role("link", name="The run being watched").click()
        sees(page, ".head .state", "")
        expect(page.get_by_role("link", name="Past runs")).to_be_visible(timeout=PATIENCE_MS)
