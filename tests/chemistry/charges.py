"""Drip charges for the tests, plainly stated."""

from __future__ import annotations

from monitor.chemistry.acids import mass_fraction_from_mol_per_l
from monitor.terms import Acid, DripTerms, Measured, Salt


def drip(
    salt: Salt = "Na2S2O5",
    salt_g: float = 95.0,
    water_ml: float = 100.0,
    acid: Acid = "HCl",
    acid_mol_per_l: float = 10.0,
    acid_ml: float = 120.0,
    flask_ml: float = 500.0,
    temperature_c: float = 25.0,
    relative_u: float = 0.01,
) -> DripTerms:
    """A charge, pure; by default 95 g of metabisulfite in 100 mL of water and 120 mL of acid of 10 mol/L.

    That default is the balanced charge of common practice, no source.
    """
    fraction = mass_fraction_from_mol_per_l(acid, acid_mol_per_l)
    return DripTerms(
        salt=salt,
        salt_mass_g=Measured(salt_g, relative_u * salt_g),
        salt_purity=Measured(1.0, relative_u),
        water_ml=water_ml,
        acid=acid,
        acid_mol_per_l=Measured(acid_mol_per_l, relative_u * acid_mol_per_l),
        acid_mass_fraction=Measured(fraction, relative_u * fraction),
        acid_volume_ml=acid_ml,
        flask_volume_ml=flask_ml,
        temperature_c=temperature_c,
    )
