"""Liquors of potassium salts against PHREEQC's Pitzer model, run here.

Sulfite as in the sodium checks, an element of its own with the parameters of sulfate and bisulfate: here those with
K+ that PHREEQC's pitzer.dat carries. How much K+ salts SO2 out no source at hand says, so the checks run with the
value of Na+ and with nearly none: λ = 0.003, from the ions' constants of Weisenberger and Schumpe, AIChE J. 42
(1996) 298 (from memory: K+ 0.0221 m³/kmol below Na+).
"""

from __future__ import annotations

from typing import Any

import pytest
from phreeqpython import PhreeqPython

from monitor.chemistry.gas import ATMOSPHERE_PA
from tests.chemistry.test_liquor_phreeqc import SULFITE, Pair, so2_by_model

POTASSIUM = """
PITZER
-B0
 K+ HSfO3- -0.0003
 K+ SfO3-2 0.0317
-B1
 K+ HSfO3- 0.1735
 K+ SfO3-2 0.756
-C0
 K+ SfO3-2 0.00818
-LAMDA
 SfO2 K+ {salting_out}
END
"""
LIKE_SODIUM, NEARLY_NONE = 0.0283, 0.003
# Salt as (KHSO3, K2SO3), acid as (HCl, H2SO4), mol/kg of initial water; K2S2O5 is two KHSO3 less a water.
CASES = [
    ((1.0, 0.0), (0.5, 0.0)),
    ((2.0, 0.0), (1.5, 0.0)),
    ((4.0, 0.0), (4.0, 0.0)),
    ((0.0, 1.5), (2.2, 0.0)),
    ((0.0, 1.5), (0.0, 1.3)),
    ((3.0, 0.0), (0.0, 1.2)),
]


def so2_by_phreeqc(salting_out: float, salt: Pair, acid: Pair) -> Pair:
    """SO2(aq) in mol at 25 °C, and its fugacity in atm by Henry's constant of 1.23 mol/(kg bar)."""
    program: Any = PhreeqPython(database="pitzer.dat").ip
    program.run_string(SULFITE + POTASSIUM.format(salting_out=salting_out))
    program.run_string(
        f"SOLUTION 1\n temp 25\nREACTION 1\n KHSfO3 {salt[0]}\n K2SfO3 {salt[1]}\n"
        f" HCl {acid[0]}\n H2SO4 {acid[1]}\n 1 moles\nSAVE SOLUTION 2\nEND\n"
    )
    return program.get_moles(2, "SfO2"), program.get_activity(2, "SfO2") / 1.23 * 1e5 / ATMOSPHERE_PA


@pytest.mark.parametrize("salting_out", [LIKE_SODIUM, NEARLY_NONE])
@pytest.mark.parametrize(("salt", "acid"), CASES)
def test_how_much_becomes_so2_does_not_hang_on_the_cation(salting_out: float, salt: Pair, acid: Pair) -> None:
    """SO2(aq) of potassium bisulfite and sulfite under HCl and H2SO4 is within 8 %, whatever K+ does to it."""
    assert so2_by_model(salt, acid)[0] == pytest.approx(so2_by_phreeqc(salting_out, salt, acid)[0], rel=0.08)


@pytest.mark.parametrize(("salt", "acid"), CASES)
def test_its_pressure_hangs_on_how_k_salts_out(salt: Pair, acid: Pair) -> None:
    """Within 8 % if K+ salts out as Na+ does. If it does not, the model's pressure is too high by up to a quarter in
    the strongest liquors, and never too low: gas is then promised a little early, and held is more than it says.
    """
    pressure_atm = so2_by_model(salt, acid)[1]
    assert pressure_atm == pytest.approx(so2_by_phreeqc(LIKE_SODIUM, salt, acid)[1], rel=0.08)
    assert 1.0 <= pressure_atm / so2_by_phreeqc(NEARLY_NONE, salt, acid)[1] <= 1.25
