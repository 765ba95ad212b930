"""S and B frames: rate, numbering, validity, the wrap of the milliseconds."""

from __future__ import annotations

import pytest

from monitor.rig.firmware import Firmware
from monitor.rig.firmware_build import Built
from tests.firmware.conftest import Kept
from tests.firmware.lines import Answer, Hello, Sample, line, parse, samples

pytestmark = pytest.mark.firmware


def test_a_start_is_announced(board: Firmware) -> None:
    """The first frame after a start is a B, with protocol 1, power-on as the cause, and the board's two times."""
    board.run_ms(250)
    first, *rest = parse(board.received())
    assert isinstance(first, Hello)
    assert (first.protocol, first.reset_cause, first.sample_ms, first.dead_ms) == (1, 0x01, 100, 20)
    assert [type(frame) for frame in rest] == [Sample, Sample]


def test_ten_samples_a_second(board: Firmware) -> None:
    """In a minute 600 valid S frames come, numbered from 0 without a gap, 100 ms apart on the board's own clock."""
    board.run_ms(60_010)
    got = samples(board.received())
    assert [s.seq for s in got] == list(range(600))
    assert [s.ms for s in got] == [100 * (i + 1) for i in range(600)]


def test_an_idle_board_reads_what_is_wired_to_it(board: Firmware) -> None:
    """Nothing counted, nothing permitted, the thermocouple's word as it is, and the buzzer on for want of a host."""
    board.run_ms(150)
    (s,) = samples(board.received())
    assert (s.drops, s.drop_ms, s.rejects, s.tc, s.io) == (0, 0, 0, 0x01601600, 0x04)


def test_the_first_sample_is_a_whole_one(board: Firmware) -> None:
    """From the first sample on, gas_sum is of 64 readings."""
    board.gas_sum(64 * 700, noise_counts=0)
    board.reset()
    board.run_ms(350)
    assert [s.gas_sum for s in samples(board.received())] == [64 * 700] * 3


def test_milliseconds_wrap(built: Built) -> None:
    """Over the wrap of the milliseconds the samples keep their beat, drops their dead time, and the permit stays."""
    with Firmware(lockstep=True, ms_start=2**32 - 1250) as board:
        kept = Kept(board)
        board.drop(after_ms=1240)
        board.drop(after_ms=1255)
        board.drop(after_ms=1265)
        got = kept.run(3000)
        events = board.events()
    assert [s.ms for s in got] == [(2**32 - 1250 + 100 * (i + 1)) % 2**32 for i in range(len(got))]
    assert got[0].ms > 2**31 > got[-1].ms
    assert (got[-1].drops, got[-1].rejects) == (2, 1)
    assert got[-1].drop_ms < 30
    assert [e.detail for e in events if e.kind == "permit"] == ["1"]


def test_keep_alive_limit_holds_over_the_wrap(built: Built) -> None:
    """A keep-alive from before the wrap of the milliseconds runs out 3 s later all the same."""
    with Firmware(lockstep=True, ms_start=2**32 - 1000) as board:
        board.run_ms(10)
        board.send(line("K,1,1,0"))
        board.run_ms(2900)
        assert board.permit_pin()
        board.run_ms(200)
        assert not board.permit_pin()


def test_a_busy_line_costs_no_sample(board: Firmware) -> None:
    """A host that fills the line with commands for 10 s gets every answer, every sample, and loses no byte."""
    for n in range(5000):
        board.send(line(f"L,{n},1200,40000"))
        if n % 100 == 99:
            board.run_ms(200)
    board.run_ms(50)
    frames = parse(board.received())
    got = [f for f in frames if isinstance(f, Sample)]
    assert [s.seq for s in got] == list(range(100))
    assert [f.n for f in frames if isinstance(f, Answer)] == list(range(5000))
    assert not [e for e in board.events() if e.kind == "overrun"]


def test_two_runs_are_the_same_to_the_byte(built: Built) -> None:
    """The same injections give the same bytes and the same events, noise on the gas channel included."""

    def one_run() -> tuple[bytes, list[tuple[int, str, str]]]:
        with Firmware(lockstep=True) as board:
            kept = Kept(board)
            kept.say("L,#,1300,50000")
            for i in range(20):
                board.drop(after_ms=37.5 * i, bounces=i % 3)
                board.gas_sum(8400 + 11 * i, noise_counts=1.5)
                kept.say("K,#,1,0")
                board.run_ms(333.3)
            board.reset()
            board.run_ms(500)
            return board.received(), [(e.us, e.kind, e.detail) for e in board.events()]

    first, second = one_run(), one_run()
    assert first == second
    assert first[0].count(b"\n") > 60
