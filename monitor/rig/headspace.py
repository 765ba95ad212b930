"""The gas over a charge, and the delivery tube that it leaves by.

Promises that nothing flows back: a non-return valve stands in the tube, and what is over the ambient pressure leaves
as the headspace's own mixture, the air that was there first with it. Amounts in mol, pressures in Pa, ideal gas.
"""

from __future__ import annotations

import math
from typing import Final

R_J_PER_MOL_K: Final = 8.31446  # CODATA 2018, rounded


class Headspace:
    """A volume of gas at one temperature. Its owner sets `volume_ml`, `t_k` and `vapour_pa` as they change."""

    def __init__(
        self, volume_ml: float, t_k: float, *, ambient_pa: float, tube_s: float, vapour_pa: float = 0.0
    ) -> None:
        self.volume_ml = volume_ml
        self.t_k = t_k
        self.vapour_pa = vapour_pa
        self.ambient_pa = ambient_pa
        self._tube_per_s = 1.0 / tube_s
        self.so2_mol = 0.0
        self.air_mol = (ambient_pa - vapour_pa) / self.pa_per_mol
        self.delivered_mol = 0.0
        self.delivered_gas_mol = 0.0

    @property
    def pa_per_mol(self) -> float:
        """The pressure that a mole of gas makes in this volume."""
        return R_J_PER_MOL_K * self.t_k * 1e6 / self.volume_ml

    @property
    def pressure_pa(self) -> float:
        """The total pressure."""
        return (self.so2_mol + self.air_mol) * self.pa_per_mol + self.vapour_pa

    def vent(self, dt_s: float) -> None:
        """Let out through the tube what `dt_s` lets out."""
        over_pa = self.pressure_pa - self.ambient_pa
        if over_pa <= 0.0:
            return
        gas_mol = over_pa / self.pa_per_mol * -math.expm1(-self._tube_per_s * dt_s)
        share = self.so2_mol / (self.so2_mol + self.air_mol)
        self.so2_mol -= gas_mol * share
        self.air_mol -= gas_mol * (1.0 - share)
        self.delivered_mol += gas_mol * share
        self.delivered_gas_mol += gas_mol
