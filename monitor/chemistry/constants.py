"""Equilibrium constants of the sulfite liquor, with their dependence on temperature. Molal; arrays throughout."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.chemistry.gas import GAS_CONSTANT_J_PER_MOL_K, ZERO_C_K, water_vapour_pressure_pa
from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL

Array = NDArray[np.float64]

WATER_KG_PER_MOL = MOLAR_MASS_G_PER_MOL["H2O"] / 1000.0
BAR_PA = 1e5

# Goldberg & Parker, J. Res. NBS 90 (1985) 341, at 25 °C: (K, ΔH J/mol, ΔCp J/(mol K)). The first is confirmed by
# the paper's abstract; the heat capacities of the second and third are from memory of the paper.
HENRY_MOL_PER_KG_BAR = (1.23, -26_970.0, 155.0)  # SO2(g) = SO2(aq); ± 0.05, ± 300, ± 10
FIRST_DISSOCIATION = (10**-1.86, -17_780.0, -272.0)  # SO2(aq) + H2O = H+ + HSO3-
SECOND_DISSOCIATION = (10**-7.17, -3_670.0, -262.0)  # HSO3- = H+ + SO3-2
# OECD/NEA Thermochemical Data Base, auxiliary data (from memory); the constant 1.99 as PHREEQC carries it.
BISULFATE_DISSOCIATION = (10**-1.99, -22_440.0, 0.0)  # HSO4- = H+ + SO4-2
WATER_DISSOCIATION = (10**-13.995, 55_815.0, 0.0)  # CODATA key values

_REFERENCE_K = 298.15


def _at(constant: tuple[float, float, float], kelvin: Array) -> Array:
    """Carry a 25 °C constant to another temperature: van 't Hoff with a constant ΔCp."""
    k, enthalpy, heat_capacity = constant
    ratio = _REFERENCE_K / kelvin
    exponent = enthalpy * (1.0 - ratio) / _REFERENCE_K + heat_capacity * (ratio - 1.0 - np.log(ratio))
    return np.asarray(k * np.exp(exponent / GAS_CONSTANT_J_PER_MOL_K))


@dataclass(frozen=True, slots=True)
class Conditions:
    """The constants at the flask's temperature and pressure; one element a mixture."""

    kelvin: Array
    pressure_pa: Array
    henry_mol_per_kg_pa: Array
    k1: Array
    k2: Array
    k_bisulfate: Array
    k_water: Array
    pure_water_pa: Array


def conditions(temperature_c: Array, pressure_pa: Array) -> Conditions:
    """Equilibrium constants (molal), at temperatures in °C and total pressures in Pa; for 0 to 60 °C."""
    kelvin = temperature_c + ZERO_C_K
    return Conditions(
        kelvin=kelvin,
        pressure_pa=pressure_pa,
        henry_mol_per_kg_pa=_at(HENRY_MOL_PER_KG_BAR, kelvin) / BAR_PA,
        k1=_at(FIRST_DISSOCIATION, kelvin),
        k2=_at(SECOND_DISSOCIATION, kelvin),
        k_bisulfate=_at(BISULFATE_DISSOCIATION, kelvin),
        k_water=_at(WATER_DISSOCIATION, kelvin),
        pure_water_pa=np.array([water_vapour_pressure_pa(t) for t in temperature_c]),
    )
