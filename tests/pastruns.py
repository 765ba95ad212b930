"""Invented past runs of one bench: the rig's flask dripped and weighed, with a drop that drifts from run to run.

The flask is the rig's own physics; nothing of the account is in it. Flasks are dripped once each and shared out over
many benches, since what has gone over hangs on the acid that is in.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

import numpy as np

from monitor.chemistry.trajectory import acid_ml_to_spend
from monitor.core.balance import course_of
from monitor.nexttime import RunResult, drop_by_weighing
from monitor.rig.flask import DripFlask
from monitor.rig.reality import Reality
from monitor.terms import DripTerms, Measured
from tests.core.runs import BENCH, SMALL

STATED = BENCH.drops.volume_ul
STEP_UL, STEP_S = 40.0, 1.0
SOLUBILITY_SPREAD = 0.085  # as the account states it: Henry's constant and the activity of a strong liquor
FLASKS = 40
WEIGHED_U_MOL = 0.0008  # a balance of ± 0.05 g under the flask
CALIBRATED = date(2026, 3, 2)


@lru_cache(maxsize=1)
def charge() -> DripTerms:
    """A small charge, so that it is dripped quickly."""
    assert isinstance(SMALL.charge, DripTerms)
    return SMALL.charge


@lru_cache(maxsize=FLASKS)
def flask_curve(seed: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Acid in, mL, and SO2 gone over, mol, of a flask whose truth is drawn from what its settings state."""
    rng = np.random.default_rng(seed)
    c = charge()
    acid_u = c.acid_mol_per_l.u / c.acid_mol_per_l.value
    salt_u = float(np.hypot(c.salt_mass_g.u / c.salt_mass_g.value, c.salt_purity.u / c.salt_purity.value))
    flask = DripFlask(
        c,
        Reality(
            acid_strength_ratio=1.0 + acid_u * rng.standard_normal(),
            salt_ratio=1.0 + salt_u * rng.standard_normal(),
            solubility_ratio=1.0 + SOLUBILITY_SPREAD * rng.standard_normal(),
        ),
    )
    acid_ml, over_mol = [0.0], [0.0]
    while acid_ml[-1] < 1.1 * c.acid_volume_ml:
        flask.add_acid(STEP_UL)
        for _ in range(12):  # long enough that what is on its way comes over
            flask.step(STEP_S, c.temperature_c, permit=True)
        acid_ml.append(acid_ml[-1] + STEP_UL / 1000.0)
        over_mol.append(flask.head.delivered_mol)
    return tuple(acid_ml), tuple(over_mol)


@dataclass(frozen=True)
class PastBench:
    """A bench's runs, and what is true of its drop."""

    results: list[RunResult]
    growth: float  # of the drop from its calibration to the last run, as a share


def past_bench(seed: int, growth_per_year: float, runs: int = 6) -> PastBench:
    """Runs some weeks apart after a calibration; each weighed at four to seven tenths of the acid that spends it."""
    rng = np.random.default_rng(seed)
    true_ul = STATED.value + STATED.u * rng.standard_normal()  # on the day of the calibration
    days = np.cumsum(rng.integers(12, 45, size=runs))
    flasks = rng.choice(FLASKS, size=runs, replace=False)
    c, results = charge(), []
    for number, (days_after, flask) in enumerate(zip(days, flasks, strict=True)):
        acid_ml, over_mol = flask_curve(int(flask))
        ul = true_ul * (1.0 + growth_per_year * days_after / 365.25)
        drops = int(acid_ml_to_spend(c) * 1000.0 / STATED.value * rng.uniform(0.4, 0.7))
        weighed = float(np.interp(drops * ul / 1000.0, acid_ml, over_mol)) + WEIGHED_U_MOL * rng.standard_normal()
        results.append(result_of(number, CALIBRATED + timedelta(days=int(days_after)), drops, weighed))
    return PastBench(results, growth_per_year * int(days[-1]) / 365.25)


def result_of(number: int, day: date, drops: int, weighed_mol: float) -> RunResult:
    """What the log of such a run says."""
    over, course = Measured(weighed_mol, WEIGHED_U_MOL), course_of(charge())
    planned_mol = course.at(drops * STATED.value / 1000.0).delivered_mol
    return RunResult(
        name=f"run{number}.so2log",
        day=day,
        route="acid-drip",
        stated_ul=STATED,
        calibrated=CALIBRATED,
        drop=drop_by_weighing(course, drops, STATED.value, over),
        yield_share=Measured(over.value / planned_mol, over.u / planned_mol),
    )
