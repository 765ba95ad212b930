"""Molar masses, and the sulfite salts as data. Amounts in mol, masses in g.

Source of every molar mass: IUPAC/CIAAW 2021 standard atomic weights, the abridged value where the full one is an
interval (Prohaska et al., Pure Appl. Chem. 94 (2022) 573).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from monitor.terms import Acid, Salt

# CIAAW 2021 standard atomic weights, g/mol.
ATOMIC_WEIGHT_G_PER_MOL: dict[str, float] = {
    "H": 1.0080,
    "O": 15.999,
    "Na": 22.98976928,
    "S": 32.06,
    "Cl": 35.45,
    "K": 39.0983,
    "C": 12.011,
    "Cr": 51.9961,
    "Se": 78.971,
    "Br": 79.904,
    "Te": 127.60,
    "I": 126.90447,
    "Au": 196.966570,
}


def _molar_mass(**atoms: int) -> float:
    return sum(ATOMIC_WEIGHT_G_PER_MOL[element] * count for element, count in atoms.items())


# Formula → g/mol.
MOLAR_MASS_G_PER_MOL: dict[str, float] = {
    "H2O": _molar_mass(H=2, O=1),
    "SO2": _molar_mass(S=1, O=2),
    "S": _molar_mass(S=1),
    "HCl": _molar_mass(H=1, Cl=1),
    "H2SO4": _molar_mass(H=2, S=1, O=4),
    "Na2S2O5": _molar_mass(Na=2, S=2, O=5),
    "K2S2O5": _molar_mass(K=2, S=2, O=5),
    "NaHSO3": _molar_mass(Na=1, H=1, S=1, O=3),
    "Na2SO3": _molar_mass(Na=2, S=1, O=3),
    "K2SO3": _molar_mass(K=2, S=1, O=3),
    "NaOH": _molar_mass(Na=1, O=1, H=1),
    "Na2CO3": _molar_mass(Na=2, C=1, O=3),
    "Au": _molar_mass(Au=1),
    "HAuCl4": _molar_mass(H=1, Au=1, Cl=4),
    "Se": _molar_mass(Se=1),
    "Te": _molar_mass(Te=1),
    "Cr": _molar_mass(Cr=1),
    "I2": _molar_mass(I=2),
    "Br2": _molar_mass(Br=2),
    "Cl2": _molar_mass(Cl=2),
    "H2O2": _molar_mass(H=2, O=2),
}


@dataclass(frozen=True, slots=True)
class SaltData:
    """What one formula of a salt brings into the liquor, in mol a mol.

    `protons_to_so2` is the mol H+ that each mol of its sulfur(IV) takes to become SO2: bisulfite 1, sulfite 2.
    A disulfite is two bisulfites less a water, so it takes one water up when it dissolves.
    `volume_ml_per_sulfur_iv` is the volume that it adds to the water, mL per mol of sulfur(IV): apparent molar
    volumes, from memory of density tables of the CRC Handbook, to some 5 mL/mol.
    """

    words: str
    cation: Literal["Na+", "K+"]
    sulfur_iv: int
    cations: int
    protons_to_so2: int
    water_taken_up: int
    volume_ml_per_sulfur_iv: float


SALTS: dict[Salt, SaltData] = {
    "Na2S2O5": SaltData("sodium metabisulfite", "Na+", 2, 2, 1, 1, 33.0),
    "K2S2O5": SaltData("potassium metabisulfite", "K+", 2, 2, 1, 1, 43.0),
    "NaHSO3": SaltData("sodium bisulfite", "Na+", 1, 1, 1, 0, 33.0),
    "Na2SO3": SaltData("sodium sulfite", "Na+", 1, 2, 2, 0, 17.0),
    "K2SO3": SaltData("potassium sulfite", "K+", 1, 2, 2, 0, 37.0),
}

# Acid equivalents, mol H+ a mol that the acid can give.
ACID_EQUIVALENTS: dict[Acid, int] = {"HCl": 1, "H2SO4": 2}


def sulfur_iv_mol(salt: Salt, mass_g: float, purity: float) -> float:
    """Sulfur(IV) in a charge, mol; `purity` is a mass fraction, 0 to 1."""
    return mass_g * purity / MOLAR_MASS_G_PER_MOL[salt] * SALTS[salt].sulfur_iv
