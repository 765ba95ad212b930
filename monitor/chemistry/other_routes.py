"""The two routes without a drip, in planning: sulfur in hot sulfuric acid, and sulfur burnt in air.

How much really comes is weighed, not planned: these are amounts by the equation, with what practice adds.
"""

from __future__ import annotations

from dataclasses import dataclass

from monitor.chemistry.coil import COMBUSTION_J_PER_MOL, coil_exit_c, draw_mol_per_min
from monitor.chemistry.design import FLASKS_ML, check_need, rounded_up
from monitor.chemistry.gas import GAS_CONSTANT_J_PER_MOL_K, ZERO_C_K
from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL
from monitor.errors import PlanError
from monitor.terms import AcidOnSulfurTerms, BurnerTerms

OXYGEN_IN_AIR = 0.2095  # mole fraction, dry air: US Standard Atmosphere 1976
ACID_OVER_EQUATION = 2.0  # mol over mol: the acid weakens as it works and stops; common practice, no source
SULFUR_OVER_NEED = 1.15  # what stays in the apparatus or burns off unseen; common practice, no source
# 90 % boils near 260 °C (CRC Handbook, memory), short of the window; common practice, no source.
LEAST_HOT_ACID = 0.90
HOT_FLASK_FILL = 0.5  # hot acid spits; common practice, no source
FRACTIONS = (0.05, 0.10, 0.15, OXYGEN_IN_AIR)  # SO2 in the burner's gas


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


def design_acid_on_sulfur(like: AcidOnSulfurTerms, need_mol: float) -> SulfurDesign:
    """Sulfur and acid for a need, mol: 2 H2SO4 + S → 3 SO2 + 2 H2O, the acid twice over. Raises PlanError."""
    check_need(need_mol)
    if like.acid_mass_fraction.value < LEAST_HOT_ACID:
        raise PlanError(
            f"the acid: found {100 * like.acid_mass_fraction.value:.3g} % H2SO4, wanted "
            f"{100 * LEAST_HOT_ACID:.0f} % or more: weaker acid boils before it takes up sulfur"
        )
    sulfur_mol = SULFUR_OVER_NEED * need_mol / 3.0
    acid_ml = rounded_up(2.0 * ACID_OVER_EQUATION * sulfur_mol / like.acid_mol_per_l.value * 1000.0)
    flask_ml = next((size for size in FLASKS_ML if acid_ml <= HOT_FLASK_FILL * size), None)
    if flask_ml is None:
        raise PlanError(
            f"the flask: {acid_ml:g} mL of hot acid are wanted, more than half of the largest, {FLASKS_ML[-1]:g} mL"
        )
    sulfur_g = rounded_up(sulfur_mol * MOLAR_MASS_G_PER_MOL["S"])
    return SulfurDesign(sulfur_g, 3.0 * sulfur_g / MOLAR_MASS_G_PER_MOL["S"], acid_ml, flask_ml)


def design_burner(need_mol: float) -> SulfurDesign:
    """Sulfur to burn for a need, mol: S + O2 → SO2. Raises PlanError."""
    check_need(need_mol)
    sulfur_g = rounded_up(SULFUR_OVER_NEED * need_mol * MOLAR_MASS_G_PER_MOL["S"])
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
    gas_mol_per_min = draw_mol_per_min(charge.draw_l_per_min, charge.temperature_c, charge.pressure_pa)
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
