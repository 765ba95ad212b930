"""The account on a run: conservation over random charges and drips, and rates that gaps do not distort."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.chemistry.substances import sulfur_iv_mol
from monitor.core.dropaccount import DropAccount
from monitor.core.events import Accounted
from monitor.terms import Acid, DripTerms, Measured, Salt
from tests.core.lines import BoardScript
from tests.core.runs import BENCH, CHARGE, DRIP, SMALL, Run, raised
from tests.examples import examples

# mol/L and mass fraction: CRC Handbook 102nd ed., concentrative properties, 20 °C (30 % HCl, 96 % H2SO4)
STRENGTHS: dict[Acid, tuple[float, float]] = {"HCl": (9.456, 0.30), "H2SO4": (17.966, 0.96)}
SALTS: tuple[Salt, ...] = ("Na2S2O5", "K2S2O5", "NaHSO3", "Na2SO3", "K2SO3")


@st.composite
def charges(draw: st.DrawFn) -> DripTerms:
    """Charges of any salt and acid, from a gram to a big flask."""
    acid = draw(st.sampled_from(sorted(STRENGTHS)))
    molar, fraction = STRENGTHS[acid]
    salt_g = draw(st.floats(1.0, 200.0))
    water_ml = salt_g * draw(st.floats(1.0, 8.0))
    acid_ml = salt_g * draw(st.floats(0.2, 2.5))
    return replace(
        CHARGE,
        salt=draw(st.sampled_from(SALTS)),
        salt_mass_g=Measured(salt_g, 0.005 * salt_g),
        acid=acid,
        acid_mol_per_l=Measured(molar, 0.01 * molar),
        acid_mass_fraction=Measured(fraction, 0.01 * fraction),
        water_ml=water_ml,
        acid_volume_ml=acid_ml,
        flask_volume_ml=(water_ml + acid_ml) * draw(st.floats(1.05, 5.0)),
        temperature_c=draw(st.floats(5.0, 60.0)),
    )


@examples(12)
@given(charges(), st.lists(st.tuples(st.integers(0, 9), st.integers(0, 400)), min_size=20, max_size=80))
def test_conservation(charge: DripTerms, drips: list[tuple[int, int]]) -> None:
    """Over random charges and drips: locked + generated = charge, generated = held + delivered, to rounding.

    Nothing is negative, and delivered and generated never fall, drop by drop, restarts and losses among them.
    """
    run = Run(replace(DRIP, charge=charge))
    charge_mol = sulfur_iv_mol(charge.salt, charge.salt_mass_g.value, charge.salt_purity.value)
    for gap, fell in drips:
        run.board.drop(fell)
        if gap == 0:
            run.board.restart()
        run.silence(0.1 * gap)
        run.sample()
    seen = [e for e in run.events if isinstance(e, Accounted)]
    seen += [run.bench.account.state(run.t_s)] if run.bench.account is not None else []
    before = 0.0
    for a in seen:
        assert a.locked_mol + a.generated_mol == pytest.approx(charge_mol, rel=1e-9)
        assert a.held_mol + a.delivered_mol == pytest.approx(a.generated_mol, rel=1e-9, abs=1e-15)
        assert min(a.locked_mol, a.held_mol, a.delivered_mol, a.generated_mol) >= 0.0
        assert min(a.u_locked_mol, a.u_held_mol, a.u_delivered_mol, a.u_generated_mol) >= 0.0
        assert a.delivered_mol >= before
        before = a.delivered_mol


def test_acid_is_drops_times_their_volume() -> None:
    """A thousand drops of 38.4 µL are 38.4 mL."""
    run = Run(DRIP)
    run.sample()
    run.samples(100.0, lambda board: board.drop())
    account = run.bench.account
    assert isinstance(account, DropAccount)
    assert account.drops == 1000
    assert account.acid_ml == pytest.approx(38.4)


def test_drops_before_the_run_do_not_count() -> None:
    """The first sample that a run sees sets the zero of the drops."""
    run = Run(DRIP)
    run.board.drop(500)
    run.sample()
    run.board.drop()
    run.sample()
    assert run.bench.drops == 1


@pytest.mark.parametrize("gap_s", [5.0, 30.0, 600.0, 3600.0])
def test_a_gap_in_the_line_is_no_burst_of_drops(gap_s: float) -> None:
    """Drops that fell at 60 a minute while the line was down are counted, and raise no DRIP-FAST at 90."""
    run = Run(DRIP)
    run.sample()
    run.permit()
    run.samples(60.0, _once_a_second)
    for _ in range(round(gap_s)):
        run.board.drop()
        run.silence(1.0)
    run.samples(60.0, _once_a_second)
    assert run.bench.drops == 120 + round(gap_s)
    assert "DRIP-FAST" not in [tag for tag, _ in raised(run.events)]


def _once_a_second(board: BoardScript) -> None:
    if board.seq % 10 == 0:
        board.drop()


def test_rate_is_drops_over_twenty_seconds() -> None:
    """The rate is the drops of the last 20 s, three times over a minute."""
    account = DropAccount(BENCH, SMALL)
    for n in range(1, 11):
        account.count(float(n), 1, float(n), n - 1.0)
    assert account.drip_per_min(10.0) == 30.0
    assert account.drip_per_min(20.9) == 30.0
    assert account.drip_per_min(25.9) == 15.0
    assert account.drip_per_min(60.0) == 0.0


@given(st.lists(st.tuples(st.floats(0.05, 30.0), st.integers(1, 200), st.floats(-50.0, 0.0)), max_size=40))
def test_rate_is_never_negative_nor_more_than_all_that_fell(steps: list[tuple[float, int, float]]) -> None:
    """Whatever the board says of when a drop fell, the rate is not negative, nor more than all drops give."""
    account = DropAccount(BENCH, SMALL)
    t_s = 0.0
    for gap_s, fell, late_s in steps:
        before_s, t_s = t_s, t_s + gap_s
        account.count(t_s, fell, t_s + late_s, before_s)
        assert 0.0 <= account.drip_per_min(t_s) <= 3.0 * account.drops + 1e-9


def test_minutes_to_need_follow_the_rate() -> None:
    """At a steady rate the minutes to what is needed are the drops to it over the rate."""
    run = Run(SMALL)
    run.sample()
    run.samples(30.0, _once_a_second)
    account = run.bench.account
    assert isinstance(account, DropAccount)
    forecast = account.forecast(run.t_s)
    assert forecast.drip_per_min == pytest.approx(60.0)
    assert forecast.drops_to_need is not None
    assert forecast.minutes_to_need == pytest.approx(forecast.drops_to_need / 60.0)
    need_ml = account.course.acid_ml_for_delivered(0.03)
    assert need_ml is not None
    assert 0.0 <= (account.drops + forecast.drops_to_need) * 38.4e-3 - need_ml < 38.4e-3


def test_the_drops_calibration_is_in_the_uncertainty() -> None:
    """A drop volume known twice as badly makes every figure after the first gas less certain."""
    worse = replace(BENCH, drops=replace(BENCH.drops, volume_ul=Measured(38.4, 1.2)))
    fine, coarse = DropAccount(BENCH, SMALL), DropAccount(worse, SMALL)
    for account in (fine, coarse):
        account.count(1.0, 150, 1.0, 0.0)
    assert coarse.state(1.0).u_delivered_mol > fine.state(1.0).u_delivered_mol
    assert coarse.state(1.0).delivered_mol == fine.state(1.0).delivered_mol
