"""How the alarms did: figures counted by hand from short made-up runs."""

from __future__ import annotations

import json

import pytest

from dashboards.source import overview_from
from monitor.core.events import AlarmChanged, AlarmState, Noted, Priority
from monitor.core.performance import Performance, performance_lines
from monitor.edges.runlog import overview_json
from tests.core.runs import Run, request

N, U, A, R = (
    AlarmState.NORMAL,
    AlarmState.UNACKNOWLEDGED,
    AlarmState.ACKNOWLEDGED,
    AlarmState.RETURNED_UNACKNOWLEDGED,
)


def change(t_s: float, before: AlarmState, after: AlarmState, cause: str, tag: str = "DRIP-FAST") -> AlarmChanged:
    return AlarmChanged(t_s, 0.0, tag, Priority.MEDIUM, before, after, cause, "", "")


def test_standing_and_waiting() -> None:
    """An alarm stands from its raising to its return, and waits from its raising to the acknowledgement."""
    p = Performance()
    p.add(change(10.0, N, U, "condition true"))
    p.add(change(25.0, U, A, "acknowledged"))
    p.add(change(70.0, A, N, "condition false"))
    p.add(change(100.0, N, U, "condition true"))
    p.add(change(130.0, U, R, "condition false"))
    f = p.figures(1200.0)
    assert f.standing_s == {"DRIP-FAST": 60.0 + 30.0}
    assert (f.raised, f.acknowledged, f.never_acknowledged) == (2, 1, 1)
    assert (f.mean_to_acknowledge_s, f.longest_to_acknowledge_s) == (15.0, 15.0)
    assert f.mean_per_10_min == 1.0


def test_one_that_comes_back_has_waited_from_its_first_raising() -> None:
    """Raised, gone, raised again and then acknowledged: somebody was called from the first moment on."""
    p = Performance()
    p.add(change(0.0, N, U, "condition true"))
    p.add(change(10.0, U, R, "condition false"))
    p.add(change(40.0, R, U, "condition true"))
    p.add(change(50.0, U, A, "acknowledged"))
    assert p.figures(60.0).longest_to_acknowledge_s == 50.0
    assert p.figures(60.0).standing_s == {"DRIP-FAST": 30.0}


@pytest.mark.parametrize(("apart_s", "chatters"), [(30.0, True), (31.0, False)])
def test_chattering_is_three_within_a_minute(apart_s: float, chatters: bool) -> None:
    """Three raisings within 60 s are chattering, over 62 s they are not; two tags are not added up."""
    p = Performance()
    for n in range(3):
        p.add(change(n * apart_s, R, U, "condition true"))
        p.add(change(n * apart_s + 1.0, U, R, "condition false"))
    p.add(change(5.0, N, U, "condition true", "ACID-LOW"))
    assert p.figures(600.0).chattering == (("DRIP-FAST",) if chatters else ())


def test_the_worst_ten_minutes() -> None:
    """Eleven alarms within ten minutes, wherever these begin, are the worst; a short run counts as ten minutes."""
    p = Performance()
    for n in range(11):
        p.add(change(900.0 + 59.0 * n, N, U, "condition true", f"T{n}"))
    p.add(change(3000.0, N, U, "condition true", "T99"))
    f = p.figures(3600.0)
    assert f.most_in_10_min == 11
    assert f.mean_per_10_min == pytest.approx(2.0)
    assert p.figures(60.0).mean_per_10_min == 12.0


def test_a_run_without_alarms_has_plain_figures() -> None:
    """Nothing raised is one line, and no figure is made up."""
    f = Performance().figures(3600.0)
    assert f.mean_to_acknowledge_s is None
    assert len(performance_lines(f)) == 1


def test_the_end_of_a_run_notes_how_the_alarms_did() -> None:
    """Stopping a run puts the figures in its record, with the published ones beside them."""
    run = Run()
    run.samples(2.0)
    run.silence(5.0)
    run.samples(1.0)
    run.ask("acknowledge", tag="*")
    events = run.bench.command(request("stop"), run.bench.now)
    (note,) = (e.text for e in events if isinstance(e, Noted) and e.what == "alarms")
    assert note.startswith("1 alarms, 1.00 in 10 minutes on average (published: under 1)")
    assert "1 acknowledged" in note


def test_the_overview_says_how_the_alarms_did_so_far() -> None:
    """A run that is never ended in order has its figures in the log all the same: in its newest overview."""
    run = Run()
    run.samples(2.0)
    run.silence(5.0)
    run.samples(1.0)
    first, shares, longest, waited = run.bench.overview().alarms_did
    assert first.startswith("1 alarms, 1.00 in 10 minutes on average (published: under 1), at most 1")
    assert shares.startswith("priorities (published): high 1 = 100% (5%)")
    assert longest.startswith("longest standing: LINK-LOST")
    assert waited == "none was acknowledged"
    got = overview_from(json.loads(overview_json(run.bench.overview())))
    assert got == run.bench.overview()
