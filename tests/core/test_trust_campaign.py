"""A short, seeded share of the campaign: each fault of the alarm table on the simulated bench, and quiet hours."""

from __future__ import annotations

import pytest

from monitor.rig.faults import FAULTS
from tests.campaign import KINDS, QUIET_SEEDS, drawn, quiet

LONG = {"gas-drift"}  # hours of simulated time: the campaign's affair


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
