"""From a want in words to a run file, and from the command line."""

from __future__ import annotations

import json
import tomllib
from datetime import date
from pathlib import Path

import pytest

from monitor.chemistry.design import DripDesign
from monitor.chemistry.other_routes import SulfurDesign
from monitor.chemistry.planning import plan
from monitor.cli import main
from monitor.errors import PlanError, RefusalError, SettingsError
from monitor.runfile import run_toml, save_run
from monitor.settings import load_run, run_from
from monitor.wanted import Want, designed, receiver_contents, want_of
from tests.fulldisk import full_disk
from tests.settings import BENCH_TOML, RUN_TOML


def test_a_full_disk_leaves_no_half_run_file(tmp_path: Path) -> None:
    """A run file that the disk does not take whole is taken away again, and can be saved once there is room."""
    path = tmp_path / "run.toml"
    with full_disk(5000), pytest.raises(RefusalError, match="cannot be written: File too large"):
        save_run(path, RUN_TOML * 20)
    assert list(tmp_path.iterdir()) == []
    save_run(path, RUN_TOML)
    with pytest.raises(RefusalError, match="wanted a new one"):
        save_run(path, RUN_TOML)


@pytest.mark.parametrize("route", ["acid-drip", "acid-on-sulfur", "burner"])
def test_a_saved_run_opens_unchanged(route: str, tmp_path: Path) -> None:
    """What was planned is what the saved file says, to the last figure, and its need is met on paper."""
    strength = "96 +/- 1 %" if route == "acid-on-sulfur" else "30 +/- 0.5 %"
    found = designed(Want("12 g Se", route=route, strength=strength))
    file = tmp_path / "run.toml"
    file.write_text(run_toml(found.contents, "a head\nof two lines"), encoding="utf-8")
    again, _ = load_run(file)
    assert again == found.run
    assert again.receiver is not None
    assert again.receiver.need_mol == pytest.approx(2 * 12.0 / 78.971 * 1.1)
    if isinstance(found.design, DripDesign):
        assert found.design.charge == again.charge
    else:
        assert isinstance(found.design, SulfurDesign)
        assert found.design.most_so2_mol >= again.receiver.need_mol


@pytest.mark.parametrize("route", ["acid-drip", "acid-on-sulfur", "burner"])
@pytest.mark.parametrize("want", ["12 g Se", "20 g SO2"])
def test_a_saved_run_gives_its_want_and_the_want_that_run(route: str, want: str) -> None:
    """Opened and worked out again, a file from here is the same to the letter, with all that was asked."""
    asked = Want(
        want,
        route=route,
        rate="40 / minute",
        warm="50 degC",
        prices={"salt": "12 EUR/kg", "sulfur": "4 EUR/kg"},
        learned={"yield": "91 +/- 4 %", "runs": 6, "since": date(2026, 5, 3), "fitted": date(2026, 11, 25)},
        kept={"pressure": "990 hPa"},
        title="as it was called",
    )
    text = run_toml(designed(asked).contents)
    again = want_of(tomllib.loads(text))
    assert run_toml(designed(again).contents) == text
    assert (again.rate, again.warm, again.prices, again.learned) == (
        asked.rate,
        asked.warm,
        asked.prices,
        asked.learned,
    )


def test_a_file_that_wants_nothing_says_no_want() -> None:
    """Without a receiver there is a run, and nothing to work a charge out for."""
    contents = tomllib.loads(RUN_TOML)
    del contents["receiver"]
    with pytest.raises(PlanError, match="the file says no want"):
        want_of(contents)


def test_a_charge_is_larger_where_runs_gave_less() -> None:
    """The need is met for sure by a plan that reckons with the learned yield, and by more salt than without it."""
    learned = {"yield": "80 +/- 3 %", "runs": 5, "since": date(2026, 5, 3), "fitted": date(2026, 11, 25)}
    plain, more = designed(Want("12 g Se")), designed(Want("12 g Se", learned=learned))
    made = plan(more.run, None)
    assert made.delivered_mol is not None
    assert made.delivered_expanded_uncertainty_mol is not None
    assert made.need_mol is not None
    assert made.delivered_mol - made.delivered_expanded_uncertainty_mol >= made.need_mol
    assert more.contents["generator"]["salt_mass"] > plain.contents["generator"]["salt_mass"]
    assert any("80 ± 6 % (k = 2)" in caution and "5 runs since 2026-05-03" in caution for caution in made.cautions)
    unsure = learned | {"yield": "40 +/- 20 %"}
    with pytest.raises(PlanError, match=r"learned\.yield: found 40 \+/- 20 %, wanted a surer one"):
        designed(Want("12 g Se", learned=unsure))


def test_any_run_file_is_written_as_it_was_read() -> None:
    """Contents with quotes, backslashes, lists and signs of every kind come back the same."""
    contents = tomllib.loads(RUN_TOML)
    contents["title"] = 'Selen "µ" \\ ± \x7f'
    contents["generator"]["list"] = ["280 degC", "330 degC"]
    assert tomllib.loads(run_toml(contents, "head")) == contents
    plain = tomllib.loads(RUN_TOML)
    assert run_from(tomllib.loads(run_toml(plain)), "run.toml") == run_from(plain, "run.toml")


