"""What plans rest on, at points that no other test looks at: 10 and 40 °C by PHREEQC, run here, and scrubbers."""

from __future__ import annotations

from typing import Any

import numpy as np
import periodictable
import pytest

from monitor.chemistry.bases import mol_per_l_from_mass_fraction
from monitor.chemistry.constants import conditions
from monitor.chemistry.gas import ATMOSPHERE_PA
from monitor.chemistry.liquor import Mixture, settle
from monitor.chemistry.planning import scrubber_capacity_mol
from monitor.chemistry.receivers import need_mol
from monitor.chemistry.water import saturation_at_partial_pressure_mol_per_kg
from monitor.terms import ScrubberTerms
from tests.chemistry.test_liquor_phreeqc import Pair, phreeqc, so2_by_phreeqc

__all__ = ["phreeqc"]

# Salt as (NaHSO3, Na2SO3), acid as (HCl, H2SO4), mol/kg of the water put in.
CASES = [
    ((2.0, 0.0), (1.5, 0.0)),
    ((3.0, 0.0), (0.0, 1.2)),
    ((0.0, 1.5), (2.2, 0.0)),
    ((0.0, 1.5), (0.0, 1.3)),
]


@pytest.mark.parametrize("temperature_c", [10.0, 40.0])
@pytest.mark.parametrize(("salt", "acid"), CASES)
def test_cold_and_warm_liquors_agree(phreeqc: Any, salt: Pair, acid: Pair, temperature_c: float) -> None:
    """SO2(aq) of bisulfite and sulfite under HCl and H2SO4 at 10 and 40 °C is within 8 % of PHREEQC's Pitzer."""
    reference_mol, _ = so2_by_phreeqc(phreeqc, salt, acid, temperature_c)
    sulfur = np.array([salt[0] + salt[1]])
    mixture = Mixture(
        cation_mol=np.array([salt[0] + 2.0 * salt[1]]),
        chloride_mol=np.array([acid[0]]),
        sulfate_mol=np.array([acid[1]]),
        sulfur_iv_mol=sulfur,
        water_kg=np.ones(1),
        headspace_m3=np.zeros(1),
    )
    _, _, balance = settle(conditions(np.array([temperature_c]), np.array([ATMOSPHERE_PA])), mixture, sulfur)
    assert float(balance.so2_liquor_mol[0]) == pytest.approx(reference_mol, rel=0.08)


@pytest.mark.parametrize(("temperature_c", "g_per_100_g"), [(10.0, 15.33), (15.0, 12.70), (30.0, 7.62), (40.0, 5.63)])
def test_water_takes_what_the_iupac_fit_says(temperature_c: float, g_per_100_g: float) -> None:
    """SO2 in water at p(SO2) = 1 atm, IUPAC fit as in the CRC Handbook (from memory), within 7 %."""
    mol_per_kg = saturation_at_partial_pressure_mol_per_kg(temperature_c, ATMOSPHERE_PA)
    assert mol_per_kg * 64.058 / 10.0 == pytest.approx(g_per_100_g, rel=0.07)


@pytest.mark.parametrize(
    ("base", "fraction", "density", "so2_per_mol"),
    [("NaOH", 0.05, 1.0538, 0.5), ("NaOH", 0.20, 1.2192, 0.5), ("Na2CO3", 0.10, 1.1029, 1.0)],
)
def test_scrubbers_of_other_strengths(base: str, fraction: float, density: float, so2_per_mol: float) -> None:
    """A litre at the CRC Handbook's density (from memory) and the formula's mass by periodictable, to sulfite."""
    wanted_mol = 1000.0 * density * fraction / periodictable.formula(base).mass * so2_per_mol
    molar = mol_per_l_from_mass_fraction(base, fraction)
    assert scrubber_capacity_mol(ScrubberTerms(base, molar, 1.0)) == pytest.approx(wanted_mol, rel=2e-3)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("reaction", "formula", "so2_per_mol"),
    [
        ("Te", "Te", 2.0),
        ("Cr", "Cr", 1.5),
        ("I2", "I2", 1.0),
        ("H2O2", "H2O2", 1.0),
        ("Na2CO3-bisulfite", "Na2CO3", 2.0),
    ],
)
def test_receivers_by_other_masses(reaction: str, formula: str, so2_per_mol: float) -> None:
    """Ten grams of a receiver by the masses of periodictable and the balanced equation, with 5 % excess."""
    wanted_mol = 10.0 / periodictable.formula(formula).mass * so2_per_mol * 1.05
    assert need_mol(reaction, amount_g=10.0, excess=0.05) == pytest.approx(wanted_mol, rel=1e-3)
