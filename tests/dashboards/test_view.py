"""What the page says: nothing old as though it were now, the worst first, and what to do."""

from __future__ import annotations

import os
import re
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboards.freshness import Freshness
from dashboards.source import overview_from, sheet_of
from dashboards.view import GONE_S, STALE_S, View, look, view_of
from dashboards.words import UNKNOWN, clock
from monitor.core.catalogue import CATALOGUE
from monitor.core.events import Overview, Phase, PhaseChanged, Priority, Reading
from monitor.edges.inbox import Inbox
from monitor.edges.logreader import Header
from monitor.errors import LogError
from tests.dashboards.live import BENCH_TOML, RUN_TOML
from tests.dashboards.runs import CLOSED, OPEN, QUIET, SHEET, UTC_S, standing, write_log


def shown(run: Overview, age_s: float = 0.4, header: Header = OPEN, *, inbox: bool = True) -> View:
    return view_of(run, SHEET, header, age_s, inbox, UTC_S)


def test_a_quiet_run_is_calm() -> None:
    """No alarms is said in words, with the next step and the age of the newest sample."""
    view = shown(QUIET)
    assert (view.head.level, view.head.text, view.head.warning) == ("calm", "No alarms", "")
    assert view.head.steps == ("Go on. 412 drops to go, about 7 min at this rate.",)
    assert view.age == "newest sample 0.6 s old"
    assert view.permit_words == "On: asked for by bench."


def test_readings_carry_their_uncertainty_and_their_limit() -> None:
    """A reading is a value ± two standard uncertainties beside the limit that it is held against."""
    lines = {line.name: line for line in shown(QUIET).readings}
    assert (lines["SO2 at the sensor"].value, lines["SO2 at the sensor"].note) == (
        "0.12 ± 0.32 ppm",
        f"alarm at {SHEET.limits.gas_high_ppm:g} ppm",
    )
    assert lines["Plate"].value == "78.0 ± 1.6 °C"
    assert lines["Drip"].value == "57 drops/min"


@given(age_s=st.floats(STALE_S, 1e7, exclude_min=True), inbox=st.booleans(), alarmed=st.booleans())
def test_a_silent_monitor_is_never_taken_for_a_calm_one(age_s: float, inbox: bool, alarmed: bool) -> None:
    """Beyond 3 s without a word no reading is a number, no state is calm, and the warning is there."""
    view = shown(QUIET._replace(alarms=(standing("GAS-HIGH"),) if alarmed else ()), age_s, inbox=inbox)
    assert not view.watched
    assert {line.value for line in view.readings} == {UNKNOWN}
    assert all(line.note == "no word from the monitor" and not line.known for line in view.readings)
    assert (view.head.level, view.head.text) == ("unknown", "Not known")
    assert "Do not trust these numbers" in view.head.warning
    assert view.amounts.as_of == clock(UTC_S - age_s)
    assert view.permit_words.startswith("Unknown")


def test_a_monitor_that_stopped_is_said_with_the_moment() -> None:
    """Nobody is watching: since when, by the clock on the wall."""
    warning = shown(QUIET, 12.0, inbox=False).head.warning
    assert warning.startswith(f"NOBODY IS WATCHING: the monitor stopped at {clock(UTC_S - 12.0)}, 12 s ago.")
    assert shown(QUIET, GONE_S + 1.0).head.warning.startswith("NOBODY IS WATCHING")
    assert shown(QUIET, GONE_S - 1.0).head.warning.startswith("NO WORD FROM THE MONITOR FOR 9 s")


def test_a_silent_board_is_loud() -> None:
    """Readings are unknown with the reason, and the warning names the seconds."""
    silent = Reading(None, why="no word from the board")
    view = shown(QUIET._replace(sample_age_s=11.6, gas=silent, plate=silent))
    assert view.head.warning == "NO DATA FOR 12 s. Do not trust these numbers."
    assert view.head.level == "unknown"
    values = {line.name: line.value for line in view.readings}
    assert (values["SO2 at the sensor"], values["Plate"], values["Drip"]) == (UNKNOWN, UNKNOWN, UNKNOWN)
    assert dict(view.amounts.ahead)["Left to the need"] == "412 drops; time unknown"


def test_a_board_that_was_never_heard_is_loud() -> None:
    """Before the first sample nothing is calm."""
    view = shown(QUIET._replace(sample_age_s=None))
    assert view.head.warning.startswith("NO DATA YET")
    assert (view.head.level, view.age) == ("unknown", "no sample yet")


@given(why=st.sampled_from(["thermocouple open circuit", "gas reading frozen: a live channel dithers"]))
def test_a_reading_not_to_be_believed_is_a_reason_and_no_number(why: str) -> None:
    """A faulty sensor shows as unknown, with what is wrong with it."""
    line = shown(QUIET._replace(plate=Reading(None, why=why))).readings[3]
    assert (line.value, line.note, line.known) == (UNKNOWN, why, False)
    assert not re.search(r"\d", line.value + line.note)


def test_a_sensor_over_its_range_is_at_least_there() -> None:
    """Over the range is not unknown altogether."""
    line = shown(QUIET._replace(gas=Reading(None, why="over the sensor's range", at_least=20.0))).readings[0]
    assert (line.value, line.note, line.known) == ("over 20.0 ppm", "over the sensor's range", False)


