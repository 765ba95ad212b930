"""Sulfur dioxide and water as gases: real molar volume, ppm and mg/m³, vapour pressure of water."""

from __future__ import annotations

import math

from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL

GAS_CONSTANT_J_PER_MOL_K = 8.314462618  # CODATA 2018, exact
ZERO_C_K = 273.15  # SI
ATMOSPHERE_PA = 101325.0  # standard atmosphere


def second_virial_m3_per_mol(temperature_c: float) -> float:
    """Second virial coefficient of SO2, m³/mol: B = a − b·exp(c/T) with a 134.4, b 72.5 cm³/mol and c 606.5 K.

    Source: Kaye & Laby, Tables of Physical and Chemical Constants, second virial coefficients, 265 to 473 K.
    """
    return (134.4 - 72.5 * math.exp(606.5 / (temperature_c + ZERO_C_K))) * 1e-6


def so2_molar_volume_l(temperature_c: float, pressure_pa: float = ATMOSPHERE_PA) -> float:
    """Volume of a mol of pure SO2 as a real gas, L/mol: V = RT/p + B. For −5 to 100 °C, near one atmosphere."""
    ideal = GAS_CONSTANT_J_PER_MOL_K * (temperature_c + ZERO_C_K) / pressure_pa
    return (ideal + second_virial_m3_per_mol(temperature_c)) * 1000.0


def _ideal_mol_per_m3(temperature_c: float, pressure_pa: float) -> float:
    return pressure_pa / (GAS_CONSTANT_J_PER_MOL_K * (temperature_c + ZERO_C_K))


def mg_per_m3_from_ppm(ppm: float, temperature_c: float = 25.0, pressure_pa: float = ATMOSPHERE_PA) -> float:
    """SO2 in air, ppm by volume to mg/m³, the ideal-gas relation that exposure limits use."""
    return ppm * 1e-3 * MOLAR_MASS_G_PER_MOL["SO2"] * _ideal_mol_per_m3(temperature_c, pressure_pa)


def ppm_from_mg_per_m3(mg_per_m3: float, temperature_c: float = 25.0, pressure_pa: float = ATMOSPHERE_PA) -> float:
    """SO2 in air, mg/m³ to ppm by volume, the ideal-gas relation that exposure limits use."""
    return mg_per_m3 / (1e-3 * MOLAR_MASS_G_PER_MOL["SO2"] * _ideal_mol_per_m3(temperature_c, pressure_pa))


def ppm_of_amount(amount_mol: float, volume_m3: float, temperature_c: float = 25.0) -> float:
    """This much SO2 spread at once through this much room air at 1 atm, ppm by volume (ideal gas)."""
    return amount_mol / (volume_m3 * _ideal_mol_per_m3(temperature_c, ATMOSPHERE_PA)) * 1e6


def water_vapour_pressure_pa(temperature_c: float) -> float:
    """Vapour pressure of pure water, Pa, 0 to 100 °C.

    Source: Buck, J. Appl. Meteorol. 20 (1981) 1527, in the author's 1996 form (from memory), within 0.1 %.
    """
    return 611.21 * math.exp((18.678 - temperature_c / 234.5) * temperature_c / (257.14 + temperature_c))
