"""The board in Python against the text of the wire protocol, version 1."""

from __future__ import annotations

import pytest

from monitor.rig.board import Board, Senses
from monitor.rig.wire import WATCHDOG
from tests.rig.lines import bodies, command, samples

COOL = 0x0160_1600  # 22 °C hot and cold, from the protocol's examples
OPEN = 0x0001_1901  # open circuit, cold junction 25 °C
QUIET = 8410


def senses(
    tc: int = COOL, gas: int = QUIET, edges: tuple[float, ...] = (), dark: bool = False, contact: bool | None = None
) -> Senses:
    return Senses(tc, gas, 5, edges, dark, contact)


def hot(celsius: float) -> int:
    return int(celsius * 4) << 18 | 0x1600


def running_board(limits: str = "L,1,1360,9624") -> Board:
    """A board that has its limits and the permit, at 100 ms."""
    board = Board(7)
    board.advance(0.0, senses())
    board.receive(command(limits) + command("K,2,1,0"))
    board.advance(100.0, senses())
    assert board.permit
    return board


def keep_alive(board: Board, from_ms: float, to_ms: float, now: Senses) -> bytes:
    """Run on with a keep-alive asking for the permit twice a second."""
    out = b""
    t = from_ms
    while t < to_ms:
        board.receive(command("K,3,1,0"))
        t = min(t + 500.0, to_ms)
        out += board.advance(t, now)
    return out


def test_a_start_says_who_is_there() -> None:
    """The first line of a start is B with boot, protocol 1, reset cause, 100 ms and the dead time; permit off."""
    board = Board(7)
    first, second = bodies(board.advance(0.0, senses()))
    assert first == "B,7,1,1,01,100,20"
    assert second == "S,7,0,0,0,0,0,01601600,8410,5,04"


def test_ten_samples_a_second_however_time_is_cut() -> None:
    """The same lines come out whether time is passed in one piece or in many uneven ones."""
    whole = Board().advance(10_000.0, senses())
    board = Board()
    pieces = b"".join(board.advance(10_000.0 * (i / 137) ** 2, senses()) for i in range(138))
    assert pieces == whole
    assert [s.seq for s in samples(whole)] == list(range(101))
    assert [s.ms for s in samples(whole)] == list(range(0, 10_001, 100))


def test_drops_count_up_and_splashes_are_rejected() -> None:
    """An edge within the gate's dead time of the accepted one is a reject; a drop is dated by its own edge."""
    board = Board(dead_ms=20)
    out = board.advance(1000.0, senses(edges=(150.0, 165.0, 171.0, 480.5)))
    last = samples(out)[-1]
    assert (last.drops, last.rejects, last.drop_ms) == (3, 1, 480)
    assert [s.drops for s in samples(out)] == [0, 0, 2, 2, 2, 3, 3, 3, 3, 3, 3]


def test_counters_wrap_where_the_protocol_says() -> None:
    """`ms` wraps after 49.7 days as a uint32 and `seq` goes on."""
    board = Board(uptime_ms=4_294_967_200)
    got = samples(board.advance(300.0, senses()))
    assert [s.ms for s in got] == [4_294_967_200, 4, 104, 204]
    assert [s.seq for s in got] == [42_949_672, 42_949_673, 42_949_674, 42_949_675]


def test_the_boot_number_wraps_as_a_uint16() -> None:
    """After start 65535 comes start 0."""
    board = Board(65535)
    board.restart(50.0)
    assert bodies(board.advance(50.0, senses()))[0] == "B,0,1,1,02,100,20"


def test_permit_comes_with_a_keep_alive_and_goes_3_s_after_the_last() -> None:
    """Permit stays for under 3 s without a K and is off at 3 s; bit 3 and the buzzer say so."""
    board = running_board()
    out = samples(board.advance(3300.0, senses()))
    by_ms = {s.ms: s.io for s in out}
    assert by_ms[2900] == 0x0B
    assert by_ms[3000] == 0x04  # the K came at 0 ms
    board.receive(command("K,9,1,0"))
    assert samples(board.advance(3400.0, senses()))[-1].io == 0x0B


def test_a_garbled_keep_alive_keeps_nothing_alive() -> None:
    """Only a valid K counts; the board counts the others and does not answer."""
    board = running_board()
    for t in range(200, 3301, 100):
        board.receive(b"K,3,1,0*0000\n")
        out = board.advance(float(t), senses())
    assert not board.permit
    assert board.rejected == {"wrong_crc": 32}
    assert all(body.startswith("S,") for body in bodies(out))


