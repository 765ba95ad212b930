"""Weighings: what they correct, what is refused, what is undone, and how well the corrected account keeps."""

from __future__ import annotations

from dataclasses import replace
from math import expm1

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.account import Account, Weighing
from monitor.core.bubbleaccount import BubbleAccount
from monitor.core.dropaccount import DropAccount
from monitor.core.events import Accounted, Corrected
from monitor.core.weighedaccount import WeighedAccount
from monitor.terms import AcidOnSulfurTerms, BurnerTerms, Measured, ReceiverTerms, RunTerms
from tests.core.runs import BENCH, DRIP, SMALL, Run
from tests.examples import examples
from tests.weighings import weighed_case

SO2_G = 64.058  # g/mol, CIAAW 2021
# 96 % sulfuric acid is 17.966 mol/L: CRC Handbook 102nd ed., concentrative properties, 20 °C
HOT = AcidOnSulfurTerms(
    Measured(6.4, 0.05), Measured(17.966, 0.1), Measured(0.96, 0.005), 60.0, (270.0, 310.0), 250.0
)
BUBBLES = RunTerms("a test", "acid-on-sulfur", "bubbles", HOT, bubble_volume_ul=Measured(2500.0, 50.0))
HOT_WEIGHED = replace(BUBBLES, meter="weighings", bubble_volume_ul=None)
DRIP_BUBBLES = replace(DRIP, meter="bubbles", bubble_volume_ul=Measured(1500.0, 30.0))
DRIP_WEIGHED = replace(DRIP, meter="weighings")
CANDLE = RunTerms("a test", "burner", "weighings", BurnerTerms(Measured(16.0, 0.05), 2.0), ReceiverTerms(None, 0.3))
CHARGE_MOL = {"acid-drip": 0.8164, "acid-on-sulfur": 0.5989, "burner": 0.4990}  # by hand from the masses above


def dripped(run: RunTerms = DRIP, drops: int = 1500) -> Run:
    """A run with so much counted."""
    made = Run(run)
    made.sample()
    made.board.drop(drops)
    made.sample()
    return made


def corrections(run: Run) -> list[Corrected]:
    """The corrections among a run's events."""
    return [e for e in run.events if isinstance(e, Corrected)]


def newest(run: Run) -> Accounted:
    """The newest account."""
    return run.bench.account.state(run.t_s)


def test_a_weighing_covers_the_truth() -> None:
    """Over 30 random benches the interval after a weighing holds the truth in 28 at least, and is narrower in all."""
    cases = [weighed_case(seed) for seed in range(1000, 1030)]
    assert sum(abs(c.after_off) <= 2.0 for c in cases) >= 28
    assert sum(abs(c.drop_off) <= 2.0 for c in cases) >= 28
    assert all(c.u_after_mol < 0.5 * c.u_before_mol for c in cases)


@pytest.mark.parametrize("gas_l", [0.02, 0.08, 0.2, 1.0])
def test_a_small_loss_is_mostly_air(gas_l: float) -> None:
    """Of g litres of gas that left a mixed headspace of v litres, g − v(1 − exp(−g/v)) are SO2, and the rest is air.

    v by hand from the run's file; 23.79 L/mol SO2 at 22 °C by CoolProp 8.0.0, air 28.965 g/mol (CIPM-2007), vapour
    over water 2645 Pa (IAPWS-IF97, from memory).
    """
    dry = 1.0 - 2645.0 / 101325.0
    v_l = (500.0 - 120.0 - 0.8164 * 33.0) * 1e-3 * dry
    so2_l = gas_l + v_l * expm1(-gas_l / v_l)
    so2_mol, air_mol = so2_l / 23.79, (gas_l - so2_l) / 24.22
    water_mol = gas_l / 24.22 * (1.0 / dry - 1.0)
    run = Run(DRIP_WEIGHED)
    run.sample()
    grams = SO2_G * so2_mol + 28.965 * air_mol + 18.015 * water_mol
    assert run.ask("weighing", what="flask loss", grams=grams, u_g=0.01).accepted
    assert corrections(run)[-1].weighed_mol == pytest.approx(so2_mol, rel=0.01)


def test_inverse_variance() -> None:
    """Where the bubble's volume is most of what is uncertain, it becomes the mean weighted by variance (GUM)."""
    run = dripped(BUBBLES, 3000)
    a = newest(run)
    weighed_g = 1.03 * a.delivered_mol * SO2_G
    assert run.ask("weighing", what="receiver gain", grams=weighed_g, u_g=0.02 * weighed_g).accepted
    (c,) = corrections(run)
    prior, u_prior = 2500.0, 50.0
    implied = prior + (c.weighed_mol - c.delivered_before_mol) / (a.delivered_mol / prior) * 0.99
    u_implied = 0.0206 * prior  # 2 % of the weighing with the temperature's 0.5 % and the pressure's
    mean = (prior / u_prior**2 + implied / u_implied**2) / (1.0 / u_prior**2 + 1.0 / u_implied**2)
    assert c.volume_after_ul == pytest.approx(mean, abs=3.0)
    assert c.u_volume_after_ul == pytest.approx((u_prior**-2 + u_implied**-2) ** -0.5, rel=0.03)


