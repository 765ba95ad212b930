"""The page as Streamlit runs it: what is on it, what its buttons put into the inbox, what it does without a log."""

from __future__ import annotations

import gc
import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from monitor.core.events import AlarmState, Metering, Overview, Priority
from monitor.edges.inbox import Asked, Inbox
from monitor.rig import scenario
from tests.dashboards.live import RUN_TOML
from tests.dashboards.runs import QUIET, sampled, standing, write_log

SCRIPT = str(Path(__file__).parents[2] / "dashboards" / "bench.py")
ALARMED = QUIET._replace(
    alarms=(
        standing("GAS-HIGH"),
        standing("LINK-LOST", state=AlarmState.LATCHED_ACKNOWLEDGED),
        standing("ACID-LOW", Priority.LOW, AlarmState.SHELVED),
    )
)


class Shown:
    """The page over one log, with somebody at the inbox's other end."""

    def __init__(self, log: Path) -> None:
        self.inbox = Inbox(log) if log.exists() else None
        self.app = AppTest.from_file(SCRIPT, default_timeout=60.0).run()

    @property
    def text(self) -> str:
        return "\n".join(str(element.proto.body) for element in self.app.get("html"))

    def click(self, key: str) -> list[Asked]:
        """What a click puts into the inbox."""
        self.app.button(key=key).click().run()
        assert not self.app.exception
        assert self.inbox is not None
        return self.inbox.take()


@pytest.fixture
def show(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Shower]:
    """Shows the page of a log that holds one overview."""
    shower = Shower(monkeypatch, tmp_path)
    yield shower
    for shown in shower.shown:
        if shown.inbox is not None:
            shown.inbox.close()
    st.cache_resource.clear()
    gc.unfreeze()


