"""Random benches whose truth is drawn from what their settings state: flask by flask, drop by drop, then weighed.

The flask is the rig's own physics (`monitor.rig.flask`), stepped in half seconds; nothing of the account is in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.core.account import Weighing
from monitor.core.dropaccount import DropAccount
from monitor.rig.flask import DripFlask
from monitor.rig.reality import Reality
from monitor.terms import DripTerms
from tests.core.runs import BENCH, CHARGE, DRIP

SO2_G_PER_MOL, AIR_G_PER_MOL, WATER_G_PER_MOL = 64.058, 28.965, 18.015  # CIAAW 2021; dry air by CIPM-2007
WATER_PA = 2645.0  # at 22 °C: CRC Handbook, from memory
STEP_S = 0.5
U_G = 0.15  # a bench balance under a flask with its tubes
SPREADS = {"drop": 0.6 / 38.4, "acid": 0.1 / 9.456, "salt": 0.0121, "solubility": 0.085}  # as BENCH, CHARGE state


@dataclass(frozen=True)
class Case:
    """One random bench after its weighing, and where it went on to; mol, and k = 1 uncertainties."""

    before_off: float  # delivered − truth, in standard uncertainties, just before the weighing
    after_off: float
    later_off: float  # at the end of the run
    u_before_mol: float
    u_after_mol: float
    drop_off: float  # the drop volume − the true one, in its standard uncertainties


def weighed_case(seed: int) -> Case:
    """Draw a bench's truth, drip half to nine tenths of its acid, weigh the flask, drip on to the end."""
    rng = np.random.default_rng(seed)
    drop, acid, salt, solubility = (1.0 + spread * rng.standard_normal() for spread in SPREADS.values())
    charge = CHARGE
    assert isinstance(charge, DripTerms)
    flask = DripFlask(charge, Reality(acid_strength_ratio=acid, salt_ratio=salt, solubility_ratio=solubility))
    account = DropAccount(BENCH, DRIP)
    ends = int(charge.acid_volume_ml / 38.4e-3 * 0.97)
    weighed_at = int(ends * rng.uniform(0.45, 0.9))
    offs: list[tuple[float, float]] = []
    for n in range(1, ends + 1):
        flask.add_acid(38.4 * drop)
        for _ in range(2):
            flask.step(STEP_S, 22.0, permit=True)
        account.count(float(n), 1, float(n), n - 1.0)
        if n == weighed_at:
            for _ in range(120):  # the tap shut for a minute: what is on its way comes over
                flask.step(STEP_S, 22.0, permit=True)
            offs.append(_off(account, flask))
            account.weigh(float(n), "Ada", Weighing("flask loss", _loss_g(flask) + U_G * rng.standard_normal(), U_G))
            offs.append(_off(account, flask))
    for _ in range(120):
        flask.step(STEP_S, 22.0, permit=True)
    later, _ = _off(account, flask)
    drop_off = (account.volume_ul - 38.4 * drop) / account.u_volume_ul
    (before, u_before), (after, u_after) = offs
    return Case(before, after, later, u_before, u_after, drop_off)


def _loss_g(flask: DripFlask) -> float:
    head = flask.head
    air_mol = head.delivered_gas_mol - head.delivered_mol
    water_mol = head.delivered_gas_mol * WATER_PA / (101325.0 - WATER_PA)
    return head.delivered_mol * SO2_G_PER_MOL + air_mol * AIR_G_PER_MOL + water_mol * WATER_G_PER_MOL


def _off(account: DropAccount, flask: DripFlask) -> tuple[float, float]:
    now = account.state(0.0)
    return (now.delivered_mol - flask.head.delivered_mol) / now.u_delivered_mol, now.u_delivered_mol
