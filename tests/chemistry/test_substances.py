"""Molar masses against periodictable, and what each salt brings."""

from __future__ import annotations

import periodictable
import pytest

from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL, SALTS, sulfur_iv_mol
from monitor.terms import Salt


@pytest.mark.parametrize("formula", list(MOLAR_MASS_G_PER_MOL))
def test_molar_mass_is_that_of_the_standard_atomic_weights(formula: str) -> None:
    """Each molar mass agrees with periodictable, which carries the IUPAC/CIAAW 2021 values, to 1 in 100 000."""
    assert MOLAR_MASS_G_PER_MOL[formula] == pytest.approx(periodictable.formula(formula).mass, rel=1e-5)


@pytest.mark.parametrize(
    ("salt", "g_per_g"),
    [("Na2S2O5", 0.67396), ("NaHSO3", 0.61562)],
)
def test_a_salt_yields_the_so2_of_the_handbooks(salt: Salt, g_per_g: float) -> None:
    """Metabisulfite holds 67.4 % SO2, as food-additive handbooks print it; bisulfite 61.6 % by arithmetic."""
    assert sulfur_iv_mol(salt, 1.0, 1.0) * MOLAR_MASS_G_PER_MOL["SO2"] == pytest.approx(g_per_g, rel=2e-5)


@pytest.mark.parametrize("salt", list(SALTS))
def test_the_salt_is_made_of_its_parts(salt: Salt) -> None:
    """A formula's mass is that of its cations, its SO2 and the water, oxygen or hydrogen that the protons ask for."""
    data = SALTS[salt]
    cation = periodictable.formula(data.cation.rstrip("+")).mass
    hydrogen, oxygen = periodictable.formula("H").mass, periodictable.formula("O").mass
    protons_held = data.sulfur_iv * 2 - data.protons_to_so2 * data.sulfur_iv  # of H2SO3's two
    sulfite = periodictable.formula("SO3").mass * data.sulfur_iv
    water = (2 * hydrogen + oxygen) * data.water_taken_up
    expected = cation * data.cations + sulfite + protons_held * hydrogen - water
    assert MOLAR_MASS_G_PER_MOL[salt] == pytest.approx(expected, rel=1e-5)
    assert data.cations + protons_held == 2 * data.sulfur_iv  # charges
