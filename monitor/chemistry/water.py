"""Plain water under sulfur dioxide: how much it takes up at saturation."""

from __future__ import annotations

import numpy as np

from monitor.chemistry.constants import WATER_KG_PER_MOL, conditions
from monitor.chemistry.gas import ATMOSPHERE_PA
from monitor.chemistry.liquor import Mixture, settle


def saturation_mol_per_kg(temperature_c: float, total_pressure_pa: float = ATMOSPHERE_PA) -> float:
    """All the sulfur(IV) in water under SO2 and water vapour at this total pressure, mol per kg of the water put in.

    The liquor's equilibrium without salt or acid. For 0 to 60 °C.
    """
    return _taken_up_mol_per_kg(temperature_c, total_pressure_pa, less_vapour=True)


def saturation_at_partial_pressure_mol_per_kg(temperature_c: float, so2_pa: float) -> float:
    """As `saturation_mol_per_kg`, at this partial pressure of SO2 alone."""
    return _taken_up_mol_per_kg(temperature_c, so2_pa, less_vapour=False)


def _taken_up_mol_per_kg(temperature_c: float, pressure_pa: float, *, less_vapour: bool) -> float:
    nothing, one = np.zeros(1), np.ones(1)
    at = conditions(np.array([temperature_c]), np.array([pressure_pa]))
    low, high = 1e-6, 20.0
    while high - low > 1e-7:
        stock = 0.5 * (low + high)
        # As bisulfite, which takes up a water; what stays SO2 gives it back.
        mix = Mixture(nothing, nothing, nothing, stock * one, one - WATER_KG_PER_MOL * stock, nothing)
        _, med, balance = settle(at, mix, stock * one)
        wanted_pa = pressure_pa - (float(med.water_pa[0]) if less_vapour else 0.0)
        if float(balance.so2_pa[0]) < wanted_pa:
            low = stock
        else:
            high = stock
    return 0.5 * (low + high)
