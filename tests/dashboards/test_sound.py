"""What the page sounds, by what its run says."""

from __future__ import annotations

import pytest

from dashboards.sound import Say, sounding
from dashboards.view import STALE_S, view_of
from monitor.core.events import AlarmState, Priority, StandingAlarm
from tests.dashboards.runs import OPEN, QUIET, SHEET, UTC_S

HIGH = StandingAlarm("GAS-LEAK", Priority.HIGH, AlarmState.UNACKNOWLEDGED, 1.0, "seen")
MEDIUM = StandingAlarm("DRIP-FAST", Priority.MEDIUM, AlarmState.UNACKNOWLEDGED, 1.0, "seen")
LOW = StandingAlarm("ACID-LOW", Priority.LOW, AlarmState.UNACKNOWLEDGED, 1.0, "seen")
HELD = HIGH._replace(state=AlarmState.LATCHED_UNACKNOWLEDGED)
SEEN = HIGH._replace(state=AlarmState.ACKNOWLEDGED)


@pytest.mark.parametrize(
    ("alarms", "say"),
    [
        ((), "quiet"),
        ((LOW,), "quiet"),
        ((MEDIUM, LOW), "soft"),
        ((LOW, MEDIUM, HIGH), "loud"),
        ((HELD,), "loud"),
        ((SEEN,), "quiet"),
        ((SEEN, MEDIUM), "soft"),
    ],
)
def test_the_worst_that_waits_decides(alarms: tuple[StandingAlarm, ...], say: Say) -> None:
    """High ones that nobody acknowledged are loud, medium ones soft; low and acknowledged ones make no sound."""
    assert sounding(view_of(QUIET._replace(alarms=alarms), SHEET, OPEN, 0.1, True, UTC_S)).say == say


def test_silence_never_looks_like_safety() -> None:
    """A run that nobody watches is loud, and so is a page that sees no run; a closed run is quiet."""
    assert sounding(view_of(QUIET, SHEET, OPEN, STALE_S + 1.0, True, UTC_S)).say == "loud"
    assert sounding(None).say == "loud"
    assert sounding(view_of(QUIET, SHEET, OPEN._replace(closed=True), 100.0, True, UTC_S)).say == "quiet"
