"""The decoder, against the protocol's shared vectors, the CRC catalogue and a great deal of rubbish."""

from __future__ import annotations

import json
import random
import tracemalloc
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core import frames
from monitor.core.frames import (
    CAUSES,
    AnswerFrame,
    Decoder,
    Frame,
    FrameRejected,
    HelloFrame,
    SampleFrame,
    decode_line,
)
from tests.core.lines import BoardScript, crc16, line

VECTORS: list[dict[str, Any]] = [
    json.loads(text) for text in (Path(__file__).parent / "frames.jsonl").read_text("utf-8").splitlines()
]
GOOD = [v for v in VECTORS if "frame" in v]


def vector_bytes(vector: dict[str, Any]) -> bytes:
    return str(vector["line"]).encode("latin-1")


def as_vector(got: Frame | FrameRejected) -> dict[str, Any]:
    """A decoded frame in the words of the vectors."""
    if isinstance(got, SampleFrame):
        extra = {"hot_c": got.hot_c, "cold_c": got.cold_c, "tc_faults": got.tc_faults}
        return {"frame": {"kind": "S", **got._asdict(), "tc": f"{got.tc:08X}", **extra}}
    if isinstance(got, HelloFrame):
        return {"frame": {"kind": "B", **got._asdict()}}
    if isinstance(got, AnswerFrame):
        return {"frame": {"kind": "A", **got._asdict()}}
    return {"rejected": got.cause}


def without_line(vector: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in vector.items() if key != "line"}


@pytest.mark.parametrize("vector", VECTORS, ids=[v["line"][:50] for v in VECTORS])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"], ids=["lf", "crlf"])
def test_shared_vectors(vector: dict[str, Any], end: bytes) -> None:
    """Every line of the shared vectors is told as the vectors tell it, with either line ending."""
    (got,) = Decoder().feed(vector_bytes(vector) + end)
    assert as_vector(got) == without_line(vector)


@pytest.mark.parametrize("vector", VECTORS, ids=[v["line"][:50] for v in VECTORS])
def test_vectors_split_at_every_byte(vector: dict[str, Any]) -> None:
    """A line cut in two at any byte, with the tail of another line behind it, is the same line."""
    data = vector_bytes(vector) + b"\n"
    tail = b"S,7,1043,10"
    for cut in range(len(data) + 1):
        decoder = Decoder()
        got = decoder.feed(data[:cut]) + decoder.feed(data[cut:] + tail)
        assert [as_vector(g) for g in got] == [without_line(vector)]


def test_vectors_one_byte_at_a_time() -> None:
    """All vectors in one stream, a byte at a time, come out one by one and in order."""
    decoder = Decoder()
    got: list[Frame | FrameRejected] = []
    for vector in VECTORS:
        for byte in vector_bytes(vector) + b"\n":
            got += decoder.feed(bytes([byte]))
    assert [as_vector(g) for g in got] == [without_line(v) for v in VECTORS]


def test_every_cause_is_in_the_vectors() -> None:
    """The vectors leave no cause of rejection untried, and the decoder knows no other."""
    assert {v["rejected"] for v in VECTORS if "rejected" in v} == set(CAUSES)


def test_crc_check_value() -> None:
    """The checksum of "123456789" is 29B1 (catalogue of parametrised CRC algorithms, CRC-16/IBM-3740)."""
    assert frames.crc(b"123456789") == b"29B1"
    assert crc16(b"123456789") == 0x29B1


@given(st.binary(max_size=200))
def test_crc_is_the_polynomial_division(data: bytes) -> None:
    """The checksum is the bit-by-bit division that its parameters describe (polynomial 0x1021, start 0xFFFF)."""
    assert frames.crc(data) == f"{crc16(data):04X}".encode()


def test_commands_are_the_protocols_lines() -> None:
    """Commands are encoded as the protocol's worked line, and each carries its checksum."""
    assert frames.keep_alive(52, permit=True, buzzer=False) == b"K,52,1,0*F60D\n"
    assert frames.keep_alive(7, permit=False, buzzer=True) == line("K,7,0,1")
    assert frames.set_trips(53, 1360, 9623) == line("L,53,1360,9623")
    assert frames.clear_trips(54) == line("C,54")
    assert frames.who_is_there(55) == line("Q,55")


def test_command_numbers_are_16_bit() -> None:
    """A command's number wraps at 65536, as its field does."""
    assert frames.keep_alive(65536 + 52, permit=True, buzzer=False) == b"K,52,1,0*F60D\n"
    assert frames.who_is_there(65536) == line("Q,0")


def test_longest_line_counts_its_newline() -> None:
    """119 bytes and a newline are a line; one byte more is too long, and what follows is read as if nothing was."""
    good = BoardScript().sample()
    for length, cause in ((119, "no_crc"), (120, "too_long"), (5000, "too_long")):
        got = Decoder().feed(b"x" * length + b"\n" + good)
        assert isinstance(got[0], FrameRejected)
        assert got[0].cause == cause
        assert isinstance(got[1], SampleFrame)
        assert len(got) == 2


def test_endless_line_is_one_rejection() -> None:
    """A flood without a newline is rejected once, is not kept, and ends at the next newline."""
    decoder = Decoder()
    got: list[Frame | FrameRejected] = []
    for _ in range(1000):
        got += decoder.feed(b"\x00" * 4096)
        assert len(decoder._rest) < frames.MAX_LINE
    got += decoder.feed(b"\n" + BoardScript().sample())
    assert [type(g) for g in got] == [FrameRejected, SampleFrame]