@pytest.mark.parametrize(
    ("want", "need_mol"),
    [
        ("64.058 g SO2", 1.0),  # CIAAW 2021
        ("24.052 L SO2", 1.0),  # CoolProp 8.0.0, real gas at 25 °C and 1 atm
        ("300 mmol SO2", 0.3),
        ("1 g Au", 0.4878 / 64.058),  # 2 HAuCl4 + 3 SO2
        ("34.014 g H2O2", 1.0),  # to sulfuric acid
        ("80 g NaOH-bisulfite", 2.0),
    ],
)
def test_wants_in_every_form(want: str, need_mol: float) -> None:
    """Grams, moles and litres of gas, a metal, peroxide to acid, a base to bisulfite: each is an amount of SO2."""
    contents = tomllib.loads(RUN_TOML) | {"receiver": receiver_contents(want, "0 %", "25 degC")}
    receiver = run_from(contents, "run.toml").receiver
    assert receiver is not None
    assert receiver.need_mol == pytest.approx(need_mol, rel=2e-3)


@pytest.mark.parametrize("want", ["", "12", "12 gSe", "12 g Ag", "-3 g SO2", "3 m SO2", "0 L SO2", "nan L SO2"])
def test_a_want_that_is_none(want: str) -> None:
    """What is no amount of anything known is refused with an example."""
    with pytest.raises(PlanError, match=r"what is wanted: found .*wanted .*like"):
        receiver_contents(want, "0 %", "25 degC")


def test_every_wrong_text_is_named_at_once() -> None:
    """Several wrong texts are told together, each with what is wanted."""
    with pytest.raises(SettingsError) as why:
        designed(Want("12 g Se", salt="NaCl", strength="-3 %", temperature="hot", excess="much"))
    for key in ("generator.salt", "generator.acid_strength", "generator.temperature", "receiver.excess"):
        assert key in str(why.value)


def test_the_command_plans_and_saves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`plan --want` prints what to weigh out, saves a file once, and that file plans to the same figures."""
    monkeypatch.chdir(tmp_path)
    Path("bench.toml").write_text(BENCH_TOML, encoding="utf-8")
    want = ["plan", "--want", "12 g Se", "--strength", "30 %", "--bench", "bench.toml"]
    assert main([*want, "--save", "run.toml"]) == 0
    out = capsys.readouterr().out
    assert "salt mass" in out
    assert "(k = 2)" in out
    assert main([*want, "--json"]) == 0
    by_want = json.loads(capsys.readouterr().out)
    assert main(["plan", "run.toml", "--bench", "bench.toml", "--json"]) == 0
    by_file = json.loads(capsys.readouterr().out)
    assert {key: by_want[key] for key in by_file} == by_file
    assert {"first_gas_acid_ml", "warm_freed_mol", "room_limits", "drip_rate_limited_by", "residue"} <= set(by_file)
    assert by_file["delivered_mol"] - by_file["delivered_expanded_uncertainty_mol"] >= by_file["need_mol"]
    assert main([*want, "--save", "run.toml"]) == 1
    assert "found a file of that name, wanted a new one" in capsys.readouterr().err


@pytest.mark.parametrize("more", [["run.toml", "--want", "1 g Se"], ["run.toml", "--salt", "NaHSO3"], []])
def test_a_file_or_a_want(more: list[str]) -> None:
    """Both, neither, or a file with what belongs to a want, is wrong usage."""
    with pytest.raises(SystemExit) as ended:
        main(["plan", *more])
    assert ended.value.code == 2


def test_rate_warming_and_prices_are_asked_on_the_command_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A rate gives times, a temperature gives what it frees, prices give the routes; a wrong one is one sentence."""
    monkeypatch.chdir(tmp_path)
    Path("bench.toml").write_text(BENCH_TOML, encoding="utf-8")
    Path("run.toml").write_text(RUN_TOML, encoding="utf-8")
    plan = ["plan", "run.toml", "--bench", "bench.toml"]
    prices = ["--price", "salt=6", "--price", "acid=5", "--price", "sulfur=4", "--price", "sulfuric=9"]
    assert main([*plan, "--json", "--rate", "30 / minute", "--warm", "50 degC", *prices]) == 0
    got = json.loads(capsys.readouterr().out)
    assert got["minutes_for_need"] == pytest.approx(got["drops_for_need"] / 30.0)
    assert got["warm_to_c"] == 50.0
    assert [one["route"] for one in got["costs"]] == ["acid-drip", "acid-on-sulfur", "burner"]
    assert main([*plan, *prices]) == 0
    out = capsys.readouterr().out
    for words in (
        "gas first comes after",
        "30.0 % by mass = 9.46 mol/L",
        "NIOSH IDLH 100 ppm",
        "made safe",
        "burner",
    ):
        assert words in out
    priced = (
        RUN_TOML + '[prices]\nsalt = "6 EUR/kg"\nacid = "5 EUR/L"\n[plan]\nrate = "30 / minute"\nwarm = "50 degC"\n'
    )
    Path("run.toml").write_text(priced, encoding="utf-8")
    assert main([*plan, "--json", "--price", "sulfur=4 EUR/kg"]) == 0
    by_file = json.loads(capsys.readouterr().out)
    assert (by_file["minutes_for_need"], by_file["warm_to_c"]) == (got["minutes_for_need"], 50.0)
    assert by_file["costs"] == [one for one in got["costs"] if one["route"] != "acid-on-sulfur"]
    assert main([*plan, "--price", "sulfur=4 CHF/kg"]) == 1
    assert "all in one currency" in capsys.readouterr().err
    for wrong in (["--rate", "0 / minute"], ["--rate", "fast"], ["--warm", "hot"], ["--price", "tea=2"]):
        assert main([*plan, *wrong]) == 1
        assert f"{wrong[0]}: found '{wrong[1]}', wanted" in capsys.readouterr().err
