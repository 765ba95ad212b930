"""The liquor's equilibrium against PHREEQC, run here and as tabulated.

Sulfite is declared as an element of its own ("Sf"), decoupled from redox, with Goldberg & Parker's constants; its
Pitzer parameters are those of sulfate and bisulfate (Millero et al., J. Atmos. Chem. 8 (1989) 377, found the two sets
in reasonable agreement), and λ(SO2,Na) that of the Pitzer set of pytzer 0.6.0.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from phreeqpython import PhreeqPython

from monitor.chemistry.constants import WATER_KG_PER_MOL, conditions
from monitor.chemistry.gas import ATMOSPHERE_PA as ATM_PA
from monitor.chemistry.liquor import Mixture, settle

SULFITE = """
SOLUTION_MASTER_SPECIES
 Sf SfO3-2 0 SfO3 80.06
SOLUTION_SPECIES
 SfO3-2 = SfO3-2
   log_k 0
 SfO3-2 + H+ = HSfO3-
   log_k 7.17
   delta_h 3.67 kJ
 SfO3-2 + 2H+ = SfO2 + H2O
   log_k 9.03
   delta_h 21.45 kJ
PITZER
-B0
 Na+ HSfO3- 0.0454
 Na+ SfO3-2 0.0273
 H+ HSfO3- 0.2065
-B1
 Na+ HSfO3- 0.398
 Na+ SfO3-2 0.956
 H+ HSfO3- 0.5556
-C0
 Na+ SfO3-2 0.003418
-LAMDA
 SfO2 Na+ 0.0283
END
"""
# mol/kg of initial water: salt as (NaHSO3, Na2SO3), acid as (HCl, H2SO4)
CASES = [
    ((1.0, 0.0), (0.5, 0.0)),
    ((1.0, 0.0), (1.0, 0.0)),
    ((4.0, 0.0), (2.0, 0.0)),
    ((4.0, 0.0), (4.0, 0.0)),
    ((4.0, 0.0), (5.0, 0.0)),
    ((0.0, 2.0), (3.0, 0.0)),
    ((0.0, 2.0), (4.5, 0.0)),
    ((1.0, 0.0), (0.0, 0.25)),
    ((1.0, 0.0), (0.0, 0.50)),
    ((1.0, 0.0), (0.0, 0.75)),
    ((4.0, 0.0), (0.0, 1.0)),
    ((4.0, 0.0), (0.0, 2.0)),
    ((4.0, 0.0), (0.0, 3.0)),
]
Pair = tuple[float, float]


@pytest.fixture(scope="module")
def phreeqc() -> Any:
    program = PhreeqPython(database="pitzer.dat")
    program.ip.run_string(SULFITE)
    return program.ip


def so2_by_phreeqc(phreeqc: Any, salt: Pair, acid: Pair, temperature_c: float = 25.0) -> Pair:
    """SO2(aq) in mol, and its fugacity in atm by Henry's constant of 1.23 mol/(kg bar)."""
    phreeqc.run_string(
        f"SOLUTION 1\n temp {temperature_c}\nREACTION 1\n NaHSfO3 {salt[0]}\n Na2SfO3 {salt[1]}\n"
        f" HCl {acid[0]}\n H2SO4 {acid[1]}\n 1 moles\nSAVE SOLUTION 2\nEND\n"
    )
    return phreeqc.get_moles(2, "SfO2"), phreeqc.get_activity(2, "SfO2") / 1.23 * 1e5 / ATM_PA


def so2_by_model(salt: Pair, acid: Pair) -> Pair:
    """The same by the liquor's own model."""
    sulfur = np.array([salt[0] + salt[1]])
    mixture = Mixture(
        cation_mol=np.array([salt[0] + 2.0 * salt[1]]),
        chloride_mol=np.array([acid[0]]),
        sulfate_mol=np.array([acid[1]]),
        sulfur_iv_mol=sulfur,
        water_kg=np.ones(1),
        headspace_m3=np.zeros(1),
    )
    _, _, balance = settle(conditions(np.array([25.0]), np.array([ATM_PA])), mixture, sulfur)
    return float(balance.so2_liquor_mol[0]), float(balance.so2_pa[0]) / ATM_PA


@pytest.mark.parametrize(("salt", "acid"), CASES)
def test_dissolved_so2_agrees_with_phreeqc_pitzer(phreeqc: Any, salt: Pair, acid: Pair) -> None:
    """SO2(aq) and its pressure are within 6 % of PHREEQC's Pitzer model, in strong liquors too.

    Tighter than the 8 % and 15 % that the tabulated points are given: the activity model earns it.
    """
    reference_mol, reference_atm = so2_by_phreeqc(phreeqc, salt, acid)
    mol, atm = so2_by_model(salt, acid)
    assert mol == pytest.approx(reference_mol, rel=0.06)
    assert atm == pytest.approx(reference_atm, rel=0.06)


@pytest.mark.parametrize(
    ("hcl", "so2_mol", "so2_atm"),
    [(0.50, (0.467, 0.470), (0.380, 0.404)), (1.00, (0.835, 0.845), (0.679, 0.727))],
)
def test_the_tabulated_points_are_met(hcl: float, so2_mol: Pair, so2_atm: Pair) -> None:
    """1 mol/kg NaHSO3 with HCl, by PHREEQC 3's SIT and Pitzer models (phreeqpython 1.6.2), within 8 % and 15 %."""
    mol, atm = so2_by_model((1.0, 0.0), (hcl, 0.0))
    for reference in so2_mol:
        assert mol == pytest.approx(reference, rel=0.08)
    for reference in so2_atm:
        assert atm == pytest.approx(reference, rel=0.15)


def test_water_under_so2_is_as_acid_as_phreeqc_says() -> None:
    """Water under SO2 at 1 atm holds 1.23 mol/kg SO2(aq), 1.406 to 1.419 in all (PHREEQC SIT, Pitzer), within 8 %."""
    stock = np.array([1.41])
    nothing = np.zeros(1)
    water = np.ones(1) - WATER_KG_PER_MOL * stock
    mixture = Mixture(nothing, nothing, nothing, stock, water, nothing)
    ln_h, _, balance = settle(conditions(np.array([25.0]), np.array([ATM_PA])), mixture, stock)
    assert float(balance.so2_liquor_mol[0]) == pytest.approx(1.23, rel=0.08)
    assert float(balance.so2_pa[0]) / ATM_PA == pytest.approx(1.0, rel=0.08)
    assert float(balance.bisulfite_mol[0]) == pytest.approx(0.18, rel=0.08)
    assert float(np.exp(ln_h[0])) == pytest.approx(float(balance.bisulfite_mol[0]), rel=0.05)