def _spoiled(rng: random.Random, good: bytes) -> bytes:
    """A run of lines with bytes changed, dropped, doubled or put in."""
    data = bytearray(good)
    for _ in range(rng.randrange(1, 6)):
        at = rng.randrange(len(data))
        match rng.randrange(4):
            case 0:
                data[at] = rng.randrange(256)
            case 1:
                del data[at : at + rng.randrange(1, 30)]
            case 2:
                data[at:at] = rng.randbytes(rng.randrange(1, 30))
            case _:
                data[at] ^= 1 << rng.randrange(8)
    return bytes(data)


def test_a_million_bytes_of_rubbish() -> None:
    """A million random and mutated bytes raise nothing, and leave the decoder no bigger than one line."""
    rng = random.Random(20261120)
    good = b"".join(vector_bytes(v) + b"\n" for v in GOOD)
    decoder = Decoder()
    fed = rejected = accepted = 0
    tracemalloc.start()
    try:
        base = 0
        while fed < 1_000_000:
            data = rng.randbytes(rng.randrange(1, 400)) if rng.random() < 0.3 else _spoiled(rng, good)
            for got in decoder.feed(data):
                if isinstance(got, FrameRejected):
                    rejected += 1
                    assert got.cause in CAUSES
                    assert len(got.line) <= frames.MAX_LINE
                else:
                    accepted += 1
            assert len(decoder._rest) < frames.MAX_LINE
            fed += len(data)
            if base == 0 and fed > 100_000:
                base = tracemalloc.get_traced_memory()[0]
        grown = tracemalloc.get_traced_memory()[0] - base
    finally:
        tracemalloc.stop()
    assert rejected > 1000
    assert accepted > 1000
    assert grown < 20_000
    (got,) = decoder.feed(b"\n" + BoardScript().sample())[-1:]
    assert isinstance(got, SampleFrame)


_PIECES = st.one_of(
    st.sampled_from([vector_bytes(v) + b"\n" for v in VECTORS]),
    st.binary(max_size=150),
    st.binary(max_size=20).map(lambda b: b + b"\n"),
)


@given(st.lists(_PIECES, max_size=8).map(b"".join), st.lists(st.integers(0, 60), max_size=60))
def test_any_chunking_gives_the_same_frames(data: bytes, sizes: list[int]) -> None:
    """However the same bytes are cut up, the same frames and rejections come out, in the same order."""
    whole = Decoder().feed(data)
    decoder = Decoder()
    got: list[Frame | FrameRejected] = []
    at = 0
    for size in sizes:
        got += decoder.feed(data[at : at + size])
        at += size
    got += decoder.feed(data[at:])
    assert got == whole


@given(st.binary(max_size=130))
def test_no_line_raises(data: bytes) -> None:
    """Any bytes at all are a frame or a rejection with a known cause."""
    got = decode_line(data)
    if isinstance(got, FrameRejected):
        assert got.cause in CAUSES


_U16, _U32 = st.integers(0, 0xFFFF), st.integers(0, 0xFFFFFFFF)


_GAS_SUM, _SPAN, _IO = st.integers(0, 65472), st.integers(0, 1023), st.integers(0, 255)


@given(st.tuples(_U16, _U32, _U32, _U32, _U32, _U16, _U32, _GAS_SUM, _SPAN, _IO))
def test_every_sample_in_range_is_taken(fields: tuple[int, ...]) -> None:
    """A sample whose fields fit their types is taken as it stands."""
    boot, seq, ms, drops, drop_ms, rejects, tc, gas_sum, gas_span, io = fields
    script = BoardScript(boot, seq, ms, drops, drop_ms, rejects, tc, gas_sum, gas_span, io, stirs=False)
    assert decode_line(script.sample()[:-1]) == SampleFrame(*fields)


def test_firmware_is_any_integer() -> None:
    """The protocol bounds a firmware number by nothing but its being an integer: a date will do."""
    got = decode_line(line("B,7,1,20261120,01,100,20")[:-1])
    assert got == HelloFrame(7, 1, 20261120, 1, 100, 20)


@pytest.mark.parametrize(
    ("cause", "words"), [("01", "power came on"), ("0A", "reset from outside, watchdog bit"), ("00", "cause unknown")]
)
def test_a_start_says_in_words_what_caused_it(cause: str, words: str) -> None:
    """The part's reset register, bit by bit as the protocol names them; a boot loader may have cleared it."""
    got = decode_line(line(f"B,7,1,1,{cause},100,20")[:-1])
    assert isinstance(got, HelloFrame)
    assert got.why == words


def test_fault_bits_and_signs_of_the_converter() -> None:
    """The converter's word gives signed temperatures, and its fault bits open 1, ground 2, supply 4."""
    got = decode_line(BoardScript(tc=0xFF34FAF0).sample()[:-1])
    assert isinstance(got, SampleFrame)
    assert (got.hot_c, got.cold_c, got.tc_faults) == (-12.75, -5.0625, 0)
    for bits in range(1, 8):
        got = decode_line(BoardScript(tc=0x00010000 | 0x1900 | bits).sample()[:-1])
        assert isinstance(got, SampleFrame)
        assert got.tc_faults == bits
