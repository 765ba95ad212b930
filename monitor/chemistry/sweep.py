"""The gas that stands over a charge, and the air that leaves before the SO2 does.

Model: a mixed headspace at ambient pressure that is full of air at first. Heating drives a part of the air out
unmixed; from then on what leaves is the headspace's own mixture, so that of a mixed headspace of volume v the air
that has left after a gas volume g is v·(1 − exp(−g/v)). All volumes are of dry gas at the run's temperature and
pressure, in L. Promise: no more air leaves than was there, and SO2 that leaves never falls while the gas grows.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import expm1

from monitor.chemistry.gas import (
    GAS_CONSTANT_J_PER_MOL_K,
    ZERO_C_K,
    so2_molar_volume_l,
    water_vapour_pressure_pa,
)
from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL, SALTS, sulfur_iv_mol
from monitor.terms import AcidOnSulfurTerms, BurnerTerms, DripTerms

AIR_G_PER_MOL = 28.965  # dry air, CIPM-2007 (Metrologia 45 (2008) 149), rounded
_HALVINGS = 80


@dataclass(frozen=True, slots=True)
class Sweep:
    """The headspace of one charge; `driven_l` of its air leaves unmixed as it is heated, `mixed_l` is what stays."""

    driven_l: float
    mixed_l: float
    so2_l_per_mol: float  # real gas
    air_l_per_mol: float  # ideal; air errs by 0.05 %
    water_mol_per_gas_l: float  # that leaves with a litre of dry gas, at saturation

    def air_l(self, gas_l: float) -> float:
        """Air that has left, L, when so much gas has left in all."""
        if gas_l <= self.driven_l or self.mixed_l <= 0.0:
            return min(gas_l, self.driven_l)
        return self.driven_l - self.mixed_l * expm1(-(gas_l - self.driven_l) / self.mixed_l)

    def so2_mol(self, gas_l: float) -> float:
        """SO2 that has left, mol, when so much gas has left in all."""
        return max(0.0, gas_l - self.air_l(gas_l)) / self.so2_l_per_mol

    def headspace_so2_mol(self, gas_l: float) -> float:
        """SO2 that stands in a headspace whose newest gas was pure SO2, mol."""
        return max(0.0, self.air_l(gas_l) - self.driven_l) / self.air_l_per_mol

    def gas_l(self, so2_mol: float) -> float:
        """All the gas that has left when so much SO2 has, L."""
        if so2_mol <= 0.0:
            return 0.0
        low, high = 0.0, so2_mol * self.so2_l_per_mol + self.driven_l + self.mixed_l
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.so2_mol(middle) < so2_mol else (low, middle)
        return high

    def parts_g(self, gas_l: float) -> tuple[float, float, float]:
        """SO2, air and water vapour in so much gas that has left, g."""
        so2_g = self.so2_mol(gas_l) * MOLAR_MASS_G_PER_MOL["SO2"]
        air_g = self.air_l(gas_l) / self.air_l_per_mol * AIR_G_PER_MOL
        return so2_g, air_g, gas_l * self.water_mol_per_gas_l * MOLAR_MASS_G_PER_MOL["H2O"]

    def parts_of_loss_g(self, loss_g: float) -> tuple[float, float, float]:
        """The same of gas that made the flask lighter by so much, g. Halved, not iterated: at first it is all air."""
        low, high = 0.0, loss_g / AIR_G_PER_MOL * self.air_l_per_mol  # no gas that leaves is lighter than dry air
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if sum(self.parts_g(middle)) < loss_g else (low, middle)
        return self.parts_g(high)


def sweep_of(charge: DripTerms | AcidOnSulfurTerms | BurnerTerms) -> Sweep:
    """The headspace of a charge. A burner has none: its gas is air, drawn through."""
    t_k = charge.temperature_c + ZERO_C_K
    water_pa = water_vapour_pressure_pa(charge.temperature_c)
    dry = 1.0 - water_pa / charge.pressure_pa
    ideal_l = GAS_CONSTANT_J_PER_MOL_K * t_k / charge.pressure_pa * 1000.0
    driven_l = mixed_l = 0.0
    if isinstance(charge, DripTerms):
        sulfur = sulfur_iv_mol(charge.salt, charge.salt_mass_g.value, charge.salt_purity.value)
        liquor_ml = charge.water_ml + sulfur * SALTS[charge.salt].volume_ml_per_sulfur_iv
        mixed_l = max(0.0, charge.flask_volume_ml - liquor_ml) * 1e-3 * dry
    elif isinstance(charge, AcidOnSulfurTerms):
        whole_l = max(0.0, charge.flask_volume_ml - charge.acid_volume_ml) * 1e-3
        mixed_l = whole_l * t_k / (charge.window_c[0] + ZERO_C_K)
        driven_l = whole_l - mixed_l
    return Sweep(
        driven_l=driven_l,
        mixed_l=mixed_l,
        so2_l_per_mol=so2_molar_volume_l(charge.temperature_c, charge.pressure_pa),
        air_l_per_mol=ideal_l,
        water_mol_per_gas_l=(1.0 / dry - 1.0) / ideal_l,
    )
