"""The march of a flask, drop by drop: many perturbed flasks at once, over one list of acid volumes.

Model: one well-mixed liquor in equilibrium with one well-mixed headspace at ambient pressure. Acid goes in and its
water with it; the headspace shrinks; when the pressure would pass ambient, gas leaves as the headspace's own mixture
of SO2, air and water, and the air that was there first is swept out with it. When it would fall below ambient nothing
comes back in (a trap is presumed). Promise: the sulfur(IV) that leaves is exactly what the flask loses, and it never
returns. Left out: the water that leaves with the gas, and the volume that the reaction itself changes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from monitor.chemistry.constants import Array, Conditions, conditions
from monitor.chemistry.gas import GAS_CONSTANT_J_PER_MOL_K
from monitor.chemistry.liquor import Balance, Mixture, distribute, medium, settle

HEADSPACE_FLOOR = 0.01  # of the flask: a flask filled past this has overflowed, and the model holds it here
_TOLERANCE = 1e-7
_MOST_ITERATIONS = 100
_MEDIUM_ITERATIONS = 4  # the ions' effect follows the composition this far, then stands still: dissolved SO2 to 1e-5


@dataclass(frozen=True, slots=True)
class Flask:
    """The flask and its charge, one element a perturbed copy."""

    sulfur_iv_mol: Array
    cation_mol: Array
    water_kg: Array  # what the disulfite takes up is already off
    liquor_ml: Array  # before acid
    flask_ml: Array
    acid_mol_per_ml: Array
    acid_water_kg_per_ml: Array
    acid_is_sulfuric: bool
    temperature_c: Array
    pressure_pa: Array
    henry_factor: Array  # on the solubility of SO2
    bisulfate_factor: Array  # on the second dissociation of sulfuric acid

    def conditions(self) -> Conditions:
        """The constants, with the perturbations put in."""
        at = conditions(self.temperature_c, self.pressure_pa)
        return Conditions(
            kelvin=at.kelvin,
            pressure_pa=at.pressure_pa,
            henry_mol_per_kg_pa=at.henry_mol_per_kg_pa * self.henry_factor,
            k1=at.k1,
            k2=at.k2,
            k_bisulfate=at.k_bisulfate * self.bisulfate_factor,
            k_water=at.k_water,
            pure_water_pa=at.pure_water_pa,
        )

    def mixture(self, acid_ml: float) -> Mixture:
        """What has been put into the flask when this much acid is in."""
        acid_mol = self.acid_mol_per_ml * acid_ml
        nothing = np.zeros_like(acid_mol)
        headspace_ml = np.maximum(self.flask_ml - self.liquor_ml - acid_ml, HEADSPACE_FLOOR * self.flask_ml)
        return Mixture(
            cation_mol=self.cation_mol,
            chloride_mol=nothing if self.acid_is_sulfuric else acid_mol,
            sulfate_mol=acid_mol if self.acid_is_sulfuric else nothing,
            sulfur_iv_mol=self.sulfur_iv_mol,
            water_kg=self.water_kg + self.acid_water_kg_per_ml * acid_ml,
            headspace_m3=headspace_ml * 1e-6,
        )


@dataclass(frozen=True, slots=True)
class Course:
    """Amounts in mol; rows are acid volumes, columns the flask's perturbed copies."""

    liquor_mol: Array  # SO2 dissolved
    headspace_mol: Array
    delivered_mol: Array


@dataclass(frozen=True, slots=True)
class _Headspace:
    """The gas over the liquor, between steps."""

    air_mol: Array
    so2_fraction: Array
    volume_m3: Array


@dataclass(frozen=True, slots=True)
class _Point:
    """Where a march has come to: what the next step starts from."""

    mix: Mixture
    ln_h: Array
    swept: Array
    stock: Array
    balance: Balance
    gas: _Headspace


def march(flask: Flask, acid_ml: list[float]) -> Course:
    """Follow the flask over acid volumes that rise from 0. Raises ArithmeticError if a step does not settle."""
    course, _ = _march(flask, acid_ml)
    return course


def warm(flask: Flask, acid_ml: list[float], steps_c: list[float]) -> Course:
    """March, then warm the flask, no acid added, by the rises of `steps_c` (°C over its temperature, ascending).

    The rows are the moment before and after each rise; what leaves counts as delivered. The range of the constants
    is the caller's to keep. Raises ArithmeticError if a step does not settle.
    """
    course, here = _march(flask, acid_ml)
    rows = [(course.liquor_mol[-1], course.headspace_mol[-1], course.delivered_mol[-1])]
    for rise_c in steps_c:
        at = replace(flask, temperature_c=flask.temperature_c + rise_c).conditions()
        here = _Point(here.mix, *_step(at, here.mix, here.stock, here.gas, (here.ln_h, here.swept, here.balance)))
        rows.append(_row(flask, here))
    return _course(rows)


