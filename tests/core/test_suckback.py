"""Suck-back: said when gas stops, once, and not before any went over."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from monitor.core.alarms import STANDING
from monitor.core.suckback import CoolingFlask, SuckBack
from monitor.rig.reality import Reality
from monitor.terms import Measured, RunTerms
from tests.core.lines import BoardScript
from tests.core.runs import DRIP, Run, raised
from tests.rig.terms import drip_run, sulfur_run
from tests.stage import Stage

PER_DROP_MOL = 2e-4


def every(samples: int, drops: int = 1) -> Callable[[BoardScript], None]:
    """So many drops at each so many samples."""
    return lambda board: board.drop(drops) if board.seq % samples == 0 else None


class Flow:
    """Drops into a made-up flask: each brings `per_drop_mol` over."""

    def __init__(self) -> None:
        self.watch = SuckBack()
        self.t_s = self.delivered_mol = self.last_drop_s = 0.0
        self.drops = 0
        self.said: list[float] = []

    def run(self, seconds: float, interval_s: float | None, per_drop_mol: float = PER_DROP_MOL) -> None:
        end_s = self.t_s + seconds
        while self.t_s < end_s:
            self.t_s += 0.5
            if interval_s is not None and self.t_s - self.last_drop_s >= interval_s:
                self.drops += 1
                self.last_drop_s = self.t_s
                self.delivered_mol += per_drop_mol
            before = self.watch.words()
            self.watch.feed(self.t_s, self.delivered_mol, per_drop_mol, self.drops, self.last_drop_s)
            if before is None and self.watch.words() is not None:
                self.said.append(self.t_s)


@pytest.mark.parametrize(("interval_s", "within_s"), [(0.5, 15.5), (1.0, 15.5), (3.0, 15.5), (8.0, 25.0)])
def test_a_tap_that_stops_is_told_at_once(interval_s: float, within_s: float) -> None:
    """15 s, or three of the usual intervals, after the last drop: sooner than the drip is called stalled."""
    flow = Flow()
    flow.run(200.0, interval_s)
    assert flow.said == []
    flow.run(60.0, None)
    (t_s,) = flow.said
    assert t_s - flow.last_drop_s <= within_s


def test_it_is_said_once_and_ends_when_gas_flows_again() -> None:
    """A tap shut for good gives the advice once; it ends after ten minutes, or when gas flows again."""
    flow = Flow()
    flow.run(200.0, 1.0)
    flow.run(3000.0, None)
    assert len(flow.said) == 1
    assert flow.watch.words() is None
    flow.run(120.0, 1.0)
    flow.run(30.0, None)
    assert len(flow.said) == 2
    flow.run(30.0, 1.0)
    assert flow.watch.words() is None


def test_nothing_is_said_before_gas_went_over() -> None:
    """While the liquor still takes all of it, nothing can be drawn back, however the drops stop."""
    flow = Flow()
    flow.run(200.0, 1.0, per_drop_mol=0.0)
    flow.run(300.0, None, per_drop_mol=0.0)
    assert flow.said == []


def test_a_spent_charge_is_told_while_it_still_drips() -> None:
    """Drops that bring a tenth of what they brought are the end of the gas, though the drip goes on."""
    flow = Flow()
    flow.run(200.0, 1.0)
    flow.run(30.0, 1.0, per_drop_mol=0.05 * PER_DROP_MOL)
    assert len(flow.said) == 1


@pytest.mark.parametrize(("first_s", "then_s"), [(1.0, 3.0), (1.0, 6.0), (4.0, 10.0)])
def test_a_slower_drip_is_no_stop(first_s: float, then_s: float) -> None:
    """A tap turned down to a sixth still makes gas, and raises nothing."""
    flow = Flow()
    flow.run(200.0, first_s)
    flow.run(300.0, then_s)
    assert flow.said == []


@pytest.mark.parametrize("step_mol", [0.05, -0.05])
def test_a_weighing_is_no_gas(step_mol: float) -> None:
    """A weighing that moves what has gone over, or its undoing, is no flow that then falls off."""
    flow = Flow()
    flow.run(200.0, 4.0)
    flow.delivered_mol += step_mol
    flow.watch.step(step_mol)
    flow.run(300.0, 4.0)
    assert flow.said == []


def test_a_weighing_in_a_run_raises_no_suck_back() -> None:
    """A weighing far over the count, entered while it drips slowly, raises nothing; nor does undoing it."""
    run = Run(DRIP)
    run.sample()
    run.permit()
    for drip in (
        every(10, 6),
        every(10),
        every(50),
    ):  # fast at first, then less and less, so that nothing seems to stop
        run.samples(245.0, drip)
    grams = 1.2 * run.bench.account.delivered_mol * 64.058
    assert run.ask("weighing", what="receiver gain", grams=grams, u_g=0.1).accepted
    run.samples(30.0, every(50))
    assert run.ask("undo-weighing").accepted
    run.samples(30.0, every(50))
    assert "SUCK-BACK" not in [tag for tag, _ in raised(run.events)]


def test_air_that_is_led_through_keeps_the_liquid_down() -> None:
    """The advice stands when the drip ends, goes while air is led through the flask, and is back when that ends."""
    run = Run(DRIP)
    run.sample()
    run.permit()
    run.samples(245.0, every(10, 3))
    run.samples(30.0)
    assert run.state("SUCK-BACK") in STANDING
    assert run.ask("phase", phase="running out").accepted
    for air_l_per_min, stands in ((1.0, False), (0.0, True)):
        assert run.ask("clearing", air_l_per_min=air_l_per_min, liquor_c=22.0).accepted
        run.samples(90.0)
        assert (run.state("SUCK-BACK") in STANDING) is stands


def test_a_plate_that_cools_while_it_drips_is_nothing() -> None:
    """A plate turned down while it drips draws nothing back; nor does one that swings, or that never was warm."""
    for start_c, fall_c, still_s in ((90.0, 40.0, 2.0), (90.0, 6.0, 100.0), (40.0, 18.0, 100.0)):
        flask = CoolingFlask()
        said = [flask.words(5.0 * n, start_c - fall_c * min(n / 60.0, 1.0), still_s) for n in range(120)]
        assert set(said) == {None}


# --- against the pressure in the rig's flask, whose valve lets nothing back ---------------------------------------

TUBE_PA = 500.0  # 5 cm of water: so far the tube is in the liquid, and so high it climbs


def heat_off(stage: Stage) -> None:
    stage.sim.do("plate 0")


def permit_off(stage: Stage) -> None:
    stage.ask("permit", "on", False)


def tap_shut_heat_off(stage: Stage) -> None:
    stage.sim.do("tap 0")
    stage.sim.do("plate 0")


def warmed_out_heat_off(stage: Stage) -> None:
    """The drip ended long ago, and the rest was driven out on the plate."""
    stage.sim.do("tap 0")
    stage.ask("phase", "phase", "running out")
    stage.sim.do("plate 140")
    stage.run_to(stage.sim.time_s + 1200.0)
    assert stage.bench.overview().alarms
    stage.ask("acknowledge", "tag", "*")
    stage.sim.do("plate 0")


BUBBLING = replace(sulfur_run(), meter="bubbles", bubble_volume_ul=Measured(2500.0, 30.0))


@pytest.mark.parametrize(
    ("run", "plate_c", "doing"),
    [
        (sulfur_run(), 290.0, heat_off),
        (sulfur_run(), 325.0, permit_off),
        (BUBBLING, 310.0, heat_off),
        (drip_run(), 90.0, tap_shut_heat_off),
        (drip_run(), 90.0, warmed_out_heat_off),
    ],
)
def test_it_is_said_before_liquid_climbs(run: RunTerms, plate_c: float, doing: Callable[[Stage], None]) -> None:
    """SUCK-BACK is raised half a minute or more before the flask draws as hard as the tube is deep."""
    stage = Stage(5, Reality(plate_to_liquor_w_per_k=1.5), run)
    stage.begin(plate_c, 60.0)
    if stage.sim.plant.tap is None:
        stage.ask("phase", "phase", "generating")
    stage.run_to(900.0)
    doing(stage)
    start_s = stage.sim.time_s
    while 101_325.0 - stage.sim.truth().pressure_pa < TUBE_PA:
        stage.run_to(stage.sim.time_s + 1.0)
        assert stage.sim.time_s < start_s + 900.0
    (said,) = (c for c in stage.raised(start_s) if c.tag == "SUCK-BACK")
    assert said.t_s <= stage.sim.time_s - 30.0
