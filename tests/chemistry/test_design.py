"""From the gas that is wanted to the charge: enough for sure, in a flask with room for foam, or a plain refusal."""

from __future__ import annotations

import pytest

from monitor.chemistry.acids import mass_fraction_from_mol_per_l
from monitor.chemistry.design import FLASKS_ML, charge_of, design_drip, liquor_ml
from monitor.chemistry.substances import sulfur_iv_mol
from monitor.chemistry.trajectory import build_trajectory
from monitor.errors import PlanError
from monitor.terms import Acid, Salt
from tests.chemistry.charges import drip

SELENIUM_MOL = 2 * 12.0 / 78.971 * 1.1  # 12 g selenium with 10 % excess


@pytest.mark.parametrize(
    ("salt", "acid", "acid_mol_per_l", "temperature_c", "need_mol"),
    [
        ("Na2S2O5", "HCl", 9.456, 22.0, SELENIUM_MOL),
        ("K2S2O5", "H2SO4", 9.0, 10.0, 0.05),
        ("NaHSO3", "HCl", 6.023, 40.0, 1.5),
        ("Na2SO3", "H2SO4", 17.966, 22.0, 0.4),
        ("K2SO3", "HCl", 11.642, 30.0, 0.02),
    ],
)
def test_a_design_meets_its_need_for_sure(
    salt: Salt, acid: Acid, acid_mol_per_l: float, temperature_c: float, need_mol: float
) -> None:
    """Delivered less its expanded uncertainty (k = 2) meets the need; the liquor leaves a third of the flask."""
    like = drip(salt, acid=acid, acid_mol_per_l=acid_mol_per_l, temperature_c=temperature_c)
    found = design_drip(like, need_mol, drop_relative_u=0.015)
    charge = found.charge
    course = build_trajectory(charge)
    u_mol = course.uncertainty(charge.acid_volume_ml, 0.015).delivered_mol
    assert course.at(charge.acid_volume_ml).delivered_mol - 2.0 * u_mol >= need_mol
    assert found.delivered_expanded_uncertainty_mol == pytest.approx(2.0 * u_mol)
    assert liquor_ml(charge) <= 2.0 / 3.0 * charge.flask_volume_ml
    assert charge.flask_volume_ml in FLASKS_ML
    assert found.nominal_salt_g < charge.salt_mass_g.value
    # Not wasteful: a tenth less salt would leave it to chance.
    less = charge_of(charge, 0.9 * charge.salt_mass_g.value, charge.flask_volume_ml)
    lean = build_trajectory(less)
    sure_mol = lean.at(less.acid_volume_ml).delivered_mol - 2 * lean.uncertainty(less.acid_volume_ml, 0.015)[4]
    assert sure_mol < need_mol


def test_water_and_acid_follow_the_salt() -> None:
    """95.05 g of pure metabisulfite is 1 mol bisulfite: 1.1 mol HCl, and a mol of sodium in 1/7 kg of water."""
    charge = charge_of(drip(acid_mol_per_l=10.0), 95.047, 500.0)
    assert sulfur_iv_mol("Na2S2O5", 95.047, 1.0) == pytest.approx(1.0, rel=1e-4)
    assert charge.acid_volume_ml == pytest.approx(110.0, abs=1.0)
    assert charge.water_ml == pytest.approx(143.0, abs=1.0)


@pytest.mark.parametrize(
    ("need_mol", "flask_ml", "words"),
    [
        (0.0, None, "the need: found 0 mol, wanted an amount of SO2 above nought"),
        (-1.0, None, "the need: found -1 mol"),
        (float("nan"), None, "the need: found nan mol"),
        (SELENIUM_MOL, -5.0, "the flask: found -5 mL"),
        (SELENIUM_MOL, 100.0, r"the flask: found 100 mL, wanted at least \d+ mL"),
        (500.0, None, r"the flask: found 20000 mL, wanted at least \d+ mL"),
    ],
)
def test_what_cannot_be_is_said_plainly(need_mol: float, flask_ml: float | None, words: str) -> None:
    """No need, a negative flask, one that is too small: each has its sentence, and it is one line."""
    with pytest.raises(PlanError, match=words) as why:
        design_drip(drip(), need_mol, flask_ml=flask_ml)
    assert "\n" not in str(why.value)


def test_an_acid_that_is_mostly_water_is_refused() -> None:
    """2 % hydrochloric acid brings 50 mol of water a mole: the liquor holds the gas, and nothing would go over."""
    weak = drip(acid_mol_per_l=0.5)
    assert mass_fraction_from_mol_per_l("HCl", 0.5) < 0.02
    with pytest.raises(PlanError, match=r"found 1\.8. % HCl, wanted a stronger one"):
        design_drip(weak, SELENIUM_MOL)
