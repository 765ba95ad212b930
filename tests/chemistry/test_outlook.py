"""What a plan adds to its amounts: warming, rates, the room, the residue, and the routes without a drip."""

from __future__ import annotations

from dataclasses import replace
from math import exp, pi

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from monitor.chemistry.air_limits import LIMITS, minutes_to_clear
from monitor.chemistry.coil import coil_exit_c, coil_highest_draw_l_per_min
from monitor.chemistry.design import liquor_ml
from monitor.chemistry.other_routes import (
    FRACTIONS,
    air_to_burn_l,
    burning,
    design_acid_on_sulfur,
    design_burner,
    spent_acid_fraction,
)
from monitor.chemistry.outlook import Outlook, highest_rate_per_min, outlook, warm_freed_mol
from monitor.chemistry.planning import Plan, plan
from monitor.chemistry.prices import route_costs
from monitor.chemistry.residue import residue_base_mol
from monitor.chemistry.trajectory import build_trajectory
from monitor.errors import PlanError
from monitor.rig.plant import Plant
from monitor.rig.reality import Reality
from monitor.terms import AcidOnSulfurTerms, BurnerTerms, DripTerms, Measured, PriceTerms, ReceiverTerms
from tests.chemistry.charges import drip
from tests.chemistry.test_planning import BENCH, BURNER_RUN, HOT_RUN, selenium_run


@pytest.fixture(scope="module")
def planned() -> tuple[Plan, Outlook]:
    run = selenium_run()
    made = plan(run, BENCH)
    return made, outlook(run, BENCH, made, rate_per_min=60.0)


def test_what_warming_frees_is_what_the_plant_frees() -> None:
    """A flask brought from 25 to 50 °C after the run gives what the rig's own differential equations give, to 8 %."""
    run = replace(selenium_run(), receiver=None, scrubber=None)
    charge = run.charge
    assert isinstance(charge, DripTerms)
    freed_mol, u_mol = warm_freed_mol(charge, 50.0)
    assert freed_mol is not None
    assert u_mol is not None
    reality = Reality(plate_to_liquor_w_per_k=3.0, drop_volume_cv=0.0)
    plant = Plant(BENCH, run, reality, np.random.SeedSequence(4))
    assert plant.tap is not None
    assert plant.flask is not None
    plant.flask._warming_w_per_k = 0.0
    plant.tap.rate_per_min = 600.0
    while plant.tap.left_ul > 0.0:
        plant.step(0.1, heat=False, drip=True)
    for _ in range(1200):
        plant.step(0.1, heat=False, drip=True)
    before_mol = plant.truth().delivered_mol
    plant.flask._warming_w_per_k = 3.0
    for _ in range(20_000):
        if plant.flask.liquor_c >= 50.0:
            break
        plant.flask.step(0.1, 120.0, permit=True)
    assert freed_mol == pytest.approx(plant.truth().delivered_mol - before_mol, rel=0.08)
    assert 0.0 < u_mol < 0.2 * freed_mol


@pytest.mark.parametrize("to_c", [10.0, 25.0, 61.0, 100.0])
def test_no_warming_or_one_past_the_constants_is_none(to_c: float) -> None:
    """At the liquor's own temperature nothing is freed, and over 60 °C the constants do not hold: no figure."""
    assert warm_freed_mol(drip(), to_c) == (None, None)


def test_more_warmth_frees_more() -> None:
    """Each further ten degrees free more, and never more than was held."""
    charge = drip()
    freed = [warm_freed_mol(charge, c)[0] or 0.0 for c in (30.0, 40.0, 50.0, 60.0)]
    held_mol = build_trajectory(charge).at(charge.acid_volume_ml).held_mol
    assert freed == sorted(freed)
    assert 0.3 * held_mol < freed[-1] < held_mol


def test_drops_and_minutes_follow_the_rate(planned: tuple[Plan, Outlook]) -> None:
    """3000 drops of 40 µL are 120 mL, at a drop a second 50 minutes; the need's own drops take their part."""
    made, ahead = planned
    assert ahead.drops_in_all == 3000
    assert ahead.minutes_in_all == pytest.approx(50.0)
    assert made.drops_for_need is not None
    assert ahead.minutes_for_need == pytest.approx(made.drops_for_need / 60.0)
    assert ahead.first_gas_drops is not None
    assert 0 < ahead.first_gas_drops < made.drops_for_need


