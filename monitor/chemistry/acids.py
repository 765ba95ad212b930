"""Acid strength: mass percent to mol/L and back, and density, at 20 °C, from the CRC Handbook's tables.

Promise: a strength outside its table is refused, never extrapolated. Density is never inverted (sulfuric acid
is densest near 97 to 98 %); amount concentration rises all the way, and that is what is inverted.
"""

from __future__ import annotations

import csv
from bisect import bisect_left
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import NamedTuple

from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL
from monitor.terms import Acid

_TABLES: dict[Acid, str] = {
    "HCl": "crc_handbook_102_hydrochloric_acid.csv",
    "H2SO4": "crc_handbook_102_sulfuric_acid.csv",
}


class AcidRow(NamedTuple):
    """One line of a table: mass percent, g/cm³, mol/L, and whether it was read from the table or recalled."""

    mass_percent: float
    density_g_per_cm3: float
    mol_per_l: float
    source: str


@cache
def table(acid: Acid) -> tuple[AcidRow, ...]:
    """The rows of an acid's table, weakest first."""
    text = (files("monitor.chemistry") / "tables" / _TABLES[acid]).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return tuple(
        AcidRow(float(row["mass_percent"]), float(row["density_g_per_cm3"]), float(row["mol_per_l"]), row["source"])
        for row in csv.DictReader(lines)
    )


@cache
def _percents(acid: Acid) -> tuple[float, ...]:
    return tuple(row.mass_percent for row in table(acid))


def density_g_per_cm3(acid: Acid, mass_fraction: float) -> float:
    """Density at 20 °C, g/cm³, of an acid of this mass fraction (0 to 1).

    Raises ValueError outside the acid's table.
    """
    percent = mass_fraction * 100.0
    rows = table(acid)
    lowest, highest = rows[0].mass_percent, rows[-1].mass_percent
    if not lowest - 1e-9 <= percent <= highest + 1e-9:
        raise ValueError(
            f"{acid} of {percent:.4g} % by mass is outside the density table, which holds {lowest:g} to {highest:g} %"
        )
    index = min(max(bisect_left(_percents(acid), percent), 1), len(rows) - 1)
    lower, upper = rows[index - 1], rows[index]
    share = (percent - lower.mass_percent) / (upper.mass_percent - lower.mass_percent)
    bow = share * (1.0 - share) * _bow_g_per_cm3(acid, index)
    return lower.density_g_per_cm3 * (1.0 - share) + upper.density_g_per_cm3 * share + bow


@cache
def _bow_g_per_cm3(acid: Acid, index: int) -> float:
    """How the curve bows above its chord between rows index−1 and index: 4 times the height at the middle, g/cm³.

    From the second differences of the neighbouring rows. Straight lines alone would be 0.4 % low at 85 % H2SO4.
    """
    rows = table(acid)
    slopes = [
        (b.density_g_per_cm3 - a.density_g_per_cm3) / (b.mass_percent - a.mass_percent) for a, b in pairwise(rows)
    ]
    curvatures = [
        2.0 * (slopes[j + 1] - slopes[j]) / (rows[j + 2].mass_percent - rows[j].mass_percent)
        for j in (index - 2, index - 1)
        if 0 <= j < len(slopes) - 1
    ]
    width = rows[index].mass_percent - rows[index - 1].mass_percent
    return -0.5 * sum(curvatures) / len(curvatures) * width * width


def mol_per_l_from_mass_fraction(acid: Acid, mass_fraction: float) -> float:
    """Amount concentration at 20 °C, mol/L, of an acid of this mass fraction. Raises ValueError outside the table."""
    density = density_g_per_cm3(acid, mass_fraction)
    return density * 1000.0 * mass_fraction / MOLAR_MASS_G_PER_MOL[acid]


def mass_fraction_from_mol_per_l(acid: Acid, mol_per_l: float) -> float:
    """Mass fraction (0 to 1) of an acid of this strength at 20 °C. Raises ValueError outside the table."""
    rows = table(acid)
    low, high = rows[0].mass_percent / 100.0, rows[-1].mass_percent / 100.0
    weakest = mol_per_l_from_mass_fraction(acid, low)
    strongest = mol_per_l_from_mass_fraction(acid, high)
    if not weakest * (1 - 1e-9) <= mol_per_l <= strongest * (1 + 1e-9):
        raise ValueError(
            f"{acid} of {mol_per_l:.4g} mol/L is outside the density table, "
            f"which holds {weakest:.3g} to {strongest:.4g} mol/L"
        )
    while high - low > 1e-12:
        middle = 0.5 * (low + high)
        if mol_per_l_from_mass_fraction(acid, middle) < mol_per_l:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