def _row(flask: Flask, here: _Point) -> tuple[Array, Array, Array]:
    return here.balance.so2_liquor_mol, here.balance.so2_headspace_mol, flask.sulfur_iv_mol - here.stock


def _course(rows: list[tuple[Array, Array, Array]]) -> Course:
    liquor, headspace, delivered = (np.array(column) for column in zip(*rows, strict=True))
    return Course(liquor, headspace, delivered)


def _march(flask: Flask, acid_ml: list[float]) -> tuple[Course, _Point]:
    at = flask.conditions()
    mix = flask.mixture(acid_ml[0])
    stock = flask.sulfur_iv_mol
    ln_h, med, balance = settle(at, mix, stock)
    ideal = GAS_CONSTANT_J_PER_MOL_K * at.kelvin
    air_pa = np.maximum(at.pressure_pa - med.water_pa - balance.so2_pa, 0.01 * at.pressure_pa)
    gas = _Headspace(air_pa * mix.headspace_m3 / ideal, balance.so2_pa / at.pressure_pa, mix.headspace_m3)
    here = _Point(mix, ln_h, np.full_like(stock, -1e-6), stock, balance, gas)
    rows = [_row(flask, here)]
    trend = np.zeros_like(stock)
    for volume in acid_ml[1:]:
        mix, last = flask.mixture(volume), here.ln_h
        here = _Point(mix, *_step(at, mix, here.stock, here.gas, (last + trend, here.swept, here.balance)))
        trend = np.clip(here.ln_h - last, -0.1, 0.1)
        rows.append(_row(flask, here))
    return _course(rows), here


def _step(
    at: Conditions, mix: Mixture, stock: Array, gas: _Headspace, guess: tuple[Array, Array, Balance]
) -> tuple[Array, Array, Array, Balance, _Headspace]:
    """One addition of acid: the new ln H⁺, ln of the air left over the air before, stock, distribution and headspace.

    Two unknowns. `ln_h` balances the charges. `swept` ≤ 0 is the logarithm of the air that remains; the gas that left
    is −swept headspaces of the mean composition over the step. Either nothing left, and the pressure is at most
    ambient, or something left, and it is ambient. Both residuals rise with their own unknown and the determinant is
    positive everywhere, so Newton's method with bounded steps finds the one solution.
    """
    ln_h, swept, balance = guess
    ideal = GAS_CONSTANT_J_PER_MOL_K * at.kelvin
    headspaces_mol = at.pressure_pa * 0.5 * (gas.volume_m3 + mix.headspace_m3) / ideal
    air_pa_before = gas.air_mol * ideal / mix.headspace_m3
    for iteration in range(_MOST_ITERATIONS):
        if iteration < _MEDIUM_ITERATIONS:
            med = medium(at, mix, ln_h, balance)
        air_pa = air_pa_before * np.exp(swept)
        so2_target_pa = at.pressure_pa - med.water_pa - air_pa
        fraction = 0.5 * (gas.so2_fraction + np.maximum(so2_target_pa, 0.0) / at.pressure_pa)
        left = np.maximum(stock + headspaces_mol * swept * fraction, 1e-9 * stock)
        balance = distribute(mix, med, ln_h, left)
        excess_pa = balance.so2_pa - so2_target_pa  # pressure over ambient
        left_by_swept = headspaces_mol * (fraction - 0.5 * swept * air_pa / at.pressure_pa)
        charge_by_swept = balance.charge_by_stock * left_by_swept
        excess_by_swept = balance.so2_pa / left * left_by_swept + air_pa
        flows = (swept < 0.0) | (excess_pa > 0.0)
        determinant = balance.charge_by_ln_h * excess_by_swept - charge_by_swept * balance.so2_pa_by_ln_h
        step_open = (charge_by_swept * excess_pa - excess_by_swept * balance.charge_mol) / determinant
        sweep_open = (balance.so2_pa_by_ln_h * balance.charge_mol - balance.charge_by_ln_h * excess_pa) / determinant
        step = np.where(flows, step_open, -balance.charge_mol / balance.charge_by_ln_h)
        bound = 1.0 - swept  # a sliver of headspace over much liquor is swept a thousand times in a step
        sweep = np.where(flows, np.clip(sweep_open, -bound, bound), 0.0)
        next_swept = np.minimum(swept + sweep, 0.0)
        step = np.clip(step, -1.0, 1.0)
        change = max(float(np.max(np.abs(step))), float(np.max(np.abs(next_swept - swept) / bound)))
        ln_h, swept = ln_h + step, next_swept
        if change < _TOLERANCE and iteration >= _MEDIUM_ITERATIONS:
            after = _Headspace(gas.air_mol * np.exp(swept), balance.so2_pa / at.pressure_pa, mix.headspace_m3)
            return ln_h, swept, left, balance, after
    raise ArithmeticError("a step of the liquor's course did not settle")