def test_unknown_exposure_is_declared() -> None:
    """Seconds without a valid reading stand beside both averages."""
    exposure = QUIET.exposure._replace(stel_unknown_s=42.0, unknown_s=130.0)
    lines = shown(QUIET._replace(exposure=exposure)).readings
    assert lines[1].note.endswith("42 s of it unknown")
    assert lines[2].note.endswith("2 min 10 s of the run unknown")


def test_an_average_over_its_limit_says_so() -> None:
    """The number is not left to be compared by whoever reads it from two metres away."""
    limits = SHEET.limits
    exposure = QUIET.exposure._replace(stel_ppm=limits.gas_stel_ppm)
    fifteen, eight = shown(QUIET._replace(exposure=exposure)).readings[1:3]
    assert fifteen.note == f"AT or OVER its limit of {limits.gas_stel_ppm:g} ppm"
    assert eight.note == f"limit {limits.gas_twa_ppm:g} ppm"


def test_unknown_air_is_not_calm_though_no_alarm_stands() -> None:
    """Its fault alarm may be out of service, or about to come: the head says what is not known, and why."""
    head = shown(QUIET._replace(gas=Reading(None, why="no change at all: frozen"))).head
    assert (head.level, head.sign, head.text) == ("unknown", "?", "Air not known")
    assert head.steps[0] == "Air not known: no change at all: frozen."
    both = shown(QUIET._replace(gas=Reading(None, why="frozen"), plate=Reading(None, why="open"))).head
    assert both.steps[:2] == ("Air not known: frozen.", "Plate not known: open.")


def test_the_worst_alarm_is_the_headline() -> None:
    """A high alarm leads, with its steps in order, whatever else stands."""
    alarms = (standing("ACID-LOW", Priority.LOW), standing("PLATE-HIGH", Priority.MEDIUM), standing("GAS-HIGH"))
    view = shown(QUIET._replace(alarms=alarms))
    assert (view.head.level, view.head.sign, view.head.word) == ("high", "!!!", "HIGH ALARM")
    assert view.head.text == "SO2 in the air (+2 more)"
    assert view.head.steps[0] == "Shut the tap, heat off."
    assert " ".join(view.head.steps) == CATALOGUE["GAS-HIGH"].response("acid-drip")


def test_a_closed_run_asks_for_nothing() -> None:
    """After its end a run shows its final account, no reading, no button, and no warning."""
    view = shown(QUIET._replace(alarms=(standing("GAS-HIGH"),)), 5000.0, CLOSED)
    assert (view.head.level, view.head.warning, view.phase) == ("closed", "", Phase.CLOSED)
    assert not any(card.can_acknowledge or card.can_reset for card in view.cards)
    assert {line.note for line in view.readings} == {"the run is closed"}
    assert view.amounts.delivered == "0.1200 ± 0.0042 mol"
    assert not view.permit_on


def test_a_route_without_an_account_says_so() -> None:
    """Where drops do not tell what went over, no figure is shown."""
    view = shown(QUIET._replace(account=None, forecast=None))
    assert view.amounts.why
    assert view.amounts.parts == ()
    assert view.readings[4].note == "not counted on this route"


def test_invented_data_are_called_so() -> None:
    """The demonstration's own files mark themselves; a run of a workshop's own does not."""
    assert SHEET.invented
    plain = BENCH_TOML.replace("INVENTED", "")
    assert not sheet_of(plain, RUN_TOML.replace("(invented)", "").replace("INVENTED", "")).invented


def test_the_log_gives_back_the_overview_that_was_written(tmp_path: Path) -> None:
    """What the run said is what the page works from, field by field."""
    run = QUIET._replace(alarms=(standing("GAS-HIGH"),))
    log = write_log(tmp_path / "a.so2log", [run])
    inbox = Inbox(log)
    view = look(log, Freshness(), time.monotonic(), time.time())
    inbox.close()
    assert view.watched
    assert view.cards[0].detail == "what was seen"
    assert view.amounts.parts[0].mol == 0.12


def test_a_run_that_stopped_an_hour_ago_is_told_at_once(tmp_path: Path) -> None:
    """The first look at a finished file dates its last word, though looking makes side files of its own."""
    log = write_log(tmp_path / "a.so2log", [QUIET])
    hour_ago_s = time.time() - 3600.0
    os.utime(log, (hour_ago_s, hour_ago_s))
    for _ in range(2):
        warning = look(log, Freshness(), time.monotonic(), time.time()).head.warning
        assert warning.startswith(f"NOBODY IS WATCHING: the monitor stopped at {clock(hour_ago_s)}, 1 h 00 min ago.")


def test_the_end_of_a_run_is_read_from_its_record(tmp_path: Path) -> None:
    """The last overview comes before the end; the record of phases tells of it."""
    log = write_log(tmp_path / "a.so2log", [QUIET, PhaseChanged(101.0, Phase.CLOSED, "bench")])
    assert look(log, Freshness(), time.monotonic(), time.time()).head.text == "Run closed"


def test_no_log_is_one_sentence(tmp_path: Path) -> None:
    """A log that is gone, no log at all, and one that has said nothing yet are each said in a line."""
    for path, words in (
        (tmp_path / "gone.so2log", "there is no such run log"),
        (Path(__file__), "no run log"),
        (write_log(tmp_path / "new.so2log", []), "has said nothing yet"),
    ):
        with pytest.raises(LogError, match=words) as refused:
            look(path, Freshness(), 0.0, UTC_S)
        assert "\n" not in str(refused.value)


def test_an_overview_of_another_make_is_refused() -> None:
    """Missing keys are not guessed."""
    with pytest.raises(LogError, match="cannot be understood"):
        overview_from({"t_s": 1.0})
