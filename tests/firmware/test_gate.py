"""The drop gate: every drop once, splash thrown away, a blocked beam told."""

from __future__ import annotations

from itertools import pairwise

import pytest

from monitor.rig.firmware import Firmware
from tests.firmware.lines import Sample, samples

pytestmark = pytest.mark.firmware


def newest(board: Firmware) -> Sample:
    board.run_ms(110)
    return samples(board.received())[-1]


def test_a_thousand_drops(board: Firmware) -> None:
    """A thousand drops at 25 a second are a thousand, with no reject, and the count never goes back."""
    for _ in range(1000):
        board.drop()
        board.run_ms(40)
    board.run_ms(110)
    got = samples(board.received())
    assert (got[-1].drops, got[-1].rejects) == (1000, 0)
    counts = [s.drops for s in got]
    assert counts == sorted(counts)


def test_bouncing_drops(board: Firmware) -> None:
    """Fifty drops of five edges each are fifty drops and two hundred rejects."""
    for _ in range(50):
        board.drop(bounces=4)
        board.run_ms(200)
    s = newest(board)
    assert (s.drops, s.rejects) == (50, 200)


@pytest.mark.parametrize(("apart_ms", "drops", "rejects"), [(5, 1, 1), (18.9, 1, 1), (20.1, 2, 0), (25, 2, 0)])
def test_dead_time(board: Firmware, apart_ms: float, drops: int, rejects: int) -> None:
    """A second edge within the dead time of 20 ms (by the millisecond tick, so 19 to 20) is thrown away."""
    board.run_ms(50)
    board.drop()
    board.drop(after_ms=apart_ms)
    s = newest(board)
    assert (s.drops, s.rejects) == (drops, rejects)


def test_rejects_do_not_lengthen_the_dead_time(board: Firmware) -> None:
    """An edge after 21 ms is a drop although rejects came at 7 and 14 ms: chatter cannot silence the count."""
    for after_ms in (0, 7, 14, 21):
        board.drop(after_ms=after_ms)
    s = newest(board)
    assert (s.drops, s.rejects) == (2, 2)


def test_drop_time(board: Firmware) -> None:
    """`drop_ms` is on the clock of `ms`, and two drops lie as far apart there as they fell, to the millisecond."""
    falls_ms = [23.0, 130.3, 321.7, 1000.0, 1950.9]
    for fall_ms in falls_ms:
        board.drop(after_ms=fall_ms)
    board.run_ms(2200)
    got = samples(board.received())
    told = [(before, after) for before, after in pairwise(got) if after.drops > before.drops]
    times = [got[0].drop_ms] + [after.drop_ms for _, after in told]
    assert all(before.ms < after.drop_ms <= after.ms for before, after in told)
    apart_ms = [after - before for before, after in pairwise(times)]
    assert apart_ms == pytest.approx([after - before for before, after in pairwise(falls_ms)], abs=1.0)


def test_a_glint_is_a_drop(board: Firmware) -> None:
    """A shadow of 50 microseconds is not missed."""
    board.drop(dark_ms=0.05)
    assert newest(board).drops == 1


def test_blocked_gate(board: Firmware) -> None:
    """A beam dark for over 2 s sets the bit, not sooner, and counts one drop; light takes the bit away."""
    board.run_ms(100)  # a sample has just been taken
    board.received()
    board.beam(dark=True)
    board.run_ms(2200)
    got = samples(board.received())
    assert [s.gate_dark for s in got[:21]] == [False] * 20 + [True]
    assert got[-1].drops == 1
    board.beam(dark=False)
    assert not newest(board).gate_dark


def test_blocked_gate_at_start(board: Firmware) -> None:
    """A gate that is dark when the board starts, or not plugged in, counts no drop and is told as blocked."""
    board.beam(dark=True)
    board.reset()
    board.run_ms(2300)
    s = samples(board.received())[-1]
    assert s.gate_dark
    assert (s.drops, s.rejects) == (0, 0)


def test_falling_drops_are_no_blocked_gate(board: Firmware) -> None:
    """A stream of drops that darkens the beam half the time for 5 s does not set the bit."""
    for i in range(100):
        board.drop(after_ms=50 * i, dark_ms=25)
    board.run_ms(5050)
    got = samples(board.received())
    assert not any(s.gate_dark for s in got)
    assert got[-1].drops == 100


def test_rejects_wrap(board: Firmware) -> None:
    """Rejects are a uint16: after 65536 of them the count stands where it began, and the drops are true."""
    edges = 0
    for _ in range(715):
        board.drop(bounces=99)
        edges += 100
        board.run_ms(150)
    s = newest(board)
    assert s.drops + s.rejects + 65536 == edges
