"""Sweeping and warming a flask out: against the rig's own physics, a hand formula, and the laws of it."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.chemistry.clearing import Clearing, clearing_of
from monitor.chemistry.outlook import warm_freed_mol
from monitor.chemistry.trajectory import build_trajectory
from monitor.rig.liquor import Constants, water_vapour_pa
from monitor.rig.plant import Plant
from monitor.rig.reality import Reality
from monitor.terms import BurnerTerms, DripTerms, Measured
from tests.core.runs import BENCH, CHARGE, DRIP
from tests.core.test_account import charges
from tests.core.test_weighings import HOT
from tests.examples import examples

DROP_ML = 0.0384
# 96 % H2SO4 is 17.966 mol/L, 1.8355 g/mL: CRC Handbook 102nd ed., 20 °C
VITRIOL = replace(
    CHARGE, acid="H2SO4", acid_mol_per_l=Measured(17.966), acid_mass_fraction=Measured(0.96), acid_volume_ml=30.0
)


def course(charge: DripTerms, acid_ml: float, liquor_c: float | None = None) -> tuple[Clearing, float]:
    """The clearing of a flask as its course left it, and what was delivered before."""
    at = build_trajectory(charge)
    here = at.at(acid_ml)
    to_c = charge.temperature_c if liquor_c is None else liquor_c
    return clearing_of(charge, acid_ml, at.charge_mol - here.delivered_mol, here.held_mol, to_c), here.delivered_mol


def dripped(charge: DripTerms, acid_ml: float) -> Plant:
    """The rig's flask with the same acid in it, at rest."""
    plant = Plant(BENCH, replace(DRIP, charge=charge), Reality(transfer_s=1.0), np.random.SeedSequence(3))
    assert plant.flask is not None
    for _ in range(round(acid_ml / DROP_ML)):
        plant.flask.add_acid(1e3 * DROP_ML)
        for _ in range(4):
            plant.step(0.1, heat=False, drip=False)
    for _ in range(300):
        plant.step(0.1, heat=False, drip=False)
    return plant


COLD = replace(CHARGE, temperature_c=10.0)


@pytest.mark.parametrize(("charge", "acid_ml"), [(CHARGE, 100.0), (CHARGE, 60.0), (COLD, 90.0), (VITRIOL, 25.0)])
def test_a_sweep_as_the_rig_has_it(charge: DripTerms, acid_ml: float) -> None:
    """With half a litre of air a minute the part still held is the rig's within 0.04, at 5, 10 and 20 minutes."""
    got, _ = course(charge, acid_ml)
    plant = dripped(charge, acid_ml)
    start_mol = plant.truth().held_mol
    plant.sweep_l_per_min = 0.5
    for minute in range(1, 21):
        for _ in range(600):
            plant.step(0.1, heat=False, drip=False)
        if minute in (5, 10, 20):
            _, part = got.at(0.5 * minute)
            assert part == pytest.approx(plant.truth().held_mol / start_mol, abs=0.04)


def test_warming_as_the_rig_has_it_and_as_a_plan_has_it() -> None:
    """50 °C and no air: what leaves by itself is the rig's within 5 %, and a plan's within 5 %."""
    got, _ = course(CHARGE, 110.0, 50.0)
    freed_mol, _ = got.at(0.0)
    planned_mol, _ = warm_freed_mol(CHARGE, 50.0)
    assert freed_mol == pytest.approx(planned_mol, rel=0.05)
    plant = dripped(CHARGE, 110.0)
    flask = plant.flask
    assert flask is not None
    before_mol = plant.truth().delivered_mol
    flask._constants, flask._pure_water_pa = Constants.at(323.15), water_vapour_pa(50.0)
    flask.head.t_k = 323.15
    for _ in range(3000):
        plant.step(0.1, heat=False, drip=False)
    assert freed_mol == pytest.approx(plant.truth().delivered_mol - before_mol, rel=0.05)


def test_the_tail_of_a_thin_liquor_is_the_hand_formula() -> None:
    """Thin and acid, held falls by e each K·w·R·T + V: 1.23 mol/(kg bar) at 25 °C (Goldberg & Parker 1985, abstract).

    0.13 kg of water (120 mL, and what comes with 10 mL of 30 % HCl) and 370 mL of headspace; R·T 24.79 L bar/mol.
    """
    thin = replace(CHARGE, salt_mass_g=Measured(0.5), acid_volume_ml=10.0, temperature_c=25.0, pressure_pa=1e5)
    got, _ = course(thin, 10.0)
    (air_1, held_1), (air_2, held_2) = ((got.air_l[i], got.held_mol[i]) for i in (60, 100))
    litres = (air_2 - air_1) / log(held_1 / held_2)
    assert litres == pytest.approx(1.23 * 0.1278 * 24.79 + 0.37, rel=0.04)


@examples(25)
@given(charges(), st.floats(0.05, 1.0), st.floats(0.0, 90.0))
def test_nothing_leaves_twice(charge: DripTerms, part: float, liquor_c: float) -> None:
    """For any charge, filled to any part, at any temperature: air and what left rise, what is held falls, none is
    negative, and no more leaves than was there.
    """
    acid_ml = part * charge.acid_volume_ml
    got, delivered_mol = course(charge, acid_ml, liquor_c)
    assert all(a <= b for a, b in pairwise(got.air_l))
    assert all(a <= b for a, b in pairwise(got.freed_mol))
    assert all(a >= b for a, b in pairwise(got.held_mol))
    assert got.held_mol[-1] >= 0.0
    assert got.freed_mol[-1] <= build_trajectory(charge).charge_mol - delivered_mol + 1e-12
    for air_l in (0.0, 0.1, 1.0, 1e6):
        freed_mol, still = got.at(air_l)
        assert 0.0 <= freed_mol <= got.freed_mol[-1]
        assert 0.0 <= still <= 1.0


def test_a_headspace_alone_is_swept_by_volumes() -> None:
    """Over hot acid one volume of headspace, measured cold, takes all but 1/e; a burner holds nothing."""
    got = clearing_of(HOT, 0.0, 0.5, 0.01, 22.0)
    volume_l = got.air_l[10]
    freed_mol, still = got.at(volume_l)
    assert still == pytest.approx(1.0 / 2.718282, rel=1e-3)
    assert freed_mol == pytest.approx(0.01 * (1.0 - 1.0 / 2.718282), rel=1e-3)
    # 250 mL less the acid, from the window's 270 °C to 22 °C by the ideal gas
    assert volume_l == pytest.approx((0.25 - HOT.acid_volume_ml / 1e3) * 295.15 / 543.15, rel=1e-3)
    assert clearing_of(BurnerTerms(Measured(3.2), 4.0), 0.0, 0.1, 0.0, 22.0).at(5.0) == (0.0, 0.0)


@pytest.mark.filterwarnings("error")
def test_a_flask_with_nothing_in_it_gives_up_nothing() -> None:
    """When by a weighing all of the charge has gone over, air and warmth bring no more."""
    assert clearing_of(CHARGE, 100.0, 0.0, 0.0, 60.0).out(5.0).freed_mol == 0.0
