"""What a flask gives up when air is led through it, or when it is warmed: SO2 still held against litres of air.

Model: liquor and headspace in equilibrium at one temperature and the run's pressure, all well mixed; what leaves is
the headspace's own mixture. What the liquor holds hangs on its stock of sulfur(IV) alone, so the course is worked out
over the stock: a mole of air that goes in takes x / (1 − x (1 − κ)) mol of SO2 with it, with x the part of SO2 in the
dry gas and κ how much of a lost mole the headspace itself loses. While the pressure of SO2 and water would be over
ambient, gas leaves by itself: that is warming. Promise: nothing leaves twice, what is held never grows, and as the
liquor loses SO2 a part of its bisulfite follows. An unstirred liquor gives up less: see `AIR_RELATIVE_U`.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, fields, replace
from math import exp
from typing import Any, NamedTuple

import numpy as np

from monitor.chemistry.cautions import MODEL_RANGE_C
from monitor.chemistry.course import Flask
from monitor.chemistry.gas import GAS_CONSTANT_J_PER_MOL_K, ZERO_C_K
from monitor.chemistry.liquor import settle
from monitor.chemistry.sweep import sweep_of
from monitor.chemistry.trajectory import perturbed_flasks
from monitor.terms import AcidOnSulfurTerms, BurnerTerms, DripTerms

Charge = DripTerms | AcidOnSulfurTerms | BurnerTerms
AIR_RELATIVE_U = 0.25  # of the air led in, by what it does: the stated flow, and stirring; judgement
WARM_RELATIVE_U = 0.10  # of what leaves by itself as the liquor is warmed: its temperature; judgement
_NUMBERS = tuple(one.name for one in fields(Flask) if one.name != "acid_is_sulfuric")
_POINTS = 160
_LEAST_PART = 1e-4  # of what can leave: where the course ends


class Out(NamedTuple):
    """What has left, mol, and the part of what was held that is held still, with their standard uncertainties."""

    freed_mol: float
    part: float
    u_freed_mol: float
    u_part: float


NOTHING = Out(0.0, 1.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Clearing:
    """A course over air led in, L dry at the run's temperature and pressure, ascending from 0. Amounts in mol."""

    air_l: tuple[float, ...]
    freed_mol: tuple[float, ...]
    held_mol: tuple[float, ...]

    def at(self, air_l: float) -> tuple[float, float]:
        """What has left, mol, and the part of what was held that is held still, after so much air."""
        grid = self.air_l
        first_mol = self.held_mol[0]
        if first_mol <= 0.0:
            return 0.0, 0.0
        i = bisect_right(grid, air_l)
        if i == len(grid):
            return self.freed_mol[-1], self.held_mol[-1] / first_mol
        share = (air_l - grid[i - 1]) / (grid[i] - grid[i - 1])
        freed = self.freed_mol[i - 1] + share * (self.freed_mol[i] - self.freed_mol[i - 1])
        held = self.held_mol[i - 1] + share * (self.held_mol[i] - self.held_mol[i - 1])
        return freed, held / first_mol

    def out(self, air_l: float) -> Out:
        """What has come of so much air, with what half the change over ± one standard uncertainty makes of it."""
        freed_mol, part = self.at(air_l)
        less_mol, more_part = self.at(air_l * (1.0 - AIR_RELATIVE_U))
        more_mol, less_part = self.at(air_l * (1.0 + AIR_RELATIVE_U))
        warmed_mol, warmed_part = self.at(0.0)
        return Out(
            freed_mol,
            part,
            0.5 * (more_mol - less_mol) + WARM_RELATIVE_U * warmed_mol,
            0.5 * (more_part - less_part) + WARM_RELATIVE_U * (1.0 - warmed_part),
        )


def clearing_of(charge: Charge, acid_ml: float, left_mol: float, held_mol: float, liquor_c: float) -> Clearing:
    """The course of a flask with `acid_ml` mL of acid, `left_mol` of sulfur(IV) of every kind, `held_mol` of it SO2.

    On the drip route the temperature counts, held within the range of the constants; the others hold gas alone.
    """
    nothing = Clearing((0.0, 1.0), (0.0, 0.0), (0.0, 0.0))
    if isinstance(charge, DripTerms):
        if left_mol <= 0.0:  # by a weighing all has gone over
            return nothing
        return _of_a_liquor(charge, acid_ml, left_mol, min(max(liquor_c, MODEL_RANGE_C[0]), MODEL_RANGE_C[1]))
    mixed_l = sweep_of(charge).mixed_l
    if held_mol <= 0.0 or mixed_l <= 0.0:
        return nothing
    changes = np.linspace(0.0, 10.0, 101).tolist()  # of the headspace
    held = [held_mol * exp(-n) for n in changes]
    return Clearing(tuple(n * mixed_l for n in changes), tuple(held_mol - h for h in held), tuple(held))


def _of_a_liquor(charge: DripTerms, acid_ml: float, left_mol: float, liquor_c: float) -> Clearing:
    flask, _ = perturbed_flasks(charge)
    whole: dict[str, Any] = {name: np.full(_POINTS, getattr(flask, name)[0]) for name in _NUMBERS}
    flask = replace(flask, **(whole | {"temperature_c": np.full(_POINTS, liquor_c)}))
    mix, at = flask.mixture(acid_ml), flask.conditions()
    # What the charges keep as bisulfite, were all the acid's protons given: no air takes that.
    kept_mol = float((mix.cation_mol - mix.chloride_mol - 2.0 * mix.sulfate_mol)[0])
    left_mol = min(left_mol, float(mix.sulfur_iv_mol[0]))
    free_mol = left_mol - min(max(0.0, kept_mol), 0.999 * left_mol)
    stock = left_mol - free_mol + free_mol * np.geomspace(1.0, _LEAST_PART, _POINTS)
    _, med, balance = settle(at, mix, stock)
    x = np.minimum(balance.so2_pa / (at.pressure_pa - med.water_pa), 1.0)
    held = balance.so2_liquor_mol + balance.so2_headspace_mol
    lost = np.diff(stock) * -1.0
    kappa = np.clip(-np.diff(balance.so2_headspace_mol) / lost, 0.0, 1.0)
    middle = 0.5 * (x[1:] + x[:-1])
    air_mol = lost * (1.0 - middle * (1.0 - kappa)) / np.maximum(middle, 1e-9)
    air_mol[x[1:] >= 1.0] = 0.0  # it leaves by itself
    litres = air_mol * GAS_CONSTANT_J_PER_MOL_K * (charge.temperature_c + ZERO_C_K) / charge.pressure_pa * 1000.0
    return Clearing(
        tuple(np.concatenate([[0.0], np.cumsum(litres)]).tolist()),
        tuple((left_mol - stock).tolist()),
        tuple(np.minimum.accumulate(held).tolist()),
    )
