"""The course of a drip charge: the balanced charge, the numerics, the uncertainty, and the questions it answers."""

from __future__ import annotations

from dataclasses import fields, replace
from math import sqrt
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from monitor.chemistry.course import Flask
from monitor.chemistry.gas import GAS_CONSTANT_J_PER_MOL_K
from monitor.chemistry.liquor import settle
from monitor.chemistry.trajectory import Trajectory, build_trajectory, perturbed_flasks
from tests.chemistry.charges import drip


@pytest.fixture(scope="module")
def balanced() -> Trajectory:
    return build_trajectory(drip())


def test_the_balanced_charge_is_balanced(balanced: Trajectory) -> None:
    """95 g metabisulfite, 120 mL of 10 mol/L acid: 0.9995 mol sulfur(IV), acid 20 % over (common practice)."""
    assert balanced.charge_mol == pytest.approx(0.9995, abs=1e-4)
    assert 120.0 / balanced.acid_ml_to_spend == pytest.approx(1.20, abs=0.005)


def test_the_balanced_charge_holds_and_is_late(balanced: Trajectory) -> None:
    """It holds 0.15 to 0.25 mol at the end, and its gas first comes after 4 to 13 % of the acid (common practice)."""
    end = balanced.at(120.0)
    assert 0.15 <= end.held_mol <= 0.25
    assert end.generated_mol == pytest.approx(balanced.charge_mol, rel=0.005)
    assert balanced.first_gas_ml is not None
    assert 0.04 <= balanced.first_gas_ml / 120.0 <= 0.13


def test_sulfite_makes_almost_nothing_of_its_first_acid() -> None:
    """Half the acid that spends sodium sulfite turns it to bisulfite: under 2 % of it is SO2 by then."""
    course = build_trajectory(drip("Na2SO3", salt_g=63.0, acid_ml=110.0))
    assert course.at(0.5 * course.acid_ml_to_spend).generated_mol < 0.02 * course.charge_mol
    assert course.at(1.1 * course.acid_ml_to_spend).generated_mol > 0.98 * course.charge_mol


def test_sulfuric_acid_uses_its_second_proton_only_partly() -> None:
    """At equivalence sulfuric acid leaves more locked than hydrochloric acid does, and yet well under half."""
    hydrochloric = build_trajectory(drip())
    sulfuric = build_trajectory(drip(acid="H2SO4", acid_mol_per_l=5.0))
    assert sulfuric.acid_ml_to_spend == pytest.approx(hydrochloric.acid_ml_to_spend)
    at = hydrochloric.acid_ml_to_spend
    assert hydrochloric.at(at).locked_mol < sulfuric.at(at).locked_mol < 0.25 * sulfuric.charge_mol


def test_a_warmer_flask_delivers_more(balanced: Trajectory) -> None:
    """SO2 dissolves less in a warmer liquor, so more of it goes over."""
    assert build_trajectory(drip(temperature_c=40.0)).at(120.0).delivered_mol > balanced.at(120.0).delivered_mol


def test_potassium_metabisulfite_goes_by_its_own_mass() -> None:
    """The same sulfur(IV) as potassium metabisulfite takes the same acid and delivers within 2 % of the same."""
    sodium = build_trajectory(drip())
    potassium = build_trajectory(drip("K2S2O5", salt_g=95.0 * 222.3116 / 190.0945))
    assert potassium.acid_ml_to_spend == pytest.approx(sodium.acid_ml_to_spend, rel=1e-5)
    assert potassium.at(120.0).delivered_mol == pytest.approx(sodium.at(120.0).delivered_mol, rel=0.02)


@pytest.mark.parametrize("acid_ml", [120.0, 400.0])
def test_ten_times_finer_steps_change_nothing(acid_ml: float) -> None:
    """Every amount is within 0.1 % of the charge of what ten times finer steps give, between the steps too."""
    coarse = build_trajectory(drip(acid_ml=acid_ml, flask_ml=1000.0))
    fine = build_trajectory(drip(acid_ml=acid_ml, flask_ml=1000.0), refine=10)
    for volume in np.linspace(0.0, 1.3 * acid_ml, 611):
        for a, b in zip(coarse.at(volume), fine.at(volume), strict=True):
            assert a == pytest.approx(b, abs=1e-3 * coarse.charge_mol)


def _widened(flask: Flask, columns: int) -> dict[str, Any]:
    """The stated flask's arrays, the same in every column."""
    names = [f.name for f in fields(flask) if f.name != "acid_is_sulfuric"]
    return {name: np.full(columns, getattr(flask, name)[0]) for name in names}


