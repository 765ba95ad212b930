"""The closing-down part of the page: what is missing comes first, and too early an end says why."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest

from dashboards import closing
from dashboards.minding import mind
from dashboards.view import view_of
from monitor.core.events import Closing, Metering, Phase, Priority
from monitor.core.opening import CAUTION
from monitor.rig import scenario
from monitor.terms import Route
from tests.dashboards.runs import OPEN, QUIET, SHEET, UTC_S, standing
from tests.dashboards.test_page import Shower, Shown, show

__all__ = ["show"]  # a fixture

YET = Closing(
    since_s=40.0,
    safe=False,
    under_s=440.0,
    hold_s=600.0,
    seen=("no drop for 12 min 05 s",),
    missing=("7 min 20 s of 10 min 00 s under 0.25 ppm", "the plate is still at 85 °C, wanted under 45 °C"),
    held="By the account 5.77 ± 0.51 g of SO2 (0.090 mol) are still in the flask.",
    little=False,
    held_g=5.8,
    u_held_g=0.26,
    begun_anew="begun anew after 30 s, at 0:02:00: the gas reading is unknown (<frozen>)",
)
SAFE = YET._replace(safe=True, under_s=640.0, missing=(), seen=("under 0.25 ppm for 10 min 40 s",), begun_anew="")
DOWN = QUIET._replace(phase=Phase.CLOSING_DOWN, permit_on=False, permit_why="taken back by bench", closing=YET)


def page(show: Shower, shown: Closing = YET) -> Shown:
    """The page of a run that closes down; drawn once before, so that loading it does not make the log old."""
    show.log(Path("no-such-log"))
    return show.run(DOWN._replace(closing=shown))


def test_what_is_missing_comes_before_what_was_seen() -> None:
    """The verdict, then what is missing, then what was seen, then what is left; foreign words are escaped."""
    html = closing.section(YET, "flask")
    order = [
        "Not yet: leave it shut",
        "7 min 20 s of 10",
        "still at 85 °C",
        "no drop for",
        "&lt;frozen&gt;",
        "5.77 ±",
    ]
    places = [html.index(words) for words in order]
    assert places == sorted(places)
    assert html.count(CAUTION) == 1
    assert "width:73.3%" in html
    assert 'aria-label="7 min 20 s of 10 min 00 s of clean air"' in html


def test_safe_is_said_with_what_is_still_dissolved() -> None:
    """A safe verdict stands beside the grams that are left, never instead of them."""
    html = closing.section(SAFE, "flask")
    assert "Under the hood alone: it still holds gas" in html
    assert "Still missing" not in html
    assert "5.77 ± 0.51 g" in html
    assert "width:100.0%" in html
    assert "Yes, by what was seen" in closing.section(SAFE._replace(little=True), "flask")


def test_the_page_shows_it_in_its_phase(show: Shower) -> None:
    """Closing down has the section and its own next step."""
    text = page(show).text
    assert "May the flask be opened?" in text
    assert "Leave the flask shut until the page says that it is safe." in text


def test_a_burner_is_no_flask(show: Shower) -> None:
    """On the burner's route the page speaks of the burner, and keeps its draught on until the sulfur is cold."""
    show.log(Path("no-such-log"))
    candle = Metering("burner", "weighings", None, None, None, None, 0, None)
    text = show.run(DOWN._replace(metering=candle), scenario.run_toml("burner")).text
    assert "May the burner be opened?" in text
    assert "Draught on until the sulfur is cold, tube out of the liquid. Leave the burner shut" in " ".join(
        text.replace("<li>", " ").replace("</li>", " ").split()
    )


def test_in_another_phase_it_is_not_there(show: Shower) -> None:
    """While gas is made nobody asks whether the flask may be opened."""
    assert "May the flask be opened?" not in show.run(QUIET).text


def test_the_end_carries_its_reason(show: Shower) -> None:
    """What is written beside the end goes with the request, for the record."""
    shown = page(show)
    shown.app.text_input(key="end_reason").set_value("the hood goes off").run()
    shown.app.checkbox(key="end_sure").check().run()
    (asked,) = shown.click("end-go")
    assert (asked.kind, dict(asked.args)) == ("stop", {"reason": "the hood goes off"})


def test_nothing_old_is_called_safe() -> None:
    """A verdict that nobody stands behind any more is not shown."""
    assert view_of(DOWN._replace(closing=SAFE), SHEET, OPEN, 0.5, True, UTC_S).closing == SAFE
    assert view_of(DOWN._replace(closing=SAFE), SHEET, OPEN, 5.0, True, UTC_S).closing is None


def test_advice_is_shown_while_it_stands(show: Shower) -> None:
    """What is seen that is no alarm is on the page with what to do, escaped, and goes with its cause."""
    show.log(Path("no-such-log"))
    text = show.run(QUIET._replace(advice=("12 bubbles after <60>: the gas line narrows",))).text
    assert "Look at this" in text
    assert "12 bubbles after &lt;60&gt;: the gas line narrows." in text


@pytest.mark.parametrize("phase", [p for p in Phase if p is not Phase.CLOSED])
@pytest.mark.parametrize("route", get_args(Route))
def test_every_phase_has_its_own_advice_on_every_route(phase: Phase, route: Route) -> None:
    """No two phases of a route, and no two routes in a phase, are told the same."""
    here = mind(phase, route)
    others = [mind(p, r) for p in Phase for r in get_args(Route) if (p, r) != (phase, route)]
    assert here
    assert here not in others


def test_the_advice_of_the_phase_is_on_the_page() -> None:
    """The route is known by the metering; a run that nobody watches is advised of nothing."""
    metering = Metering("burner", "weighings", None, None, None, None, 0, None)
    run = QUIET._replace(metering=metering)
    assert view_of(run, SHEET, OPEN, 0.5, True, UTC_S).mind == mind(Phase.GENERATING, "burner")
    assert view_of(run, SHEET, OPEN, 5.0, True, UTC_S).mind == ""
    for priority in Priority:
        alarmed = run._replace(alarms=(standing("GAS-HIGH", priority),))
        said = view_of(alarmed, SHEET, OPEN, 0.5, True, UTC_S).mind
        assert (said == "") == (priority is Priority.HIGH)  # then the alarm alone says what to do


def test_how_the_flask_is_cleared_is_said(show: Shower) -> None:
    """Air and the liquor's temperature go to the run as they were written."""
    shown = page(show)
    shown.app.number_input(key="clear_air").set_value(0.4).run()
    shown.app.number_input(key="clear_c").set_value(35.0).run()
    (asked,) = shown.click("clear-go")
    assert (asked.kind, dict(asked.args)) == ("clearing", {"air_l_per_min": 0.4, "liquor_c": 35.0})
