"""What a mole of SO2 costs by each route, at the buyer's own prices; no price is known here.

By the equations, with the purity and strength of the run: salt and acid, sulfur and hot sulfuric acid, or sulfur and
air. As a rule metabisulfite costs more than acid with sulfur, and these than burning: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from monitor.chemistry.acids import mol_per_l_from_mass_fraction
from monitor.chemistry.substances import ACID_EQUIVALENTS, MOLAR_MASS_G_PER_MOL, SALTS
from monitor.terms import Acid, AcidOnSulfurTerms, BurnerTerms, DripTerms, PriceTerms, Salt

Charge = DripTerms | AcidOnSulfurTerms | BurnerTerms

# What stands on a shelf, for the routes that a run does not take; common practice, no source.
SHELF_SALT: Salt = "Na2S2O5"
SHELF_PURITY = 0.97
SHELF_HCL_FRACTION = 0.30
SHELF_H2SO4_FRACTION = 0.96


@dataclass(frozen=True, slots=True)
class RouteCost:
    """What a mole of SO2 made by a route costs."""

    route: str
    cost_per_mol: float


def route_costs(
    prices: PriceTerms, salt: Salt, purity: float, acid: Acid, acid_mol_per_l: float, sulfuric_mol_per_l: float
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


def charge_costs(prices: PriceTerms, charge: Charge) -> tuple[RouteCost, ...]:
    """The routes at these prices, the dearest first: a run's own salt and acids, and for the others the shelf's."""
    sulfuric_mol_per_l, _ = _sulfuric(charge)
    if isinstance(charge, DripTerms):
        salt, purity, acid = charge.salt, charge.salt_purity.value, charge.acid
        return route_costs(prices, salt, purity, acid, charge.acid_mol_per_l.value, sulfuric_mol_per_l)
    acid_mol_per_l = mol_per_l_from_mass_fraction("HCl", SHELF_HCL_FRACTION)
    return route_costs(prices, SHELF_SALT, SHELF_PURITY, "HCl", acid_mol_per_l, sulfuric_mol_per_l)


def _sulfuric(charge: Charge) -> tuple[float, float]:
    """The hot route's acid, mol/L and mass fraction."""
    if isinstance(charge, AcidOnSulfurTerms):
        return charge.acid_mol_per_l.value, charge.acid_mass_fraction.value
    return mol_per_l_from_mass_fraction("H2SO4", SHELF_H2SO4_FRACTION), SHELF_H2SO4_FRACTION


def sulfuric_kg_per_l(charge: Charge) -> float:
    """Density of the hot route's acid, kg/L."""
    mol_per_l, fraction = _sulfuric(charge)
    return mol_per_l * MOLAR_MASS_G_PER_MOL["H2SO4"] / 1000.0 / fraction


def dripped_kg_per_l(charge: Charge) -> float:
    """Density of the drip route's acid, kg/L."""
    if isinstance(charge, DripTerms):
        grams_per_l = charge.acid_mol_per_l.value * MOLAR_MASS_G_PER_MOL[charge.acid]
        return grams_per_l / 1000.0 / charge.acid_mass_fraction.value
    grams_per_l = mol_per_l_from_mass_fraction("HCl", SHELF_HCL_FRACTION) * MOLAR_MASS_G_PER_MOL["HCl"]
    return grams_per_l / 1000.0 / SHELF_HCL_FRACTION