def _puffed_delivery_mol(flask: Flask, acid_ml: NDArray[np.float64]) -> float:
    """A dumb model of the same flask: after each acid, try many puffs of its gas, and take the one that fits."""
    gas_constant = GAS_CONSTANT_J_PER_MOL_K * float(flask.conditions().kelvin[0])
    pressure = float(flask.pressure_pa[0])
    _, med, balance = settle(flask.conditions(), flask.mixture(0.0), flask.sulfur_iv_mol)
    volume = float(flask.mixture(0.0).headspace_m3[0])
    air = (pressure - float(med.water_pa[0]) - float(balance.so2_pa[0])) * volume / gas_constant
    share = float(balance.so2_pa[0]) / pressure
    air_share = air * gas_constant / volume / pressure
    stock = float(flask.sulfur_iv_mol[0])
    for acid in acid_ml[1:]:
        mix = flask.mixture(float(acid))
        volume = float(mix.headspace_m3[0])
        puffs = np.linspace(0.0, 0.6 * pressure * volume / gas_constant, flask.sulfur_iv_mol.size)
        _, med, balance = settle(flask.conditions(), mix, stock - share * puffs)
        total = balance.so2_pa + med.water_pa + (air - air_share * puffs) * gas_constant / volume
        puff = float(np.interp(-pressure, -total, puffs))
        stock, air = stock - share * puff, max(air - air_share * puff, 0.0)
        share = float(np.interp(puff, puffs, balance.so2_pa)) / pressure
        air_share = air * gas_constant / volume / pressure
    return float(flask.sulfur_iv_mol[0]) - stock


def test_a_dumb_model_of_puffs_delivers_the_same(balanced: Trajectory) -> None:
    """Settling the closed flask after each 0.2 mL and letting a puff of its gas out delivers the same within 1 %."""
    flask, _ = perturbed_flasks(drip(relative_u=0.0))
    same = replace(flask, **_widened(flask, 40))
    for acid_ml in (20.0, 60.0, 110.0):
        puffed = _puffed_delivery_mol(same, np.linspace(0.0, acid_ml, round(acid_ml / 0.2) + 1))
        assert puffed == pytest.approx(balanced.at(acid_ml).delivered_mol, abs=0.01 * balanced.charge_mol)


def test_acid_for_a_delivery_delivers_it(balanced: Trajectory) -> None:
    """The acid said to deliver an amount delivers it; what the charge cannot deliver has no acid."""
    for amount in (0.01, 0.2, 0.5, 0.75):
        acid_ml = balanced.acid_ml_for_delivered(amount)
        assert acid_ml is not None
        assert balanced.at(acid_ml).delivered_mol == pytest.approx(amount, rel=1e-9)
    assert balanced.acid_ml_for_delivered(0.0) == 0.0
    assert balanced.acid_ml_for_delivered(0.99) is None


def test_beyond_its_end_the_course_stands_still(balanced: Trajectory) -> None:
    """The course goes on to 1.3 times the planned acid and stands there; before the first drop it is at its start."""
    assert balanced.end_ml == pytest.approx(1.3 * 120.0)
    assert balanced.at(1e6) == balanced.at(balanced.end_ml)
    assert balanced.at(-1.0) == balanced.at(0.0)


def test_the_budget_adds_up_in_squares(balanced: Trajectory) -> None:
    """The contributions, squared and added, are the squared uncertainty of delivered (JCGM 100:2008, 5.1.2)."""
    for acid_ml in (15.0, 62.0, 120.0):
        budget = balanced.budget(acid_ml, 0.03)
        total = sqrt(sum(part**2 for _, part in budget))
        assert total == pytest.approx(balanced.uncertainty(acid_ml, 0.03).delivered_mol, rel=0.01)
        assert [part for _, part in budget] == sorted((part for _, part in budget), reverse=True)


def test_drop_volume_and_acid_strength_weigh_alike(balanced: Trajectory) -> None:
    """Midway, 1 % of drop volume changes what is generated as 1 % of acid strength does: it is the same acid."""
    by_drop = balanced.uncertainty(60.0, 0.01).generated_mol ** 2 - balanced.uncertainty(60.0, 0.0).generated_mol ** 2
    assert sqrt(by_drop) == pytest.approx(0.01 * balanced.at(60.0).generated_mol, rel=0.02)
    assert dict(balanced.budget(60.0, 0.01))["acid strength"] == pytest.approx(
        dict(balanced.budget(60.0, 0.01))["drop volume"], rel=0.2
    )


def test_an_exact_charge_leaves_the_models_own_doubt() -> None:
    """With perfect scales and acid, held is still uncertain by the 5 to 10 % by which activity models differ."""
    course = build_trajectory(drip(relative_u=0.0))
    assert 0.05 <= course.uncertainty(80.0, 0.0).held_liquor_mol / course.at(80.0).held_liquor_mol <= 0.12
    assert dict(course.budget(80.0, 0.0))["salt mass"] == 0.0


def test_uncertainty_near_the_end_is_the_salts() -> None:
    """Once all the salt has turned, what was generated is as uncertain as the salt: mass and purity, in squares."""
    course = build_trajectory(drip(acid_ml=140.0, relative_u=0.01))
    assert course.uncertainty(140.0, 0.01).generated_mol == pytest.approx(
        sqrt(2.0) * 0.01 * course.charge_mol, rel=0.02
    )
