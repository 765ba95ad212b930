"""What arrives on the line: commands, answers, and everything that is neither."""

from __future__ import annotations

import random
import struct

import pytest

from monitor.rig.firmware import Firmware
from tests.firmware.conftest import Kept
from tests.firmware.lines import Answer, Sample, answers, hellos, line, parse, samples

pytestmark = pytest.mark.firmware

CAUSES = ("too_long", "not_ascii", "no_crc", "wrong_crc", "unknown_kind", "wrong_field_count", "out_of_range")

# Each with the first cause that fits, in the order in which the protocol tries them.
BAD_LINES = [
    (b"K" * 119 + b"\n", "no_crc"),
    (b"K" * 120 + b"\n", "too_long"),
    (b"\xff" * 500 + b"\n", "too_long"),
    (line("K,1,1,0")[:-1] + b"x" * 120 + b"\n", "too_long"),
    (b"\x00" + line("K,1,1,0"), "not_ascii"),
    (line("K,1,1,\xe9"), "not_ascii"),
    (line("K,1,1,0\t"), "not_ascii"),
    (line("K,1\r,1,0"), "not_ascii"),
    (line("K,1,1,0")[:-1] + b"\r\r\n", "not_ascii"),
    (b"\x7f\n", "not_ascii"),
    (b"\n", "no_crc"),
    (b"\r\n", "no_crc"),
    (b"K,1,1,0\n", "no_crc"),
    (b"K,1,1,0*\n", "wrong_crc"),
    (b"K,1,1,0*0000\n", "wrong_crc"),
    (b"K,1,1,1*0068\n", "wrong_crc"),
    (b"K,1,1,0*068\n", "wrong_crc"),
    (b"K,1,1,0*00680\n", "wrong_crc"),
    (b"K,1,1,0*0068 \n", "wrong_crc"),
    (line("K,52,1,0").lower(), "wrong_crc"),
    (b"K,52,1,0*f60d\n", "wrong_crc"),
    (b"K,1,1,0*0068K,1,1,0*0068\n", "wrong_crc"),
    (b"*FFFF\n", "unknown_kind"),
    (line("k,1,1,0"), "unknown_kind"),
    (line("KK,1,1,0"), "unknown_kind"),
    (line("X,1"), "unknown_kind"),
    (line("S,7,1042,104212,37,103988,1,07641880,8704,5,0B"), "unknown_kind"),
    (line("B,7,1,1,01,100,20"), "unknown_kind"),
    (line("A,L,17,0"), "unknown_kind"),
    (line(",1,1,0"), "unknown_kind"),
    (line(" K,1,1,0"), "unknown_kind"),
    (line("K"), "wrong_field_count"),
    (line("K,1,1"), "wrong_field_count"),
    (line("K,1,1,0,0"), "wrong_field_count"),
    (line("L,1,1200"), "wrong_field_count"),
    (line("C"), "wrong_field_count"),
    (line("C,1,1"), "wrong_field_count"),
    (line("Q,1,"), "wrong_field_count"),
    (line("K,65536,1,0"), "out_of_range"),
    (line("K,99999,1,0"), "out_of_range"),
    (line("K,4294967297,1,0"), "out_of_range"),
    (line("K,1,2,0"), "out_of_range"),
    (line("K,1,1,2"), "out_of_range"),
    (line("K,1,01,0"), "out_of_range"),
    (line("K,00,1,0"), "out_of_range"),
    (line("K,,1,0"), "out_of_range"),
    (line("K,1,1,"), "out_of_range"),
    (line("K,-1,1,0"), "out_of_range"),
    (line("K,+1,1,0"), "out_of_range"),
    (line("K, 1,1,0"), "out_of_range"),
    (line("K,1.0,1,0"), "out_of_range"),
    (line("K,1_0,1,0"), "out_of_range"),
    (line("K,1*2,1,0"), "out_of_range"),
    (line("L,1,65536,20000"), "out_of_range"),
    (line("C,A"), "out_of_range"),
]


def rejects(board: Firmware) -> dict[str, int]:
    """The board's own counts, read from its memory: the protocol does not send them."""
    return dict(zip(CAUSES, struct.unpack("<7H", board.peek("parse_rejects", 14)), strict=True))


