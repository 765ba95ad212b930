"""Phases that begin by what is seen, and those that wait for a person's word."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.core.events import Phase, PhaseChanged
from monitor.core.phases import PhaseWatch, Scene
from monitor.terms import ReceiverTerms
from tests.core.lines import BoardScript
from tests.core.runs import BENCH, BURNER, DRIP, LIMITS, SMALL, Run, raised, warm
from tests.core.test_weighings import BUBBLES

STILL_S = 60.0
SCENE = Scene(
    t_s=1000.0,
    phase=Phase.GENERATING,
    phase_since_s=100.0,
    permit_on=True,
    permit_taken_back=False,
    plate_c=22.0,
    counts="drop",
    last_count_s=940.0,
    enough=True,
)
SHUT = SCENE._replace(phase=Phase.RUNNING_OUT, permit_on=False, permit_taken_back=True)


@pytest.mark.parametrize(
    ("scene", "begun"),
    [
        (SCENE, Phase.RUNNING_OUT),
        (SCENE._replace(enough=False), None),  # a clogged tap is no shut one
        (SCENE._replace(last_count_s=940.5), None),
        (SCENE._replace(counts=""), None),
        (SHUT, Phase.CLOSING_DOWN),
        (SHUT._replace(permit_taken_back=False), None),  # an alarm took it
        (SHUT._replace(phase_since_s=940.5), None),
        (SHUT._replace(last_count_s=990.0), None),
        (SHUT._replace(last_count_s=None, counts=""), Phase.CLOSING_DOWN),
        (SCENE._replace(phase=Phase.CLOSING_DOWN), None),
        (SCENE._replace(phase=Phase.GETTING_READY, plate_c=400.0), None),  # no heat makes gas on the drip route
    ],
)
def test_a_phase_begins_on_what_cannot_be_mistaken(scene: Scene, begun: Phase | None) -> None:
    """Enough and nothing more counted, or a permit taken back by a person: each begins a phase, and less does not."""
    assert PhaseWatch(DRIP, STILL_S).next_phase(scene) is begun


def test_heat_begins_a_route_that_nothing_counts() -> None:
    """A burner at 120 °C burns, hot acid in its window makes gas, if the permit is on; unknown heat is no heat."""
    cold = SCENE._replace(phase=Phase.GETTING_READY, counts="", last_count_s=None, enough=False)
    for run, hot_c in ((BURNER, 120.0), (BUBBLES, 270.0)):
        watch = PhaseWatch(run, STILL_S)
        assert watch.next_phase(cold._replace(plate_c=hot_c)) is Phase.GENERATING
        assert watch.next_phase(cold._replace(plate_c=hot_c - 0.5)) is None
        assert watch.next_phase(cold._replace(plate_c=None)) is None
        assert watch.next_phase(cold._replace(plate_c=hot_c, permit_on=False)) is None


def phases(run: Run) -> list[tuple[Phase, str]]:
    return [(e.phase, e.who) for e in run.events if isinstance(e, PhaseChanged)]


def drip(board: BoardScript) -> None:
    """A drop each second."""
    if board.seq % 10 == 0:
        board.drop()


def dripped_over_the_need() -> Run:
    """A run of a small need, just gone over, whose drip is called still after 20 s."""
    limits = replace(LIMITS, drip_stalled_s=20.0)
    run = Run(replace(SMALL, receiver=ReceiverTerms(None, 0.005)), replace(BENCH, limits=limits))
    run.samples(1.0)
    run.permit()
    while run.bench.account.delivered_mol < 0.006:
        run.samples(1.0, drip)
    return run


def test_a_run_goes_through_its_phases_by_itself() -> None:
    """Dripped until the need is over, tap shut, permit taken back: running out, then closing down, with no alarm."""
    run = dripped_over_the_need()
    run.samples(25.0)
    assert phases(run)[-1] == (Phase.RUNNING_OUT, "")
    assert "DRIP-STALLED" not in [tag for tag, _ in raised(run.events)]
    run.ask("permit", on=False)
    run.samples(62.0)
    assert [phase for phase, _ in phases(run)] == [
        Phase.GETTING_READY,
        Phase.GENERATING,
        Phase.RUNNING_OUT,
        Phase.CLOSING_DOWN,
    ]


def test_generating_begun_anew_by_a_person_is_given_its_time() -> None:
    """Beyond the need a person may go on: the phase asked for stays as long as a still drip would, and then ends."""
    run = dripped_over_the_need()
    run.samples(60.0)
    assert phases(run)[-1][0] is Phase.RUNNING_OUT
    run.ask("phase", phase="generating")
    run.samples(19.0)
    assert phases(run)[-1][0] is Phase.GENERATING
    run.samples(5.0, drip)
    run.samples(19.0)
    assert phases(run)[-1][0] is Phase.GENERATING
    run.samples(3.0)
    assert phases(run)[-1][0] is Phase.RUNNING_OUT
    assert "DRIP-STALLED" not in [tag for tag, _ in raised(run.events)]


def test_a_tap_that_clogs_is_still_an_alarm() -> None:
    """With the need not over, a drip that stops is DRIP-STALLED, and the phase stays."""
    run = Run(SMALL)
    run.samples(1.0)
    run.permit()
    run.samples(10.0, drip)
    run.samples(65.0)
    assert run.bench.phase is Phase.GENERATING
    assert "DRIP-STALLED" in [tag for tag, _ in raised(run.events)]


def test_a_recording_knows_no_more_than_its_first_drop() -> None:
    """Without a host nobody took a permit back, and nothing after generating is made out of a recording."""
    run = Run(replace(SMALL, receiver=ReceiverTerms(None, 0.001)), recording=True)
    run.samples(60.0, drip)
    run.samples(90.0)
    assert [phase for phase, _ in phases(run)] == [Phase.GETTING_READY, Phase.GENERATING]


def test_a_burner_that_is_lit_generates() -> None:
    """Heat at the burner begins the phase where nothing is counted."""
    run = Run(BURNER)
    run.samples(1.0)
    run.permit()
    warm(run, 130.0)
    assert phases(run)[-1] == (Phase.GENERATING, "")
