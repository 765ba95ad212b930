"""The two routes without a drip: sulfur in hot sulfuric acid, and sulfur burnt in air.

Both are plain: enough for the monitor to be watched on a route whose gas no drop meters. Sulfur is conserved as on
the drip route. The rates are invented, of the order at which such an apparatus is of use; they are no kinetics.
"""

from __future__ import annotations

import math
from typing import Final

from monitor.rig.headspace import R_J_PER_MOL_K, Headspace
from monitor.rig.reality import Reality
from monitor.terms import AcidOnSulfurTerms, BurnerTerms

SULFUR_G_PER_MOL: Final = 32.06  # IUPAC/CIAAW 2021
ZERO_C_K: Final = 273.15
RATE_AT_300_C_PER_S: Final = 5e-4  # invented: half in 23 minutes
ACTIVATION_J_PER_MOL: Final = 120_000.0  # invented: twice as fast every 16 °C
CHARGE_LAG_S: Final = 60.0  # flask behind plate, invented
BURNER_SO2_FRACTION: Final = 0.10  # of the gas drawn, invented; 0.21 is the most that air can make


class HotAcid:
    """2 H2SO4 + S → 3 SO2 + 2 H2O in a flask on the plate. Amounts in mol of SO2, made or still to be made."""

    def __init__(self, charge: AcidOnSulfurTerms, reality: Reality) -> None:
        sulfur_mol = charge.sulfur_mass_g.value / SULFUR_G_PER_MOL
        acid_mol = charge.acid_volume_ml * 1e-3 * charge.acid_mol_per_l.value * reality.acid_strength_ratio
        self.charged_mol = 3.0 * min(sulfur_mol, acid_mol / 2.0)
        self.locked_mol = self.charged_mol
        self.charge_c = charge.temperature_c
        head_ml = max(charge.flask_volume_ml - charge.acid_volume_ml, 1.0)
        self.head = Headspace(head_ml, self.charge_c + ZERO_C_K, ambient_pa=charge.pressure_pa, tube_s=reality.tube_s)

    @property
    def held_mol(self) -> float:
        """SO2 in the headspace; the hot acid dissolves next to none."""
        return self.head.so2_mol

    @property
    def generated_mol(self) -> float:
        """SO2 made so far."""
        return self.head.so2_mol + self.head.delivered_mol

    def step(self, dt_s: float, plate_c: float, permit: bool) -> None:  # noqa: ARG002 - the permit is in the heat
        """Go on by `dt_s` over a plate at `plate_c`."""
        self.charge_c += (plate_c - self.charge_c) * -math.expm1(-dt_s / CHARGE_LAG_S)
        t_k = self.charge_c + ZERO_C_K
        rate_per_s = RATE_AT_300_C_PER_S * math.exp(
            ACTIVATION_J_PER_MOL / R_J_PER_MOL_K * (1.0 / (300.0 + ZERO_C_K) - 1.0 / t_k)
        )
        made_mol = self.locked_mol * -math.expm1(-rate_per_s * dt_s)
        self.locked_mol -= made_mol
        self.head.so2_mol += made_mol
        self.head.t_k = t_k
        self.head.vent(dt_s)


class Burner:
    """Sulfur burnt in the air that an aspirator draws, while lit and permitted. Nothing is held."""

    def __init__(self, charge: BurnerTerms, reality: Reality) -> None:
        self.charged_mol = charge.sulfur_mass_g.value / SULFUR_G_PER_MOL
        self.locked_mol = self.charged_mol
        self.held_mol = 0.0
        self.lit = False
        t_k = charge.temperature_c + ZERO_C_K
        self._gas_mol_per_s = charge.draw_l_per_min / 60.0 * charge.pressure_pa / (R_J_PER_MOL_K * t_k) * 1e-3
        self.head = Headspace(1.0, t_k, ambient_pa=charge.pressure_pa, tube_s=reality.tube_s)

    @property
    def generated_mol(self) -> float:
        """SO2 made so far, all of it delivered."""
        return self.head.delivered_mol

    def step(self, dt_s: float, plate_c: float, permit: bool) -> None:  # noqa: ARG002 - no plate on this route
        """Go on by `dt_s`; the aspirator's supply is the permit's."""
        gas_mol = self._gas_mol_per_s * dt_s if permit else 0.0
        burnt_mol = min(gas_mol * BURNER_SO2_FRACTION, self.locked_mol) if self.lit else 0.0
        self.locked_mol -= burnt_mol
        self.head.delivered_mol += burnt_mol
        self.head.delivered_gas_mol += gas_mol
