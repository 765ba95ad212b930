"""The line as the tests read it: written from the protocol, apart from the host's decoder and the board's.

The checksum is CRC-16/IBM-3740, by Python's own `binascii.crc_hqx`; its check value, of `123456789`, is 29B1.
"""

from __future__ import annotations

import re
from binascii import crc_hqx
from dataclasses import dataclass

_SAMPLE = re.compile(r"S" + r",(0|[1-9]\d*)" * 6 + r",([0-9A-F]{8})" + r",(0|[1-9]\d*)" * 2 + r",([0-9A-F]{2})")
_HELLO = re.compile(r"B" + r",(0|[1-9]\d*)" * 3 + r",([0-9A-F]{2})" + r",(0|[1-9]\d*)" * 2)
_ANSWER = re.compile(r"A,([A-Z]),(0|[1-9]\d*),([01])")


@dataclass(frozen=True)
class Sample:
    boot: int
    seq: int
    ms: int
    drops: int
    drop_ms: int
    rejects: int
    tc: int
    gas_sum: int
    gas_span: int
    io: int

    def __post_init__(self) -> None:
        assert max(self.boot, self.rejects) < 2**16
        assert max(self.seq, self.ms, self.drops, self.drop_ms) < 2**32
        assert self.gas_sum <= 65472
        assert self.gas_span <= 1023

    @property
    def permit(self) -> bool:
        return bool(self.io & 0x01)

    @property
    def contact(self) -> bool:
        return bool(self.io & 0x02)

    @property
    def buzzer(self) -> bool:
        return bool(self.io & 0x04)

    @property
    def kept_alive(self) -> bool:
        return bool(self.io & 0x08)

    @property
    def heat_trip(self) -> bool:
        return bool(self.io & 0x10)

    @property
    def gas_trip(self) -> bool:
        return bool(self.io & 0x20)

    @property
    def gate_dark(self) -> bool:
        return bool(self.io & 0x40)

    @property
    def from_watchdog(self) -> bool:
        return bool(self.io & 0x80)


@dataclass(frozen=True)
class Hello:
    boot: int
    protocol: int
    firmware: int
    reset_cause: int
    sample_ms: int
    dead_ms: int


@dataclass(frozen=True)
class Answer:
    kind: str
    n: int
    result: int


Frame = Sample | Hello | Answer


def line(body: str) -> bytes:
    """The whole line of a body."""
    data = body.encode("latin-1")
    return b"%s*%04X\n" % (data, crc_hqx(data, 0xFFFF))


def parse(data: bytes) -> list[Frame]:
    """Every line of `data`; an AssertionError for any that is not a valid frame from the board."""
    assert data.endswith(b"\n") or not data
    return [parse_line(each) for each in data.splitlines()]


def parse_line(raw: bytes) -> Frame:
    assert len(raw) + 1 <= 120
    text = raw.decode("ascii")
    body, _, digits = text.rpartition("*")
    assert digits == f"{crc_hqx(body.encode(), 0xFFFF):04X}", raw
    if found := _SAMPLE.fullmatch(body):
        boot, seq, ms, drops, drop_ms, rejects, tc, gas_sum, gas_span, io = found.groups()
        counts = (int(boot), int(seq), int(ms), int(drops), int(drop_ms), int(rejects))
        return Sample(*counts, int(tc, 16), int(gas_sum), int(gas_span), int(io, 16))
    if found := _HELLO.fullmatch(body):
        boot, protocol, firmware, cause, sample_ms, dead_ms = found.groups()
        return Hello(int(boot), int(protocol), int(firmware), int(cause, 16), int(sample_ms), int(dead_ms))
    found = _ANSWER.fullmatch(body)
    assert found is not None, raw
    return Answer(found[1], int(found[2]), int(found[3]))


def samples(data: bytes) -> list[Sample]:
    return [frame for frame in parse(data) if isinstance(frame, Sample)]


def answers(data: bytes) -> list[Answer]:
    return [frame for frame in parse(data) if isinstance(frame, Answer)]


def hellos(data: bytes) -> list[Hello]:
    return [frame for frame in parse(data) if isinstance(frame, Hello)]


def tc_word(hot_quarter_c: int, cold_sixteenth_c: int = 22 * 16, faults: int = 0) -> int:
    """The converter's word, by the protocol's layout; `faults`: 1 open, 2 short to ground, 4 short to supply."""
    return (hot_quarter_c & 0x3FFF) << 18 | bool(faults) << 16 | (cold_sixteenth_c & 0xFFF) << 4 | faults
