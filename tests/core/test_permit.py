"""The permit: off is its state of rest, it comes only when asked for, and every cause against it takes it away."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import thermocouples_reference

from monitor.core.events import AlarmState, Event, Noted, Phase, PhaseChanged, Send
from monitor.terms import BenchTerms
from tests.core.lines import CONTACT, FRESH, GAS, OVERHEAT, PERMIT, BoardScript, line, tc_word
from tests.core.runs import BENCH, DRIP, LIMITS, Run, alarms, instant, permits, ppm_sum, raised, request, warm


def keep_alives(events: list[Event]) -> list[tuple[bool, bool]]:
    """Permit and buzzer of each keep-alive among events."""
    fields = [e.data.split(b"*")[0].split(b",") for e in events if isinstance(e, Send) and e.data.startswith(b"K,")]
    return [(f[2] == b"1", f[3] == b"1") for f in fields]


def ready(bench: BenchTerms = BENCH) -> Run:
    """A run with the permit on and the board obeying."""
    run = Run(bench=bench)
    run.samples(2.0)
    run.permit()
    run.samples(2.0)
    assert run.permit_on
    return run


def test_off_is_the_state_of_rest() -> None:
    """Left alone for an hour, a healthy bench never has the permit asked for."""
    run = Run()
    run.samples(3600.0)
    assert not run.permit_on
    assert permits(run.events) == []
    assert all(not permit for permit, _ in keep_alives(run.events))


def test_keep_alive_twice_a_second() -> None:
    """A keep-alive goes out twice a second, with the permit as it is asked for, whether or not the board speaks."""
    run = ready()
    assert keep_alives(run.samples(10.0)) == [(True, False)] * 20
    silent = Run()
    assert keep_alives(silent.silence(10.0)) in ([(False, False)] * 20, [(False, False)] * 6 + [(False, True)] * 14)


def test_asking_is_answered_by_the_board_at_once() -> None:
    """A keep-alive with the new word goes out with the asking itself, not half a second later."""
    run = Run()
    run.samples(1.0)
    got = run.keep(run.bench.command(request("permit", on=True), instant(run.t_s)))
    assert keep_alives(got) == [(True, False)]


def test_no_permit_before_the_board_is_heard() -> None:
    """Asked before a word from the board, the permit stays off, with the reason."""
    answer = Run().ask("permit", on=True)
    assert not answer.accepted
    assert answer.text == "permit stays off: nothing has been heard from the board yet"


def test_no_permit_after_the_end() -> None:
    """A run that was stopped takes the permit away, is closed, and gives none again."""
    run = ready()
    assert run.ask("stop").accepted
    assert not run.permit_on
    assert run.bench.phase is Phase.CLOSED
    answer = run.ask("permit", on=True)
    assert (answer.accepted, answer.text) == (False, "the run is closed")


def test_a_phase_does_not_end_a_run() -> None:
    """Closed is no phase to be asked for: it is what stopping does, so that no run goes on behind a closed log."""
    run = ready()
    answer = run.ask("phase", phase="closed")
    assert not answer.accepted
    assert "stop" in answer.text
    assert run.permit_on
    assert Phase.CLOSED not in [e.phase for e in run.events if isinstance(e, PhaseChanged)]


def _gas(ppm: float) -> Callable[[BoardScript], None]:
    def do(board: BoardScript) -> None:
        board.gas_sum = ppm_sum(ppm)

    return do


def _plate(hot_c: float) -> Callable[[BoardScript], None]:
    def do(board: BoardScript) -> None:
        board.tc = tc_word(hot_c)

    return do


def _open_thermocouple(board: BoardScript) -> None:
    board.tc = tc_word(0.0, 25.0, 1)


def _railed_gas(board: BoardScript) -> None:
    board.gas_sum = 65472


def _trip(board: BoardScript) -> None:
    board.io |= OVERHEAT


def quiet(board: BoardScript) -> None:
    """Nothing is wrong any more; a plate that was hot has cooled a little, as plates do."""
    was_hot = board.tc >> 18 >= 4 * 200
    board.gas_sum, board.tc = ppm_sum(0.0), tc_word(300.0 if was_hot else 22.0)
    board.io &= ~(OVERHEAT | GAS)


# Cause, tag, and the samples after which the permit is gone (third bad sample; 3rd and 10 s on for the faults).
CAUSES = [
    (_gas(2.0), "GAS-HIGH", 0.3),
    (_gas(5.0), "GAS-HIGH-HIGH", 0.3),
    (_plate(345.0), "PLATE-HIGH-HIGH", 0.3),
    (_railed_gas, "GAS-FAULT", 10.3),
    (_open_thermocouple, "PLATE-FAULT", 10.3),
    (_trip, "TRIP-LATCHED", 0.1),
]


@pytest.mark.parametrize(("cause", "tag", "after_s"), CAUSES, ids=[c[1] for c in CAUSES])
def test_each_cause_takes_the_permit(cause: Callable[[BoardScript], None], tag: str, after_s: float) -> None:
    """The cause takes the permit at its time and not before, says which alarm did, and tells the board at once.

    It is not given again while the cause stands, nor when it is gone, until the alarm is reset and somebody asks.
    """
    run = ready()
    if tag == "PLATE-HIGH-HIGH":
        warm(run, 300.0)
    start_s = run.t_s
    got = run.samples(12.0, cause)
    (change,) = permits(got)
    assert not change.on
    assert change.why.startswith("taken away by ")
    assert tag in [tag for tag, t_s in raised(got) if t_s <= change.t_s]
    assert after_s - 0.05 <= change.t_s - start_s <= after_s + 0.55  # those with a delay go on the half-second grid
    assert not any(permit for permit, _ in keep_alives(got[got.index(change) :]))
    answer = run.ask("permit", on=True)
    assert not answer.accepted
    assert tag in answer.text
    run.samples(130.0, quiet)
    answer = run.ask("permit", on=True)
    assert not answer.accepted  # latched
    assert tag in answer.text
    assert not run.permit_on
    assert run.ask("acknowledge", tag="*").accepted
    assert not run.ask("permit", on=True).accepted  # acknowledging undoes no trip
    for latched in {c.tag for c in alarms(run.events) if c.after is AlarmState.LATCHED_ACKNOWLEDGED}:
        assert run.ask("reset", tag=latched).accepted
    assert not run.permit_on  # a reset asks for nothing
    run.permit()
    assert keep_alives(run.samples(1.0)) == [(True, False)] * 2


def test_a_lost_line_takes_the_permit() -> None:
    """Three seconds without a valid sample take the permit; asking is refused until the line is back and reset."""
    run = ready()
    start_s = run.t_s
    got = run.silence(5.0)
    (change,) = permits(got)
    assert change.why == "taken away by LINK-LOST"
    assert 3.0 < change.t_s - start_s <= 3.6
    assert not run.ask("permit", on=True).accepted
    run.samples(2.0)
    assert not run.ask("permit", on=True).accepted
    assert run.ask("reset", tag="LINK-LOST").accepted
    run.permit()


def test_garbage_is_no_word_from_the_board() -> None:
    """Bytes that make no frame do not keep the line alive, and the alarm says that they arrive."""
    run = ready()
    for _ in range(40):
        run.silence(0.1)
        run.bytes(b"\x00\xff rubbish\n")
    (change,) = [c for c in alarms(run.events) if c.tag == "LINK-LOST"]
    assert "wrong baud" in change.detail
    assert not run.permit_on


def test_a_board_that_says_the_same_again_and_again_is_not_heard() -> None:
    """A frame that repeats, or a start under the same number every second, is LINK-LOST, and the permit goes."""
    for starts in (False, True):
        run = ready()
        start_s = run.t_s
        stuck = replace(run.board)
        for n in range(40):
            if not starts or n % 10 == 0:
                run.board.seq, run.board.ms = (0, 0) if starts else (stuck.seq - 1, stuck.ms - 100)
            run.sample()
        (change,) = (c for c in alarms(run.events) if c.tag == "LINK-LOST")
        assert start_s + 3.0 < change.t_s <= start_s + 3.6
        assert change.detail.endswith("counters do not go on: the board hangs, or starts over and over")
        assert not run.permit_on
        assert sum(isinstance(e, Noted) and e.what == "counter" for e in run.events) == 1


def test_a_restarted_board_gets_no_permit_by_itself() -> None:
    """After a start of the board the permit is off until it is asked for again."""
    run = ready()
    run.board.restart()
    run.board.io = FRESH
    got = run.samples(1.0)
    (change,) = permits(got)
    assert change.why == "taken away by BOARD-RESTARTED"
    assert not run.ask("permit", on=True).accepted
    run.samples(6.0)
    assert not run.permit_on
    run.permit()


def test_a_failing_log_takes_the_permit_after_half_a_minute() -> None:
    """The permit goes 30 s after the record begins to fail, and not if it works again before."""
    run = ready()
    run.ask("log", failing=True, text="disk full")
    got = run.samples(29.0)
    assert permits(got) == []
    run.ask("log", failing=False, text="well again")
    assert permits(run.samples(60.0)) == []
    run.ask("log", failing=True, text="disk full")
    start_s = run.t_s
    (change,) = permits(run.samples(40.0))
    assert change.why == "taken away by LOG-FAILING"
    assert 30.0 <= change.t_s - start_s <= 30.6


@pytest.mark.parametrize("cause", [_gas(0.12), _plate(325.0)], ids=["GAS-STEL", "PLATE-HIGH"])
def test_medium_alarms_leave_the_permit(cause: Callable[[BoardScript], None]) -> None:
    """An alarm of the table's "stays" leaves the permit, even left alone for long."""
    run = ready(replace(BENCH, limits=replace(LIMITS, gas_stel_ppm=0.1)))  # 0.12 ppm is no sure leak
    warm(run, 300.0)
    run.samples(960.0, cause)
    assert raised(run.events)
    assert run.permit_on


