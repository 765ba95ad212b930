"""The account's engine: what a drip charge has generated, holds and has delivered, as a function of the acid in it.

Temperature and pressure are those of the run, so the state depends on the acid that has gone in and on nothing else:
the course is computed once, with its sensitivities, and read in microseconds. Promise, at every acid volume:
locked + generated = charge and generated = held + delivered, to rounding; delivered never falls; nothing is negative.
Uncertainty follows JCGM 100:2008 (GUM) 5.1.2: each input's standard uncertainty is carried through by a course
computed on either side of its value, and the contributions add as squares.
"""

from __future__ import annotations

from bisect import bisect_left
from math import hypot
from typing import NamedTuple

import numpy as np

from monitor.chemistry.constants import WATER_KG_PER_MOL, Array
from monitor.chemistry.course import Course, Flask, march
from monitor.chemistry.substances import ACID_EQUIVALENTS, MOLAR_MASS_G_PER_MOL, SALTS, sulfur_iv_mol
from monitor.terms import DripTerms

# Standard uncertainties that no settings file gives.
HENRY_RELATIVE_U = 0.05 / 1.23  # Goldberg & Parker (1985), their ± taken as one standard uncertainty
ACTIVITY_RELATIVE_U = 0.075  # on dissolved SO2: published activity models of such liquors differ by 5 to 10 %
BISULFATE_LOG10_U = 0.15  # on the second dissociation of sulfuric acid: SIT against Pitzer (PHREEQC) at 5 mol/kg
TEMPERATURE_U_C = 1.0  # the liquor against the temperature that the run file states; judgement
PRESSURE_U_PA = 500.0  # weather, and the head of liquid in the receiver; judgement
WATER_RELATIVE_U = 0.02  # a measuring cylinder; judgement
FLASK_RELATIVE_U = 0.02  # brim volume against nominal volume; judgement

NEWEST_MAX = 16  # states kept; when full all are let go: a computation again, never a wrong value
FIRST_GAS_FRACTION = 0.01  # of the charge: when this has left, gas has come
BEYOND_PLAN = 1.3  # the course goes on to this many times the planned acid
WATER_KG_PER_ML = 0.000998  # at 20 °C

_BISULFATE = "second proton of the sulfuric acid, log10 of its constant"
_SIGNED = ("temperature of the liquor", _BISULFATE)  # inputs that may be negative; the others stay above nought

_STEPS_TO_SPEND = 420  # to 1.15 times the acid that spends the charge, where the course bends
_STEPS_AFTER = 120


class State(NamedTuple):
    """Amounts of SO2 (locked: of sulfur(IV)) in mol; or their standard uncertainties."""

    generated_mol: float
    held_mol: float
    held_liquor_mol: float
    held_headspace_mol: float
    delivered_mol: float
    locked_mol: float


