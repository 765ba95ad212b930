"""Sweeping and warming in the account: what leaves is put over, and what was counted and weighed stays."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.events import Accounted, Corrected, Noted, Overview, Taken
from monitor.terms import DripTerms, RunTerms
from tests.core.runs import DRIP, SMALL, Run, told
from tests.core.test_account import charges
from tests.core.test_weighings import BUBBLES, CANDLE, DRIP_BUBBLES, DRIP_WEIGHED, SO2_G, newest
from tests.examples import examples


def shut(terms: RunTerms = DRIP, drops: int = 2400) -> Run:
    """A run with so much counted, its tap shut, closing down."""
    run = Run(terms)
    run.samples(1.0)
    run.ask("phase", phase="generating")
    run.board.drop(drops)
    run.samples(1.0)
    run.ask("phase", phase="closing down")
    return run


def state(run: Run) -> Accounted:
    return run.bench.account.state(run.t_s)


def balanced(a: Accounted, charge_mol: float) -> None:
    """The account's promises."""
    assert a.locked_mol + a.generated_mol == pytest.approx(charge_mol, rel=1e-9)
    assert a.held_mol + a.delivered_mol == pytest.approx(a.generated_mol, rel=1e-9, abs=1e-15)
    assert min(a.locked_mol, a.held_mol, a.delivered_mol, a.generated_mol) >= 0.0
    assert min(a.u_locked_mol, a.u_held_mol, a.u_delivered_mol, a.u_generated_mol) >= 0.0


def test_held_falls_and_delivered_rises_with_the_air() -> None:
    """Each ten seconds a line of the account; after ten minutes of a litre a minute most of it is over."""
    run = shut()
    before = state(run)
    assert run.ask("clearing", air_l_per_min=1.0, liquor_c=22.0).accepted
    got = [e for e in run.samples(600.0) if isinstance(e, Accounted)]
    assert 59 <= len(got) <= 61
    held = [a.held_mol for a in got]
    assert held == sorted(held, reverse=True)
    assert [a.delivered_mol for a in got] == sorted(a.delivered_mol for a in got)
    after = state(run)
    assert after.held_mol < 0.3 * before.held_mol
    assert after.delivered_mol > before.delivered_mol + 0.6 * before.held_mol
    assert after.u_held_mol / after.held_mol > before.u_held_mol / before.held_mol  # a sweep is only reckoned
    balanced(after, before.locked_mol + before.generated_mol)


def test_what_is_left_is_said_with_what_came_out() -> None:
    """Before, that nothing says it is swept; while it goes on, by what; afterwards, how much it was."""
    run = shut()
    run.samples(2.0)

    def held() -> str:
        closing = [e for e in run.events if isinstance(e, Overview)][-1].closing
        assert closing is not None
        return closing.held

    assert "Nothing says that it is being swept or warmed out." in held()
    run.ask("clearing", air_l_per_min=0.5, liquor_c=40.0)
    run.samples(60.0)
    assert "With 0.5 L of air a minute, the liquor at 40 °C, " in held()
    run.ask("phase", phase="generating")
    run.ask("phase", phase="closing down")
    run.samples(2.0)
    assert "g were swept or warmed out." in held()
    assert any(e.what == "clearing" and e.text == "Ada: 0.5 L of air a minute, liquor at 40 °C" for e in notes(run))


def notes(run: Run) -> list[Noted]:
    return [e for e in run.events if isinstance(e, Noted)]


@pytest.mark.parametrize(
    ("phase", "air", "liquor", "words"),
    [
        ("generating", 1.0, 22.0, "begin running out or closing down first"),
        ("closing down", -1.0, 22.0, "found -1 L of air a minute, wanted 0 to 100"),
        ("closing down", 1.0, 200.0, "found a liquor at 200 °C, wanted 0 to 110 °C"),
    ],
)
def test_what_makes_no_sense_is_refused(phase: str, air: float, liquor: float, words: str) -> None:
    """A flask that is not shut, or figures that cannot be, change nothing."""
    run = shut()
    run.ask("phase", phase=phase)
    before = state(run)
    answer = run.ask("clearing", air_l_per_min=air, liquor_c=liquor)
    assert not answer.accepted
    assert words in answer.text
    run.samples(60.0)
    assert state(run).held_mol == before.held_mol


