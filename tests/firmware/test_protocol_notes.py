"""The frames printed in the notes are frames."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from monitor.core import frames
from tests.firmware.conftest import Kept
from tests.firmware.lines import line, parse_line

NOTES = Path(__file__).resolve().parents[2] / "firmware_notes" / "protocol.md"
BLOCK = re.compile(r"^```([a-z-]+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def lines_of(kind: str) -> list[bytes]:
    found = [
        each for name, text in BLOCK.findall(NOTES.read_text("utf-8")) if name == kind for each in text.splitlines()
    ]
    assert found, f"no block of {kind} in {NOTES.name}"
    return [each.encode("ascii") for each in found]


def test_every_block_is_of_a_known_sort() -> None:
    """No example escapes the tests below by a mistyped sort."""
    sorts = {name for name, _ in BLOCK.findall(NOTES.read_text("utf-8"))}
    assert sorts == {"board-to-host", "host-to-board", "rejected", "python"}


@pytest.mark.parametrize("raw", lines_of("board-to-host"), ids=bytes.decode)
def test_the_host_decodes_each_example(raw: bytes) -> None:
    """The host's decoder takes each, and reads the same fields as the tests' own reader."""
    (frame,) = frames.Decoder().feed(raw + b"\n")
    assert not isinstance(frame, frames.FrameRejected), frame
    own = parse_line(raw)
    assert tuple(frame) == tuple(vars(own).values())


def test_the_worked_sample_reads_as_the_text_says() -> None:
    """118.25 °C and 24.5 °C; in the third line 0.25 °C more, and a drop 41 ms before the sample."""
    first, _, third = (frames.Decoder().feed(raw + b"\n")[0] for raw in lines_of("board-to-host")[:3])
    assert isinstance(first, frames.SampleFrame)
    assert isinstance(third, frames.SampleFrame)
    assert (first.hot_c, first.cold_c, first.gas_sum / 64) == (118.25, 24.5, 136.0)
    assert (third.hot_c, third.ms - third.drop_ms) == (118.5, 41)


@pytest.mark.parametrize("raw", lines_of("host-to-board"), ids=bytes.decode)
def test_each_command_is_one_the_host_would_send(raw: bytes) -> None:
    """Check and form are those of the host's own encoder."""
    kind, *fields = raw.rpartition(b"*")[0].decode().split(",")
    n, *rest = map(int, fields)
    encoders = {"K": frames.keep_alive, "L": frames.set_trips, "C": frames.clear_trips, "Q": frames.who_is_there}
    arguments = [bool(value) for value in rest] if kind == "K" else rest
    assert encoders[kind](n, *arguments) == raw + b"\n"  # type: ignore[operator]


@pytest.mark.firmware
@pytest.mark.parametrize("raw", lines_of("host-to-board"), ids=bytes.decode)
def test_the_board_obeys_each_command(kept: Kept, raw: bytes) -> None:
    """None of them is counted as rejected; L, C and Q are answered."""
    kept.silent(150)
    kept.firmware.send(raw + b"\n")
    kept.firmware.run_ms(20)
    assert not any(kept.firmware.peek("parse_rejects", 14))
    assert bool(kept.firmware.received()) is (raw[:1] != b"K")


@pytest.mark.firmware
@pytest.mark.parametrize("raw", lines_of("rejected"), ids=bytes.decode)
def test_the_board_rejects_what_is_said_to_be_rejected(kept: Kept, raw: bytes) -> None:
    """Each is counted once and does nothing."""
    kept.firmware.send(raw + b"\n")
    kept.firmware.run_ms(20)
    assert sum(kept.firmware.peek("parse_rejects", 14)) == 1
    assert not kept.firmware.permit_pin()


def test_the_check_value() -> None:
    """`123456789` gives 29B1: CRC-16/IBM-3740 in the catalogue of parametrised CRC algorithms (from memory)."""
    assert line("123456789") == b"123456789*29B1\n"
    assert "`29B1`" in NOTES.read_text("utf-8")
