"""The plan page without a browser: what it says, what it saves, and what it refuses."""

from __future__ import annotations

from importlib.resources import files

import pytest
from streamlit.testing.v1 import AppTest

from dashboards import planning
from monitor.errors import PlanError, SettingsError
from monitor.settings import parse_toml, run_from
from monitor.wanted import Want
from tests.settings import BENCH_TOML, RUN_TOML

PAGE = str(files("dashboards") / "plan.py")


def test_what_is_saved_is_what_is_shown() -> None:
    """The text opens as a run, is shown as enough, and has the room against its limits when a bench is there."""
    worked = planning.work_out(Want("12 g Se"), BENCH_TOML)
    run = run_from(parse_toml(worked.text, "run.toml"), "run.toml")
    assert run.title == "SO2 for 12 g Se"
    shown = planning.sheet_of(worked.text, BENCH_TOML)
    assert shown.enough is True
    assert shown.headline.endswith("enough")
    assert any("NIOSH IDLH" in label for _, rows in shown.sections for label, _ in rows)
    assert ("acid strength", "30.0 % by mass = 9.46 mol/L") in shown.sections[0][1]
    assert "IDLH" in shown.cautions[0]


@pytest.mark.parametrize(("mass", "verdict", "enough"), [("40 g", "not enough", False), ("80 g", "enough", True)])
def test_the_verdict_is_in_words(mass: str, verdict: str, enough: bool) -> None:
    """Too little salt is said to be not enough, in a sentence that needs no colour."""
    shown = planning.sheet_of(RUN_TOML.replace("80 +/- 0.5 g", mass), None)
    assert shown.headline.endswith(f": {verdict}")
    assert shown.enough is enough


@pytest.mark.parametrize("route", ["acid-on-sulfur", "burner"])
def test_the_other_routes_are_shown(route: str) -> None:
    """A route without a drip has its ceiling and its own lines."""
    worked = planning.work_out(Want("12 g Se", route=route, strength="96 +/- 1 %"), None)
    shown = planning.sheet_of(worked.text, None)
    assert shown.headline.startswith("At most")
    assert "How it goes" in [title for title, _ in shown.sections]


def test_text_from_outside_is_escaped() -> None:
    """A title with markup stays text."""
    shown = planning.sheet_of(RUN_TOML.replace("Selenium", "<script>alert(1)</script>"), None)
    assert "<script>" not in planning.head_html(shown)
    assert "<script>" not in planning.refusal_html("<script>")


def test_a_refusal_is_a_sentence() -> None:
    """Files and wants that cannot be are refused as everywhere."""
    with pytest.raises(SettingsError, match=r"run\.toml: \[generator\]"):
        planning.sheet_of('title = "a"', None)
    with pytest.raises(SettingsError, match=r"bench\.toml"):
        planning.work_out(Want("12 g Se"), "name = 3")
    with pytest.raises(PlanError, match="what is wanted"):
        planning.work_out(Want("0 L SO2"), None)


def test_the_form_holds_what_a_file_says() -> None:
    """A file worked out here fills the form, and the form gives the file again: saved and opened unchanged."""
    fields = planning.FIELDS | {
        "amount": "1.5 kg",
        "what": "water",
        "salt": "NaHSO3",
        "purity": "95 +/- 2 %",
        "acid": "H2SO4",
        "strength": "9.5 mol/L",
        "rate": "45 / minute",
        "warm": "55 degC",
        "price_salt": "12 EUR/kg",
        "price_acid": "6.50 EUR/L",
    }
    text = planning.work_out(planning.want_from(fields, None, None), None).text
    opened = planning.opened_want(text)
    assert opened is not None
    again = planning.fields_of(opened)
    assert again == fields | {"flask": again["flask"]}  # one was suggested, and stands in the file
    assert planning.work_out(planning.want_from(again, opened, opened.learned), None).text == text
    shown = planning.sheet_of(text, BENCH_TOML)
    assert ("drops a minute", "45") in dict(shown.sections)["How it goes"]
    (cost,) = dict(shown.sections)["Cost of a mole of SO2, by your prices and the equations"]
    assert cost[0] == "acid-drip"
    assert "EUR for what is wanted" in cost[1]


def test_what_the_form_does_not_ask_for_stays_as_it_was_opened() -> None:
    """Title, meter and pressure of the opened file come through; on another route its meter does not."""
    bubbles = RUN_TOML.replace('meter = "drops"', 'meter = "bubbles"\nbubble_volume = "1.5 +/- 0.03 mL"')
    opened = planning.opened_want(bubbles)
    assert opened is not None
    fields = planning.fields_of(opened)
    found = planning.want_from(fields, opened, None)
    assert (found.title, found.kept["bubble_volume"]) == (opened.title, "1.5 +/- 0.03 mL")
    assert 'meter = "bubbles"' in planning.work_out(found, None).text
    burner = planning.want_from(fields | {"route": "burner", "amount": "6 g"}, opened, None)
    assert (burner.kept, burner.title) == ({}, "")
    no_need = bubbles[: bubbles.index("[receiver]")]
    assert planning.opened_want(no_need) is None


def test_the_form_works_out_and_refuses(monkeypatch: pytest.MonkeyPatch) -> None:
    """The button gives a plan; nothing wanted, or too small a flask, gives a sentence and leaves no old plan."""
    monkeypatch.delenv("SO2BENCH_LOG", raising=False)
    app = AppTest.from_file(PAGE, default_timeout=90).run()
    assert not app.exception
    app.button[0].click().run()
    assert not app.exception
    said = " ".join(str(one.proto.body) for one in app.get("html"))
    assert "enough" in said
    assert "Cautions, worst first" in said
    app.text_input(key="flask-0").set_value("50 mL")
    app.button[0].click().run()
    said = " ".join(str(one.proto.body) for one in app.get("html"))
    assert "This cannot be planned" in said
    assert "the flask: found 50 mL" in said
    assert "Cautions, worst first" not in said