class Shower:
    def __init__(self, monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
        self._monkeypatch, self._folder = monkeypatch, folder
        self.shown: list[Shown] = []

    def run(self, run: Overview, run_toml: str = RUN_TOML) -> Shown:
        log = write_log(self._folder / "a.so2log", [*(sampled(0.1 * i) for i in range(300)), run], run_toml)
        # As though written when the page first looks, however long a busy machine takes to load it.
        soon_utc_s = time.time() + 60.0
        os.utime(log, (soon_utc_s, soon_utc_s))
        return self.log(log)

    def log(self, log: Path) -> Shown:
        self._monkeypatch.setenv("SO2BENCH_LOG", str(log))
        self.shown.append(Shown(log))
        return self.shown[-1]


def test_a_quiet_run_is_on_one_sheet(show: Shower) -> None:
    """State, amounts, readings, permit, phase, traces and the caution are all there, and nothing failed."""
    shown = show.run(QUIET)
    assert not shown.app.exception
    for words in (
        "No alarms",
        "0.1200 ± 0.0042 mol",
        "78.0 ± 1.6 °C",
        "On: asked for by bench.",
        "Phase: Generating",
        "Permit for heat and drip",
        "Air, heat and drip",
    ):
        assert words in shown.text
    assert "not a certified gas detector or safety system" in shown.text
    assert "INVENTED DATA" in shown.text
    assert len(shown.app.get("vega_lite_chart")) == 3
    assert [b.key for b in shown.app.button if str(b.key).startswith("ack")] == []


def test_who_is_told_to_leave_is_told_nothing_else(show: Shower) -> None:
    """With too much gas in the air no other alarm's card asks anybody to stay and do something first."""
    shown = show.run(QUIET._replace(alarms=(standing("GAS-HIGH-HIGH"), standing("GAS-LEAK"))))
    assert "Leave, and warn the others." in shown.text
    assert shown.text.count("Do: leave first, as said above.") == 1
    assert "Look for the leak" not in shown.text


def test_an_acknowledgement_goes_into_the_inbox_with_a_name(show: Shower) -> None:
    """The alarm by its tag, the person by the name on the page, the moment by the clock."""
    shown = show.run(ALARMED)
    shown.app.text_input(key="who").input("bench-2").run()
    (asked,) = shown.click("ack-GAS-HIGH")
    assert (asked.kind, asked.who, dict(asked.args)) == ("acknowledge", "bench-2", {"tag": "GAS-HIGH"})
    assert abs(asked.asked_utc_s - time.time()) < 30.0
    assert "Acknowledge GAS-HIGH – asked, waiting for the answer" in shown.text


@pytest.mark.parametrize(
    ("key", "kind", "args"),
    [
        ("reset-LINK-LOST", "reset", {"tag": "LINK-LOST"}),
        ("back-ACID-LOW", "unshelve", {"tag": "ACID-LOW"}),
        ("permit", "permit", {"on": False}),
        ("phase-running out", "phase", {"phase": "running out"}),
    ],
)
def test_each_button_asks_for_what_it_says(show: Shower, key: str, kind: str, args: dict[str, object]) -> None:
    """A button is one request."""
    (asked,) = show.run(ALARMED).click(key)
    assert (asked.kind, asked.who, dict(asked.args)) == (kind, "bench", args)


def test_a_note_goes_into_the_inbox_and_leaves_the_field_empty(show: Shower) -> None:
    """What was written is asked for once."""
    shown = show.run(QUIET)
    shown.app.text_area(key="note").input("Joint pushed home.")
    (asked,) = shown.click("note-go")
    assert (asked.kind, dict(asked.args)) == ("note", {"text": "Joint pushed home."})
    assert shown.app.text_area(key="note").value == ""


def test_a_nuisance_alarm_is_set_aside_with_a_reason(show: Shower) -> None:
    """Which, how long and why; high alarms are not on offer."""
    shown = show.run(QUIET)
    choice = shown.app.selectbox(key="shelve_which")
    assert not any("GAS-HIGH" in option for option in choice.options)
    choice.select("LINK-NOISY")
    shown.app.text_input(key="shelve_reason").input("a motor runs beside the cable")
    (asked,) = shown.click("shelve-go")
    assert (asked.kind, dict(asked.args)) == (
        "shelve",
        {"tag": "LINK-NOISY", "minutes": 30.0, "reason": "a motor runs beside the cable"},
    )


def test_the_end_of_a_run_needs_a_second_word(show: Shower) -> None:
    """The button sleeps until the box beside it is ticked, and sleeps again after it was used."""
    shown = show.run(QUIET)
    assert shown.app.button(key="end-go").disabled
    shown.app.checkbox(key="end_sure").check().run()
    assert [asked.kind for asked in shown.click("end-go")] == ["stop"]
    assert shown.app.button(key="end-go").disabled


def test_traces_can_be_put_away(show: Shower) -> None:
    """A display left on for days can do without drawings."""
    shown = show.run(QUIET)
    shown.app.radio(key="window").set_value("none").run()
    assert not shown.app.exception
    assert len(shown.app.get("vega_lite_chart")) == 0


def test_a_log_that_is_gone_is_one_sentence_and_comes_back(show: Shower, tmp_path: Path) -> None:
    """Nothing to show is said plainly, and a log that appears is shown by the next refresh."""
    shown = show.log(tmp_path / "a.so2log")
    assert not shown.app.exception
    assert "NO RUN TO SHOW" in shown.text
    assert "there is no such run log" in shown.text
    write_log(tmp_path / "a.so2log", [QUIET])
    shown.app.run()
    assert "Phase: Generating" in shown.text


def test_another_format_is_one_sentence(show: Shower, tmp_path: Path) -> None:
    """A file that is no run log is not guessed at."""
    other = tmp_path / "b.so2log"
    other.write_text("seconds,ppm\n")
    shown = show.log(other)
    assert not shown.app.exception
    assert "found a file that is no run log" in shown.text


def test_without_a_log_named_the_page_says_who_names_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Started by hand without a log, the page explains itself."""
    monkeypatch.delenv("SO2BENCH_LOG", raising=False)
    app = AppTest.from_file(SCRIPT, default_timeout=60.0).run()
    assert not app.exception
    assert "SO2BENCH_LOG names no run log" in "".join(str(e.proto.body) for e in app.get("html"))
    st.cache_resource.clear()
    gc.unfreeze()


def test_a_weighing_is_entered_and_undone(show: Shower) -> None:
    """What was weighed, the grams and their uncertainty go into the inbox as entered; so does the undoing."""
    page = show.run(QUIET)
    page.app.selectbox(key="weigh_what").select("receiver gain").run()
    page.app.number_input(key="weigh_grams").set_value(12.34).run()
    page.app.number_input(key="weigh_u_g").set_value(0.2).run()
    (asked,) = page.click("weigh-go")
    assert (asked.kind, dict(asked.args)) == ("weighing", {"what": "receiver gain", "grams": 12.34, "u_g": 0.2})
    (undo,) = page.click("weigh-undo")
    assert undo.kind == "undo-weighing"


def test_a_burner_has_no_flask_to_sweep(show: Shower) -> None:
    """Nothing is offered that its route does not have, no sweep and no drip; its permit is the draught's."""
    candle = Metering("burner", "weighings", None, None, None, None, 0, None)
    page = show.run(QUIET._replace(metering=candle), scenario.run_toml("burner"))
    assert not page.app.exception
    assert [b.key for b in page.app.button if b.key == "clear-go"] == []
    assert page.app.selectbox(key="weigh_what").options == ["sulfur loss", "receiver gain"]
    assert "Permit for the draught" in page.text
    assert "drip" not in page.text.lower()


def test_the_calibration_page_of_a_run_says_why_it_calibrates_nothing(show: Shower) -> None:
    """Beside a run its board and settings stay as they are; the command for afterwards is named."""
    shown = show.run(QUIET)
    shown.app.switch_page("calibrate.py").run()
    assert not shown.app.exception
    assert "its board and its settings stay as they are until it ends" in shown.text
    assert "so2bench calibrate --page --bench bench.toml" in shown.text
