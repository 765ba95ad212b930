"""More of a planned run: first gas, drops and time, what warming frees, room for foam, scrubber, room, residue.

Promise: each figure follows from the two settings files, from what is asked (a rate, a temperature), and from rules
that stand here with their source; where these do not say enough it is None.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from math import ceil
from typing import Any

import numpy as np

from monitor.chemistry.air_limits import LIMITS, minutes_to_clear
from monitor.chemistry.cautions import FLASK_FILL, MODEL_RANGE_C, SCRUBBER_RESERVE
from monitor.chemistry.coil import USUAL_FRACTION, coil_highest_draw_l_per_min
from monitor.chemistry.course import warm
from monitor.chemistry.design import liquor_ml
from monitor.chemistry.drops import drops_for_ml
from monitor.chemistry.gas import so2_molar_volume_l
from monitor.chemistry.other_routes import (
    Burning,
    air_to_burn_l,
    burning,
    spent_acid_fraction,
)
from monitor.chemistry.planning import Plan, scrubber_capacity_mol
from monitor.chemistry.residue import residue_base_mol, residue_words
from monitor.chemistry.trajectory import Trajectory, build_trajectory, perturbed_flasks
from monitor.terms import COVERAGE, AcidOnSulfurTerms, BenchTerms, BurnerTerms, DripTerms, RunTerms

# Gas through a tube of some 6 mm that opens under a liquid, or it throws; common practice, no source.
TUBE_L_PER_MIN = 0.5
# The shortest time in which a receiver is given its gas, min; common practice, no source. Metals come down slowly.
RECEIVER_MIN = {"Au": 30.0, "Se": 30.0, "Te": 30.0, "water": 20.0}
OTHER_RECEIVER_MIN = 10.0
_STEPS = 100  # of acid, to the end of the run: what warming frees is then good to a thousandth
_WARM_STEP_C = 1.0


@dataclass(frozen=True, slots=True)
class RoomLimit:
    """The worst case against one published limit."""

    name: str
    ppm: float
    over: str
    source: str
    checked: str
    times_over: float
    minutes_to_clear: float | None


@dataclass(frozen=True, slots=True)
class Outlook:
    """Figures beside `Plan`, of SO2 unless named otherwise. None: not of this route, or the files do not say.

    `liquor_left_mol` is sulfur(IV) of every kind left in the liquor with all the acid in; `warm_freed_mol` is what
    leaves when the flask then stands at `warm_to_c`. `foam_room_ml` is what is left of two thirds of the flask.
    `scrubber_margin` is the part of the scrubber left over after the whole charge (sulfite).
    """

    first_gas_acid_ml: float | None = None
    first_gas_drops: int | None = None
    liquor_left_mol: float | None = None
    warm_to_c: float | None = None
    warm_freed_mol: float | None = None
    warm_freed_expanded_uncertainty_mol: float | None = None
    drops_in_all: int | None = None
    drip_rate_per_min: float | None = None
    minutes_for_need: float | None = None
    minutes_in_all: float | None = None
    drip_rate_highest_per_min: float | None = None
    drip_rate_limited_by: str | None = None
    headspace_ml: float | None = None
    foam_room_ml: float | None = None
    scrubber_wanted_mol: float | None = None
    scrubber_margin: float | None = None
    room_limits: tuple[RoomLimit, ...] = ()
    residue_base_mol: float | None = None
    residue: tuple[str, ...] = ()
    spent_acid_mass_percent: float | None = None
    air_to_burn_l: float | None = None
    burning: tuple[Burning, ...] = ()
    coil_highest_draw_l_per_min: float | None = None

    def as_json_dict(self) -> dict[str, Any]:
        """The outlook as JSON types, under the names of its fields."""
        lists = {name: list(asdict(self)[name]) for name in ("room_limits", "residue", "burning")}
        return asdict(self) | lists


def outlook(
    run: RunTerms,
    bench: BenchTerms | None,
    plan: Plan,
    *,
    warm_to_c: float | None = None,
    rate_per_min: float | None = None,
) -> Outlook:
    """What lies ahead. `rate_per_min` is drops a minute; what is not given here is as the run file says, and the
    rate where that says nothing is the highest sensible one.
    """
    charge = run.charge
    warm_to_c = run.plan.warm_to_c if warm_to_c is None else warm_to_c
    rate_per_min = run.plan.drip_rate_per_min if rate_per_min is None else rate_per_min
    common: dict[str, Any] = {
        "scrubber_wanted_mol": plan.most_so2_mol / (1.0 - SCRUBBER_RESERVE),
        "scrubber_margin": None
        if run.scrubber is None
        else 1.0 - plan.most_so2_mol / scrubber_capacity_mol(run.scrubber),
        "room_limits": _room_limits(bench, plan.worst_case_ppm),
        "residue": residue_words(charge),
    }
    if isinstance(charge, DripTerms):
        course = build_trajectory(charge)
        return Outlook(**common, **_drip(run, charge, course, bench, plan, warm_to_c, rate_per_min))
    if isinstance(charge, AcidOnSulfurTerms):
        return Outlook(
            **common,
            headspace_ml=charge.flask_volume_ml - charge.acid_volume_ml,
            spent_acid_mass_percent=100.0 * spent_acid_fraction(charge),
        )
    return Outlook(**common, **_burner(charge))


def _room_limits(bench: BenchTerms | None, worst_ppm: float | None) -> tuple[RoomLimit, ...]:
    if bench is None or worst_ppm is None:
        return ()
    room = bench.room
    return tuple(
        RoomLimit(
            limit.name,
            limit.ppm,
            limit.over,
            limit.source,
            limit.checked,
            worst_ppm / limit.ppm,
            minutes_to_clear(worst_ppm, limit.ppm, room.volume_m3, room.ventilation_m3_per_h),
        )
        for limit in LIMITS
    )


def _burner(charge: BurnerTerms) -> dict[str, Any]:
    return {
        "air_to_burn_l": air_to_burn_l(charge.sulfur_mass_g.value, charge.temperature_c, charge.pressure_pa),
        "burning": burning(charge),
        "coil_highest_draw_l_per_min": coil_highest_draw_l_per_min(
            USUAL_FRACTION, charge.temperature_c, charge.pressure_pa
        ),
    }


def _drip(
    run: RunTerms,
    charge: DripTerms,
    course: Trajectory,
    bench: BenchTerms | None,
    plan: Plan,
    warm_to_c: float,
    rate_per_min: float | None,
) -> dict[str, Any]:
    end = course.at(charge.acid_volume_ml)
    filled_ml = liquor_ml(charge)
    freed, freed_u = warm_freed_mol(charge, warm_to_c)
    over_mol = end.delivered_mol if plan.delivered_mol is None else plan.delivered_mol
    got: dict[str, Any] = {
        "first_gas_acid_ml": course.first_gas_ml,
        "liquor_left_mol": course.charge_mol - over_mol - end.held_headspace_mol,
        "warm_to_c": warm_to_c if freed is not None else None,
        "warm_freed_mol": freed,
        "warm_freed_expanded_uncertainty_mol": None if freed_u is None else COVERAGE * freed_u,
        "headspace_ml": max(0.0, charge.flask_volume_ml - filled_ml),
        "foam_room_ml": FLASK_FILL * charge.flask_volume_ml - filled_ml,
        "residue_base_mol": residue_base_mol(charge, course.charge_mol - over_mol),
    }
    if bench is None:
        return got
    drop_ul = bench.drops.volume_ul.value
    highest, limit = highest_rate_per_min(run, charge, course, bench, plan.acid_volume_for_need_ml)
    rate = highest if rate_per_min is None else rate_per_min
    in_all = ceil(drops_for_ml(charge.acid_volume_ml, drop_ul) - 1e-9)
    return got | {
        "first_gas_drops": None
        if course.first_gas_ml is None
        else ceil(drops_for_ml(course.first_gas_ml, drop_ul) - 1e-9),
        "drops_in_all": in_all,
        "drip_rate_per_min": rate,
        "minutes_for_need": None if plan.drops_for_need is None else plan.drops_for_need / rate,
        "minutes_in_all": in_all / rate,
        "drip_rate_highest_per_min": highest,
        "drip_rate_limited_by": limit,
    }


def highest_rate_per_min(
    run: RunTerms, charge: DripTerms, course: Trajectory, bench: BenchTerms, need_ml: float | None
) -> tuple[float, str]:
    """The most drops a minute that make sense, and what sets them: tube, receiver, or the bench's own alarm."""
    drop_ml = bench.drops.volume_ul.value / 1000.0
    grid_ml = np.linspace(0.0, charge.acid_volume_ml, 101)
    over_mol = np.array([course.at(float(ml)).delivered_mol for ml in grid_ml])
    steepest_mol_per_ml = float(np.max(np.diff(over_mol)) / (grid_ml[1] - grid_ml[0]))
    molar_l = so2_molar_volume_l(charge.temperature_c, charge.pressure_pa)
    bounds = [(bench.limits.drip_fast_per_min, "this bench's alarm for a fast drip")]
    if steepest_mol_per_ml > 0.0:
        per_drop_l = steepest_mol_per_ml * drop_ml * molar_l
        bounds.append((TUBE_L_PER_MIN / per_drop_l, f"the tube: {TUBE_L_PER_MIN:g} L of gas a minute"))
    if run.receiver is not None and need_ml is not None:
        least_min = RECEIVER_MIN.get(run.receiver.reaction or "", OTHER_RECEIVER_MIN)
        bounds.append((need_ml / drop_ml / least_min, f"the receiver: {least_min:g} min or more for its gas"))
    return min(bounds)


def warm_freed_mol(charge: DripTerms, to_c: float) -> tuple[float | None, float | None]:
    """What leaves when the flask is warmed with all the acid in, mol, and its standard uncertainty.

    None outside the range of the constants, or when that is no warming.
    """
    if not charge.temperature_c < to_c <= MODEL_RANGE_C[1]:
        return None, None
    flask, _ = perturbed_flasks(charge)
    acid_ml = np.linspace(0.0, charge.acid_volume_ml, _STEPS + 1).tolist()
    rise_c = to_c - charge.temperature_c
    steps_c = np.linspace(0.0, rise_c, ceil(rise_c / _WARM_STEP_C) + 1)[1:].tolist()
    course = warm(flask, acid_ml, steps_c)
    freed = course.delivered_mol[-1] - course.delivered_mol[0]
    parts = 0.5 * (freed[1::2] - freed[2::2])
    return float(freed[0]), float(np.sqrt((parts**2).sum()))
