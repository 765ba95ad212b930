"""The page always has a next step, and it fits the place in the run."""

from __future__ import annotations

import re
from typing import get_args

import pytest

from dashboards.steps import PHASE_WORDS, in_order, next_step
from monitor.core.catalogue import CATALOGUE
from monitor.core.events import Forecast, Phase
from monitor.terms import Route
from tests.dashboards.runs import FORECAST, METERING


@pytest.mark.parametrize("phase", list(Phase))
@pytest.mark.parametrize("permit_on", [True, False])
@pytest.mark.parametrize("forecast", [FORECAST, None])
@pytest.mark.parametrize("route", get_args(Route))
def test_there_is_always_a_next_step(phase: Phase, permit_on: bool, forecast: Forecast | None, route: Route) -> None:
    """No place in a run leaves the reader alone."""
    step = next_step(phase, permit_on, forecast, METERING._replace(route=route))
    assert step.endswith(".")
    assert "{" not in step
    assert route == "acid-drip" or not re.search(r"\btap\b", step, re.IGNORECASE)
    assert PHASE_WORDS[phase]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"drops_to_need": 0, "minutes_to_need": 0.0}, "The need has gone over. Shut the tap"),
        ({"drops_to_need": 1}, "Go on. 1 drop to go"),
        ({"minutes_to_need": None, "drip_per_min": 0.0}, "Nothing drips."),
        ({"drops_to_need": None, "minutes_to_need": None}, "The need will not be reached: all the acid brings 0.577"),
        ({"need_mol": None, "drops_to_need": None}, "Go on. The run's file names no need"),
    ],
)
def test_while_generating_the_step_follows_the_forecast(change: dict[str, float | None], words: str) -> None:
    """Go on, shut the tap, or be told that it will not be enough."""
    forecast = FORECAST._replace(**change)  # type: ignore[arg-type]
    assert next_step(Phase.GENERATING, True, forecast, METERING).startswith(words)


def test_without_the_permit_nobody_is_told_to_go_on() -> None:
    """A tap under a permit that is off is to be shut."""
    assert "tap shut" in next_step(Phase.GENERATING, False, FORECAST, METERING)


@pytest.mark.parametrize("tag", sorted(CATALOGUE))
def test_steps_lose_no_word(tag: str) -> None:
    """A response cut into its steps is the same response."""
    response = CATALOGUE[tag].response("acid-drip")
    assert " ".join(in_order(response)) == response
