"""The plant wired to the real firmware: whatever the demonstrations ask of it."""

from __future__ import annotations

import threading
from typing import get_args

import pytest

from monitor.rig import scenario
from monitor.rig.firmware import Firmware
from monitor.rig.firmware_bench import FirmwareBench
from monitor.rig.timeline import Scenario, parse_action
from monitor.terms import Route
from tests.live import wait_until
from tests.rig.terms import BENCH, burner_run, drip_run, sulfur_run

pytestmark = [pytest.mark.firmware, pytest.mark.usefixtures("built")]

RUNS = {"acid-drip": drip_run, "acid-on-sulfur": sulfur_run, "burner": burner_run}


@pytest.mark.parametrize("route", get_args(Route))
def test_every_action_of_a_demonstration_can_be_done(route: Route, board: Firmware) -> None:
    """From the first drop to the air that sweeps the flask, on every route, nothing ends the plant unseen."""
    story = scenario.timeline(route)
    bench = FirmwareBench(BENCH, RUNS[route](), 1, story, 1.0, board)
    for _, action in story.steps:
        bench.do(action)


def test_what_ends_the_plant_is_raised(board: Firmware) -> None:
    """An action for which there is nothing here ends the plant, and whoever ends the bench hears of it."""
    story = Scenario(((0.0, parse_action("swap")),))
    bench = FirmwareBench(BENCH, drip_run(), 1, story, 10.0, board)
    with pytest.raises(ValueError, match="'swap'; the bench with the firmware has nothing for it"), bench:
        wait_until(lambda: "plant" not in [thread.name for thread in threading.enumerate()], "the plant's end")