class Trajectory:
    """A drip charge's course over acid volume. Built by `build_trajectory`; beyond `end_ml` it stands still."""

    def __init__(self, acid_ml: list[float], course: Course, charge_mol: Array, inputs: list[str], spend_ml: float):
        self.charge_mol = float(charge_mol[0])
        self.acid_ml_to_spend = spend_ml  # acid that turns all the sulfur(IV) to SO2
        self.end_ml = acid_ml[-1]
        self._acid_ml = acid_ml
        self._newest: dict[float, State] = {}  # between two drops the same few states are asked for many times
        self._liquor: list[float] = course.liquor_mol[:, 0].tolist()
        self._headspace: list[float] = course.headspace_mol[:, 0].tolist()
        self._delivered: list[float] = course.delivered_mol[:, 0].tolist()
        self.first_gas_ml = self.acid_ml_for_delivered(FIRST_GAS_FRACTION * self.charge_mol)
        held = course.liquor_mol + course.headspace_mol
        generated = held + course.delivered_mol
        quantities = (generated, held, course.liquor_mol, course.headspace_mol, course.delivered_mol)
        contributions = [_half_differences(q) for q in (*quantities, charge_mol - generated)]
        self._u: list[list[float]] = [np.sqrt((c**2).sum(axis=1)).tolist() for c in contributions]
        self._inputs = inputs
        self._delivered_by_input: list[list[float]] = contributions[4].T.tolist()

    def _place(self, acid_ml: float) -> tuple[int, float]:
        grid = self._acid_ml
        if acid_ml <= 0.0:
            return 1, 0.0
        if acid_ml >= self.end_ml:
            return len(grid) - 1, 1.0
        index = bisect_left(grid, acid_ml)
        low = grid[index - 1]
        return index, (acid_ml - low) / (grid[index] - low)

    def at(self, acid_ml: float) -> State:
        """The state when `acid_ml` mL of acid are in."""
        found = self._newest.get(acid_ml)
        if found is None:
            if len(self._newest) >= NEWEST_MAX:
                self._newest.clear()
            found = self._newest[acid_ml] = self._at(acid_ml)
        return found

    def _at(self, acid_ml: float) -> State:
        i, share = self._place(acid_ml)
        rest = 1.0 - share
        liquor = rest * self._liquor[i - 1] + share * self._liquor[i]
        headspace = rest * self._headspace[i - 1] + share * self._headspace[i]
        low, high = self._delivered[i - 1], self._delivered[i]
        delivered = min(low + share * (high - low), high)  # in this form no rounding makes it fall
        held = liquor + headspace
        generated = held + delivered
        return State(generated, held, liquor, headspace, delivered, max(0.0, self.charge_mol - generated))

    def acid_ml_for_delivered(self, amount_mol: float) -> float | None:
        """Acid that delivers this much SO2, mL, or None if the course to `end_ml` does not deliver it."""
        if amount_mol <= 0.0:
            return 0.0
        index = bisect_left(self._delivered, amount_mol)
        if index == len(self._delivered):
            return None
        low, high = self._delivered[index - 1], self._delivered[index]
        share = (amount_mol - low) / (high - low)
        return self._acid_ml[index - 1] * (1.0 - share) + self._acid_ml[index] * share

    def _drop_part(self, acid_ml: float, drop_relative_u: float) -> State:
        """What an error of every drop's volume does: half the change over ± one standard uncertainty."""
        high, low = self.at(acid_ml * (1.0 + drop_relative_u)), self.at(acid_ml * (1.0 - drop_relative_u))
        return State(*[0.5 * abs(a - b) for a, b in zip(high, low, strict=True)])

    def uncertainty(self, acid_ml: float, drop_relative_u: float) -> State:
        """Standard uncertainties of `at(acid_ml)`, mol. The drop volume's is systematic: it does not average out."""
        i, share = self._place(acid_ml)
        rest = 1.0 - share
        drop = self._drop_part(acid_ml, drop_relative_u)
        return State(*[hypot(rest * u[i - 1] + share * u[i], d) for u, d in zip(self._u, drop, strict=True)])

    def delivered_parts(self, acid_ml: float) -> list[float]:
        """What one standard uncertainty of each input adds to delivered, mol, with its sign."""
        i, share = self._place(acid_ml)
        return [(1.0 - share) * curve[i - 1] + share * curve[i] for curve in self._delivered_by_input]

    def budget(self, acid_ml: float, drop_relative_u: float) -> tuple[tuple[str, float], ...]:
        """Each input and its contribution to the standard uncertainty of delivered, mol, the largest first."""
        i, share = self._place(acid_ml)
        parts = [
            (name, abs((1.0 - share) * curve[i - 1] + share * curve[i]))
            for name, curve in zip(self._inputs, self._delivered_by_input, strict=True)
        ]
        parts.append(("drop volume", self._drop_part(acid_ml, drop_relative_u).delivered_mol))
        return tuple(sorted(parts, key=lambda part: -part[1]))


def _half_differences(quantity: Array) -> Array:
    """Columns are the course itself, then a pair (above, below) for each input."""
    return np.asarray(0.5 * (quantity[:, 1::2] - quantity[:, 2::2]))


def acid_ml_to_spend(charge: DripTerms) -> float:
    """Acid that turns all the charge's sulfur(IV) to SO2, mL, every proton counted."""
    sulfur = sulfur_iv_mol(charge.salt, charge.salt_mass_g.value, charge.salt_purity.value)
    protons = sulfur * SALTS[charge.salt].protons_to_so2
    return protons / (ACID_EQUIVALENTS[charge.acid] * charge.acid_mol_per_l.value) * 1000.0