def test_taking_it_back_is_always_granted() -> None:
    """Whatever stands, the permit can be taken back, and the board is told at once."""
    run = ready()
    got = run.keep(run.bench.command(request("permit", on=False), instant(run.t_s)))
    assert keep_alives(got) == [(False, False)]
    assert run.ask("permit", on=False).accepted


def test_buzzer_while_a_high_alarm_waits() -> None:
    """The buzzer is asked for from a high alarm until it is acknowledged."""
    run = ready()
    run.samples(1.0, _gas(2.5))
    assert keep_alives(run.samples(2.0))[-1] == (False, True)
    run.ask("acknowledge", tag="GAS-HIGH")
    assert keep_alives(run.samples(2.0))[-1] == (False, True)
    run.ask("acknowledge", tag="GAS-LEAK")
    assert keep_alives(run.samples(2.0))[-1] == (False, False)


# --- the board's own latch ------------------------------------------------------------------------------------


def clears(events: list[Event]) -> int:
    return sum(isinstance(e, Send) and e.data.startswith(b"C,") for e in events)


def test_a_reset_asks_the_board_and_waits_for_it() -> None:
    """The board holds its own latch: a reset asks it to clear, and counts when the bit is gone."""
    run = ready()
    run.samples(1.0, _trip)
    got = run.keep(run.bench.command(request("reset", tag="TRIP-LATCHED"), instant(run.t_s)))
    assert clears(got) == 1
    assert run.state("TRIP-LATCHED") is AlarmState.UNACKNOWLEDGED
    run.samples(0.5)
    assert run.state("TRIP-LATCHED") is AlarmState.UNACKNOWLEDGED
    run.samples(0.1, quiet)
    assert run.state("TRIP-LATCHED") is AlarmState.RETURNED_UNACKNOWLEDGED


