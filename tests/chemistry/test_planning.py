"""The plan of a run: its keys, its definitions, what is None, and its cautions. The run is invented."""

from __future__ import annotations

import json
from dataclasses import replace
from math import ceil

import pytest

from monitor.chemistry.planning import Plan, plan
from monitor.chemistry.receivers import need_mol
from monitor.terms import (
    AcidOnSulfurTerms,
    BenchTerms,
    BurnerTerms,
    DripTerms,
    DropTerms,
    GasTerms,
    LimitTerms,
    Measured,
    PortTerms,
    ReceiverTerms,
    RoomTerms,
    RunTerms,
    ScrubberTerms,
    ThermocoupleTerms,
)
from tests.chemistry.charges import drip

# The keys that `so2bench plan --json` promises.
PROMISED_KEYS = [
    "sulfur_iv_mol",
    "acid_mol",
    "acid_mol_per_l",
    "acid_mass_percent",
    "limiting",
    "acid_excess",
    "generated_mol",
    "held_mol",
    "delivered_mol",
    "delivered_expanded_uncertainty_mol",
    "delivered_g",
    "gas_volume_l",
    "need_mol",
    "acid_volume_for_need_ml",
    "drops_for_need",
    "scrubber_capacity_mol",
    "worst_case_ppm",
    "cautions",
]

BENCH = BenchTerms(
    name="hood-2",
    port=PortTerms("/dev/null"),
    drops=DropTerms(Measured(40.0, 0.6)),
    thermocouple=ThermocoupleTerms(),
    gas=GasTerms(zero_sum=8410.0, ppm_per_sum=0.00412, range_ppm=20.0),
    room=RoomTerms(60.0, 600.0),
    limits=LimitTerms(2.0, 5.0, 0.25, 2.0, 320.0, 340.0, 90.0, 60.0),
)
RECEIVER = ReceiverTerms("Se", need_mol("Se", amount_g=12.0, excess=0.1), 0.1)
SCRUBBER = ScrubberTerms("NaOH", 2.772, 1.0)


def selenium_run(charge: DripTerms | None = None) -> RunTerms:
    """A workshop recovers selenium from a spent liquor."""
    chosen = drip() if charge is None else charge
    return RunTerms("selenium", "acid-drip", "drops", chosen, RECEIVER, SCRUBBER)


HOT_RUN = RunTerms(
    "hot acid",
    "acid-on-sulfur",
    "weighings",
    AcidOnSulfurTerms(Measured(10.0, 0.1), Measured(18.346, 0.1), Measured(0.98, 0.01), 100.0, (280.0, 330.0), 250.0),
    RECEIVER,
    SCRUBBER,
)
BURNER_RUN = RunTerms("burner", "burner", "weighings", BurnerTerms(Measured(10.0, 0.1), 4.0), RECEIVER, SCRUBBER)


@pytest.fixture(scope="module")
def planned() -> Plan:
    return plan(selenium_run(), BENCH)


@pytest.mark.parametrize("run", [selenium_run(), HOT_RUN, BURNER_RUN], ids=["drip", "acid on sulfur", "burner"])
@pytest.mark.parametrize("bench", [BENCH, None], ids=["bench", "no bench"])
def test_every_promised_key_is_there(run: RunTerms, bench: BenchTerms | None) -> None:
    """For every route, with a bench or without, the plan has the promised keys and is JSON."""
    found = json.loads(json.dumps(plan(run, bench).as_json_dict()))
    assert set(PROMISED_KEYS) <= set(found)
    assert all(isinstance(caution, str) and caution.endswith(".") for caution in found["cautions"])


