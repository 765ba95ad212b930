"""The account's laws, over charges that no one would choose."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.chemistry.acids import table
from monitor.chemistry.trajectory import build_trajectory
from monitor.terms import Acid, DripTerms, Salt
from tests.chemistry.charges import drip

EXAMPLES = max(30, settings().max_examples // 20)


@st.composite
def charges(draw: st.DrawFn) -> DripTerms:
    """Any salt and acid; from a pinch to a heap of salt, little water to much, a flask from empty to overfull."""
    acid: Acid = draw(st.sampled_from(get_args(Acid)))
    rows = table(acid)
    water_ml = draw(st.floats(5.0, 1000.0))
    acid_ml = draw(st.floats(1.0, 1000.0))
    return drip(
        salt=draw(st.sampled_from(get_args(Salt))),
        salt_g=draw(st.floats(0.01, 500.0)),
        water_ml=water_ml,
        acid=acid,
        acid_mol_per_l=draw(st.floats(rows[0].mol_per_l + 0.01, rows[-1].mol_per_l - 0.01)),
        acid_ml=acid_ml,
        flask_ml=draw(st.floats(0.5, 20.0)) * (water_ml + acid_ml),
        temperature_c=draw(st.floats(0.0, 60.0)),
        relative_u=draw(st.sampled_from([0.0, 0.01, 0.5])),
    )


@pytest.mark.parametrize("salt", get_args(Salt))
@pytest.mark.parametrize("acid", get_args(Acid))
def test_the_account_closes_for_every_salt_and_acid(salt: Salt, acid: Acid) -> None:
    """Each pairing keeps the laws, from dry salt to acid in excess."""
    _assert_laws(drip(salt, acid=acid, acid_mol_per_l=10.0, acid_ml=250.0, flask_ml=500.0))


@pytest.mark.parametrize(
    "charge",
    [
        drip(water_ml=330.0, acid_ml=140.0),
        drip(water_ml=450.0, acid_ml=300.0),
        drip(salt_g=0.005, acid_ml=0.1),
        drip(salt_g=0.005, acid_ml=300.0, flask_ml=5000.0),
        drip(salt_g=500.0, water_ml=20.0, acid_ml=500.0, flask_ml=1000.0),
        drip(acid="H2SO4", acid_mol_per_l=18.3, acid_ml=200.0),
        drip("K2SO3", temperature_c=95.0),
    ],
    ids=["nearly full", "overflowing", "a pinch", "a pinch drowned", "a slurry", "strong acid", "nearly boiling"],
)
def test_an_odd_flask_keeps_the_laws(charge: DripTerms) -> None:
    """A flask nearly full, overflowing, with next to no salt or no water, or nearly boiling keeps the laws."""
    _assert_laws(charge)


@given(charges())
@settings(max_examples=EXAMPLES)
def test_the_account_closes_whatever_the_charge(charge: DripTerms) -> None:
    """locked + generated = charge, generated = held + delivered; delivered never falls; nothing is negative."""
    _assert_laws(charge)


def _assert_laws(charge: DripTerms) -> None:
    course = build_trajectory(charge)
    delivered_before = 0.0
    for step in range(2001):
        acid_ml = course.end_ml * step / 2000
        state = course.at(acid_ml)
        assert min(state) >= 0.0
        assert state.locked_mol + state.generated_mol == pytest.approx(course.charge_mol, rel=1e-12)
        assert state.generated_mol == state.held_mol + state.delivered_mol
        assert state.held_mol == state.held_liquor_mol + state.held_headspace_mol
        assert state.delivered_mol >= delivered_before
        delivered_before = state.delivered_mol
        u = course.uncertainty(acid_ml, 0.02)
        assert all(0.0 <= part < 10.0 * course.charge_mol for part in u)
