"""The generator flask on the drip route: liquor, headspace and delivery tube as differential equations.

Promises that no sulfur is made or lost: charged = locked + dissolved + headspace + delivered at every step, to
rounding. The liquor gives SO2 to the headspace with a lag; the headspace pushes its own mixture, air first, through
a tube with a non-return valve. Salt that would lie undissolved counts as dissolved, and so as locked.
"""

from __future__ import annotations

import math
from typing import Final

from monitor.rig.headspace import Headspace
from monitor.rig.liquor import (
    SATURATED_MOL_PER_KG,
    Constants,
    hydrogen_ion,
    ionic_strength,
    molecular_fraction,
    water_vapour_pa,
)
from monitor.rig.reality import Reality
from monitor.terms import Acid, DripTerms, Salt

WATER_G_PER_MOL: Final = 18.015
WATER_G_PER_ML: Final = 0.998  # at 20 °C
# What a dissolved gram adds, by the density 1.36 of a 39 % bisulfite liquor [from memory].
SALT_ML_PER_G: Final = 0.32
LIQUOR_J_PER_ML_K: Final = 4.1  # a strong salt solution, a round figure
LOSS_W_PER_K: Final = 0.5  # of a half-litre flask to the room, a round figure
ZERO_C_K: Final = 273.15
MAX_IONIC_MOL_PER_KG: Final = 14.0  # beyond it the theory of ions says nothing

# formula mass g/mol (IUPAC/CIAAW 2021 weights), sulfur atoms, cations, and waters taken up to become (bi)sulfite
SALTS: Final[dict[Salt, tuple[float, int, int, int]]] = {
    "Na2S2O5": (190.0945, 2, 2, 1),
    "K2S2O5": (222.3116, 2, 2, 1),
    "NaHSO3": (104.0548, 1, 1, 0),
    "Na2SO3": (126.0365, 1, 2, 0),
    "K2SO3": (158.2536, 1, 2, 0),
}
ACID_G_PER_MOL: Final[dict[Acid, float]] = {"HCl": 36.458, "H2SO4": 98.072}


