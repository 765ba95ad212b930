"""A short, seeded share of the campaign: each fault of the alarm table on the simulated bench, and quiet hours."""

from __future__ import annotations

import pytest

from monitor.rig.faults import FAULTS
from monitor.rig.reality import Reality
from tests.campaign import LONG, QUIET_SEEDS, drawn, jobs, quiet
from tests.faultkinds import KINDS
from tests.rig.terms import burner_run
from tests.stage import Stage


@pytest.mark.parametrize("name", sorted(set(KINDS) - LONG))
def test_each_fault_is_told_in_time_and_taken_for_no_other(name: str) -> None:
    """It raises its alarm within its longest time, the permit goes where it must, and no other high alarm comes."""
    outcome = drawn(7, (name,))
    assert outcome.wrong == []
    assert outcome.after_s[name] is not None


@pytest.mark.parametrize(
    "names", [("tc-open", "gas-railed"), ("tc-off-plate", "gas-over"), ("gas-quiet", "gate-blocked")]
)
def test_two_faults_together_are_both_told(names: tuple[str, str]) -> None:
    """One fault does not hide another."""
    assert drawn(11, names).wrong == []


def test_a_quiet_hour_raises_no_high_alarm() -> None:
    """An hour of warm-up, doors and a refill: at most the early tier of the leak detector speaks, of a door."""
    outcome = quiet(QUIET_SEEDS + 5)
    assert outcome.wrong == []
    assert set(outcome.false) <= {("medium", "GAS-RISING")}


def test_every_fault_of_the_rig_is_in_the_campaign() -> None:
    """No fault that the rig knows is left out."""
    assert set(FAULTS) <= {kind.start.removeprefix("fault ") for kind in KINDS.values()}


def test_an_even_share_draws_every_kind_as_often() -> None:
    """So many of each kind, each with a seed that runs alone, and as many quiet hours as are asked for."""
    work = jobs(seed=5, draws=100, each=3, hours=2)
    assert sorted(job for job in work if job[1]) == sorted((seed, (name,)) for seed in (5, 6, 7) for name in KINDS)
    assert [job for job in work if not job[1]] == [(QUIET_SEEDS + 5, ()), (QUIET_SEEDS + 6, ())]


def test_a_frozen_gas_channel_is_no_leak() -> None:
    """The noise may be high as the channel freezes: the same sum again and again is not taken for a rise."""
    for seed in (1, 2):
        assert drawn(seed, ("gas-frozen",)).wrong == []


def test_a_note_never_takes_a_burners_draught_away() -> None:
    """The permit of a burner is its draught: "heater on" at a cold one expects nothing."""
    stage = Stage(1, Reality(), burner_run())
    stage.begin(25.0, 0.0)
    stage.ask("note", "text", "Heater on.")
    stage.run_to(90.0)
    assert [c.tag for c in stage.raised()] == []


def test_a_blind_gate_is_no_drip_that_stopped() -> None:
    """Behind a dark gate the drops go on: it is told as dark, and the drip as stopped neither then nor at its end."""
    stage = Stage(3, Reality())
    stage.begin(60.0, 50.0)
    stage.run_to(180.0)
    stage.sim.do("fault gate-blocked")
    stage.run_to(280.0)
    stage.sim.do("mend gate-blocked")
    stage.run_to(300.0)
    assert [c.tag for c in stage.raised()] == ["DRIP-BLOCKED"]
    stage.sim.do("tap 0")
    stage.run_to(480.0)
    assert [c.tag for c in stage.raised(300.0)] == ["SUCK-BACK", "DRIP-STALLED"]


def test_acid_is_not_dripped_on_a_charge_that_is_spent() -> None:
    """A quiet hour whose refill comes after the end of its charge leaves the tap shut: nothing drips unasked."""
    assert ("medium", "DRIP-UNASKED") not in quiet(QUIET_SEEDS + 1).false
