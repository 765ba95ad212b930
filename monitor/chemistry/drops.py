"""The volume of a drop from its tip, before it is calibrated; and drops to mL.

An estimate only: the drop volume is the largest error of the account, so it is calibrated with the acid that will be
used, at the rate that will be used. "20 drops to the millilitre" is for water and overstates a dose of acid.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files
from itertools import pairwise
from math import pi

from monitor.terms import Measured

STANDARD_GRAVITY_M_PER_S2 = 9.80665  # CGPM 1901
WATER_SURFACE_TENSION_MN_PER_M = 72.75  # 20 °C, IAPWS R1-76
HYDROCHLORIC_ACID_30_SURFACE_TENSION_MN_PER_M = 68.0  # 30 % by mass, 20 °C, from memory of handbook tables
ESTIMATE_RELATIVE_U = 0.10  # measured drops of water (Eschbaum 1895) lie within 10 %


@cache
def drop_factors() -> tuple[tuple[float, float], ...]:
    """Harkins and Brown's table: (tip radius over cube root of drop volume, factor)."""
    text = (files("monitor.chemistry") / "tables" / "harkins_brown_1919_drop_weight.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return tuple(
        (float(row["radius_over_cube_root_of_volume"]), float(row["factor"])) for row in csv.DictReader(lines)
    )


def _factor(ratio: float) -> float | None:
    for (low, f_low), (high, f_high) in pairwise(drop_factors()):
        if ratio <= high:
            return f_low + (f_high - f_low) * (ratio - low) / (high - low)
    return None


def estimate_drop_volume_ul(
    tip_outside_diameter_mm: float, surface_tension_mn_per_m: float, density_g_per_cm3: float
) -> Measured:
    """Volume of a drop that falls slowly from a wetted tip, µL, with its standard uncertainty of 10 %.

    Tate's law with the Harkins–Brown factor: V = 2π r γ f / (ρ g), f from r / V^(1/3), found by bisection. Raises
    ValueError for a tip that is not positive or is too wide for the table (for water, about 14 mm).
    """
    if tip_outside_diameter_mm <= 0.0:
        raise ValueError(
            f"a tip of {tip_outside_diameter_mm:g} mm has no drop; a positive outside diameter is wanted"
        )
    radius_mm = tip_outside_diameter_mm / 2.0
    # mm · mN/m = µN; over g/cm³ · m/s² that is µL.
    tate_ul = 2.0 * pi * radius_mm * surface_tension_mn_per_m / (density_g_per_cm3 * STANDARD_GRAVITY_M_PER_S2)
    low_ul, high_ul = 0.5 * tate_ul, tate_ul
    while high_ul - low_ul > 1e-9 * tate_ul:
        volume_ul = 0.5 * (low_ul + high_ul)
        factor = _factor(radius_mm / volume_ul ** (1.0 / 3.0))
        if factor is None:
            raise ValueError(f"a tip of {tip_outside_diameter_mm:g} mm is too wide for the drop-weight table")
        if tate_ul * factor > volume_ul:
            low_ul = volume_ul
        else:
            high_ul = volume_ul
    volume_ul = 0.5 * (low_ul + high_ul)
    return Measured(volume_ul, ESTIMATE_RELATIVE_U * volume_ul)


def drops_for_ml(volume_ml: float, drop_ul: float) -> float:
    """Drops of `drop_ul` µL in `volume_ml` mL."""
    return volume_ml * 1000.0 / drop_ul


def ml_for_drops(drops: float, drop_ul: float) -> float:
    """Volume of that many drops of `drop_ul` µL, mL."""
    return drops * drop_ul / 1000.0