class DripFlask:
    """One flask with its charge. All amounts in mol, pressures in Pa."""

    def __init__(self, charge: DripTerms, reality: Reality) -> None:
        formula_g, sulfurs, cations, waters = SALTS[charge.salt]
        salt_g = charge.salt_mass_g.value * charge.salt_purity.value * reality.salt_ratio
        salt_mol = salt_g / formula_g
        self.charged_mol = salt_mol * sulfurs
        self._cation_mol = salt_mol * cations
        self._sulfuric = charge.acid == "H2SO4"
        self._acid_mol_per_ul = charge.acid_mol_per_l.value * reality.acid_strength_ratio * 1e-6
        fraction = charge.acid_mass_fraction.value
        self._acid_water_mol_per_mol = ACID_G_PER_MOL[charge.acid] * (1.0 - fraction) / fraction / WATER_G_PER_MOL
        self._water_mol = charge.water_ml * WATER_G_PER_ML / WATER_G_PER_MOL - waters * salt_mol
        self._liquor_ml = charge.water_ml + salt_g * SALT_ML_PER_G
        self._flask_ml = charge.flask_volume_ml
        self._solubility_ratio = reality.solubility_ratio
        self._transfer_per_s = 1.0 / reality.transfer_s
        self._warming_w_per_k = reality.plate_to_liquor_w_per_k
        self._room_c = self.liquor_c = charge.temperature_c
        self._constants = Constants.at(self._room_c + ZERO_C_K)
        self._pure_water_pa = water_vapour_pa(self._room_c)
        self.acid_mol = 0.0
        self.liquor_mol = self.charged_mol  # sulfur(IV) of every kind that is in the liquor
        self._fraction = 0.0
        self._h = 1e-4  # where the first search starts
        self._ionic = 1.0
        self.head = Headspace(
            self._head_ml,
            self._room_c + ZERO_C_K,
            ambient_pa=charge.pressure_pa,
            tube_s=reality.tube_s,
            vapour_pa=self._pure_water_pa,
        )
        for _ in range(50):  # until the ionic strength has settled
            self._speciate()

    @property
    def dissolved_mol(self) -> float:
        """SO2(aq) in the liquor."""
        return self.liquor_mol * self._fraction

    @property
    def held_mol(self) -> float:
        """Molecular SO2 in liquor and headspace."""
        return self.dissolved_mol + self.head.so2_mol

    @property
    def locked_mol(self) -> float:
        """Bisulfite and sulfite."""
        return self.liquor_mol * (1.0 - self._fraction)

    @property
    def generated_mol(self) -> float:
        """Molecular SO2 that exists or has left."""
        return self.held_mol + self.head.delivered_mol

    def add_acid(self, volume_ul: float) -> None:
        """Let `volume_ul` of acid fall into the liquor."""
        acid_mol = volume_ul * self._acid_mol_per_ul
        self.acid_mol += acid_mol
        self._water_mol += acid_mol * self._acid_water_mol_per_mol
        self._liquor_ml += volume_ul * 1e-3

    def step(self, dt_s: float, plate_c: float, permit: bool) -> None:  # noqa: ARG002 - the tap has the permit's valve
        """Go on by `dt_s`, a step of some tens of milliseconds, over a plate at `plate_c`."""
        if self._warming_w_per_k:
            self._exchange_heat(dt_s, plate_c)
        self.head.volume_ml = self._head_ml
        self._speciate()
        self._transfer(dt_s)
        self.head.vent(dt_s)

    @property
    def _head_ml(self) -> float:
        return max(self._flask_ml - self._liquor_ml, 1.0)

    def _exchange_heat(self, dt_s: float, plate_c: float) -> None:
        heat_w = self._warming_w_per_k * (plate_c - self.liquor_c)
        heat_w -= LOSS_W_PER_K * (self.liquor_c - self._room_c)
        j_per_k = self._liquor_ml * LIQUOR_J_PER_ML_K
        self.liquor_c = min(self.liquor_c + heat_w * dt_s / j_per_k, 99.0)
        self._constants = Constants.at(self.liquor_c + ZERO_C_K)
        self.head.t_k = self.liquor_c + ZERO_C_K
        self._pure_water_pa = water_vapour_pa(self.liquor_c)

    def _speciate(self) -> None:
        # Each SO2 that was made gave back the water that held it as bisulfite.
        water_mol = self._water_mol + self.generated_mol
        self._water_kg = water_mol * WATER_G_PER_MOL * 1e-3
        per_kg = 1.0 / self._water_kg
        s4, cation, acid = self.liquor_mol * per_kg, self._cation_mol * per_kg, self.acid_mol * per_kg
        sulfuric = self._sulfuric
        # The ionic strength of the step before is near enough: it moves by a drop a step at most.
        anion = min(cation, SATURATED_MOL_PER_KG) + self._h
        k = self._constants.within(cation, anion, self._ionic)
        self._h = hydrogen_ion(k, s4, cation, acid, sulfuric=sulfuric, guess=self._h)
        self._ionic = min(ionic_strength(k, self._h, s4, cation, acid, sulfuric=sulfuric), MAX_IONIC_MOL_PER_KG)
        self._fraction = molecular_fraction(k, self._h)
        self._henry = k.henry * self._solubility_ratio
        solutes_mol = 2.0 * self._cation_mol + self.dissolved_mol
        self.head.vapour_pa = self._pure_water_pa * water_mol / (water_mol + solutes_mol)  # Raoult's law

    def _transfer(self, dt_s: float) -> None:
        # Liquor and headspace close their difference exponentially, so that no step size can overshoot.
        head = self.head
        mol_per_kg_mol = self._henry * head.pa_per_mol
        difference = self.dissolved_mol / self._water_kg - mol_per_kg_mol * head.so2_mol
        stiffer = 1.0 + self._water_kg * mol_per_kg_mol
        closed = -math.expm1(-self._transfer_per_s * stiffer * dt_s) / stiffer
        moved_mol = min(difference * self._water_kg * closed, self.dissolved_mol)
        self.liquor_mol -= moved_mol
        head.so2_mol += moved_mol
