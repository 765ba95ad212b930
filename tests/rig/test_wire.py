"""The board's reading of the line. Sources: wire protocol version 1 and its worked lines; CRC-16/IBM-3740."""

from __future__ import annotations

import pytest

from monitor.rig.wire import Command, CommandReader, crc, frame, parse_command
from tests.rig.lines import command


def test_crc_has_its_published_check_value() -> None:
    """The CRC of `123456789` is 29B1: the check value of CRC-16/IBM-3740 in the published CRC catalogues."""
    assert crc(b"123456789") == 0x29B1


@pytest.mark.parametrize(
    ("body", "line"),
    [
        (b"B,7,1,1,01,100,20", b"B,7,1,1,01,100,20*B3C1\n"),
        (b"S,7,1042,104212,37,103988,1,07641880,8704,5,0B", b"S,7,1042,104212,37,103988,1,07641880,8704,5,0B*CA33\n"),
        (b"K,52,1,0", b"K,52,1,0*F60D\n"),
    ],
)
def test_worked_lines_come_out_as_printed(body: bytes, line: bytes) -> None:
    """The protocol's worked lines are what the frame writer writes."""
    assert frame(body) == line


def test_the_worked_keep_alive_is_taken() -> None:
    """The protocol's keep-alive is a K, number 52, permit on, buzzer off; a carriage return does no harm."""
    assert parse_command(b"K,52,1,0*F60D") == Command("K", 52, (1, 0))
    assert parse_command(b"K,52,1,0*F60D\r") == Command("K", 52, (1, 0))


@pytest.mark.parametrize(
    ("line", "cause"),
    [
        (b"1" * 120, "too_long"),
        (b"K,52,1,\xc3\xa9*F60D", "not_ascii"),
        (b"K,52,1,0", "no_crc"),
        (b"", "no_crc"),
        (b"K,52,1,1*F60D", "wrong_crc"),
        (b"K,52,1,0*f60d", "wrong_crc"),
        (command("S,1")[:-1], "unknown_kind"),
        (command("KK,1,1,0")[:-1], "unknown_kind"),
        (command("K,1,1")[:-1], "wrong_field_count"),
        (command("Q,1,1")[:-1], "wrong_field_count"),
        (command("K,65536,1,0")[:-1], "out_of_range"),
        (command("K,1,2,0")[:-1], "out_of_range"),
        (command("K,01,1,0")[:-1], "out_of_range"),
        (command("K,-1,1,0")[:-1], "out_of_range"),
        (command("K,1,,0")[:-1], "out_of_range"),
        (command("L,1,1360,65536")[:-1], "out_of_range"),
    ],
)
def test_what_is_no_command_has_one_cause(line: bytes, cause: str) -> None:
    """A line that is not a valid command is thrown away under the first cause that applies."""
    assert parse_command(line) == cause


def test_commands_survive_any_cutting() -> None:
    """Three commands arrive whole wherever the bytes are cut."""
    data = command("K,1,1,0") + command("L,2,1360,9624") + command("Q,3")
    wanted = [Command("K", 1, (1, 0)), Command("L", 2, (1360, 9624)), Command("Q", 3, ())]
    for cut in range(len(data) + 1):
        reader = CommandReader()
        assert [*reader.feed(data[:cut]), *reader.feed(data[cut:])] == wanted
        assert not reader.rejected


def test_an_endless_line_is_dropped_once_and_the_next_is_taken() -> None:
    """A run past 120 bytes is counted once and thrown away up to its newline, and nothing of it is kept."""
    reader = CommandReader()
    for _ in range(1000):
        assert list(reader.feed(b"x" * 97)) == []
    assert list(reader.feed(b"\n" + command("C,9"))) == [Command("C", 9, ())]
    assert reader.rejected == {"too_long": 1}


def test_the_longest_line_is_120_bytes_with_its_newline() -> None:
    """119 bytes and a newline are judged by their contents; one byte more is too long."""
    reader = CommandReader()
    assert list(reader.feed(b"x" * 119 + b"\n" + b"x" * 120 + b"\n")) == []
    assert reader.rejected == {"no_crc": 1, "too_long": 1}