def test_refused_limits_are_sent_on_and_said_once() -> None:
    """A board that refuses its trip limits gets them twice a second; the record has one line each time it begins."""
    run = Run()

    def answered(seconds: float, result: int) -> int:
        sent = 0
        for _ in range(round(seconds * 10)):
            for e in run.sample():
                if isinstance(e, Send) and e.data.startswith(b"L,"):
                    sent += 1
                    run.bytes(line(f"A,L,{e.data.split(b',')[1].decode()},{result}"))
        return sent

    def said() -> int:
        return sum(isinstance(e, Noted) and e.what == "refused" for e in run.events)

    assert answered(10.0, 1) >= 19
    assert said() == 1
    assert answered(5.0, 0) == 1
    run.board.restart()
    assert answered(5.0, 1) >= 9
    assert said() == 2


def test_a_refused_clearing_is_said_and_forgotten() -> None:
    """If the board refuses, that is noted, and a later clearing by itself is nobody's reset: the latch stays."""
    run = ready()
    run.samples(1.0, _trip)
    run.ask("reset", tag="TRIP-LATCHED")
    got = run.bytes(line("A,C,9,1"))
    assert any(isinstance(e, Noted) and "the cause still stands" in e.text for e in got)
    run.samples(60.0)
    run.samples(1.0, quiet)
    assert run.state("TRIP-LATCHED") is AlarmState.LATCHED_UNACKNOWLEDGED


def test_a_trip_taken_out_of_service_meanwhile_stops_nothing() -> None:
    """An alarm set aside between the reset and the board's clearing is left as it is, and the run goes on."""
    run = ready()
    run.samples(1.0, _trip)
    run.ask("reset", tag="TRIP-LATCHED")
    assert run.ask("remove", tag="TRIP-LATCHED", reason="a test").accepted
    run.samples(1.0, quiet)
    assert run.state("TRIP-LATCHED") is AlarmState.OUT_OF_SERVICE


