"""The two routes without a drip, in planning: sulfur in hot sulfuric acid, and sulfur burnt in air.

How much really comes is weighed, not planned: these are amounts by the equation, with what practice adds. The coil is
an estimate of the size of a thing, from two heat-transfer correlations; it is no design of one.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, exp, log, pi

from monitor.chemistry.design import FLASKS_ML, check_need, grams_step
from monitor.chemistry.gas import GAS_CONSTANT_J_PER_MOL_K, ZERO_C_K
from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL
from monitor.errors import PlanError
from monitor.terms import AcidOnSulfurTerms, BurnerTerms

OXYGEN_IN_AIR = 0.2095  # mole fraction, dry air: US Standard Atmosphere 1976
ACID_OVER_EQUATION = 2.0  # mol over mol: the acid weakens as it works and stops; common practice, no source
SULFUR_OVER_NEED = 1.15  # what stays in the apparatus or burns off unseen; common practice, no source
LEAST_HOT_ACID = (
    0.90  # 90 % boils near 260 °C (CRC Handbook, memory), short of the window; common practice, no source
)
HOT_FLASK_FILL = 0.5  # hot acid spits; common practice, no source
COMBUSTION_J_PER_MOL = 296_800.0  # S + O2 → SO2, CRC Handbook
FRACTIONS = (0.05, 0.10, 0.15, OXYGEN_IN_AIR)  # SO2 in the burner's gas

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


@dataclass(frozen=True, slots=True)
class SulfurDesign:
    """What to weigh out for a need on a route that burns or boils sulfur. Acid and flask are None for the burner."""

    sulfur_g: float
    most_so2_mol: float
    acid_ml: float | None = None
    flask_ml: float | None = None


@dataclass(frozen=True, slots=True)
class Burning:
    """A burner at one fraction of SO2 in its gas: SO2 made, time for the sulfur, the coil's exit."""

    so2_fraction: float
    so2_mol_per_min: float
    minutes_to_burn: float
    heat_w: float
    coil_exit_c: float


def _up(value: float) -> float:
    step = grams_step(value)
    return round(ceil(value / step - 1e-9) * step, 6)


def design_acid_on_sulfur(like: AcidOnSulfurTerms, need_mol: float) -> SulfurDesign:
    """Sulfur and acid for a need, mol: 2 H2SO4 + S → 3 SO2 + 2 H2O, the acid twice over. Raises PlanError."""
    check_need(need_mol)
    if like.acid_mass_fraction.value < LEAST_HOT_ACID:
        raise PlanError(
            f"the acid: found {100 * like.acid_mass_fraction.value:.3g} % H2SO4, wanted "
            f"{100 * LEAST_HOT_ACID:.0f} % or more: weaker acid boils before it takes up sulfur"
        )
    sulfur_mol = SULFUR_OVER_NEED * need_mol / 3.0
    acid_ml = _up(2.0 * ACID_OVER_EQUATION * sulfur_mol / like.acid_mol_per_l.value * 1000.0)
    flask_ml = next((size for size in FLASKS_ML if acid_ml <= HOT_FLASK_FILL * size), None)
    if flask_ml is None:
        raise PlanError(
            f"the flask: {acid_ml:g} mL of hot acid are wanted, more than half of the largest, {FLASKS_ML[-1]:g} mL"
        )
    sulfur_g = _up(sulfur_mol * MOLAR_MASS_G_PER_MOL["S"])
    return SulfurDesign(sulfur_g, 3.0 * sulfur_g / MOLAR_MASS_G_PER_MOL["S"], acid_ml, flask_ml)


def design_burner(need_mol: float) -> SulfurDesign:
    """Sulfur to burn for a need, mol: S + O2 → SO2. Raises PlanError."""
    check_need(need_mol)
    sulfur_g = _up(SULFUR_OVER_NEED * need_mol * MOLAR_MASS_G_PER_MOL["S"])
    return SulfurDesign(sulfur_g, sulfur_g / MOLAR_MASS_G_PER_MOL["S"])