def test_the_drip_figures_follow_their_definitions(planned: Plan) -> None:
    """The balanced charge: amounts, limiting reagent, excess and strength, by arithmetic on its own terms."""
    assert planned.sulfur_iv_mol == pytest.approx(2 * 95.0 / 190.0945, rel=1e-6)
    assert planned.acid_mol == pytest.approx(1.2)
    assert planned.acid_mol_per_l == 10.0
    assert planned.acid_mass_percent == pytest.approx(31.5, abs=0.1)
    assert planned.limiting == "salt"
    assert planned.acid_excess == pytest.approx(1.2 / 0.9995 - 1.0, abs=1e-4)
    assert planned.generated_mol is not None
    assert planned.held_mol is not None
    assert planned.delivered_mol is not None
    assert planned.generated_mol == pytest.approx(planned.held_mol + planned.delivered_mol)
    assert planned.delivered_g == pytest.approx(planned.delivered_mol * 64.058)


def test_gas_volume_is_the_real_gas(planned: Plan) -> None:
    """A mole of SO2 at 25 °C and 1 atm takes 24.052 L (CoolProp 8.0.0), not the ideal gas's 24.465."""
    assert planned.delivered_mol is not None
    assert planned.gas_volume_l == pytest.approx(planned.delivered_mol * 24.052, rel=2e-3)


def test_worst_case_is_the_ideal_gas_in_the_room(planned: Plan) -> None:
    """All the sulfur(IV) as gas in 60 m³ at 25 °C and 1 atm: 24.465 L a mol (ideal) over 60 000 L."""
    assert planned.worst_case_ppm == pytest.approx(0.9995 * 24.465 / 60_000.0 * 1e6, rel=1e-4)


def test_need_drops_and_scrubber_follow(planned: Plan) -> None:
    """12 g selenium want 2 mol a mol and 10 % more; drops are acid over drop; 1 L of 10 % NaOH takes 1.386 mol."""
    assert planned.need_mol == pytest.approx(2 * 12.0 / 78.971 * 1.1)
    assert planned.acid_volume_for_need_ml is not None
    assert 40.0 < planned.acid_volume_for_need_ml < 80.0
    assert planned.drops_for_need == ceil(planned.acid_volume_for_need_ml / 0.040)
    assert planned.scrubber_capacity_mol == pytest.approx(1.386)


def test_sulfuric_acid_counts_twice() -> None:
    """Excess is by equivalents: half the moles of sulfuric acid are as much, and too little acid is the limit."""
    halved = plan(selenium_run(drip(acid="H2SO4", acid_mol_per_l=5.0, acid_ml=120.0)), None)
    assert halved.acid_mol == pytest.approx(0.6)
    assert halved.acid_excess == pytest.approx(1.2 / 0.9995 - 1.0, abs=1e-4)
    short = plan(selenium_run(drip("Na2SO3", salt_g=126.0, acid_ml=120.0)), None)
    assert short.acid_excess == pytest.approx(1.2 / (2 * 126.0 / 126.0365) - 1.0, abs=1e-6)
    assert short.limiting == "acid"


def test_what_the_files_do_not_say_is_none() -> None:
    """No bench: no room, no drops. No receiver: no need. No scrubber: no capacity. Other routes: no account."""
    bare = plan(replace(selenium_run(), receiver=None, scrubber=None), None)
    for name in ("need_mol", "acid_volume_for_need_ml", "drops_for_need", "scrubber_capacity_mol", "worst_case_ppm"):
        assert getattr(bare, name) is None
    for run in (HOT_RUN, BURNER_RUN):
        other = plan(run, BENCH)
        for name in ("sulfur_iv_mol", "limiting", "generated_mol", "held_mol", "delivered_mol", "gas_volume_l"):
            assert getattr(other, name) is None
    assert plan(BURNER_RUN, BENCH).acid_mol is None


def test_a_need_beyond_the_charge_has_no_acid_volume() -> None:
    """A receiver that wants more than the charge can deliver gets no acid volume and no drops, and a caution."""
    found = plan(replace(selenium_run(), receiver=ReceiverTerms(None, 2.0)), BENCH)
    assert found.acid_volume_for_need_ml is None
    assert found.drops_for_need is None
    assert any("The receiver wants 2 mol" in caution for caution in found.cautions)


