"""From the gas that is wanted to the charge that makes it: salt, water, acid and flask.

Promise: a charge that is given out delivers, with its acid all in, the need for sure: delivered less its expanded
uncertainty (k = 2) is not below it. What cannot be is refused in one sentence. Amounts are rounded up
to what a bench balance and a measuring cylinder show, and the rounded charge is the one that is checked.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, isfinite

from monitor.chemistry.cautions import FLASK_FILL
from monitor.chemistry.gas import so2_molar_volume_l
from monitor.chemistry.substances import ACID_EQUIVALENTS, MOLAR_MASS_G_PER_MOL, SALTS
from monitor.chemistry.trajectory import build_trajectory
from monitor.errors import PlanError
from monitor.terms import COVERAGE, DripTerms, Measured

ACID_EXCESS = 0.10  # over what turns all the salt; common practice, no source
WATER_CATION_MOL_PER_KG = 7.0  # water that just dissolves sodium metabisulfite; saturated it holds 6.9 (CRC, memory)
# Common flask sizes, mL, nominal: ISO 1773 round-bottomed flasks, from memory.
FLASKS_ML = (50.0, 100.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 6000.0, 10000.0, 20000.0)
_MOST_TRIES = 12
_NEAR = 0.03  # of the salt: no smaller charge is looked for
_LEAST_YIELD = 0.1  # SO2 over for each further sulfur(IV): under this the acid's own water holds the gas


@dataclass(frozen=True, slots=True)
class DripDesign:
    """A charge for a need. `nominal_salt_g` would deliver the need just so, if every stated value were exact.

    `salt_expanded_uncertainty_g` is the uncertainty of delivered (k = 2) as an amount of salt: how much the salt
    that is truly needed may differ from the nominal.
    """

    charge: DripTerms
    need_mol: float
    delivered_mol: float
    delivered_expanded_uncertainty_mol: float
    nominal_salt_g: float
    salt_expanded_uncertainty_g: float


def grams_step(mass_g: float) -> float:
    """The step to which a mass or a volume of this size is rounded, g or mL: bench practice, no source."""
    return next(step for least, step in ((1000.0, 10.0), (20.0, 1.0), (2.0, 0.1), (0.0, 0.01)) if mass_g >= least)


def rounded_up(value: float) -> float:
    """A mass or a volume up to the next step that it is weighed or measured in, g or mL."""
    step = grams_step(value)
    return round(ceil(value / step - 1e-9) * step, 6)


def check_need(need_mol: float) -> None:
    """Raises PlanError for a need that is no amount."""
    if not (isfinite(need_mol) and need_mol > 0.0):
        raise PlanError(f"the need: found {need_mol:g} mol, wanted an amount of SO2 above nought")


def charge_of(like: DripTerms, salt_g: float, flask_ml: float) -> DripTerms:
    """`like` with this much salt and this flask, and with the water and acid that go with the salt."""
    salt, purity = SALTS[like.salt], like.salt_purity.value
    formulas_mol = salt_g * purity / MOLAR_MASS_G_PER_MOL[like.salt]
    water_ml = formulas_mol * salt.cations / WATER_CATION_MOL_PER_KG * 1000.0
    protons_mol = formulas_mol * salt.sulfur_iv * salt.protons_to_so2
    acid_ml = protons_mol * (1.0 + ACID_EXCESS) / (ACID_EQUIVALENTS[like.acid] * like.acid_mol_per_l.value) * 1000.0
    return replace(
        like,
        salt_mass_g=Measured(salt_g, 0.5 * grams_step(salt_g)),
        water_ml=rounded_up(water_ml),
        acid_volume_ml=rounded_up(acid_ml),
        flask_volume_ml=flask_ml,
    )


def liquor_ml(charge: DripTerms) -> float:
    """What the flask holds with all the acid in, mL."""
    salt = SALTS[charge.salt]
    formulas_mol = charge.salt_mass_g.value * charge.salt_purity.value / MOLAR_MASS_G_PER_MOL[charge.salt]
    return charge.water_ml + charge.acid_volume_ml + formulas_mol * salt.sulfur_iv * salt.volume_ml_per_sulfur_iv


def design_drip(
    like: DripTerms, need_mol: float, *, flask_ml: float | None = None, drop_relative_u: float = 0.0
) -> DripDesign:
    """A charge of the salt, acid and temperature of `like` whose SO2 meets the need, mol, with little to spare.

    `like`'s own amounts are not looked at. Without `flask_ml` the smallest common flask is taken that the
    liquor fills to two thirds at most. `drop_relative_u` is the drop volume's standard uncertainty over its value.

    Raises PlanError when no such charge is to be had: no need, too small a flask, too weak an acid, too much salt.
    """
    check_need(need_mol)
    if flask_ml is not None and not flask_ml > 0.0:
        raise PlanError(f"the flask: found {flask_ml:g} mL, wanted a volume above nought")
    sizes = FLASKS_ML if flask_ml is None else (flask_ml,)
    salt_g = 1.1 * need_mol * _grams_per_sulfur(like)
    filled_ml = 0.0
    for size_ml in sizes:
        if liquor_ml(charge_of(like, salt_g, size_ml)) > FLASK_FILL * size_ml and size_ml != sizes[-1]:
            continue  # the need alone would overfill it
        found = _within(like, need_mol, size_ml, drop_relative_u)
        filled_ml = liquor_ml(found.charge)
        if filled_ml <= FLASK_FILL * size_ml:
            return found
    raise PlanError(
        f"the flask: found {sizes[-1]:g} mL, wanted at least {filled_ml / FLASK_FILL:.0f} mL: with all the acid in "
        f"there are {filled_ml:.0f} mL of liquor, and a third of a flask is for foam; or stronger acid, or two runs"
    )


def _grams_per_sulfur(like: DripTerms) -> float:
    return MOLAR_MASS_G_PER_MOL[like.salt] / SALTS[like.salt].sulfur_iv / like.salt_purity.value


def _within(like: DripTerms, need_mol: float, flask_ml: float, drop_relative_u: float) -> DripDesign:
    """The charge for a need in a flask of this size, whether the flask is then well filled or not."""

    def delivers(salt_g: float) -> tuple[DripTerms, float, float]:
        charge = charge_of(like, salt_g, flask_ml)
        course = build_trajectory(charge)
        expanded = COVERAGE * course.uncertainty(charge.acid_volume_ml, drop_relative_u).delivered_mol
        return charge, course.at(charge.acid_volume_ml).delivered_mol, expanded

    headspace_mol = flask_ml / 1000.0 / so2_molar_volume_l(like.temperature_c, like.pressure_pa)
    per_sulfur_g = _grams_per_sulfur(like)
    salt_g = rounded_up(1.2 * (need_mol + 0.3 * headspace_mol) * per_sulfur_g)
    slope = 0.85 / per_sulfur_g  # mol that surely go over a gram, at first a guess
    short: tuple[float, float] | None = None  # salt and shortfall of the last charge that was too little
    best: tuple[DripTerms, float, float] | None = None
    for _ in range(_MOST_TRIES):
        charge, delivered, expanded = delivers(salt_g)
        surplus_mol = delivered - expanded - need_mol
        if surplus_mol >= 0.0:
            best = charge, delivered, expanded
            spare_g = surplus_mol / slope
            if spare_g <= max(_NEAR * salt_g, grams_step(salt_g)):
                break
            tried_g = rounded_up(salt_g - 0.9 * spare_g)
            if short is not None and tried_g <= short[0]:
                break
            salt_g = tried_g
            continue
        if best is not None:
            break
        if short is not None:
            slope = (surplus_mol - short[1]) / (salt_g - short[0])
            if slope < _LEAST_YIELD / per_sulfur_g and delivered < need_mol:
                break
        if liquor_ml(charge) > flask_ml:
            break
        short = salt_g, surplus_mol
        salt_g = rounded_up(max(salt_g + 1.02 * (-surplus_mol) / slope, 1.01 * salt_g))
    if best is None:
        return _no_charge(like, need_mol, charge, delivered, expanded)
    charge, delivered, expanded = best
    slope_mol_per_g = delivered / charge.salt_mass_g.value  # near enough for a step of a few per cent
    return DripDesign(
        charge=charge,
        need_mol=need_mol,
        delivered_mol=delivered,
        delivered_expanded_uncertainty_mol=expanded,
        nominal_salt_g=charge.salt_mass_g.value - (delivered - need_mol) / slope_mol_per_g,
        salt_expanded_uncertainty_g=expanded / slope_mol_per_g,
    )


def _no_charge(
    like: DripTerms, need_mol: float, charge: DripTerms, delivered_mol: float, expanded_mol: float
) -> DripDesign:
    """The last charge tried, for the caller to find its flask too small; or the acid is at fault."""
    if liquor_ml(charge) <= FLASK_FILL * charge.flask_volume_ml or delivered_mol < 0.02 * need_mol:
        raise PlanError(
            f"the acid: found {100 * like.acid_mass_fraction.value:.3g} % {like.acid}, wanted a stronger one: the "
            f"water that comes with it would hold the gas that it makes, and {need_mol:.3g} mol would not go over"
        )
    return DripDesign(charge, need_mol, delivered_mol, expanded_mol, charge.salt_mass_g.value, 0.0)
