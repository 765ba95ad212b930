"""Bytes in, frames or counted rejections out; commands to bytes.

Promise: nothing that arrives can stop the decoder or make it grow, and any chunking of the same bytes gives the
same frames. It knows the wire protocol, version 1 (`firmware_notes/protocol.md`), and nothing of time or meaning.
"""

from __future__ import annotations

import re
from binascii import crc_hqx
from typing import Final, Literal, NamedTuple

PROTOCOL: Final = 1  # the version that this speaks
MAX_LINE: Final = 120  # bytes, newline included (protocol)
CRC_START: Final = 0xFFFF  # CRC-16/IBM-3740
SILENT_WORDS = (0x00000000, 0xFFFFFFFF)  # the converter does not answer

Cause = Literal["too_long", "not_ascii", "no_crc", "wrong_crc", "unknown_kind", "wrong_field_count", "out_of_range"]
CAUSES: tuple[Cause, ...] = (
    "too_long",
    "not_ascii",
    "no_crc",
    "wrong_crc",
    "unknown_kind",
    "wrong_field_count",
    "out_of_range",
)

# io bits of a sample
IO_PERMIT: Final = 0x01
IO_CONTACT: Final = 0x02
IO_BUZZER: Final = 0x04
IO_KEPT_ALIVE: Final = 0x08
IO_TRIP_HEAT: Final = 0x10
IO_TRIP_GAS: Final = 0x20
IO_GATE_DARK: Final = 0x40
IO_WATCHDOG: Final = 0x80

# bits of a hello's reset_cause
RESETS: Final = {
    0x01: "power came on",
    0x02: "reset from outside",
    0x04: "supply dipped",
    0x08: "watchdog bit",
}


class SampleFrame(NamedTuple):
    """S: a sample of everything the board measures, ten a second."""

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

    @property
    def hot_c(self) -> float | None:
        """Hot junction as the converter reports it, °C; None when the converter does not answer."""
        return None if self.tc in SILENT_WORDS else _signed(self.tc >> 18, 14) * 0.25

    @property
    def cold_c(self) -> float | None:
        """Cold junction as the converter reports it, °C; None when the converter does not answer."""
        return None if self.tc in SILENT_WORDS else _signed((self.tc >> 4) & 0xFFF, 12) * 0.0625

    @property
    def tc_faults(self) -> int:
        """Fault bits: 1 open circuit, 2 short to ground, 4 short to supply; 0 when the converter is silent."""
        return 0 if self.tc in SILENT_WORDS else self.tc & 0x7


class HelloFrame(NamedTuple):
    """B: who is there."""

    boot: int
    protocol: int
    firmware: int
    reset_cause: int
    sample_ms: int
    dead_ms: int

    @property
    def why(self) -> str:
        """What started the board, in words; several bits may be set, and a boot loader may have cleared them."""
        return ", ".join(words for bit, words in RESETS.items() if self.reset_cause & bit) or "cause unknown"


class AnswerFrame(NamedTuple):
    """A: the board's answer to a command; result 0 is done, 1 refused."""

    command: str
    n: int
    result: int


class FrameRejected(NamedTuple):
    """A line that was no frame: the cause, and at most `MAX_LINE` bytes of it."""

    cause: Cause
    line: bytes


Frame = SampleFrame | HelloFrame | AnswerFrame

_UINT: Final = rb"(0|[1-9][0-9]{0,9})"
_HEX2: Final = rb"([0-9A-F]{2})"
_FORMS: Final = {
    b"S": (
        re.compile(rb"S," + rb",".join([_UINT] * 6) + rb",([0-9A-F]{8})," + _UINT + b"," + _UINT + b"," + _HEX2),
        11,
    ),
    b"B": (re.compile(rb"B," + rb",".join([_UINT] * 3) + b"," + _HEX2 + b"," + _UINT + b"," + _UINT), 7),
    b"A": (re.compile(rb"A,([A-Z])," + _UINT + rb",([01])"), 4),
}
_match_sample = _FORMS[b"S"][0].fullmatch
_not_printable = re.compile(rb"[^\x20-\x7e]").search


def crc(body: bytes) -> bytes:
    """Four upper-case hexadecimal digits of CRC-16/IBM-3740 over `body`."""
    return b"%04X" % crc_hqx(body, CRC_START)