def test_a_relay_that_does_not_follow() -> None:
    """A contact that differs from the command for a second is PERMIT-REFUSED, in both directions; 0.9 s is not."""
    for asked, words in ((True, "asked on, relay is off"), (False, "asked off, relay is on")):
        run = Run()
        run.samples(2.0)
        if asked:
            run.permit()
            run.samples(1.0)
        run.obeys = False
        stuck = run.board.io & ~CONTACT if asked else run.board.io | CONTACT
        right = run.board.io

        def wrong(board: BoardScript, io: int = stuck) -> None:
            board.io = io

        run.samples(0.9, wrong)
        run.board.io = right
        run.samples(1.0)
        assert run.state("PERMIT-REFUSED") is AlarmState.NORMAL
        start_s = run.t_s
        run.samples(2.0, wrong)
        ((tag, t_s),) = raised(run.events)
        assert tag == "PERMIT-REFUSED"
        assert 1.0 <= t_s - start_s <= 1.2
        assert words in alarms(run.events)[-1].detail
        run.board.io = right
        run.samples(3.0)
        assert run.state("PERMIT-REFUSED") is AlarmState.LATCHED_UNACKNOWLEDGED


# --- what else the board is told ------------------------------------------------------------------------------


def trips(events: list[Event]) -> int:
    return sum(isinstance(e, Send) and e.data.startswith(b"L,") for e in events)


def test_trip_limits_go_out_until_they_are_confirmed() -> None:
    """The board's limits go out with every keep-alive until it confirms them, and again after each start."""
    run = Run()
    assert trips(run.samples(5.0)) == 10
    run.bytes(line("A,L,3,1"))
    assert trips(run.samples(5.0)) == 10
    run.bytes(line("A,L,4,0"))
    assert trips(run.samples(5.0)) == 0
    run.board.restart()
    assert trips(run.samples(5.0)) == 10
    run.bytes(line("A,L,4,0"))
    run.bytes(line("B,9,1,1,01,100,20"))
    assert trips(run.samples(1.0)) == 2


def test_the_limits_sent_are_the_settings() -> None:
    """The board is given 340 °C as its converter will report it, and 5 ppm as a sum.

    The converter's line is 41.276 µV/°C (protocol); the emf is that of thermocouples_reference 0.20.
    """
    emf_mv = thermocouples_reference.thermocouples["K"].func(np.array([340.0, 25.0]))
    quarters = int((25.0 + float(emf_mv[0] - emf_mv[1]) / 0.041276) * 4)
    got = Run().samples(1.0, _plate(100.0))
    sent = [e.data.split(b"*")[0].split(b",")[2:] for e in got if isinstance(e, Send) and e.data.startswith(b"L,")]
    assert sent[0] == [str(quarters).encode(), str(int(8410 + 5 / 0.00412)).encode()]


def test_a_board_of_another_protocol_is_said() -> None:
    """A board that speaks another protocol is named, with what to do."""
    got = Run().bytes(line("B,7,2,1,01,100,20"))
    assert any(isinstance(e, Noted) and "protocol 2, wanted is 1" in e.text for e in got)


def test_late_keep_alives_are_not_sent() -> None:
    """After a pause of the host, it sends no more than the keep-alives of the last two seconds."""
    run = ready()
    got = run.keep(run.bench.tick(instant(run.t_s + 3600.0)))
    assert len(keep_alives(got)) <= 6


def test_a_recording_commands_nothing() -> None:
    """In a recording nothing is sent, and the board's own word of the permit stands for the host's."""
    run = Run(DRIP, recording=True)
    run.board.io = FRESH | PERMIT | CONTACT
    run.samples(5.0)
    assert not any(isinstance(e, Send) for e in run.events)
    assert raised(run.events) == []
    run.board.io = FRESH | PERMIT
    run.samples(2.0)
    assert [tag for tag, _ in raised(run.events)] == ["PERMIT-REFUSED"]


@pytest.mark.parametrize(
    ("kind", "args"), [("phase", {"phase": "generating"}), ("bump-test", {"minutes": 5.0}), ("stop", {})]
)
def test_what_waited_behind_the_stop_is_refused(kind: str, args: dict[str, object]) -> None:
    """Requests come several at a time: none that follows the one to stop begins anything in a closed run."""
    run = Run()
    run.samples(1.0)
    assert run.ask("stop").accepted
    answer = run.ask(kind, **args)
    assert (answer.accepted, answer.text) == (False, "the run is closed")
    assert run.bench.phase is Phase.CLOSED
