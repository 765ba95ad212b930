"""SO2 and water as gases, against CoolProp and published values."""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI

from monitor.chemistry.gas import (
    mg_per_m3_from_ppm,
    ppm_from_mg_per_m3,
    ppm_of_amount,
    so2_molar_volume_l,
    water_vapour_pressure_pa,
)


@pytest.mark.parametrize("temperature_c", range(0, 41, 5))
@pytest.mark.parametrize("pressure_pa", [80_000.0, 101_325.0, 105_000.0])
def test_molar_volume_is_that_of_the_real_gas(temperature_c: float, pressure_pa: float) -> None:
    """The molar volume of SO2 agrees with CoolProp (Gao, Wu, Zhang & Lemmon 2016) within 0.2 % from 0 to 40 °C."""
    mol_per_m3 = PropsSI("Dmolar", "T", temperature_c + 273.15, "P", pressure_pa, "SulfurDioxide")
    assert so2_molar_volume_l(temperature_c, pressure_pa) == pytest.approx(1000.0 / mol_per_m3, rel=2e-3)


def test_a_millionth_of_so2_weighs_what_limits_say() -> None:
    """1 ppm SO2 is 2.618 mg/m³ at 25 °C and 2.663 at 20 °C, 1 atm (ideal gas, by arithmetic)."""
    assert mg_per_m3_from_ppm(1.0) == pytest.approx(2.618, abs=1e-3)
    assert mg_per_m3_from_ppm(1.0, 20.0) == pytest.approx(2.663, abs=1e-3)
    assert ppm_from_mg_per_m3(mg_per_m3_from_ppm(7.0, 18.0), 18.0) == pytest.approx(7.0)


def test_ppm_of_an_amount_agrees_with_its_mass() -> None:
    """A mole let go in 60 m³ is as many ppm as its 64.058 g are mg/m³."""
    assert ppm_of_amount(1.0, 60.0) == pytest.approx(ppm_from_mg_per_m3(64_058.0 / 60.0))


@pytest.mark.parametrize("temperature_c", [5, 10, 20, 25, 40, 60])
def test_water_vapour_pressure_is_that_of_the_steam_tables(temperature_c: float) -> None:
    """Water's vapour pressure agrees with IAPWS-95 (CoolProp) within 0.2 %."""
    steam_pa = PropsSI("P", "T", temperature_c + 273.15, "Q", 0, "Water")
    assert water_vapour_pressure_pa(temperature_c) == pytest.approx(steam_pa, rel=2e-3)