def test_old_and_new_are_in_the_record_and_said() -> None:
    """A correction carries the drop volume and what is delivered, before and after; the answer says them."""
    run = dripped()
    before = newest(run)
    answer = run.ask("weighing", what="flask loss", grams=before.delivered_mol * SO2_G, u_g=0.1)
    assert answer.accepted
    (c,) = corrections(run)
    assert (c.volume_before_ul, c.u_volume_before_ul, c.who) == (38.4, 0.6, "Ada")
    assert c.delivered_before_mol == before.delivered_mol
    assert c.delivered_after_mol == newest(run).delivered_mol
    assert c.u_after_mol < c.u_before_mol
    assert "→" in answer.text
    assert "µL" in answer.text
    assert "better known" in answer.text
    assert [e for e in run.events if isinstance(e, Accounted)][-1].delivered_mol == c.delivered_after_mol


def test_a_weighing_far_off_is_followed_and_said() -> None:
    """Drops a fifth too small against their stated 1.6 %: the weighing is believed, and the disagreement is said."""
    run = dripped(drops=1800)
    truth = run.bench.account.state(0.0)
    small = DropAccount(replace(BENCH, drops=replace(BENCH.drops, volume_ul=Measured(38.4 * 0.8, 0.5))), DRIP)
    small.count(1.0, 1800, 1.0, 0.0)
    c = small.weigh(2.0, "Ada", Weighing("receiver gain", truth.delivered_mol * SO2_G, 0.1))
    assert c.delivered_after_mol == pytest.approx(truth.delivered_mol, abs=2.0 * c.u_after_mol)
    assert c.volume_after_ul is not None
    assert 38.4 * 0.8 < c.volume_after_ul < 38.4 * 1.1
    far = dripped(drops=1800)
    assert (
        "disagree" in far.ask("weighing", what="receiver gain", grams=0.6 * truth.delivered_mol * SO2_G, u_g=0.1).text
    )


REFUSED = [
    (DRIP, {"what": "flask loss", "grams": -3.0, "u_g": 0.1}, "above 0"),
    (DRIP, {"what": "flask loss", "grams": 0.0, "u_g": 0.1}, "above 0"),
    (DRIP, {"what": "flask loss", "grams": 20.0, "u_g": 0.0}, "uncertainty"),
    (DRIP, {"what": "flask loss", "grams": 300.0, "u_g": 0.1}, "all the charge makes"),
    (DRIP, {"what": "sulfur loss", "grams": 3.0, "u_g": 0.1}, "wanted is flask loss or receiver gain"),
    (DRIP, {"what": "cat", "grams": 3.0, "u_g": 0.1}, "wanted is"),
    (CANDLE, {"what": "flask loss", "grams": 3.0, "u_g": 0.1}, "wanted is sulfur loss or receiver gain"),
    (CANDLE, {"what": "sulfur loss", "grams": 17.0, "u_g": 0.1}, "all the charge makes"),
    (HOT_WEIGHED, {"what": "sulfur loss", "grams": 1.0, "u_g": 0.1}, "wanted is flask loss"),
]


@pytest.mark.parametrize(("terms", "args", "why"), REFUSED)
def test_nonsense_is_refused_and_nothing_is_lost(terms: RunTerms, args: dict[str, object], why: str) -> None:
    """A weighing that cannot be is refused with one sentence, and the account is what it was."""
    run = dripped(terms)
    before, meter = newest(run), run.bench.account.metering()
    answer = run.ask("weighing", **args)
    assert not answer.accepted
    assert why in answer.text
    assert (newest(run), run.bench.account.metering()) == (before, meter)
    assert not corrections(run)


def test_the_same_twice_or_less_than_before_is_refused() -> None:
    """The same weighing again is refused; so is a loss that shrank."""
    run = dripped(CANDLE)
    assert run.ask("weighing", what="sulfur loss", grams=6.0, u_g=0.1).accepted
    assert "already" in run.ask("weighing", what="sulfur loss", grams=6.0, u_g=0.1).text
    assert "undo" in run.ask("weighing", what="sulfur loss", grams=3.0, u_g=0.1).text
    assert len(corrections(run)) == 1


def test_before_anything_has_gone_over_nothing_is_learnt() -> None:
    """With nothing counted yet a weighing is refused: no drop volume follows from it."""
    assert "weigh again later" in dripped(DRIP, 3).ask("weighing", what="flask loss", grams=3.0, u_g=0.1).text


def test_an_absurd_drop_is_refused() -> None:
    """A weighing that no drop near the stated one can bring about is taken for a mistake."""
    run = dripped(drops=330)
    answer = run.ask("weighing", what="receiver gain", grams=45.0, u_g=0.1)
    assert not answer.accepted
    assert "look for" in answer.text
    assert run.bench.account.metering().weighings == 0