def test_the_highest_rate_is_the_least_of_three() -> None:
    """Selenium wants half an hour (common practice, no source); without a receiver the tube or the alarm bounds."""
    run = selenium_run()
    charge = run.charge
    assert isinstance(charge, DripTerms)
    course = build_trajectory(charge)
    need_ml = course.acid_ml_for_delivered(0.334)
    assert need_ml is not None
    rate, words = highest_rate_per_min(run, charge, course, BENCH, need_ml)
    assert need_ml / 0.040 / rate == pytest.approx(30.0)
    assert "receiver" in words
    rate, words = highest_rate_per_min(replace(run, receiver=None), charge, course, BENCH, None)
    assert "tube" in words
    # At 10 mol/L a 40 µL drop makes at most 0.4 mmol, 9.6 mL: half a litre a minute is 52 drops or a little more.
    assert rate == pytest.approx(52.0, rel=0.1)
    slow = replace(BENCH, limits=replace(BENCH.limits, drip_fast_per_min=20.0))
    assert highest_rate_per_min(run, charge, course, slow, need_ml)[0] == 20.0
    quick = replace(run, receiver=ReceiverTerms("NaOH-sulfite", 0.334))
    assert highest_rate_per_min(quick, charge, course, BENCH, need_ml)[0] > 38.5


def test_room_in_the_flask_and_the_scrubber(planned: tuple[Plan, Outlook]) -> None:
    """Gas space and foam room are the flask less its liquor; the scrubber's margin is what the charge leaves."""
    made, ahead = planned
    charge = selenium_run().charge
    assert isinstance(charge, DripTerms)
    assert ahead.headspace_ml == pytest.approx(500.0 - liquor_ml(charge))
    assert ahead.foam_room_ml == pytest.approx(1000.0 / 3.0 - liquor_ml(charge))
    assert ahead.scrubber_margin == pytest.approx(1.0 - made.most_so2_mol / 1.386, abs=1e-3)
    assert ahead.scrubber_wanted_mol == pytest.approx(made.most_so2_mol / 0.8)


def test_the_room_against_every_published_limit(planned: tuple[Plan, Outlook]) -> None:
    """OSHA 5, NIOSH 2, 5 and 100 (page 7446-09-5), EU 0.5 and 1 (Directive 2017/164), each with source and month."""
    made, ahead = planned
    assert {(one.name.split()[0], one.ppm) for one in ahead.room_limits} == {
        ("OSHA", 5.0),
        ("NIOSH", 2.0),
        ("NIOSH", 5.0),
        ("NIOSH", 100.0),
        ("EU,", 0.5),
        ("EU,", 1.0),
    }
    assert all(one.source and one.checked for one in LIMITS)
    assert made.worst_case_ppm is not None
    for one in ahead.room_limits:
        assert one.times_over == pytest.approx(made.worst_case_ppm / one.ppm)
        assert one.minutes_to_clear is not None
        assert made.worst_case_ppm * exp(-10.0 * one.minutes_to_clear / 60.0) == pytest.approx(one.ppm)
    assert minutes_to_clear(0.4, 0.5, 60.0, 600.0) == 0.0
    assert minutes_to_clear(9.0, 0.5, 60.0, 0.0) is None


def test_the_base_for_the_residue_balances_the_charges() -> None:
    """A mole of bisulfite with a mole and a tenth of acid, all gas gone: a tenth of a mole of base, and no less."""
    charge = drip(salt_g=95.047, acid_mol_per_l=10.0, acid_ml=110.0)
    assert residue_base_mol(charge, 0.0) == pytest.approx(0.1, abs=1e-3)
    assert residue_base_mol(charge, 0.2) == pytest.approx(0.4, abs=1e-3)
    assert residue_base_mol(drip("Na2SO3", acid_ml=1.0), 0.0) == 0.0


def test_sulfur_and_acid_for_a_need() -> None:
    """2 H2SO4 + S → 3 SO2: 3 mol want a mole of sulfur, with 15 % over 36.9 g, and the acid twice over."""
    like = AcidOnSulfurTerms(Measured(1.0), Measured(17.966), Measured(0.96), 1.0, (280.0, 330.0), 500.0)
    found = design_acid_on_sulfur(like, 3.0)
    assert found.sulfur_g == pytest.approx(1.15 * 32.06, abs=0.6)
    assert found.acid_ml == pytest.approx(4.0 * 1.15 / 17.966 * 1000.0, abs=1.0)
    assert found.flask_ml == 1000.0
    assert found.most_so2_mol >= 3.0
    assert design_burner(1.0).sulfur_g == pytest.approx(1.15 * 32.06, abs=0.6)
    for wrong in (0.0, -1.0, float("inf")):
        with pytest.raises(PlanError, match="wanted an amount of SO2 above nought"):
            design_burner(wrong)
    with pytest.raises(PlanError, match="the acid: found 30 % H2SO4, wanted 90 % or more"):
        design_acid_on_sulfur(replace(like, acid_mass_fraction=Measured(0.30)), 1.0)
    with pytest.raises(PlanError, match="hot acid are wanted, more than half of the largest"):
        design_acid_on_sulfur(like, 1000.0)


