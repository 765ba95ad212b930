"""Acid strengths against the CRC Handbook, 102nd ed., concentrative properties of aqueous solutions, 20 °C."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.chemistry.acids import (
    density_g_per_cm3,
    mass_fraction_from_mol_per_l,
    mol_per_l_from_mass_fraction,
    table,
)
from monitor.terms import Acid

# mass percent, g/cm³, mol/L
CRC_102 = [
    ("HCl", 10, 1.0476, 2.873),
    ("HCl", 20, 1.0980, 6.023),
    ("HCl", 24, 1.1185, 7.362),
    ("HCl", 26, 1.1288, 8.049),
    ("HCl", 28, 1.1391, 8.748),
    ("HCl", 30, 1.1492, 9.456),
    ("HCl", 32, 1.1594, 10.175),
    ("HCl", 36, 1.1791, 11.642),
    ("HCl", 38, 1.1886, 12.388),
    ("HCl", 40, 1.1977, 13.140),
    ("H2SO4", 90, 1.8144, 16.649),
    ("H2SO4", 94, 1.8312, 17.550),
    ("H2SO4", 96, 1.8355, 17.966),
    ("H2SO4", 98, 1.8361, 18.346),
    ("H2SO4", 100, 1.8305, 18.663),
]


@pytest.mark.parametrize(("acid", "percent", "density", "mol_per_l"), CRC_102)
def test_the_handbook_rows_come_back(acid: Acid, percent: float, density: float, mol_per_l: float) -> None:
    """Density, and strength either way, agree with the CRC Handbook's rows to their last figure but one."""
    assert density_g_per_cm3(acid, percent / 100) == pytest.approx(density, abs=1e-6)
    assert mol_per_l_from_mass_fraction(acid, percent / 100) == pytest.approx(mol_per_l, abs=0.002)
    assert mass_fraction_from_mol_per_l(acid, mol_per_l) * 100 == pytest.approx(percent, abs=0.02)


@pytest.mark.parametrize(
    ("percent", "density"),
    [(1, 1.0049), (5, 1.0318), (10, 1.0661), (20, 1.1398), (30, 1.2191), (40, 1.3028), (50, 1.3952), (70, 1.6105)],
)
def test_dilute_sulfuric_acid_has_the_printed_density(percent: float, density: float) -> None:
    """The lower rows of sulfuric acid are those of The Engineering ToolBox's table of densities at 20 °C."""
    assert density_g_per_cm3("H2SO4", percent / 100) == pytest.approx(density, abs=1e-6)


@pytest.mark.parametrize("acid", ["HCl", "H2SO4"])
def test_every_row_is_consistent_in_itself(acid: Acid) -> None:
    """In each row of the tables mol/L is density times mass fraction over molar mass, but for its last digit."""
    for row in table(acid):
        assert mol_per_l_from_mass_fraction(acid, row.mass_percent / 100) == pytest.approx(row.mol_per_l, abs=0.002)


@pytest.mark.parametrize(("percent", "density"), [(85, 1.7786), (92, 1.8240), (65, 1.5533), (75, 1.6692)])
def test_between_rows_sulfuric_acid_is_within_a_part_in_a_thousand(percent: float, density: float) -> None:
    """Densities between the rows agree with those of Perry's Handbook (from memory of it) to 0.1 % or so."""
    assert density_g_per_cm3("H2SO4", percent / 100) == pytest.approx(density, rel=1.2e-3)


@given(st.sampled_from(["HCl", "H2SO4"]), st.floats(0.01, 1.0))
def test_strength_goes_there_and_back(acid: Acid, share: float) -> None:
    """Mass fraction to mol/L and back gives the same mass fraction, also where sulfuric acid's density falls."""
    rows = table(acid)
    fraction = (rows[0].mass_percent + share * (rows[-1].mass_percent - rows[0].mass_percent)) / 100
    there = mol_per_l_from_mass_fraction(acid, fraction)
    assert mass_fraction_from_mol_per_l(acid, there) == pytest.approx(fraction, rel=1e-9)


@pytest.mark.parametrize(("acid", "fraction"), [("HCl", 0.45), ("HCl", 0.0), ("H2SO4", 1.01)])
def test_a_strength_outside_the_table_is_refused(acid: Acid, fraction: float) -> None:
    """Outside its table an acid is refused, in a sentence that says what the table holds."""
    with pytest.raises(ValueError, match=r"is outside the density table, which holds .* %"):
        density_g_per_cm3(acid, fraction)


def test_a_concentration_outside_the_table_is_refused() -> None:
    """Hydrochloric acid of 15 mol/L does not exist in the table, and is refused."""
    with pytest.raises(ValueError, match="15 mol/L is outside the density table"):
        mass_fraction_from_mol_per_l("HCl", 15.0)
