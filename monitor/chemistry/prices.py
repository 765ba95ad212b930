"""What a mole of SO2 costs by each route, at the buyer's own prices; no price is known here.

By the equations, with the purity and strength of the run: salt and acid, sulfur and hot sulfuric acid, or sulfur and
air. As a rule metabisulfite costs more than acid with sulfur, and these than burning: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from monitor.chemistry.substances import ACID_EQUIVALENTS, MOLAR_MASS_G_PER_MOL, SALTS
from monitor.terms import Acid, Salt


@dataclass(frozen=True, slots=True)
class Prices:
    """Prices in any one currency, None where not given: solids a kilogram, acids a litre."""

    salt_per_kg: float | None = None
    acid_per_l: float | None = None
    sulfuric_per_l: float | None = None
    sulfur_per_kg: float | None = None


@dataclass(frozen=True, slots=True)
class RouteCost:
    """What a mole of SO2 made by a route costs."""

    route: str
    cost_per_mol: float


def route_costs(
    prices: Prices, salt: Salt, purity: float, acid: Acid, acid_mol_per_l: float, sulfuric_mol_per_l: float
) -> tuple[RouteCost, ...]:
    """The routes whose prices are all given, the dearest first. `purity` is a mass fraction."""
    found = []
    if prices.salt_per_kg is not None and prices.acid_per_l is not None:
        data = SALTS[salt]
        salt_kg = MOLAR_MASS_G_PER_MOL[salt] / data.sulfur_iv / purity / 1000.0
        acid_l = data.protons_to_so2 / ACID_EQUIVALENTS[acid] / acid_mol_per_l
        found.append(RouteCost("acid-drip", salt_kg * prices.salt_per_kg + acid_l * prices.acid_per_l))
    sulfur_kg = MOLAR_MASS_G_PER_MOL["S"] / 1000.0
    if prices.sulfur_per_kg is not None:
        if prices.sulfuric_per_l is not None:
            acid_l = 2.0 / 3.0 / sulfuric_mol_per_l
            cost = sulfur_kg / 3.0 * prices.sulfur_per_kg + acid_l * prices.sulfuric_per_l
            found.append(RouteCost("acid-on-sulfur", cost))
        found.append(RouteCost("burner", sulfur_kg * prices.sulfur_per_kg))
    return tuple(sorted(found, key=lambda one: -one.cost_per_mol))