class Decoder:
    """Cuts a byte stream into lines and lines into frames."""

    def __init__(self) -> None:
        self._rest = b""  # never longer than MAX_LINE
        self._skipping = False  # inside a line already rejected as too long

    def feed(self, data: bytes) -> list[Frame | FrameRejected]:
        """Take bytes; give what they complete, in order. Never raises on any bytes."""
        out: list[Frame | FrameRejected] = []
        lines = (self._rest + data).split(b"\n") if self._rest else data.split(b"\n")
        rest = lines.pop()
        for line in lines:
            if self._skipping:
                self._skipping = False
            elif len(line) >= MAX_LINE:
                out.append(FrameRejected("too_long", line[:MAX_LINE]))
            else:
                out.append(decode_line(line))
        if self._skipping:
            rest = b""
        elif len(rest) >= MAX_LINE:
            out.append(FrameRejected("too_long", rest[:MAX_LINE]))
            self._skipping, rest = True, b""
        self._rest = rest
        return out


def decode_line(line: bytes) -> Frame | FrameRejected:
    """Decode one line without its newline; a trailing carriage return is accepted."""
    if line[-1:] == b"\r":
        line = line[:-1]
    body, star, digits = line.rpartition(b"*")
    if star and len(digits) == 4 and digits == b"%04X" % crc_hqx(body, CRC_START):
        found = _match_sample(body)
        if found is not None:
            *counts, tc, gas_sum, gas_span, io = found.groups()
            boot, seq, ms, drops, drop_ms, rejects = map(int, counts)
            total, span = int(gas_sum), int(gas_span)
            # Every field fits its type; the last two are counts of a 10-bit converter, 64 readings a sum.
            if (
                boot <= 0xFFFF
                and seq <= 0xFFFFFFFF
                and ms <= 0xFFFFFFFF
                and drops <= 0xFFFFFFFF
                and drop_ms <= 0xFFFFFFFF
                and rejects <= 0xFFFF
                and total <= 65472
                and span <= 1023
            ):
                return SampleFrame(boot, seq, ms, drops, drop_ms, rejects, int(tc, 16), total, span, int(io, 16))
            return FrameRejected("out_of_range", line)
        return _decode_rarer(line, body)
    if _not_printable(line):
        return FrameRejected("not_ascii", line)
    return FrameRejected("wrong_crc" if star else "no_crc", line)


def _decode_rarer(line: bytes, body: bytes) -> Frame | FrameRejected:
    if _not_printable(line):
        return FrameRejected("not_ascii", line)
    kind, *fields = body.split(b",")
    if kind not in _FORMS:
        return FrameRejected("unknown_kind", line)
    form, count = _FORMS[kind]
    if len(fields) + 1 != count:
        return FrameRejected("wrong_field_count", line)
    found = form.fullmatch(body)
    if found is None or kind == b"S":
        return FrameRejected("out_of_range", line)
    if kind == b"A":
        n = int(found[2])
        if n > 0xFFFF:
            return FrameRejected("out_of_range", line)
        return AnswerFrame(found[1].decode(), n, int(found[3]))
    boot, protocol, firmware, sample_ms, dead_ms = (int(found[i]) for i in (1, 2, 3, 5, 6))
    if max(boot, protocol, sample_ms, dead_ms) > 0xFFFF:  # a firmware number is any integer
        return FrameRejected("out_of_range", line)
    return HelloFrame(boot, protocol, firmware, int(found[4], 16), sample_ms, dead_ms)


def _signed(value: int, bits: int) -> int:
    return value - (1 << bits) if value >> (bits - 1) else value


def _line(body: str) -> bytes:
    raw = body.encode("ascii")
    return raw + b"*" + crc(raw) + b"\n"


def keep_alive(n: int, permit: bool, buzzer: bool) -> bytes:
    """K: the host is alive, and what it wants of permit and buzzer."""
    return _line(f"K,{n & 0xFFFF},{int(permit)},{int(buzzer)}")


def set_trips(n: int, tc_trip: int, gas_trip: int) -> bytes:
    """L: the board's own trip limits, in quarter °C as the converter reports and in gas_sum."""
    return _line(f"L,{n & 0xFFFF},{tc_trip},{gas_trip}")


def clear_trips(n: int) -> bytes:
    """C: clear latched local trips."""
    return _line(f"C,{n & 0xFFFF}")


def who_is_there(n: int) -> bytes:
    """Q: ask for a B frame."""
    return _line(f"Q,{n & 0xFFFF}")
