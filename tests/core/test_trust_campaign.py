"""A short, seeded share of the campaign: each fault of the alarm table on the simulated bench, and quiet hours."""

from __future__ import annotations

import pytest

from monitor.rig.faults import FAULTS
from tests.campaign import KINDS, QUIET_SEEDS, drawn, quiet


@pytest.mark.parametrize("name", KINDS)
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


def test_a_quiet_hour_raises_nothing() -> None:
    """An hour of warm-up, doors, a refill and drift raises no alarm but those that are true."""
    outcome = quiet(QUIET_SEEDS + 3)
    assert (outcome.wrong, outcome.false) == ([], [])


def test_every_fault_of_the_rig_is_in_the_campaign() -> None:
    """No fault that the rig knows is left out, but a drifting zero, which the leak detector's baseline tells."""
    named = {kind.start.removeprefix("fault ") for kind in KINDS.values()}
    assert set(FAULTS) - named == {"gas-drift"}