@pytest.mark.parametrize(
    ("bad", "bit"),
    [
        (senses(tc=hot(340.0)), 0x10),
        (senses(tc=OPEN), 0x10),
        (senses(tc=0), 0x10),
        (senses(tc=0xFFFF_FFFF), 0x10),
        (senses(gas=9624), 0x20),
    ],
)
def test_a_cause_in_three_samples_trips_and_two_do_not(bad: Senses, bit: int) -> None:
    """Two samples in a row do nothing; the third takes the permit away, latches, and sounds the buzzer."""
    board = running_board()
    board.advance(300.0, bad)
    board.advance(400.0, senses())
    assert board.permit
    board.advance(600.0, bad)
    assert board.permit
    last = samples(board.advance(700.0, bad))[-1]
    assert last.io == bit | 0x04 | 0x08
    assert not board.permit


def test_just_under_the_limits_nothing_trips() -> None:
    """A quarter degree and one count under the limits are healthy, for as long as it lasts."""
    board = running_board()
    keep_alive(board, 100.0, 60_000.0, senses(tc=hot(339.75), gas=9623))
    assert board.permit


def test_a_trip_stays_until_cleared_and_clearing_is_refused_while_the_cause_stands() -> None:
    """C answers 1 while the cause stands, 0 after; the permit then needs a new K that asks for it."""
    board = running_board()
    keep_alive(board, 100.0, 1000.0, senses(tc=hot(350.0)))
    board.receive(command("C,5"))
    assert "A,C,5,1" in bodies(board.advance(1100.0, senses(tc=hot(350.0))))
    keep_alive(board, 1100.0, 2000.0, senses())
    assert board.overheat_latched
    assert not board.permit
    board.receive(command("C,6"))
    assert "A,C,6,0" in bodies(board.advance(2100.0, senses()))
    assert not board.permit
    board.receive(command("K,7,1,0"))
    assert board.permit


def test_limits_are_answered_and_impossible_ones_refused() -> None:
    """L is answered with its number; a limit that the channel can never report is refused and not taken."""
    board = Board()
    board.receive(command("L,17,1360,9624") + command("L,18,8192,9624") + command("L,19,1360,65473"))
    assert bodies(board.advance(0.0, senses()))[1:4] == ["A,L,17,0", "A,L,18,1", "A,L,19,1"]
    assert (board.tc_trip, board.gas_trip) == (1360, 9624)


def test_q_is_answered_by_b() -> None:
    """Q asks who is there."""
    board = Board(7)
    board.advance(0.0, senses())
    board.receive(command("Q,4"))
    assert bodies(board.advance(10.0, senses())) == ["B,7,1,1,01,100,20"]


def test_a_hang_holds_its_outputs_for_a_second_and_the_watchdog_restarts_it() -> None:
    """A hung board is silent; 1 s later it starts anew with cause 08, io bit 7, counts at 0 and permit off."""
    board = running_board()
    board.hang(150.0)
    board.receive(command("K,3,1,0"))
    assert board.advance(1149.0, senses(edges=(600.0,))) == b""
    assert board.permit
    first, second = bodies(board.advance(1200.0, senses()))
    assert first == f"B,8,1,1,{WATCHDOG:02X},100,20"
    assert second == "S,8,0,0,0,0,0,01601600,8410,5,84"
    assert not board.permit


def test_without_power_nothing_is_said_or_heard() -> None:
    """With its supply off the board is silent and the permit is off; power brings a new start."""
    board = running_board()
    board.power_off()
    board.receive(command("Q,1"))
    assert board.advance(5000.0, senses(edges=(300.0,))) == b""
    board.restart(6000.0, 1)
    assert bodies(board.advance(6000.0, senses()))[0] == "B,8,1,1,01,100,20"


def test_a_dark_gate_is_told_after_2_s() -> None:
    """Bit 6 stands when the beam has been dark for over 2 s, and falls with the first light."""
    board = Board()
    board.advance(900.0, senses())
    dark = samples(board.advance(3200.0, senses(dark=True)))
    assert [s.ms for s in dark if s.io & 0x40] == [3100, 3200]
    assert not samples(board.advance(3300.0, senses()))[-1].io & 0x40


def test_the_contact_is_the_relay_and_not_the_command() -> None:
    """Bit 1 is what the contact says, whatever bit 0 says."""
    board = running_board()
    assert samples(board.advance(200.0, senses(contact=False)))[-1].io & 0x03 == 0x01


def test_a_slow_crystal_sends_fewer_samples() -> None:
    """A board whose clock is 0.5 % slow has sent 995 samples after its first when 1000 were due."""
    board = Board(clock_ratio=0.995)
    assert samples(board.advance(100_000.0, senses()))[-1].seq == 995


def test_any_bytes_may_arrive() -> None:
    """Every byte value, in every position of a short line, stops nothing."""
    board = Board()
    for value in range(256):
        board.receive(bytes([value]) * 3 + b"\n" + b"K" + bytes([value]) + b"\n")
    board.receive(command("K,1,1,0"))
    assert board.permit
