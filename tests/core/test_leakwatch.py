"""What is said of a leak while it stands, and the whole chain on a simulated bench that leaks."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from dashboards.source import overview_from
from monitor.core.events import AlarmState, Leak, PermitChanged, Reading
from monitor.core.leaksize import RoomModel
from monitor.core.leakwatch import LeakWatch, leak_words
from monitor.edges.runlog import overview_json
from monitor.rig.reality import Reality
from monitor.terms import GasTerms, RoomTerms
from tests.core.runs import BENCH, DAY, Run, ppm_sum, raised, returned
from tests.stage import Stage

GAS = GasTerms(zero_sum=8410.0, ppm_per_sum=0.00412, range_ppm=20.0)
ROOM = RoomTerms(60.0, 600.0)
SAMPLE_NOISE = 0.05 * 10.0**0.5
LEAK = Leak(312.0, 0.624, 118.0, 24.0, None, None, None, None)


class Watched:
    """A watch over a bench that leaks so many mg/min from 300 s on, of a making of 4000 mg/min."""

    def __init__(self, mg_per_min: float, seed: int = 1) -> None:
        self.watch = LeakWatch(GAS, ROOM)
        t = np.arange(0.0, 900.0, 0.1)
        shown = RoomModel(ROOM, GAS).shown(t, np.where(t >= 300.0, mg_per_min, 0.0))
        self._ppm = (shown + SAMPLE_NOISE * np.random.default_rng(seed).standard_normal(len(t))).tolist()
        self.i = 0
        self.renewed_s: list[float] = []
        self.changed_s: list[float] = []

    def run_to(self, t_s: float, made_mol_per_min: float | None = 4000.0 / 64_058.0) -> None:
        while self.i < round(t_s * 10):
            now_s = self.i * 0.1
            if self.watch.on_sample(now_s, Reading(self._ppm[self.i])):
                self.changed_s.append(now_s)
            if self.i % 10 == 0 and self.watch.on_time(now_s, made_mol_per_min):
                self.renewed_s.append(now_s)
            self.i += 1


def test_nothing_is_said_while_nothing_leaks() -> None:
    """Neither words nor a fit before a tier speaks."""
    w = Watched(350.0)
    w.run_to(300.0)
    assert (w.watch.leak, w.renewed_s, w.changed_s) == (None, [], [])
    assert dict(w.watch.words()) == {"GAS-RISING": None, "GAS-LEAK": None}


def test_the_size_comes_with_the_trace() -> None:
    """At first only the rise is known; a minute later the rate within a fifth, its interval, and the share."""
    w = Watched(350.0)
    w.run_to(345.0)
    first = w.changed_s[0]
    w.run_to(first + 75.0)
    found = w.watch.leak
    assert found is not None
    assert found.mg_per_min == pytest.approx(350.0, rel=0.2)
    assert found.since_s == pytest.approx(300.0, abs=10.0)
    assert found.share == pytest.approx(350.0 / 4000.0, rel=0.2)
    assert found.follows is None  # the making is steady
    words = dict(w.watch.words())["GAS-LEAK"]
    assert words is not None
    assert "mg/min" in words
    assert "% of what is being made, if it comes from there" in words


def test_the_fit_runs_every_five_seconds_at_most() -> None:
    """Words are renewed while the leak stands, no oftener than once in 5 s."""
    w = Watched(350.0)
    w.run_to(500.0)
    assert len(w.renewed_s) > 20
    assert min(np.diff(w.renewed_s)) >= 5.0


def test_an_old_leak_keeps_its_last_size() -> None:
    """When the trace no longer reaches back to the onset, the last size stands, with its time."""
    w = Watched(350.0)
    w.run_to(899.0, None)
    assert w.watch.leak is not None
    assert w.watch.leak.mg_per_min == pytest.approx(350.0, rel=0.1)
    for i in range(3000):
        w.watch.on_sample(900.0 + 0.1 * i, Reading(2.0))
        w.watch.on_time(900.0 + 0.1 * i, None)
    assert w.watch.leak.mg_per_min == pytest.approx(350.0, rel=0.1)
    assert w.watch.leak.sized_s is not None
    assert "as of " in (dict(w.watch.words())["GAS-LEAK"] or "")


def test_over_range_seconds_stay_out_of_the_trace() -> None:
    """A sensor over its range keeps the alarm standing, says so, and spoils no fit."""
    watch = LeakWatch(GAS, ROOM)
    for i in range(100):
        watch.on_sample(0.1 * i, Reading(0.0))
    for i in range(100, 300):
        watch.on_sample(0.1 * i, Reading(None, why="over the sensor's range", at_least=20.0))
        watch.on_time(0.1 * i, None)
    assert watch.leak is not None
    assert watch.leak.ppm_over is None
    assert watch.leak.mg_per_min is None
    assert (dict(watch.words())["GAS-LEAK"] or "").startswith("over the sensor's range, since 0:00:")


@pytest.mark.parametrize(
    ("leak", "wanted"),
    [
        (LEAK._replace(mg_per_min=None), "0.62 ppm over its usual level, since 0:05:12 of the run"),
        (LEAK, "0.62 ppm over its usual level, since 0:05:12 of the run; about 120 mg/min (94 to 140)"),
        (
            LEAK._replace(follows=True, share=0.031, correlation=0.968),
            "0.62 ppm over its usual level, since 0:05:12 of the run; about 120 mg/min (94 to 140) when it "
            "began; about 3 % of what is being made, and follows it (correlation 0.97)",
        ),
        (
            LEAK._replace(follows=False, sized_s=400.0),
            "0.62 ppm over its usual level, since 0:05:12 of the run; about 120 mg/min (94 to 140) as of "
            "0:06:40; it does not go with what is being made",
        ),
    ],
)
def test_words(leak: Leak, wanted: str) -> None:
    """Since when, how large, and whether it goes with the making, in one sentence."""
    assert leak_words(leak) == wanted


# --- in a run ---------------------------------------------------------------------------------------------------


def test_a_low_reading_is_a_gas_fault_in_a_run() -> None:
    """Ten seconds of a reading well under zero is GAS-FAULT, and the permit goes ten seconds later."""
    run = Run()
    run.samples(60.0)
    run.permit()
    run.board.gas_sum = ppm_sum(-0.8)
    got = run.samples(30.0)
    ((tag, at_s),) = raised(got)
    assert tag == "GAS-FAULT"
    assert at_s - 60.0 == pytest.approx(10.3, abs=1.0)
    (gone,) = (e for e in got if isinstance(e, PermitChanged) and not e.on)
    assert gone.t_s - at_s == pytest.approx(10.0, abs=0.7)


def test_a_low_reading_is_unknown_and_so_is_its_time() -> None:
    """Once a fault it is no value, and counts as unknown in the averages; gas over a limit is told still."""
    run = Run()
    run.samples(60.0)
    run.board.gas_sum = ppm_sum(-0.8)
    run.samples(40.0)
    now = run.bench.overview()
    assert now.gas.value is None
    assert str(now.gas.why).startswith("gas reading went low")
    assert now.exposure.unknown_s == pytest.approx(30.0, abs=1.0)
    run.board.gas_sum = ppm_sum(2.5)
    got = run.samples(1.0)
    assert [tag for tag, _ in raised(got) if tag == "GAS-HIGH"]
    assert run.bench.overview().gas.value == pytest.approx(2.5, abs=0.01)


def test_a_zero_that_drifted_is_a_calibration_overdue() -> None:
    """Beyond 0.3 ppm of its calibration the zero is told, with the error of the reading; no fault, and no leak."""
    run = Run()
    for i in range(1700):
        run.board.gas_sum = ppm_sum(-1.0 * i / 3600.0)
        run.samples(1.0)
    assert [tag for tag, _ in raised(run.events)] == ["CALIBRATION-OVERDUE"]
    (alarm,) = run.bench.overview().alarms
    assert alarm.detail == "gas zero drifted: the reading errs by -0.3 ppm or more; calibrate the gas sensor"


def test_a_date_that_is_past_hides_no_drift() -> None:
    """Beside a bump test out of date, acknowledged, a zero that drifts is told all the same, and calls anew."""
    run = Run(bench=replace(BENCH, gas=replace(BENCH.gas, bump_tested=DAY - timedelta(days=5))))
    run.samples(10.0)
    run.ask("acknowledge", tag="CALIBRATION-OVERDUE")
    for i in range(1700):
        run.board.gas_sum = ppm_sum(-1.0 * i / 3600.0)
        run.samples(1.0)
    assert [tag for tag, _ in raised(run.events)] == ["CALIBRATION-OVERDUE", "CALIBRATION-OVERDUE"]
    (alarm,) = run.bench.overview().alarms
    assert alarm.state is AlarmState.UNACKNOWLEDGED
    assert "errs by -0.3 ppm" in alarm.detail
    assert "bump test: 5 days ago" in alarm.detail
    run.ask("acknowledge", tag="CALIBRATION-OVERDUE")
    run.samples(60.0)
    assert run.state("CALIBRATION-OVERDUE") is AlarmState.ACKNOWLEDGED


def test_an_unknown_reading_ends_no_leak() -> None:
    """A leak stands while the channel is dead, however long; it returns a minute after clean air is seen."""
    run = Run()
    run.samples(60.0)
    run.board.gas_sum = ppm_sum(0.8)
    assert ("GAS-LEAK", 60.4) in [(tag, round(at_s, 1)) for tag, at_s in raised(run.samples(10.0))]
    run.board.gas_sum = 0
    run.samples(300.0)
    assert run.state("GAS-LEAK") is AlarmState.UNACKNOWLEDGED
    run.board.gas_sum = ppm_sum(0.0)
    clean_s = run.t_s
    run.samples(80.0)
    (end_s,) = returned(run.events, "GAS-LEAK")
    assert end_s - clean_s == pytest.approx(62.5, abs=1.0)


def test_a_leak_that_hovers_does_not_chatter() -> None:
    """A reading that goes up and down across the sure tier's allowance for five minutes raises it once."""
    run = Run()
    run.samples(60.0)
    normal = np.random.default_rng(2).standard_normal(3000).tolist()
    for i, z in enumerate(normal):
        run.board.gas_sum = ppm_sum(0.25 + 0.2 * np.sin(i / 80.0) + SAMPLE_NOISE * z)
        run.sample()
    assert [tag for tag, _ in raised(run.events)].count("GAS-LEAK") == 1


