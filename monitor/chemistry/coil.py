"""The coil that cools a burner's gas: where its gas leaves it, and up to which draw it is cool enough.

An estimate of the size of a thing, from two heat-transfer correlations; it is no design of one.
"""

from __future__ import annotations

from math import exp, log, pi

from monitor.chemistry.gas import GAS_CONSTANT_J_PER_MOL_K, ZERO_C_K

COMBUSTION_J_PER_MOL = 296_800.0  # S + O2 → SO2, CRC Handbook

# The cooling coil: two metres of soft copper tube, 6 mm outside, in still air. About that much is what is used;
# common practice, no source.
COIL_M = 2.0
COIL_OUTSIDE_MM = 6.0
COIL_LEAVES_AT_C = 50.0  # what soft hose and the receiver stand; common practice, no source
_LAMINAR_NUSSELT = 3.66  # developed laminar flow, wall at one temperature: Incropera, Heat and Mass Transfer (memory)
_GAS_W_PER_M_K = 0.040  # air at 230 °C, a mean of the coil: the same book's tables (memory)
_GAS_J_PER_MOL_K = 32.0  # air with a tenth of SO2 between 20 and 900 °C, from memory of JANAF tables
# Free convection (Churchill and Chu 1975: 13) and radiation (oxidised copper: 6), 6 mm tube 100 °C over still air.
_OUTSIDE_W_PER_M2_K = 19.0
USUAL_FRACTION = 0.10  # of SO2 in a burner's gas, half of the most; common practice, no source


def draw_mol_per_min(draw_l_per_min: float, temperature_c: float, pressure_pa: float) -> float:
    """A draw, L/min at temperature and pressure, in mol/min (ideal gas)."""
    return draw_l_per_min / 1000.0 * pressure_pa / (GAS_CONSTANT_J_PER_MOL_K * (temperature_c + ZERO_C_K))


def coil_conductance_w_per_k() -> float:
    """Gas to room through the coil's wall, W/K: laminar gas inside and still air outside, in series."""
    inside = _LAMINAR_NUSSELT * pi * _GAS_W_PER_M_K * COIL_M
    outside = _OUTSIDE_W_PER_M2_K * pi * COIL_OUTSIDE_MM / 1000.0 * COIL_M
    return 1.0 / (1.0 / inside + 1.0 / outside)


def coil_exit_c(draw_l_per_min: float, so2_fraction: float, room_c: float, pressure_pa: float = 101325.0) -> float:
    """Where the burner's gas leaves the coil, °C, if it enters with all the heat that it burnt with."""
    flow_w_per_k = draw_mol_per_min(draw_l_per_min, room_c, pressure_pa) / 60.0 * _GAS_J_PER_MOL_K
    rise_k = so2_fraction * COMBUSTION_J_PER_MOL / _GAS_J_PER_MOL_K
    return room_c + rise_k * exp(-coil_conductance_w_per_k() / flow_w_per_k)


def coil_highest_draw_l_per_min(so2_fraction: float, room_c: float, pressure_pa: float = 101325.0) -> float | None:
    """The draw at which the coil's gas leaves at 50 °C, L/min; None in a room as warm as that."""
    spare_k = COIL_LEAVES_AT_C - room_c
    rise_k = so2_fraction * COMBUSTION_J_PER_MOL / _GAS_J_PER_MOL_K
    if spare_k <= 0.0 or rise_k <= spare_k:
        return None
    flow_mol_per_min = 60.0 * coil_conductance_w_per_k() / log(rise_k / spare_k) / _GAS_J_PER_MOL_K
    return flow_mol_per_min / draw_mol_per_min(1.0, room_c, pressure_pa)