def test_the_acid_weakens_as_the_equation_says() -> None:
    """1 mol S takes 2 mol of 4 mol H2SO4 of 96 % and makes 2 mol water: 196.1 g in 248.5 g, 78.9 %, by arithmetic."""
    charge = AcidOnSulfurTerms(
        Measured(32.06), Measured(17.966), Measured(0.96), 4.0 / 17.966 * 1000.0, (280.0, 330.0), 500.0
    )
    assert spent_acid_fraction(charge) == pytest.approx(196.144 / (196.144 + 392.288 * 4 / 96 + 36.03), rel=1e-3)


def test_the_burner_burns_what_it_draws() -> None:
    """32.06 g sulfur want 1 mol O2: 114.8 L of air at 20 °C (24.055 L/mol ideal, 20.95 % O2), and give 296.8 kJ."""
    assert air_to_burn_l(32.06, 20.0, 101325.0) == pytest.approx(24.055 / 0.2095, rel=1e-3)
    table = burning(BurnerTerms(Measured(32.06), 4.0, 20.0))
    assert [one.so2_fraction for one in table] == list(FRACTIONS)
    assert max(FRACTIONS) <= 0.21
    for one in table:
        assert one.so2_mol_per_min == pytest.approx(4.0 / 24.055 * one.so2_fraction, rel=1e-3)
        assert one.minutes_to_burn * one.so2_mol_per_min == pytest.approx(1.0)
        assert one.heat_w * 60.0 * one.minutes_to_burn == pytest.approx(296_800.0)


def test_two_metres_of_copper_cool_five_litres_a_minute() -> None:
    """Two metres (common practice, no source) agree with the estimate up to about 5 L/min at 10 % SO2."""
    draw = coil_highest_draw_l_per_min(0.10, 22.0)
    assert draw is not None
    assert 4.0 < draw < 6.5
    assert coil_exit_c(draw, 0.10, 22.0) == pytest.approx(50.0)
    assert coil_exit_c(2.0 * draw, 0.10, 22.0) > 100.0
    assert coil_highest_draw_l_per_min(0.10, 55.0) is None


def test_the_coil_against_an_integration_along_it() -> None:
    """SciPy's integration of the gas along the tube, wall by wall, ends where the closed form does."""
    inside = 3.66 * 0.040 / 0.004  # W/m²K in a 4 mm bore, Nu 3.66 for laminar flow (Incropera, memory)
    outside = 19.0 * 6.0 / 4.0  # of the outer wall, on the bore's area
    flow_w_per_k = 5.0 / 60.0 / 24.22 * 32.0  # 24.22 L a mole, ideal at 22 °C

    def fall(_x: float, t: np.ndarray) -> np.ndarray:
        wall = (inside * t + outside * 22.0) / (inside + outside)
        return -inside * pi * 0.004 * (t - wall) / flow_w_per_k

    start_c = 22.0 + 0.1 * 296_800.0 / 32.0
    end_c = solve_ivp(fall, (0.0, 2.0), [start_c], rtol=1e-8).y[0, -1]
    assert coil_exit_c(5.0, 0.10, 22.0) == pytest.approx(end_c, abs=0.2)


def test_routes_by_ones_own_prices() -> None:
    """A mole: 98.0 g of 97 % metabisulfite and 105.8 mL of 30 % HCl; 10.7 g S and 37.1 mL of 96 %; 32.06 g S."""
    found = route_costs(PriceTerms(10.0, 8.0, 20.0, 5.0), "Na2S2O5", 0.97, "HCl", 9.456, 17.966)
    costs = {one.route: one.cost_per_mol for one in found}
    assert costs["acid-drip"] == pytest.approx(0.09799 * 10.0 + 0.10575 * 8.0, rel=1e-3)
    assert costs["acid-on-sulfur"] == pytest.approx(0.010687 * 5.0 + 0.037107 * 20.0, rel=1e-3)
    assert costs["burner"] == pytest.approx(0.03206 * 5.0, rel=1e-3)
    assert [one.route for one in found] == ["acid-drip", "acid-on-sulfur", "burner"]
    assert route_costs(PriceTerms(), "Na2S2O5", 0.97, "HCl", 9.456, 17.966) == ()


def test_the_other_routes_have_their_own_outlook() -> None:
    """Hot acid has its spent strength, the burner its table; neither has drops, and both have residue and room."""
    for run in (HOT_RUN, BURNER_RUN):
        ahead = outlook(run, BENCH, plan(run, BENCH))
        assert ahead.drops_in_all is None
        assert ahead.residue
        assert len(ahead.room_limits) == len(LIMITS)
    assert outlook(BURNER_RUN, None, plan(BURNER_RUN, None)).burning
    assert outlook(HOT_RUN, None, plan(HOT_RUN, None)).spent_acid_mass_percent is not None