def test_the_other_routes_have_a_ceiling() -> None:
    """2 H2SO4 + S → 3 SO2 gives 5.9942 g a g of sulfur, and S + O2 → SO2 1.99807 g, by arithmetic."""
    assert plan(HOT_RUN, None).most_so2_mol * 64.058 == pytest.approx(59.942, rel=1e-4)
    assert plan(BURNER_RUN, None).most_so2_mol * 64.058 == pytest.approx(19.9807, rel=1e-4)


def test_the_worst_comes_first_and_the_law_comes_last(planned: Plan) -> None:
    """Over the IDLH the room heads the list; local rules and licensed practice close it."""
    assert "NIOSH IDLH" in planned.cautions[0]
    assert "local rules and licensed practice come first" in planned.cautions[-1]


@pytest.mark.parametrize(
    ("charge", "words"),
    [
        (drip(flask_ml=250.0), "overflows"),
        (drip(flask_ml=350.0), "foam"),
        (drip(acid_ml=80.0), "short of what turns all the sodium metabisulfite"),
        (drip(acid_ml=200.0), "over what the salt can use"),
        (drip(acid_mol_per_l=9.456), "30 % hydrochloric acid is 9.46 mol/L, not 10"),
        (drip(acid_mol_per_l=12.0), "hydrogen chloride goes over"),
        (drip(acid="H2SO4", acid_mol_per_l=18.0, acid_ml=35.0), "heats and spits"),
        (drip(temperature_c=70.0), "good from 5 to 60 °C"),
        (drip(salt_g=140.0, acid_ml=170.0), "it cannot take the whole charge"),
        (drip(salt_g=120.0), "would be left, under 20 %"),
        (drip(salt_g=50.0, acid_ml=63.0), "The receiver wants"),
    ],
)
def test_a_faulty_run_is_told(charge: DripTerms, words: str, planned: Plan) -> None:
    """Each fault has its sentence, and the balanced charge has none of those that are not its own."""
    told = [c for c in plan(selenium_run(charge), BENCH).cautions if words in c]
    assert len(told) == 1
    if "hydro" not in words:
        assert told[0] not in planned.cautions


def test_hot_acid_and_burning_sulfur_have_their_own_cautions() -> None:
    """Hot acid is told of burns and boiling (337 °C, CRC Handbook); the burner of fire and flow."""
    hot = replace(
        HOT_RUN, charge=AcidOnSulfurTerms(Measured(10.0), Measured(1.0), Measured(0.1), 10.0, (100.0, 340.0), 50.0)
    )
    told = " ".join(plan(hot, BENCH).cautions)
    for words in ("destroys skin", "boils at 337 °C", "sulfur is solid", "less acid than the sulfur can use"):
        assert words in told
    assert "sulfur trioxide" in " ".join(plan(HOT_RUN, BENCH).cautions)
    burner = " ".join(plan(BURNER_RUN, BENCH).cautions)
    assert "4 L/min" in burner
    assert "lead it into the hood" in burner  # what the pump blows out
    assert "two metres of coil" not in burner
    quick = replace(BURNER_RUN, charge=BurnerTerms(Measured(10.0, 0.1), 8.0))
    assert "leaves two metres of coil at about 116 °C" in " ".join(plan(quick, BENCH).cautions)


def test_a_small_charge_in_a_large_room_is_said_to_be_so() -> None:
    """Under the bench's limit the room is a note, not an alarm; between limit and IDLH it names the limit."""
    small = plan(selenium_run(drip(salt_g=0.9)), BENCH)
    assert any("under this bench's upper alarm limit of 5 ppm" in caution for caution in small.cautions)
    middling = plan(selenium_run(drip(salt_g=3.0)), BENCH)
    assert any("over this bench's upper alarm limit of 5 ppm" in caution for caution in middling.cautions)
