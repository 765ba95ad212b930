"""The liquor's equilibrium: SO2(aq), HSO3⁻ and SO3²⁻ in a strong salt solution, under a closed headspace.

Promise: the charge balance over H⁺ is solved for any mixture of a sulfite salt, water and hydrochloric or sulfuric
acid; nothing comes out negative. Everything is a numpy array, so that many mixtures are solved at once.
The liquors are strong (ionic strength 5 and more), where published activity models disagree by 5 to 10 %: what is
dissolved is known to no better than that. Salt that lies undissolved is counted with HSO3⁻ and SO3²⁻. Partial
pressure stands for fugacity, which is 1.7 % less at one atmosphere; that keeps water within 7 % of both published
solubility tables from 10 to 40 °C.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from monitor.chemistry.constants import WATER_KG_PER_MOL, Array, Conditions
from monitor.chemistry.gas import GAS_CONSTANT_J_PER_MOL_K

# Salting-out of SO2 by the salt's cation, log10 of the activity coefficient a mol/kg. The Pitzer set distributed with
# pytzer 0.6.0 has λ(SO2,Na) = 0.0283, of unclear origin: take it with a wide uncertainty. Potassium taken alike.
SALTING_OUT_KG_PER_MOL = 0.0246
# Specific ion interaction theory (SIT): log10 γ = −z² D + Σ ε m, D = A √I / (1 + 1.5 √I), A 0.509 (kg/mol)^½ at
# 25 °C. ε in kg/mol as in ThermoChimie 12a (the sit.dat of PHREEQC), for sodium; potassium taken alike. HSO3- has
# none there. Without SIT, sulfuric acid's second proton would be thought half unused; in strong salt it is not.
DEBYE_HUCKEL_A = 0.509
EPSILON_H_ANION = 0.12  # H+ with Cl-; HSO4- and HSO3- taken alike
EPSILON_NA_HSO4 = -0.01
EPSILON_NA_SO4 = -0.12
EPSILON_NA_SO3 = -0.08
EPSILON_NA_OH = 0.04
# A liquor holds no more of the cation than this; the rest of the salt lies undissolved and neither shields nor salts
# out. Saturated sodium metabisulfite holds 6.9 mol/kg, sodium chloride 6.1 (from memory of the CRC Handbook).
SATURATION_MOL_PER_KG = 7.0

_START_LN_H = float(np.log(1e-5))
# Then the ions' effect stands still: in a thick slurry the two could chase each other for ever.
_MEDIUM_ITERATIONS = 60


class Mixture(NamedTuple):
    """What is in the flask, one element a mixture: mol, kg, m³.

    `water_kg` is the water put in. `sulfur_iv_mol` is all the sulfur(IV) ever put in, gone gas included: each mol of
    it that is SO2 has given up one water.
    """

    cation_mol: Array
    chloride_mol: Array
    sulfate_mol: Array
    sulfur_iv_mol: Array
    water_kg: Array
    headspace_m3: Array


class Medium(NamedTuple):
    """What the ions do to the constants, at one composition: concentration constants in mol/kg of `water_kg`."""

    water_kg: Array
    k1: Array
    k2: Array
    k_bisulfate: Array
    k_water: Array
    pa_per_mol: Array  # partial pressure of SO2 a mol of it dissolved
    gas_mol_per_mol: Array  # SO2 in the headspace a mol of it dissolved
    water_pa: Array  # vapour pressure of water over the liquor


class Balance(NamedTuple):
    """The distribution of a stock of sulfur(IV) at one H⁺, and how far the charges are from balancing."""

    so2_liquor_mol: Array
    so2_headspace_mol: Array
    bisulfite_mol: Array
    sulfite_mol: Array
    bisulfate_mol: Array
    so2_pa: Array
    charge_mol: Array  # excess of positive charge; rises with H+
    charge_by_ln_h: Array
    charge_by_stock: Array
    so2_pa_by_ln_h: Array


def medium(at: Conditions, mix: Mixture, ln_h: Array, balance: Balance | None) -> Medium:
    """Concentration constants at the composition given by `ln_h` (H⁺ in mol/kg) and the last `balance`."""
    bisulfite = mix.sulfur_iv_mol if balance is None else balance.bisulfite_mol
    sulfite = np.zeros_like(bisulfite) if balance is None else balance.sulfite_mol
    dissolved_so2 = np.zeros_like(bisulfite) if balance is None else balance.so2_liquor_mol
    reacted = mix.water_kg + WATER_KG_PER_MOL * (mix.sulfur_iv_mol - bisulfite - sulfite)
    water = np.maximum(reacted, 0.2 * mix.water_kg)  # a slurry keeps some of its water from the salt
    hydrogen = np.minimum(np.exp(ln_h), 50.0)
    cation = np.minimum(mix.cation_mol / water, SATURATION_MOL_PER_KG)
    dissolved = cation / np.maximum(mix.cation_mol, 1e-30)  # kg⁻¹; anions of undissolved salt do not shield either
    chloride = mix.chloride_mol / water
    sulfate_total = mix.sulfate_mol / water
    bisulfate = sulfate_total if balance is None else balance.bisulfate_mol / water
    ionic = 0.5 * (
        cation
        + hydrogen
        + chloride
        + bisulfate
        + 4.0 * (sulfate_total - bisulfate)
        + dissolved * (bisulfite + 4.0 * sulfite)
    )
    root = np.sqrt(ionic)
    debye = DEBYE_HUCKEL_A * root / (1.0 + 1.5 * root)
    salting_out = SALTING_OUT_KG_PER_MOL * cation
    log_h = EPSILON_H_ANION * (chloride + bisulfate + dissolved * bisulfite) - debye
    log_hso3 = -debye
    pa_per_mol = 10.0**salting_out / (at.henry_mol_per_kg_pa * water)
    solutes = cation + hydrogen + chloride + sulfate_total + dissolved * (bisulfite + sulfite) + dissolved_so2 / water
    return Medium(
        water_kg=water,
        k1=at.k1 * 10.0 ** (salting_out - log_h - log_hso3),
        k2=at.k2 * 10.0 ** (log_hso3 - log_h + 4.0 * debye - EPSILON_NA_SO3 * cation),
        k_bisulfate=at.k_bisulfate
        * 10.0 ** (EPSILON_NA_HSO4 * cation - debye - log_h + 4.0 * debye - EPSILON_NA_SO4 * cation),
        k_water=at.k_water * 10.0 ** (debye - log_h - EPSILON_NA_OH * cation),
        pa_per_mol=pa_per_mol,
        gas_mol_per_mol=pa_per_mol * mix.headspace_m3 / (GAS_CONSTANT_J_PER_MOL_K * at.kelvin),
        # Raoult's law over all solutes. Short of boiling: a liquor that boils is beyond this model.
        water_pa=np.minimum(at.pure_water_pa / (1.0 + WATER_KG_PER_MOL * solutes), 0.9 * at.pressure_pa),
    )


def distribute(mix: Mixture, med: Medium, ln_h: Array, stock_mol: Array) -> Balance:
    """Share a stock of sulfur(IV) (mol) between the liquor's species and the headspace at one H⁺."""
    hydrogen = np.exp(ln_h)
    acidic = med.k1 / hydrogen  # HSO3- a SO2(aq)
    basic = med.k2 / hydrogen  # SO3-2 a HSO3-
    share = 1.0 + med.gas_mol_per_mol + acidic * (1.0 + basic)
    so2 = stock_mol / share
    anions = acidic * (1.0 + 2.0 * basic)  # charge a SO2(aq)
    second = med.k_bisulfate / (med.k_bisulfate + hydrogen)  # of sulfuric acid's second protons, the part given
    hydrogen_mol = hydrogen * med.water_kg
    hydroxide_mol = med.k_water / hydrogen * med.water_kg
    so2_pa = so2 * med.pa_per_mol
    by_ln_h = acidic * (1.0 + 4.0 * basic) * share - anions * anions
    return Balance(
        so2_liquor_mol=so2,
        so2_headspace_mol=so2 * med.gas_mol_per_mol,
        bisulfite_mol=so2 * acidic,
        sulfite_mol=so2 * acidic * basic,
        bisulfate_mol=mix.sulfate_mol * (1.0 - second),
        so2_pa=so2_pa,
        charge_mol=mix.cation_mol
        + hydrogen_mol
        - mix.chloride_mol
        - mix.sulfate_mol * (1.0 + second)
        - hydroxide_mol
        - so2 * anions,
        charge_by_ln_h=hydrogen_mol
        + hydroxide_mol
        + mix.sulfate_mol * second * (1.0 - second)
        + stock_mol * by_ln_h / (share * share),
        charge_by_stock=-anions / share,
        so2_pa_by_ln_h=so2_pa * anions / share,
    )


def settle(at: Conditions, mix: Mixture, stock_mol: Array) -> tuple[Array, Medium, Balance]:
    """Close the flask on `stock_mol` of sulfur(IV) and let it come to equilibrium: ln H⁺, medium, distribution.

    Newton's method on ln H⁺, whose charge balance rises all the way, with bounded steps. Raises ArithmeticError if it
    does not settle.
    """
    ln_h = np.full_like(stock_mol, _START_LN_H)
    balance: Balance | None = None
    for iteration in range(200):
        if iteration < _MEDIUM_ITERATIONS:
            med = medium(at, mix, ln_h, balance)
        balance = distribute(mix, med, ln_h, stock_mol)
        step = np.clip(-balance.charge_mol / balance.charge_by_ln_h, -1.5, 1.5)
        ln_h = ln_h + step
        if float(np.max(np.abs(step))) < 1e-8:
            return ln_h, med, balance
    raise ArithmeticError("the liquor's charge balance did not settle")