def spent_acid_fraction(charge: AcidOnSulfurTerms) -> float:
    """Mass fraction of the acid that is left when the sulfur is gone, were it all to react, 0 if none is left."""
    acid_mol = charge.acid_mol_per_l.value * charge.acid_volume_ml / 1000.0
    acid_g = acid_mol * MOLAR_MASS_G_PER_MOL["H2SO4"]
    water_g = acid_g * (1.0 / charge.acid_mass_fraction.value - 1.0)
    used_mol = min(acid_mol, 2.0 * charge.sulfur_mass_g.value / MOLAR_MASS_G_PER_MOL["S"])
    left_g = acid_g - used_mol * MOLAR_MASS_G_PER_MOL["H2SO4"]
    return left_g / (left_g + water_g + used_mol * MOLAR_MASS_G_PER_MOL["H2O"])


def air_to_burn_l(sulfur_g: float, temperature_c: float, pressure_pa: float) -> float:
    """The least air that burns this much sulfur, L at temperature and pressure (ideal gas)."""
    molar_l = GAS_CONSTANT_J_PER_MOL_K * (temperature_c + ZERO_C_K) / pressure_pa * 1000.0
    return sulfur_g / MOLAR_MASS_G_PER_MOL["S"] / OXYGEN_IN_AIR * molar_l


def burning(charge: BurnerTerms) -> tuple[Burning, ...]:
    """The burner at each of `FRACTIONS` of SO2. The draw is the cooled gas: a mole of O2 gives a mole of SO2."""
    gas_mol_per_min = _draw_mol_per_min(charge.draw_l_per_min, charge.temperature_c, charge.pressure_pa)
    sulfur_mol = charge.sulfur_mass_g.value / MOLAR_MASS_G_PER_MOL["S"]
    return tuple(
        Burning(
            so2_fraction=fraction,
            so2_mol_per_min=gas_mol_per_min * fraction,
            minutes_to_burn=sulfur_mol / (gas_mol_per_min * fraction),
            heat_w=gas_mol_per_min * fraction * COMBUSTION_J_PER_MOL / 60.0,
            coil_exit_c=coil_exit_c(charge.draw_l_per_min, fraction, charge.temperature_c, charge.pressure_pa),
        )
        for fraction in FRACTIONS
    )


def _draw_mol_per_min(draw_l_per_min: float, temperature_c: float, pressure_pa: float) -> float:
    return draw_l_per_min / 1000.0 * pressure_pa / (GAS_CONSTANT_J_PER_MOL_K * (temperature_c + ZERO_C_K))


def coil_conductance_w_per_k() -> float:
    """Gas to room through the coil's wall, W/K: laminar gas inside and still air outside, in series."""
    inside = _LAMINAR_NUSSELT * pi * _GAS_W_PER_M_K * COIL_M
    outside = _OUTSIDE_W_PER_M2_K * pi * COIL_OUTSIDE_MM / 1000.0 * COIL_M
    return 1.0 / (1.0 / inside + 1.0 / outside)


def coil_exit_c(draw_l_per_min: float, so2_fraction: float, room_c: float, pressure_pa: float = 101325.0) -> float:
    """Where the burner's gas leaves the coil, °C, if it enters with all the heat that it burnt with."""
    flow_w_per_k = _draw_mol_per_min(draw_l_per_min, room_c, pressure_pa) / 60.0 * _GAS_J_PER_MOL_K
    rise_k = so2_fraction * COMBUSTION_J_PER_MOL / _GAS_J_PER_MOL_K
    return room_c + rise_k * exp(-coil_conductance_w_per_k() / flow_w_per_k)


def coil_highest_draw_l_per_min(so2_fraction: float, room_c: float, pressure_pa: float = 101325.0) -> float | None:
    """The draw at which the coil's gas leaves at 50 °C, L/min; None in a room as warm as that."""
    spare_k = COIL_LEAVES_AT_C - room_c
    rise_k = so2_fraction * COMBUSTION_J_PER_MOL / _GAS_J_PER_MOL_K
    if spare_k <= 0.0 or rise_k <= spare_k:
        return None
    flow_mol_per_min = 60.0 * coil_conductance_w_per_k() / log(rise_k / spare_k) / _GAS_J_PER_MOL_K
    return flow_mol_per_min / _draw_mol_per_min(1.0, room_c, pressure_pa)