@pytest.mark.parametrize(("bad", "cause"), BAD_LINES, ids=[f"{cause}-{i}" for i, (_, cause) in enumerate(BAD_LINES)])
def test_a_bad_line_is_counted_under_its_cause(board: Firmware, bad: bytes, cause: str) -> None:
    """It is counted once, under the first cause that fits, does nothing, and the next line is obeyed."""
    board.run_ms(20)
    board.received()
    board.send(bad)
    board.run_ms(70)
    assert rejects(board) == {**dict.fromkeys(CAUSES, 0), cause: 1}
    assert board.received() == b""
    assert not board.permit_pin()
    board.send(line("K,1,1,0"))
    board.run_ms(5)
    assert board.permit_pin()


@pytest.mark.parametrize("letter", ["L", "C"])
@pytest.mark.parametrize("n", [0, 1, 9, 10, 999, 65535])
def test_an_answer_carries_the_number(kept: Kept, letter: str, n: int) -> None:
    """L and C are answered by an A with their letter and number."""
    kept.silent(150)
    body = {"L": f"L,{n},1300,40000", "C": f"C,{n}"}[letter]
    assert answers(kept.ask(body)) == [Answer(letter, n, 0)]


def test_who_is_there(kept: Kept) -> None:
    """Q is answered by the same B as the start's; K by nothing."""
    kept.firmware.run_ms(50)
    (first,) = hellos(kept.firmware.received())
    assert parse(kept.ask("Q,3")) == [first]
    assert kept.ask("K,4,1,0") == b""


def test_the_worked_keep_alive(board: Firmware) -> None:
    """The protocol's worked line `K,52,1,0*F60D` is obeyed."""
    board.run_ms(20)
    board.send(b"K,52,1,0*F60D\n")
    board.run_ms(5)
    assert board.permit_pin()


def test_a_carriage_return_is_accepted(board: Firmware) -> None:
    """A line may end in carriage return and newline."""
    board.run_ms(20)
    board.send(b"K,52,1,0*F60D\r\n")
    board.run_ms(5)
    assert board.permit_pin()


def test_a_line_in_pieces(board: Firmware) -> None:
    """A line that comes a byte at a time, 10 ms apart, is one line."""
    board.run_ms(20)
    for byte in b"K,52,1,0*F60D\n":
        board.send(bytes([byte]))
        board.run_ms(10)
    assert board.permit_pin()


def test_after_a_line_without_end(board: Firmware) -> None:
    """Three thousand bytes without a newline are one line too long; the line after the next newline is obeyed."""
    board.run_ms(20)
    board.send(b"U" * 3000 + b"\n" + line("K,1,1,0"))
    board.run_ms(300)
    assert rejects(board)["too_long"] == 1
    assert board.permit_pin()


def test_noise_does_not_stop_the_board(board: Firmware) -> None:
    """Thirty thousand random bytes cost no sample, switch nothing on, and leave the board answering."""
    dice = random.Random(20_261)
    for _ in range(30):
        board.send(dice.randbytes(1000))
        board.run_ms(100)
    board.send(b"\n" + line("Q,5"))
    board.run_ms(60)
    frames = parse(board.received())
    seqs = [f.seq for f in frames if isinstance(f, Sample)]
    assert seqs == list(range(len(seqs)))
    assert len(seqs) >= 29
    assert len(frames) - len(seqs) == 2  # the start's B and the answer's
    assert sum(rejects(board).values()) > 50
    assert [e.kind for e in board.events()] == ["reset", "buzzer"]


def test_noise_among_commands(board: Firmware) -> None:
    """Valid lines with one byte of each changed at random are never obeyed as another command."""
    dice = random.Random(7)
    board.run_ms(20)
    for n in range(500):
        damaged = bytearray(line(f"K,{n},1,0"))
        at = dice.randrange(len(damaged) - 1)
        damaged[at] ^= dice.randrange(1, 256)
        board.send(bytes(damaged))
    board.send(b"\n")
    board.run_ms(1000)
    assert not board.permit_pin()
    assert not any(s.kept_alive for s in samples(board.received()))


def test_a_garbled_line_to_the_host_shows(board: Firmware) -> None:
    """Bytes that go wrong on the way to the host leave lines whose checksum does not fit."""
    board.run_ms(50)
    board.received()
    board.garble(5)
    board.run_ms(110)
    with pytest.raises(AssertionError):
        parse(board.received())
