"""The page on every route and meter: what is counted is called by its name, and a weighing is entered and shown."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboards.amounts import amounts_of
from dashboards.readings import lines_of
from dashboards.source import overview_from, route_in
from dashboards.steps import next_step
from monitor.core.events import Phase
from monitor.core.requests import WEIGHED_ON
from monitor.edges.logreader import LogReader
from monitor.edges.runlog import LogWriter, create
from monitor.rig import scenario
from monitor.terms import Route, RunTerms
from tests.core.runs import BENCH, DRIP, Run
from tests.core.test_weighings import BUBBLES, CANDLE, SO2_G


def shown(run: Run) -> dict[str, str]:
    """The lines about what lies ahead, by their names."""
    return dict(amounts_of(run.bench.overview(), "", "").ahead)


def counted(terms: RunTerms, drops: int) -> Run:
    """A run with so much counted."""
    run = Run(terms)
    run.sample()
    run.board.drop(drops)
    run.sample()
    return run


def test_a_correction_shows_the_old_drop_and_the_new() -> None:
    """After a weighing the page shows the drop volume as stated and as it is now, and when it was weighed."""
    run = counted(DRIP, 1500)
    assert "Last weighed" not in shown(run)
    delivered_g = run.bench.account.delivered_mol * SO2_G
    assert run.ask("weighing", what="flask loss", grams=1.02 * delivered_g, u_g=0.1).accepted
    lines = shown(run)
    assert lines["Last weighed"] == "at 0:00:00"
    assert lines["A drop, stated → now"].startswith("38.4 ± 1.2 µL → 38.")
    run.ask("undo-weighing")
    assert "Last weighed" not in shown(run)


def test_closing_down_foretells_nothing() -> None:
    """When nothing more is to be made the page gives no forecast, and what is over the need is not short of it."""
    run = counted(DRIP, 1300)
    making = run.bench.overview()
    account = making.account
    assert account is not None
    assert making.forecast is not None
    need_mol = account.delivered_mol + 0.05
    making = making._replace(forecast=making.forecast._replace(need_mol=need_mol))
    assert "In the end, all acid in" in dict(amounts_of(making, "", "").ahead)
    down = making._replace(phase=Phase.CLOSING_DOWN)
    lines = dict(amounts_of(down, "", "").ahead)
    assert lines.keys() & {"In the end, all acid in", "Still comes if shut now"} == set()
    assert lines["Left to the need"] == "0.0500 mol"
    swept = down._replace(account=account._replace(delivered_mol=need_mol + 0.01))
    assert dict(amounts_of(swept, "", "").ahead)["Left to the need"] == "nothing: enough has gone over"


def test_bubbles_are_called_bubbles() -> None:
    """On the bubble meter nothing speaks of drops or of acid that is left."""
    run = counted(BUBBLES, 1000)
    lines = shown(run)
    assert lines["Counted"] == "1\N{NARROW NO-BREAK SPACE}000 bubbles"
    assert "Acid left" not in lines
    names = [line.name for line in lines_of(run.bench.overview(), BENCH.limits, "", True)]
    assert "Bubbles" in names
    assert "Drip" not in names
    silent = {
        line.name: line for line in lines_of(run.bench.overview(), BENCH.limits, "no word from the board", True)
    }
    assert (silent["Bubbles"].value, "Drip" in silent) == ("unknown", False)


def test_a_weighed_run_says_so() -> None:
    """Before the first weighing nothing is claimed; after it the page says from when the figure is."""
    run = counted(CANDLE, 0)
    before = run.bench.overview()
    unweighed = amounts_of(before, "", "")
    assert unweighed.delivered == "not weighed yet"
    assert [(part.key, part.words) for part in unweighed.parts] == [
        ("gone", "not weighed yet"),
        ("locked", "at most 0.499 mol"),
    ]
    assert dict(unweighed.ahead)["Made so far"] == "not weighed yet"
    assert "Weigh from time to time" in next_step(Phase.GENERATING, True, before.forecast, before.metering)
    assert run.ask("weighing", what="sulfur loss", grams=6.4, u_g=0.1).accepted
    after = amounts_of(run.bench.overview(), "", "")
    assert after.delivered.startswith("0.1996 ±")
    assert "what went over since is not in it" in dict(after.ahead)["Last weighed"]


@pytest.mark.parametrize(
    ("route", "kinds"),
    [
        ("acid-drip", ("flask loss", "receiver gain")),
        ("acid-on-sulfur", ("flask loss", "receiver gain")),
        ("burner", ("sulfur loss", "receiver gain")),
    ],
)
def test_what_may_be_weighed_hangs_on_the_route(route: Route, kinds: tuple[str, ...]) -> None:
    """The page offers the weighings of the run's route, and none for settings that it cannot read."""
    assert route_in(scenario.run_toml(route)) == route
    assert WEIGHED_ON[route] == kinds
    assert route_in("title = 3") is None


def test_the_record_keeps_the_correction(tmp_path: Path) -> None:
    """The log holds the weighing with both figures, and the newest overview comes back with its metering."""
    run = counted(DRIP, 1500)
    run.ask("weighing", what="flask loss", grams=25.0, u_g=0.1)
    log = tmp_path / "a.so2log"
    header = {"bench_toml": "", "run_toml": "", "made_by": "", "start_mono_s": "0.0", "start_utc_s": "0.0"}
    create(log, header)
    writer = LogWriter(log, lambda *_: None)
    writer.write([*run.events, run.bench.overview()], run.bench.now)
    writer.close()
    (kept,) = LogReader(log).corrections()
    assert (kept.what, kept.grams, kept.volume_before_ul) == ("flask loss", 25.0, 38.4)
    assert kept.volume_after_ul == run.bench.account.metering().volume_ul
    newest = LogReader(log).overview()
    assert newest is not None
    assert overview_from(newest) == run.bench.overview()
