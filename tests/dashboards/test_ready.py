"""The check before a run on the page: what is left is in sight with its buttons, and each asks for what it says."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboards import ready
from monitor.core.events import CheckLine, Phase
from tests.dashboards.runs import QUIET
from tests.dashboards.test_page import Shower, Shown, show

__all__ = ["show"]  # a fixture

CHECKS = (
    CheckLine("board", "the board answers and speaks this protocol", False, "passed", "protocol 1", ""),
    CheckLine("plate", "the plate reads room temperature", False, "waived", "second run <today>", "Ada"),
    CheckLine("hood", "the hood is on and draws", True, "", "", ""),
    CheckLine("gas", "the gas sensor is alive and near zero", False, "failed", "1.20 ppm", ""),
)
READY = QUIET._replace(phase=Phase.GETTING_READY, permit_on=False, permit_why="not asked for", checks=CHECKS)


def page(show: Shower) -> Shown:
    """The page of a run that is getting ready; drawn once before, so that loading it does not make the log old."""
    show.log(Path("no-such-log"))
    return show.run(READY)


def test_what_is_left_comes_first() -> None:
    """The failed item stands first, then what nobody has looked at; what is done is one line, with its reasons."""
    assert [line.item for line in ready.to_do(CHECKS)] == ["gas", "hood"]
    assert "2 of 4 to do" in ready.head(CHECKS)
    assert "Failed: gas." in ready.row(CHECKS[3])
    assert "1.20 ppm" in ready.row(CHECKS[3])
    assert ready.done(CHECKS) == "<p>Passed: board. Waived: plate (second run &lt;today&gt;).</p>"


def test_the_check_is_the_first_step() -> None:
    """While something is left nobody is sent to ask for a permit that will be refused; then the step is the usual."""
    assert ready.step(CHECKS) == "Go through the check below, 2 of 4 to do. Then ask for the permit."
    assert ready.step(CHECKS[:2]) == ""


def test_all_done() -> None:
    """With nothing left the page says what comes next; with nothing done the line is not there."""
    assert "Ask for the permit" in ready.head(CHECKS[:2])
    assert ready.to_do(CHECKS[:2]) == ()
    assert ready.done(CHECKS[2:]) == ""


@pytest.mark.parametrize(("answer", "outcome"), [("passed", "passed"), ("failed", "failed")])
def test_a_button_for_what_only_a_person_sees(show: Shower, answer: str, outcome: str) -> None:
    """The person's items have two buttons; the tool's own have none, for nobody may pass them by hand."""
    shown = page(show)
    assert "Before the run: 2 of 4 to do" in shown.text
    assert [b.key for b in shown.app.button if str(b.key).startswith("check-gas")] == []
    (asked,) = shown.click(f"check-hood-{answer}")
    assert (asked.kind, dict(asked.args)) == ("check", {"item": "hood", "outcome": outcome, "reason": ""})


def test_waiving_takes_a_reason(show: Shower) -> None:
    """Any item can be waived, with its reason, and the field is empty afterwards."""
    shown = page(show)
    shown.app.selectbox(key="waive_which").select("gas").run()
    shown.app.text_input(key="waive_reason").input("the zero is off, calibration tomorrow")
    (asked,) = shown.click("waive-go")
    args = {"item": "gas", "outcome": "waived", "reason": "the zero is off, calibration tomorrow"}
    assert (asked.kind, dict(asked.args)) == ("check", args)
    assert shown.app.text_input(key="waive_reason").value == ""


def test_gone_when_it_is_done(show: Shower) -> None:
    """A run whose check is done, or that wanted none, shows no list."""
    assert "Before the run" not in show.run(QUIET).text
