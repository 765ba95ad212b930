"""From gas to an opened flask on the simulated bench, route by route; and a gas line that narrows on the way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

import pytest

from monitor.core.bench import Bench
from monitor.core.events import Answered, Closing, Event, Instant, Noted, Overview, Phase, PhaseChanged, Send
from monitor.core.requests import make_request
from monitor.edges.lines import say
from monitor.rig import scenario
from monitor.rig.bench import SimulatedBench
from monitor.rig.timeline import Scenario, parse_action, parse_timeline
from monitor.settings import bench_from, parse_toml, run_from
from monitor.terms import Meter, RoomTerms, Route

DAY = date(2027, 1, 15)
STEP_S = 0.5
STORIES: dict[Route, str] = {
    "acid-drip": "0 plate 80\n10 tap 80\n400 tap 0\n410 plate 0",
    "acid-on-sulfur": "5 plate 290\n1200 plate 0",
    "burner": "10 light\n600 put-out",
}


class Story:
    """A bench, its monitor, and a person who asks things of it."""

    def __init__(self, route: Route, meter: Meter, story: str | Scenario, ventilation: float = 600.0) -> None:
        bench = bench_from(parse_toml(scenario.bench_toml("board", DAY, route), "bench"), "bench")
        bench = replace(bench, room=RoomTerms(bench.room.volume_m3, ventilation))
        run = run_from(parse_toml(scenario.run_toml(route, meter), "run"), "run")
        told = parse_timeline(story) if isinstance(story, str) else story
        self.plant = SimulatedBench(bench, run, 11, told)
        self.live = Bench(bench, run, Instant(0.0, 1.8e9))
        self.events: list[Event] = []
        self.t_s = 0.0

    def _keep(self, got: list[Event]) -> None:
        self.plant.write(b"".join(e.data for e in got if isinstance(e, Send)))
        self.events += got

    def until(self, t_s: float) -> None:
        while self.t_s < t_s:
            self.t_s += STEP_S
            self._keep(self.live.receive(self.plant.step(STEP_S), Instant(self.t_s, 1.8e9 + self.t_s)))

    def ask(self, kind: str, **args: object) -> Answered:
        got = self.live.command(make_request(kind, "a test", args), Instant(self.t_s, 1.8e9 + self.t_s))
        self._keep(got)
        (answer,) = (e for e in got if isinstance(e, Answered))
        return answer

    def closings(self) -> Iterator[tuple[float, Closing]]:
        return ((e.t_s, e.closing) for e in self.events if isinstance(e, Overview) and e.closing is not None)

    def notes(self, what: str) -> list[tuple[float, str]]:
        return [(e.t_s, e.text) for e in self.events if isinstance(e, Noted) and e.what == what]


@pytest.mark.parametrize(
    ("route", "meter", "end_s"),
    [
        ("acid-drip", "drops", 420.0),
        ("acid-drip", "bubbles", 420.0),
        ("acid-on-sulfur", "bubbles", 1210.0),
        ("burner", "weighings", 610.0),
    ],
)
def test_every_route_closes_down(route: Route, meter: Meter, end_s: float) -> None:
    """Made, shut, cooled: no flask is called safe before ten minutes of clean air, a cool plate and no count."""
    story = Story(route, meter, STORIES[route])
    story.until(5.0)
    assert story.ask("permit", on=True).accepted
    story.until(end_s)
    assert Phase.GENERATING in [e.phase for e in story.events if isinstance(e, PhaseChanged)]
    story.ask("permit", on=False)
    story.ask("phase", phase="closing down")
    while not story.live.overview().closing or not dict(story.closings())[story.t_s // 1.0].safe:
        story.until(story.t_s + 60.0)
        assert story.t_s < end_s + 7200.0, list(story.closings())[-1]
    line = say([e for e in story.events if isinstance(e, Overview) and e.t_s % 10.0 == 0.0][-1], "acid-drip")
    assert line is not None
    assert line.rpartition("  ")[2].startswith("safe to open")
    first_s = next(t_s for t_s, closing in story.closings() if closing.safe)
    assert first_s >= end_s + 600.0
    truth = story.plant.truth()
    assert truth.plate_c < 47.0
    assert truth.room_ppm < 0.25
    (_, closing) = list(story.closings())[-1]
    held_g = truth.held_mol * 64.058
    assert abs(closing.held_g - held_g) <= max(2.0 * closing.u_held_g, 0.05)
    assert story.ask("stop").accepted


def test_a_leak_while_closing_down_begins_the_time_anew() -> None:
    """A bottle opened across the room: the time begins anew, and no verdict comes of the minutes before it."""
    story = Story("acid-drip", "drops", "0 plate 0\n10 tap 80\n100 tap 0\n500 leak 60\n620 leak 0")
    story.until(5.0)
    story.ask("permit", on=True)
    story.until(120.0)
    story.ask("phase", phase="closing down")
    story.until(1000.0)
    assert not any(closing.safe for _, closing in story.closings())
    assert any("begun anew" in text and "the air read" in text for _, text in story.notes("opening"))


def test_a_sensor_that_freezes_begins_the_time_anew() -> None:
    """A gas channel that stops moving is unknown, not clean: nothing is safe until it lives again for its time."""
    story = Story("acid-drip", "drops", "10 tap 80\n100 tap 0\n400 fault gas-frozen\n420 mend gas-frozen")
    story.until(5.0)
    story.ask("permit", on=True)
    story.until(120.0)
    story.ask("permit", on=False)
    story.ask("phase", phase="closing down")
    story.until(1000.0)
    assert not any(closing.safe for _, closing in story.closings())
    assert any("the gas reading is unknown (gas reading frozen" in text for _, text in story.notes("opening"))
    story.until(1100.0)
    assert any(closing.safe for _, closing in story.closings())


def test_a_gas_line_that_narrows_is_advised() -> None:
    """Less than half of the gas reaches the bubbler while the plate holds, and the hood hides the rest: it is said.

    The same story without it says nothing of the line.
    """
    for share, said in ((60.0, True), (0.0, False)):
        story = Story("acid-on-sulfur", "bubbles", "5 plate 290", ventilation=1e6)
        story.until(5.0)
        story.ask("permit", on=True)
        story.until(1500.0)
        story.plant.do(parse_action(f"leak-share {share:g}"))
        story.until(2300.0)
        found = [t_s for t_s, text in story.notes("advice") if "the gas line narrows" in text]
        assert bool(found) == said
        if said:
            assert 1500.0 < found[0] <= 1900.0
            assert any("narrows" in words for words in story.live.overview().advice)


@pytest.mark.parametrize("meter", ["drops", "bubbles"])
def test_a_sweep_is_followed_to_the_plants_truth(meter: Meter) -> None:
    """Air drawn through the flask: what the account still holds is the plant's within two standard uncertainties,
    all along, and after 40 minutes the flask is safe and holds less than a tenth of what it did.
    """
    story = Story("acid-drip", meter, "0 plate 80\n10 tap 80\n1200 tap 0\n1210 plate 0")
    story.until(5.0)
    assert story.ask("permit", on=True).accepted
    story.until(1300.0)
    story.ask("permit", on=False)
    story.ask("phase", phase="closing down")
    start_mol = story.plant.truth().held_mol
    story.plant.do("sweep 0.5")
    assert story.ask("clearing", air_l_per_min=0.5, liquor_c=22.0).accepted
    for minutes in (2, 5, 10, 20, 40):
        story.until(1300.0 + 60.0 * minutes)
        now, truth = story.live.account.state(story.t_s), story.plant.truth()
        assert abs(now.held_mol - truth.held_mol) <= 2.0 * now.u_held_mol
        assert abs(now.delivered_mol - truth.delivered_mol) <= 2.0 * now.u_delivered_mol
    assert now.held_mol < 0.1 * start_mol
    if meter == "bubbles":  # the air of the sweep bubbles too: it ends before the last look
        story.plant.do("sweep 0")
        story.ask("clearing", air_l_per_min=0.0, liquor_c=22.0)
    story.until(story.t_s + 900.0)
    (_, closing) = list(story.closings())[-1]
    assert closing.safe, closing.missing
    assert story.ask("stop").accepted


def test_a_pump_that_blows_into_the_room_is_advised() -> None:
    """A burner whose exhaust reaches the sensor: beside the gas alarm the page names the pump."""
    story = Story("burner", "weighings", "10 light\n700 leak 400", ventilation=600.0)
    story.until(5.0)
    story.ask("permit", on=True)
    story.until(820.0)
    (first, *_) = [t_s for t_s, text in story.notes("advice") if "what the pump blows out" in text]
    assert 700.0 < first < 820.0
