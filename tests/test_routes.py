"""Every route with every meter that makes sense on it, end to end on the simulated bench, against the plant's truth.

The plant is not quite what its settings say: its drops, bubbles, salt and acid are off by what they are stated to
be uncertain by. The stories are those of the demonstration, invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache

import pytest

from monitor.core.bench import Bench
from monitor.core.events import Answered, Event, Instant, Noted, Send
from monitor.core.requests import make_request
from monitor.errors import SettingsError
from monitor.rig import scenario
from monitor.rig.bench import SimulatedBench
from monitor.rig.plant import Plant
from monitor.rig.reality import Reality
from monitor.settings import bench_from, parse_toml, run_from
from monitor.terms import Meter, Route
from tests.core.runs import raised

SO2_G_PER_MOL, S_G_PER_MOL, AIR_G_PER_MOL, WATER_G_PER_MOL = 64.058, 32.06, 28.965, 18.015  # CIAAW 2021; CIPM-2007
WATER_PA = 2645.0  # at 22 °C: CRC Handbook, from memory
REALITY = Reality(drop_volume_ratio=1.012, bubble_volume_ratio=0.985, salt_ratio=0.992, acid_strength_ratio=1.006)
DAY = date(2027, 1, 15)
STEP_S = 0.5
PAIRS: list[tuple[Route, Meter, float]] = [  # and when it is weighed
    ("acid-drip", "drops", 1800.0),
    ("acid-drip", "bubbles", 1800.0),
    ("acid-drip", "weighings", 1800.0),
    ("acid-on-sulfur", "bubbles", 2000.0),
    ("acid-on-sulfur", "weighings", 2000.0),
    ("burner", "weighings", 1700.0),
]


@dataclass
class Told:
    """A story up to its weighing: how far off the account was before and after, in its standard uncertainties."""

    before_off: float
    after_off: float
    u_before_mol: float
    u_after_mol: float
    events: list[Event]
    live: Bench


def weighed_g(plant: Plant, what: str) -> float:
    """What a balance would show."""
    head = plant.source.head
    if what == "sulfur loss":
        return head.delivered_mol * S_G_PER_MOL
    air_mol = head.delivered_gas_mol - head.delivered_mol
    water_mol = head.delivered_gas_mol * WATER_PA / (101325.0 - WATER_PA)
    return head.delivered_mol * SO2_G_PER_MOL + air_mol * AIR_G_PER_MOL + water_mol * WATER_G_PER_MOL


@cache
def told(route: Route, meter: Meter, until_s: float) -> Told:
    """Tell a route's story with a meter until it is weighed."""
    bench = bench_from(parse_toml(scenario.bench_toml("board", DAY, route), "bench"), "bench")
    run = run_from(parse_toml(scenario.run_toml(route, meter, DAY), "run"), "run")
    plant = SimulatedBench(bench, run, 7, scenario.timeline(route), REALITY)
    live = Bench(bench, run, Instant(0.0, 1.8e9))
    asked = [r for r in scenario.requests(route) if r[1] not in ("weighing", "check")]
    events: list[Event] = []
    t_s = 0.0
    while t_s < until_s:
        t_s += STEP_S
        at = Instant(t_s, 1.8e9 + t_s)
        got = live.receive(plant.step(STEP_S), at)
        while asked and asked[0][0] <= t_s:
            _, kind, args = asked.pop(0)
            got += live.command(make_request(kind, "the story", args), at)
        plant.write(b"".join(e.data for e in got if isinstance(e, Send)))
        events += got
    before = live.account.state(t_s)
    truth_mol = plant.truth().delivered_mol
    what = "sulfur loss" if route == "burner" else "flask loss"
    args = {"what": what, "grams": round(weighed_g(plant.plant, what), 1), "u_g": 0.1}
    events += live.command(make_request("weighing", "the story", args), Instant(t_s, 1.8e9 + t_s))
    assert [e.text for e in events if isinstance(e, Answered)][-1].startswith(what)
    after = live.account.state(t_s)
    return Told(
        (before.delivered_mol - truth_mol) / max(before.u_delivered_mol, 1e-9),
        (after.delivered_mol - truth_mol) / after.u_delivered_mol,
        before.u_delivered_mol,
        after.u_delivered_mol,
        events,
        live,
    )


@pytest.mark.parametrize(("route", "meter", "until_s"), [p for p in PAIRS if p[1] != "weighings"])
def test_the_count_is_within_what_it_states(route: Route, meter: Meter, until_s: float) -> None:
    """Before any weighing the truth lies within two standard uncertainties of what has been counted."""
    assert abs(told(route, meter, until_s).before_off) <= 2.0


@pytest.mark.parametrize(("route", "meter", "until_s"), PAIRS)
def test_a_weighing_brings_it_to_the_truth(route: Route, meter: Meter, until_s: float) -> None:
    """After a weighing the truth lies within two standard uncertainties, and what was counted is better known."""
    story = told(route, meter, until_s)
    assert abs(story.after_off) <= 2.0
    assert meter == "weighings" or story.u_after_mol < 0.6 * story.u_before_mol


def test_a_flame_that_went_out_is_said() -> None:
    """On the burner route the gust at 1500 s is told in the record within three minutes."""
    story = told("burner", "weighings", 1700.0)
    advice = [e.t_s for e in story.events if isinstance(e, Noted) and e.what == "advice" and "flame" in e.text]
    assert len(advice) == 1
    assert 1500.0 < advice[0] < 1680.0


@pytest.mark.parametrize(("route", "meter", "until_s"), [p for p in PAIRS if p[0] != "acid-drip"])
def test_without_acid_drops_nothing_speaks_of_them(route: Route, meter: Meter, until_s: float) -> None:
    """No alarm of acid, of dripping too fast or unasked comes on a route without a drip."""
    tags = {tag for tag, _ in raised(told(route, meter, until_s).events)}
    assert not tags & {"ACID-LOW", "DRIP-FAST", "DRIP-UNASKED"}


@pytest.mark.parametrize(
    ("route", "meter"), [("acid-on-sulfur", "drops"), ("burner", "drops"), ("burner", "bubbles")]
)
def test_senseless_pairs_are_refused(route: Route, meter: Meter) -> None:
    """A meter that cannot tell what a route makes is refused in one sentence that names what can."""
    with pytest.raises(SettingsError) as refusal:
        run_from(parse_toml(scenario.run_toml(route, meter), "run"), "run.toml")
    (line,) = str(refusal.value).splitlines()
    assert line.startswith(f"run.toml: generator.meter: found '{meter}', wanted ")
    assert '"weighings"' in line
