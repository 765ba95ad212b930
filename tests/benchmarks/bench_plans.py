"""Random plans against the rig's plant, whose truth is drawn within the uncertainties that the plan states.

Run as `python -m tests.benchmarks.bench_plans [COUNT [SEED]]`. Aims: delivered ends within the plan's expanded
uncertainty (k = 2) in at least 93 of 100 plans, and a charge worked out for a need meets it in as many. The plant has
its own physics; the charges, and what is true of them, are invented.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from math import hypot
from typing import NamedTuple

import numpy as np

from monitor.chemistry.acids import mass_fraction_from_mol_per_l
from monitor.chemistry.design import design_drip
from monitor.chemistry.planning import plan
from monitor.chemistry.trajectory import (
    ACTIVITY_RELATIVE_U,
    FLASK_RELATIVE_U,
    HENRY_RELATIVE_U,
    PRESSURE_U_PA,
    TEMPERATURE_U_C,
    WATER_RELATIVE_U,
)
from monitor.errors import PlanError
from monitor.rig.plant import Plant
from monitor.rig.reality import Reality
from monitor.terms import Acid, BenchTerms, DripTerms, Measured, ReceiverTerms, RunTerms, Salt
from tests.rig.terms import BENCH

AIM = 0.93
RATE_PER_MIN = 480.0  # fast, for the account depends on the acid and not on the time; then the gas may settle
SETTLE_S = 120.0
STEP_S = 0.1
SALT_NAMES: tuple[Salt, ...] = ("Na2S2O5", "K2S2O5", "NaHSO3", "Na2SO3", "K2SO3")


class Outcome(NamedTuple):
    """A plan's promise and what the plant did."""

    charge: DripTerms
    need_mol: float
    planned_mol: float
    expanded_mol: float
    true_mol: float

    @property
    def within(self) -> bool:
        """Whether the truth lies in the stated interval."""
        return abs(self.true_mol - self.planned_mol) <= self.expanded_mol


def random_like(rng: np.random.Generator) -> tuple[DripTerms, float]:
    """What stands on an invented shelf, and a need, mol."""
    acid: Acid = "HCl" if rng.random() < 0.6 else "H2SO4"
    strength = rng.uniform(6.0, 12.0) if acid == "HCl" else rng.uniform(6.0, 18.0)
    relative_u = rng.uniform(0.005, 0.03)
    fraction = mass_fraction_from_mol_per_l(acid, strength)
    like = DripTerms(
        salt=SALT_NAMES[rng.integers(len(SALT_NAMES))],
        salt_mass_g=Measured(1.0),
        salt_purity=Measured(rng.uniform(0.92, 0.99), rng.uniform(0.003, 0.02)),
        water_ml=1.0,
        acid=acid,
        acid_mol_per_l=Measured(strength, relative_u * strength),
        acid_mass_fraction=Measured(fraction, relative_u * fraction),
        acid_volume_ml=1.0,
        flask_volume_ml=1.0,
        temperature_c=rng.uniform(10.0, 40.0),
    )
    return like, float(rng.uniform(0.1, 0.6))


def drawn_truth(charge: DripTerms, bench: BenchTerms, rng: np.random.Generator) -> tuple[DripTerms, Reality]:
    """The charge and the bench as they really are, each input drawn within its stated standard uncertainty."""

    def ratio(relative_u: float) -> float:
        return max(0.5, 1.0 + relative_u * rng.standard_normal())

    salt, purity, drop = charge.salt_mass_g, charge.salt_purity, bench.drops.volume_ul
    reality = Reality(
        salt_ratio=ratio(hypot(salt.u / salt.value, purity.u / purity.value)),
        acid_strength_ratio=ratio(charge.acid_mol_per_l.u / charge.acid_mol_per_l.value),
        solubility_ratio=ratio(hypot(HENRY_RELATIVE_U, ACTIVITY_RELATIVE_U)),
        drop_volume_ratio=ratio(drop.u / drop.value),
    )
    true = replace(
        charge,
        water_ml=charge.water_ml * ratio(WATER_RELATIVE_U),
        flask_volume_ml=charge.flask_volume_ml * ratio(FLASK_RELATIVE_U),
        temperature_c=charge.temperature_c + TEMPERATURE_U_C * rng.standard_normal(),
        pressure_pa=charge.pressure_pa + PRESSURE_U_PA * rng.standard_normal(),
        acid_volume_ml=1.3 * charge.acid_volume_ml,  # there is more in the funnel than is counted out
    )
    return true, reality


def outcome(seed: int) -> Outcome | None:
    """One random need, its charge, its plan, and the plant's end after the planned drops; None if it cannot be."""
    rng = np.random.default_rng(seed)
    like, need_mol = random_like(rng)
    drop = BENCH.drops.volume_ul
    try:
        charge = design_drip(like, need_mol, drop_relative_u=drop.u / drop.value).charge
    except PlanError:
        return None
    run = RunTerms("a random plan", "acid-drip", "drops", charge, ReceiverTerms(None, need_mol))
    made = plan(run, BENCH)
    assert made.delivered_mol is not None
    assert made.delivered_expanded_uncertainty_mol is not None
    true_charge, reality = drawn_truth(charge, BENCH, rng)
    plant = Plant(BENCH, replace(run, charge=true_charge), reality, np.random.SeedSequence(seed))
    assert plant.tap is not None
    plant.tap.rate_per_min = RATE_PER_MIN
    drops = round(charge.acid_volume_ml * 1000.0 / drop.value)
    while plant.tap.drops < drops:
        plant.step(STEP_S, heat=False, drip=True)
    for _ in range(round(SETTLE_S / STEP_S)):
        plant.step(STEP_S, heat=False, drip=False)
    return Outcome(
        charge, need_mol, made.delivered_mol, made.delivered_expanded_uncertainty_mol, plant.truth().delivered_mol
    )


def outcomes(count: int, seed: int) -> list[Outcome]:
    """So many plans that can be."""
    found: list[Outcome] = []
    while len(found) < count:
        one = outcome(seed)
        seed += 1
        if one is not None:
            found.append(one)
    return found


def main(argv: list[str]) -> int:
    """Print the shares; 1 if an aim is missed."""
    count = int(argv[0]) if argv else 100
    found = outcomes(count, int(argv[1]) if len(argv) > 1 else 1)
    within = sum(one.within for one in found)
    met = sum(one.true_mol >= one.need_mol for one in found)
    pulls = [(one.true_mol - one.planned_mol) / one.expanded_mol for one in found]
    print(f"delivered within the stated k = 2 uncertainty: {within} of {count}")
    print(f"need met by the charge worked out for it: {met} of {count}")
    print(f"(true - planned) / expanded: mean {np.mean(pulls):+.2f}, standard deviation {np.std(pulls):.2f}")
    for one in found:
        if not one.within:
            c = one.charge
            print(
                f"  outside: {c.salt} {c.salt_mass_g.value:g} g, {c.acid} {c.acid_mol_per_l.value:.1f} M, "
                f"{c.temperature_c:.0f} °C: {one.planned_mol:.3f} ± {one.expanded_mol:.3f}, was {one.true_mol:.3f}"
            )
    return 0 if min(within, met) >= AIM * count else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
