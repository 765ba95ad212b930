"""An announced bump test: the leak alarms are set aside for a bounded time, and nothing else is."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from monitor.core.bumptest import MAX_MIN
from monitor.core.events import AlarmState, Noted
from tests.core.lines import BoardScript
from tests.core.runs import Run, ppm_sum, raised


def gas(ppm: float) -> Callable[[BoardScript], None]:
    """A setting of the board: so much gas, its last bits stirring as a live channel's do."""

    def each(board: BoardScript) -> None:
        board.gas_sum = ppm_sum(ppm) + board.seq % 3

    return each


def settled() -> Run:
    """A bench that has heard ten seconds of clean air."""
    run = Run()
    run.samples(10.0, gas(0.0))
    return run


def bumped(run: Run, ppm: float, seconds: float) -> None:
    """Test gas for so long."""
    run.samples(seconds, gas(ppm))


def called(run: Run) -> set[str]:
    """What was raised."""
    return {tag for tag, _ in raised(run.events)}


def test_test_gas_that_was_announced_is_no_leak() -> None:
    """1.5 ppm for half a minute raises a leak unannounced; announced it raises none, and none waits for a reset."""
    run = settled()
    bumped(run, 1.5, 30.0)
    assert {"GAS-RISING", "GAS-LEAK"} <= called(run)
    run = settled()
    assert run.ask("bump-test", minutes=5.0).accepted
    bumped(run, 1.5, 30.0)
    bumped(run, 0.0, 280.0)
    assert not called(run) & {"GAS-RISING", "GAS-LEAK"}
    assert run.state("GAS-LEAK") is AlarmState.NORMAL
    run.permit()


def test_the_fixed_limits_stay() -> None:
    """Test gas over a fixed limit raises that limit's alarm all the same."""
    run = settled()
    assert run.ask("bump-test", minutes=5.0).accepted
    bumped(run, 3.0, 5.0)
    assert "GAS-HIGH" in called(run)
    assert "GAS-LEAK" not in called(run)


def test_gas_that_stays_when_the_time_is_up_is_a_leak() -> None:
    """The time is bounded: a reading that has not come down calls as soon as it is over."""
    run = settled()
    assert run.ask("bump-test", minutes=1.0).accepted
    bumped(run, 1.5, 59.0)
    assert "GAS-LEAK" not in called(run)
    bumped(run, 1.5, 2.0)
    assert "GAS-LEAK" in called(run)


def test_it_can_be_ended_early_and_the_record_tells_it() -> None:
    """Begin and end stand in the record with who asked; a second end is refused."""
    run = settled()
    assert run.ask("bump-test", minutes=10.0).accepted
    assert not run.ask("bump-test", minutes=10.0).accepted
    assert run.ask("bump-test", minutes=0.0).accepted
    assert not run.ask("bump-test", minutes=0.0).accepted
    said = [e.text for e in run.events if isinstance(e, Noted) and e.what == "bump test"]
    assert said == ["Ada: bump test announced for 10 min; the fixed limits stay", "ended by Ada"]


def test_the_permit_stays_off_meanwhile() -> None:
    """With the permit on none can be announced, and while one is announced the permit is refused."""
    run = settled()
    run.permit()
    assert "take it back first" in run.ask("bump-test", minutes=5.0).text
    run.ask("permit", on=False)
    assert run.ask("bump-test", minutes=5.0).accepted
    assert "bump test is announced" in run.ask("permit", on=True).text
    assert run.ask("bump-test", minutes=0.0).accepted
    run.permit()


def test_a_leak_that_is_there_is_not_hidden() -> None:
    """While a leak or a limit stands, none can be announced."""
    run = settled()
    bumped(run, 1.5, 30.0)
    answer = run.ask("bump-test", minutes=5.0)
    assert not answer.accepted
    assert "GAS-LEAK" in answer.text


@pytest.mark.parametrize("minutes", [-1.0, MAX_MIN + 0.1, 1e8])
def test_a_time_without_bound_is_refused(minutes: float) -> None:
    """No test takes longer than a quarter of an hour."""
    assert "for up to 15 minutes" in settled().ask("bump-test", minutes=minutes).text
