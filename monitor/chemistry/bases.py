"""Strength of the scrubber's base: mass percent to mol/L at 20 °C.

Densities from memory of the CRC Handbook's concentrative properties; 10 % NaOH there is 2.772 mol/L.
"""

from __future__ import annotations

from bisect import bisect_left

from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL

# (mass percent, g/cm³ at 20 °C)
_ROWS: dict[str, tuple[tuple[float, float], ...]] = {
    "NaOH": (
        (0.0, 0.9982),
        (1.0, 1.0095),
        (2.0, 1.0207),
        (5.0, 1.0538),
        (8.0, 1.0869),
        (10.0, 1.1089),
        (12.0, 1.1309),
        (16.0, 1.1751),
        (20.0, 1.2192),
        (30.0, 1.3277),
        (40.0, 1.4299),
        (50.0, 1.5253),
    ),
    "Na2CO3": (
        (0.0, 0.9982),
        (2.0, 1.0190),
        (4.0, 1.0398),
        (6.0, 1.0606),
        (8.0, 1.0816),
        (10.0, 1.1029),
        (12.0, 1.1244),
        (14.0, 1.1463),
    ),
}


def mol_per_l_from_mass_fraction(base: str, mass_fraction: float) -> float:
    """Amount concentration, mol/L, of a base of this mass fraction (0 to 1) at 20 °C.

    Raises ValueError outside the table.
    """
    rows, percent = _ROWS[base], mass_fraction * 100.0
    if not 0.0 < percent <= rows[-1][0] + 1e-9:
        raise ValueError(f"a strength of {base} over 0 and at most {rows[-1][0]:g} %")
    index = min(bisect_left([row[0] for row in rows], percent), len(rows) - 1)
    (low, low_density), (high, high_density) = rows[index - 1], rows[index]
    density = low_density + (high_density - low_density) * (percent - low) / (high - low)
    return density * 1000.0 * mass_fraction / MOLAR_MASS_G_PER_MOL[base]