@pytest.mark.parametrize(
    "terms", [DRIP, BUBBLES, DRIP_BUBBLES, CANDLE, DRIP_WEIGHED], ids=lambda r: f"{r.route} {r.meter}"
)
def test_undo_gives_back_what_was(terms: RunTerms) -> None:
    """Two weighings undone one by one leave each state as it was, to the last digit; a third undo is refused."""
    run = dripped(terms, 1600)
    what = "sulfur loss" if terms.route == "burner" else "receiver gain"
    states = [newest(run)]
    for grams in (8.0, 8.1):
        answer = run.ask("weighing", what=what, grams=grams, u_g=0.2)
        assert answer.accepted, answer.text
        states.append(newest(run))
    for wanted in reversed(states[:-1]):
        assert run.ask("undo-weighing").accepted
        assert newest(run)._replace(t_s=0.0) == wanted._replace(t_s=0.0)
    answer = run.ask("undo-weighing")
    assert not answer.accepted
    assert "no weighing" in answer.text


def test_what_is_delivered_never_falls_by_counting() -> None:
    """After a correction downwards, which is a stated step, more drops never make delivered fall."""
    run = dripped(drops=1500)
    before = newest(run).delivered_mol
    run.ask("weighing", what="receiver gain", grams=0.9 * before * SO2_G, u_g=0.1)
    seen = [newest(run).delivered_mol]
    assert seen[0] < before
    for _ in range(120):
        run.board.drop(10)
        run.sample()
        seen.append(newest(run).delivered_mol)
    assert seen == sorted(seen)


@examples(15)
@given(
    st.sampled_from([DRIP, SMALL, BUBBLES, DRIP_BUBBLES, CANDLE, HOT_WEIGHED, DRIP_WEIGHED]),
    st.lists(
        st.one_of(
            st.integers(1, 400),
            st.tuples(st.sampled_from(["flask loss", "sulfur loss", "receiver gain"]), st.floats(0.01, 60.0)),
            st.just("undo"),
        ),
        max_size=25,
    ),
)
def test_conservation(terms: RunTerms, steps: list[int | tuple[str, float] | str]) -> None:
    """Whatever is counted, weighed and undone: the sums keep, nothing is negative, delivered falls only by a step."""
    run = dripped(terms, 1)
    charge_mol = run.bench.account.charge_mol
    before = 0.0
    for step in steps:
        if isinstance(step, int):
            run.board.drop(step)
            run.sample()
        elif isinstance(step, tuple):
            run.ask("weighing", what=step[0], grams=step[1], u_g=0.1)
            before = 0.0
        else:
            run.ask("undo-weighing")
            before = 0.0
        a = newest(run)
        assert a.locked_mol + a.generated_mol == pytest.approx(charge_mol, rel=1e-9)
        assert a.held_mol + a.delivered_mol == pytest.approx(a.generated_mol, rel=1e-9, abs=1e-15)
        assert min(a.locked_mol, a.held_mol, a.delivered_mol) >= -1e-12
        assert min(a.u_locked_mol, a.u_held_mol, a.u_delivered_mol, a.u_generated_mol) >= 0.0
        assert a.delivered_mol >= before
        before = a.delivered_mol


@pytest.mark.parametrize("terms", [BUBBLES, DRIP_BUBBLES, HOT_WEIGHED, CANDLE], ids=lambda r: f"{r.route} {r.meter}")
def test_the_charge_is_what_stoichiometry_makes_of_it(terms: RunTerms) -> None:
    """S + O2 → SO2; 2 H2SO4 + S → 3 SO2; two sulfur(IV) a disulfite."""
    account: Account = BubbleAccount(terms) if terms.meter == "bubbles" else WeighedAccount(terms)
    assert account.charge_mol == pytest.approx(CHARGE_MOL[terms.route], rel=1e-3)


def test_bubbles_are_real_gas_without_their_water_and_the_air_before() -> None:
    """400 bubbles of 2.5 mL at 22 °C: less 2.6 % of water vapour, less the flask's 190 mL of air, 23.79 L/mol of SO2.

    Vapour pressure 2645 Pa: CRC Handbook, from memory. 23.795 L/mol: CoolProp 8.0.0 between 20 and 25 °C.
    """
    account = BubbleAccount(BUBBLES)
    account.count(1.0, 400, 1.0, 0.0)
    assert account.delivered_mol == pytest.approx((1.0 * (1.0 - 2645.0 / 101325.0) - 0.190) / 23.795, rel=5e-3)


def test_before_the_air_is_out_nothing_is_delivered() -> None:
    """The first bubbles of a flask that is heated are its air."""
    account = BubbleAccount(BUBBLES)
    account.count(1.0, 30, 1.0, 0.0)
    assert account.delivered_mol == 0.0


def test_forecast_by_weighings() -> None:
    """From two weighings 10 minutes apart follow the rate and the minutes that are left."""
    account = WeighedAccount(CANDLE)
    account.weigh(600.0, "Ada", Weighing("sulfur loss", 3.206, 0.05))
    account.weigh(1200.0, "Ada", Weighing("sulfur loss", 6.412, 0.05))
    ahead = account.forecast(1200.0)
    assert ahead.delivery_mol_per_min == pytest.approx(0.01)
    assert ahead.minutes_to_need == pytest.approx(10.0)