def test_what_is_known_of_a_leak_goes_through_the_log() -> None:
    """A page that reads the log's newest overview has the leak as the run had it."""
    run = Run()
    run.samples(60.0)
    run.board.gas_sum = ppm_sum(0.8)
    run.samples(20.0)
    overview = run.bench.overview()
    assert overview.leak is not None
    assert overview_from(json.loads(overview_json(overview))) == overview


def test_a_leaking_bench_from_end_to_end() -> None:
    """A joint that lets a tenth out is heard, sized and laid to the generation, though with the permit it ends.

    What is said stays so while the drip stands still and the room clears: the size is that of the leak's beginning.
    """
    stage = Stage(4, Reality())
    stage.begin(80.0, 60.0)
    stage.run_to(420.0)
    assert [c.tag for c in stage.raised()] == []
    stage.sim.do("leak-share 10")
    before = stage.sim.truth().leaked_mol
    stage.run_to(430.0)
    mg_per_min = (stage.sim.truth().leaked_mol - before) * 64_058.0 * 6.0
    stage.run_to(560.0)
    tags = {c.tag for c in stage.raised()}
    assert {"GAS-RISING", "GAS-LEAK"} <= tags
    assert tags <= {"GAS-RISING", "GAS-LEAK", "DRIP-STALLED", "SUCK-BACK"}  # the permit goes, and with it the drip
    leak = stage.bench.overview().leak
    assert leak is not None
    for end_s in (560.0, 700.0):
        stage.run_to(end_s)
        leak = stage.bench.overview().leak
        assert leak is not None
        assert leak.since_s == pytest.approx(420.0, abs=8.0)
        assert leak.follows is True
        assert leak.share == pytest.approx(0.10, abs=0.02)
        assert leak.mg_per_min is not None
        assert leak.u_mg_per_min is not None
        assert abs(leak.mg_per_min - mg_per_min) < leak.u_mg_per_min < 0.3 * mg_per_min