def acid_grid_ml(charge: DripTerms, refine: int = 1) -> list[float]:
    """The acid volumes at which the course is computed, mL: fine until the charge is spent, then coarser."""
    end = BEYOND_PLAN * charge.acid_volume_ml
    bend = 1.15 * acid_ml_to_spend(charge)
    if bend >= end:
        return list(np.linspace(0.0, end, (_STEPS_TO_SPEND + _STEPS_AFTER) * refine + 1).tolist())
    before = np.linspace(0.0, bend, _STEPS_TO_SPEND * refine + 1)
    after = np.linspace(bend, end, _STEPS_AFTER * refine + 1)
    return list(np.concatenate([before, after[1:]]).tolist())


def perturbed_flasks(charge: DripTerms) -> tuple[Flask, list[str]]:
    """The flask as stated, then each uncertain input at ± one standard uncertainty, two columns an input."""
    stated = {
        "salt mass": (charge.salt_mass_g.value, charge.salt_mass_g.u),
        "salt purity": (charge.salt_purity.value, charge.salt_purity.u),
        "acid strength": (charge.acid_mol_per_l.value, charge.acid_mol_per_l.u),
        "solubility of SO2 in the liquor": (1.0, hypot(HENRY_RELATIVE_U, ACTIVITY_RELATIVE_U)),
        "temperature of the liquor": (charge.temperature_c, TEMPERATURE_U_C),
        "ambient pressure": (charge.pressure_pa, PRESSURE_U_PA),
        "water": (charge.water_ml, WATER_RELATIVE_U * charge.water_ml),
        "flask volume": (charge.flask_volume_ml, FLASK_RELATIVE_U * charge.flask_volume_ml),
    }
    if charge.acid == "H2SO4":
        stated[_BISULFATE] = (0.0, BISULFATE_LOG10_U)
    inputs = list(stated)
    columns = {name: np.full(1 + 2 * len(inputs), float(value)) for name, (value, _) in stated.items()}
    for place, (name, (_, u)) in enumerate(stated.items()):
        columns[name][1 + 2 * place] += u
        columns[name][2 + 2 * place] -= u if name in _SIGNED else min(u, 0.9 * columns[name][0])
    bisulfate = columns.get(_BISULFATE, np.zeros(1))
    salt = SALTS[charge.salt]
    formulas_mol = columns["salt mass"] * columns["salt purity"] / MOLAR_MASS_G_PER_MOL[charge.salt]
    sulfur = formulas_mol * salt.sulfur_iv
    acid_g_per_ml = charge.acid_mol_per_l.value * MOLAR_MASS_G_PER_MOL[charge.acid] / 1000.0
    solution_g_per_ml = acid_g_per_ml / charge.acid_mass_fraction.value
    acid_mol_per_ml = columns["acid strength"] / 1000.0
    acid_kg_per_ml = acid_mol_per_ml * MOLAR_MASS_G_PER_MOL[charge.acid] / 1000.0
    water_kg = columns["water"] * WATER_KG_PER_ML
    hydration_kg = formulas_mol * salt.water_taken_up * WATER_KG_PER_MOL
    flask = Flask(
        sulfur_iv_mol=sulfur,
        cation_mol=formulas_mol * salt.cations,
        water_kg=np.maximum(water_kg - hydration_kg, 0.2 * water_kg),
        liquor_ml=columns["water"] + sulfur * salt.volume_ml_per_sulfur_iv,
        flask_ml=columns["flask volume"],
        acid_mol_per_ml=acid_mol_per_ml,
        acid_water_kg_per_ml=np.maximum(solution_g_per_ml / 1000.0 - acid_kg_per_ml, 0.0),
        acid_is_sulfuric=charge.acid == "H2SO4",
        temperature_c=columns["temperature of the liquor"],
        pressure_pa=columns["ambient pressure"],
        henry_factor=columns["solubility of SO2 in the liquor"],
        bisulfate_factor=np.broadcast_to(10.0**bisulfate, sulfur.shape),
    )
    return flask, inputs


def build_trajectory(charge: DripTerms, refine: int = 1) -> Trajectory:
    """Compute a charge's course and its sensitivities; some tenths of a second. `refine` divides every step."""
    flask, inputs = perturbed_flasks(charge)
    grid = acid_grid_ml(charge, refine)
    return Trajectory(grid, march(flask, grid), flask.sulfur_iv_mol, inputs, acid_ml_to_spend(charge))
