"""What the sulfur(IV) in a liquor is: the charge balance, solved for the hydrogen ion.

The rig's own hand, apart from the package's chemistry, so that the account can be compared with something that is
not itself. It has the same published constants: R. N. Goldberg and V. B. Parker, J. Res. NBS 90 (1985) 341, at 25 °C:
SO2(g) → SO2(aq) K 1.23 mol/(kg bar), ΔH −26.97 kJ/mol, ΔCp 155 J/(mol K); pKa1 1.86, ΔH −17.78 kJ/mol; pKa2 7.17,
ΔH −3.67 kJ/mol. HSO4⁻: pKa 1.99. Salting-out of SO2 by the cation: 0.0246 kg/mol. Ions by the specific ion
interaction theory (SIT) with the coefficients of PHREEQC's sit.dat, potassium taken as sodium.
Molalities are mol per kg of water, temperatures kelvin.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from monitor.rig.headspace import R_J_PER_MOL_K

T0_K: Final = 298.15
SALTING_KG_PER_MOL: Final = 0.0246
PK_WATER: Final = 13.995  # from memory of the CRC Handbook, 25 °C; matters only over a pure sulfite
WATER_J_PER_MOL: Final = 55_800.0  # heat of water's dissociation, likewise
PK_BISULFATE: Final = 1.99
SATURATED_MOL_PER_KG: Final = 7.0  # of the cation; what lies undissolved does nothing [bisulfite, from memory of CRC]
FUGACITY: Final = 0.983  # coefficient of SO2 at 1 atm, 25 °C: exp(Z − 1), Z from the real molar volume 24.052 L
DEBYE_A: Final = 0.509  # Debye–Hückel, (kg/mol)^½ at 25 °C
H_ANION, CATION_HSO4, CATION_SO4, CATION_SO3 = 0.12, -0.01, -0.12, -0.08  # SIT ε, kg/mol


def _at(log10_k0: float, dh_j_per_mol: float, t_k: float, dcp_j_per_mol_k: float = 0.0) -> float:
    """An equilibrium constant at `t_k` from its 25 °C value, reaction enthalpy and heat capacity change."""
    inverse = 1.0 / T0_K - 1.0 / t_k
    flat = dh_j_per_mol - dcp_j_per_mol_k * T0_K
    return math.exp(
        log10_k0 * math.log(10.0) + (flat * inverse + dcp_j_per_mol_k * math.log(t_k / T0_K)) / R_J_PER_MOL_K
    )


@dataclass(frozen=True, slots=True)
class Constants:
    """The constants, mol/kg, and Henry's in mol/(kg Pa): at one temperature, then in one liquor."""

    henry: float
    k1: float
    k2: float
    kw: float
    k_bisulfate: float

    @classmethod
    def at(cls, t_k: float) -> Constants:
        """The thermodynamic constants at `t_k` kelvin."""
        return cls(
            henry=_at(math.log10(1.23), -26_970.0, t_k, 155.0) * FUGACITY * 1e-5,
            k1=_at(-1.86, -17_780.0, t_k),
            k2=_at(-7.17, -3_670.0, t_k),
            kw=_at(-PK_WATER, WATER_J_PER_MOL, t_k),
            k_bisulfate=10.0**-PK_BISULFATE,
        )

    def within(self, cation: float, anion: float, ionic: float) -> Constants:
        """The same as ratios of molalities, in a liquor of so much cation, single anions and ionic strength, mol/kg.

        Each constant moves by the Debye–Hückel term as often as its reaction gains z², and by the ε of its ions.
        """
        root = math.sqrt(ionic)
        d = DEBYE_A * root / (1.0 + 1.5 * root)
        cation = min(cation, SATURATED_MOL_PER_KG)
        salting = SALTING_KG_PER_MOL * cation
        h = H_ANION * anion
        return Constants(
            henry=self.henry * 10.0**-salting,
            k1=self.k1 * 10.0 ** (2.0 * d + salting - h),
            k2=self.k2 * 10.0 ** (4.0 * d - h - CATION_SO3 * cation),
            kw=self.kw * 10.0 ** (2.0 * d - h),
            k_bisulfate=self.k_bisulfate * 10.0 ** (4.0 * d - h + (CATION_HSO4 - CATION_SO4) * cation),
        )


def hydrogen_ion(k: Constants, s4: float, cation: float, acid: float, *, sulfuric: bool, guess: float) -> float:
    """The hydrogen ion (mol/kg) at which charges balance, by Newton's method in its logarithm, kept in a bracket.

    `s4`, `cation` and `acid` are molalities of sulfur(IV), of the salt's cation and of the acid added; `guess` starts
    the search. The imbalance grows with the hydrogen ion throughout, so the bracket always holds the one root.
    """
    k1, k2, kw, k3 = k.k1, k.k2, k.kw, k.k_bisulfate
    low, high, u = -40.0, 5.0, math.log(guess)
    for _ in range(100):
        h = math.exp(u)
        base, neutral = kw / h, h * h
        bisulfite, sulfite = k1 * h, k1 * k2
        total = neutral + bisulfite + sulfite
        given = k3 / (h + k3) if sulfuric else 0.0  # of the second protons
        imbalance = cation + h - base - s4 * (bisulfite + 2.0 * sulfite) / total - acid * (1.0 + given)
        per_u = h + base + s4 * (neutral * (bisulfite + 4.0 * sulfite) + bisulfite * sulfite) / (total * total)
        per_u += acid * given * (1.0 - given)
        if imbalance > 0.0:
            high = u
        else:
            low = u
        step = imbalance / per_u
        if abs(step) < 1e-9:
            return math.exp(u - step)
        u -= step
        if not low < u < high:
            u = 0.5 * (low + high)
    return math.exp(u)


def molecular_fraction(k: Constants, h: float) -> float:
    """The share of sulfur(IV) that is SO2(aq) at the hydrogen ion `h` (mol/kg)."""
    return h * h / (h * h + k.k1 * h + k.k1 * k.k2)


def ionic_strength(k: Constants, h: float, s4: float, cation: float, acid: float, *, sulfuric: bool) -> float:
    """The ionic strength, mol/kg, by the charges that balance at the hydrogen ion `h`."""
    sulfite = s4 * k.k1 * k.k2 / (h * h + k.k1 * h + k.k1 * k.k2)
    sulfate = acid * k.k_bisulfate / (h + k.k_bisulfate) if sulfuric else 0.0
    # Half of all charges squared: the positive ones are single, each double anion counts twice its charge.
    return cation + h + sulfite + sulfate


def water_vapour_pa(t_c: float) -> float:
    """Vapour pressure of pure water, Pa: A. L. Buck, J. Appl. Meteorol. 20 (1981) 1527, in its 1996 form [memory]."""
    return 611.21 * math.exp((18.678 - t_c / 234.5) * t_c / (257.14 + t_c))