def test_a_weighing_after_the_sweep_is_the_whole() -> None:
    """A receiver's gain holds what was swept over too: the account moves to it, and the drop is not blamed."""
    run = shut()
    run.ask("clearing", air_l_per_min=1.0, liquor_c=22.0)
    run.samples(900.0)
    before = state(run)
    assert run.ask("weighing", what="receiver gain", grams=before.delivered_mol * SO2_G, u_g=0.05).accepted
    (c,) = (e for e in run.events if isinstance(e, Corrected))
    assert c.delivered_after_mol == pytest.approx(before.delivered_mol, rel=2e-3)
    assert c.volume_after_ul == pytest.approx(c.volume_before_ul, rel=2e-3)
    assert c.weighed_mol == pytest.approx(before.delivered_mol, rel=1e-6)
    run.ask("undo-weighing")
    assert state(run).delivered_mol == pytest.approx(before.delivered_mol, rel=1e-9)


def test_the_sweeps_bubbles_are_no_gas_of_the_charge() -> None:
    """Air that bubbles through the counter while the flask is swept is not counted as SO2; before, bubbles are."""
    run = shut(DRIP_BUBBLES, 6000)
    counted = run.bench.account.delivered_mol
    run.ask("clearing", air_l_per_min=0.5, liquor_c=22.0)
    run.samples(60.0, lambda board: board.drop(2))
    assert run.bench.account.delivered_mol == counted
    assert run.bench.drops == 7200
    assert newest(run).delivered_mol > counted


def test_acid_after_the_sweep_fills_the_liquor_first() -> None:
    """Generating again after a sweep: nothing more goes over until the count has made up for what was swept out."""
    run = shut(drops=1500)
    run.ask("clearing", air_l_per_min=1.0, liquor_c=22.0)
    run.samples(600.0)
    run.ask("phase", phase="generating")
    before = state(run)
    seen = []
    for _ in range(12):
        run.board.drop(100)
        run.samples(1.0)
        seen.append(state(run))
    assert seen[1].delivered_mol == pytest.approx(before.delivered_mol, rel=1e-9)
    assert seen[1].held_mol > before.held_mol
    plain = shut(drops=2700)
    assert seen[-1].delivered_mol == pytest.approx(state(plain).delivered_mol, rel=1e-6)
    assert seen[-1].held_mol == pytest.approx(state(plain).held_mol, rel=1e-6)


@pytest.mark.parametrize("terms", [DRIP, DRIP_BUBBLES, DRIP_WEIGHED, BUBBLES, CANDLE, SMALL])
def test_every_account_can_be_cleared(terms: RunTerms) -> None:
    """Whatever meters a run: the promises hold, and nothing falls but what is held."""
    run = shut(terms, 300)
    before = state(run)
    assert run.ask("clearing", air_l_per_min=2.0, liquor_c=50.0).accepted
    run.samples(300.0)
    run.ask("clearing", air_l_per_min=0.2, liquor_c=30.0)
    run.samples(60.0)
    after = state(run)
    balanced(after, before.locked_mol + before.generated_mol)
    assert after.held_mol <= before.held_mol
    assert after.delivered_mol >= before.delivered_mol


@examples(15)
@given(
    charges(),
    st.integers(0, 4000),
    st.lists(st.tuples(st.floats(0.0, 5.0), st.floats(0.0, 90.0), st.integers(1, 40)), min_size=1, max_size=4),
)
def test_the_promises_hold_whatever_is_swept(
    charge: DripTerms, drops: int, stretches: list[tuple[float, float, int]]
) -> None:
    """Any charge, any drops, any stretches of air and warmth: balanced, and delivered never falls."""
    run = shut(replace(DRIP, charge=charge), drops)
    start = state(run)
    delivered_mol, held_mol = start.delivered_mol, start.held_mol
    for air, liquor_c, steps in stretches:
        run.bench.account.clear(run.t_s, air, liquor_c)
        for _ in range(steps):
            run.t_s += 10.0
            run.bench.account.cleared.to(run.t_s)
            now = state(run)
            balanced(now, start.locked_mol + start.generated_mol)
            assert now.delivered_mol >= delivered_mol - 1e-15
            assert now.held_mol <= held_mol + 1e-12
            delivered_mol, held_mol = now.delivered_mol, now.held_mol


def test_a_replay_sweeps_the_same() -> None:
    """The same bytes and requests at the same times give the same account, to the last digit."""
    run = shut()
    run.ask("clearing", air_l_per_min=0.7, liquor_c=35.0)
    run.samples(45.0)
    run.silence(20.0)
    run.ask("clearing", air_l_per_min=0.0, liquor_c=22.0)
    run.samples(15.0)
    again = Run(DRIP)
    for e in run.events:
        if isinstance(e, Taken):
            again.keep(
                again.bench.receive(e.data, e.at) if isinstance(e.data, bytes) else again.bench.command(e.data, e.at)
            )
    assert list(told(again.events)) == list(told(run.events))
