"""The account's chemistry against the plant's: two hands, one set of published constants.

The plant steps differential equations with a lag between liquor and gas, the account reads a table of equilibria.
That they agree shows that neither has slipped; it does not show that the constants are right.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from monitor.chemistry.trajectory import build_trajectory
from monitor.rig.plant import Plant
from monitor.rig.reality import Reality
from monitor.terms import Acid, DripTerms, Salt
from tests.rig.terms import BENCH, drip_run

SALT_NAMES: tuple[Salt, ...] = ("Na2S2O5", "K2S2O5", "NaHSO3", "Na2SO3", "K2SO3")
ACID_NAMES: tuple[Acid, ...] = ("HCl", "H2SO4")


@pytest.mark.parametrize(("salt", "acid"), list(itertools.product(SALT_NAMES, ACID_NAMES)))
def test_account_and_plant_agree(salt: Salt, acid: Acid) -> None:
    """At a drop a second, what was generated, is held and was delivered agree to 3 % of the charge, all the way."""
    run = drip_run(salt, acid)
    assert isinstance(run.charge, DripTerms)
    course = build_trajectory(run.charge)
    plant = Plant(BENCH, run, Reality(), np.random.SeedSequence(1))
    assert plant.tap is not None
    plant.tap.rate_per_min = 60.0
    for _ in range(14):
        for _ in range(4000):
            plant.step(0.05, heat=True, drip=True)
        truth = plant.truth()
        account = course.at(run.charge.acid_volume_ml - truth.acid_left_ml)
        band = 0.03 * truth.charged_mol
        assert account.generated_mol == pytest.approx(truth.generated_mol, abs=band)
        assert account.held_mol == pytest.approx(truth.held_mol, abs=band)
        assert account.delivered_mol == pytest.approx(truth.delivered_mol, abs=band)
