"""What takes the gas: for each receiver, the SO2 that a mole of it wants. Amounts in mol, masses in g.

Source of every ratio: the balanced equation in its `words`; nothing is allowed for side reactions, so an excess is
the user's to add. Published check: 0.87 g of metabisulfite or 1.15 g of sodium sulfite a gram of gold, with 20 %.
"""

from __future__ import annotations

from dataclasses import dataclass

from monitor.chemistry.gas import ATMOSPHERE_PA
from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL
from monitor.chemistry.water import saturation_mol_per_kg


@dataclass(frozen=True, slots=True)
class Reaction:
    """SO2 wanted, mol a mol, and what an amount in grams is an amount of."""

    so2_per_mol: float
    amount_of: str  # key of MOLAR_MASS_G_PER_MOL
    words: str


REACTIONS: dict[str, Reaction] = {
    "Au": Reaction(1.5, "Au", "gold from chloroauric acid: 2 HAuCl4 + 3 SO2 + 6 H2O → 2 Au + 3 H2SO4 + 8 HCl"),
    "Se": Reaction(2.0, "Se", "selenium from selenous acid: H2SeO3 + 2 SO2 + H2O → Se + 2 H2SO4"),
    "Te": Reaction(2.0, "Te", "tellurium from tellurium(IV): H2TeO3 + 2 SO2 + H2O → Te + 2 H2SO4"),
    "Cr": Reaction(1.5, "Cr", "chromium(VI) to chromium(III): H2Cr2O7 + 3 SO2 → Cr2(SO4)3 + H2O"),
    "I2": Reaction(1.0, "I2", "iodine to iodide: I2 + SO2 + 2 H2O → 2 HI + H2SO4"),
    "Br2": Reaction(1.0, "Br2", "bromine to bromide: Br2 + SO2 + 2 H2O → 2 HBr + H2SO4"),
    "Cl2": Reaction(1.0, "Cl2", "chlorine to chloride: Cl2 + SO2 + 2 H2O → 2 HCl + H2SO4"),
    "H2O2": Reaction(1.0, "H2O2", "hydrogen peroxide to sulfuric acid: H2O2 + SO2 → H2SO4"),
    "NaOH-bisulfite": Reaction(1.0, "NaOH", "caustic soda to bisulfite: NaOH + SO2 → NaHSO3"),
    "NaOH-sulfite": Reaction(0.5, "NaOH", "caustic soda to sulfite: 2 NaOH + SO2 → Na2SO3 + H2O"),
    "Na2CO3-bisulfite": Reaction(2.0, "Na2CO3", "soda to bisulfite: Na2CO3 + 2 SO2 + H2O → 2 NaHSO3 + CO2"),
    "Na2CO3-sulfite": Reaction(1.0, "Na2CO3", "soda to sulfite: Na2CO3 + SO2 → Na2SO3 + CO2"),
    "water": Reaction(0.0, "H2O", "water to saturation under SO2 at one atmosphere in all"),
}


def need_mol(
    reaction: str,
    *,
    amount_g: float | None = None,
    amount_mol: float | None = None,
    excess: float = 0.0,
    temperature_c: float = 25.0,
) -> float:
    """SO2 that this much of a receiver wants, mol, `excess` (a fraction) included; just one of the amounts is given.

    An amount is of the element or substance that takes the gas: grams of gold, not of its salt. `temperature_c`
    matters for water alone. Raises ValueError for an unknown reaction or when not just one amount is given.
    """
    if reaction not in REACTIONS:
        raise ValueError(f"the receiver's reaction {reaction!r} is not known; known are {', '.join(REACTIONS)}")
    if (amount_g is None) == (amount_mol is None):
        raise ValueError(f"the receiver {reaction} takes either an amount in grams or one in moles")
    taken = REACTIONS[reaction]
    molar_mass = MOLAR_MASS_G_PER_MOL[taken.amount_of]
    moles = amount_g / molar_mass if amount_g is not None else (amount_mol or 0.0)
    per_mol = taken.so2_per_mol
    if reaction == "water":
        per_mol = saturation_mol_per_kg(temperature_c, ATMOSPHERE_PA) * molar_mass / 1000.0
    return moles * per_mol * (1.0 + excess)
