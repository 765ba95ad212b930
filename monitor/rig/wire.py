"""The board's side of the line: frames out, commands in, wire protocol version 1.

Promises that every frame it writes is valid, and that no byte that arrives can stop it: what is not a valid
command is counted under one of seven causes and forgotten. It knows bytes and numbers, among them those that
the protocol fixes, and neither time nor what a command does. It is written apart from the host's decoder on
purpose, so that a test that joins the two compares two readings of the protocol, not one with itself.
"""

from __future__ import annotations

import binascii
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

MAX_LINE_BYTES: Final = 120  # newline included
UINT16_MAX: Final = 0xFFFF
UINT32_MAX: Final = 0xFFFFFFFF
PROTOCOL: Final = 1
SAMPLE_MS: Final = 100
KEEP_ALIVE_LIMIT_MS: Final = 3000
GATE_DARK_LIMIT_MS: Final = 2000
WATCHDOG_MS: Final = 1000
TRIP_SAMPLES: Final = 3  # in a row

POWER_ON, EXTERNAL, BROWN_OUT, WATCHDOG = 1, 2, 4, 8  # bits of the part's reset register

IO_PERMIT, IO_CONTACT, IO_BUZZER, IO_FRESH = 0x01, 0x02, 0x04, 0x08
IO_OVERHEAT, IO_GAS, IO_GATE_DARK, IO_WATCHDOG = 0x10, 0x20, 0x40, 0x80

TC_FAULTS: Final = 0x0001_0007  # any fault, short to supply, short to ground, open circuit
TC_SILENT: Final = (0x0000_0000, 0xFFFF_FFFF)
TC_TRIP_MAX: Final = 8191  # the largest count of the hot junction: 14 bits, signed
GAS_SUM_MAX: Final = 65472  # 64 readings of a 10-bit channel

_INTEGER: Final = re.compile(r"0|[1-9][0-9]*")
_not_printable: Final = re.compile(rb"[^\x20-\x7e]").search
_COMMAND_LIMITS: Final[dict[str, tuple[int, ...]]] = {  # the largest value of each field, `n` first
    "K": (UINT16_MAX, 1, 1),
    "L": (UINT16_MAX, UINT16_MAX, UINT16_MAX),
    "C": (UINT16_MAX,),
    "Q": (UINT16_MAX,),
}


@dataclass(frozen=True, slots=True)
class Command:
    """A valid command: its letter, its number, and what stands after the number."""

    kind: str
    n: int
    fields: tuple[int, ...]


def crc(body: bytes) -> int:
    """CRC-16/IBM-3740 of a frame's body; its check value, of `123456789`, is 0x29B1."""
    return binascii.crc_hqx(body, 0xFFFF)


def frame(body: bytes) -> bytes:
    """The line for a body: body, `*`, four upper-case hexadecimal digits, newline."""
    return b"%s*%04X\n" % (body, crc(body))


def parse_command(line: bytes) -> Command | str:
    """A line without its newline, as a command, or the cause for which it is thrown away."""
    if len(line) > MAX_LINE_BYTES - 1:
        return "too_long"
    line = line.removesuffix(b"\r")
    if _not_printable(line):
        return "not_ascii"
    body, star, digits = line.rpartition(b"*")
    if not star:
        return "no_crc"
    if digits != b"%04X" % crc(body):
        return "wrong_crc"
    kind, *texts = body.decode("ascii").split(",")
    limits = _COMMAND_LIMITS.get(kind)
    if limits is None:
        return "unknown_kind"
    if len(texts) != len(limits):
        return "wrong_field_count"
    if not all(_INTEGER.fullmatch(text) for text in texts):
        return "out_of_range"
    n, *fields = (int(text) for text in texts)
    if any(value > limit for value, limit in zip((n, *fields), limits, strict=True)):
        return "out_of_range"
    return Command(kind, n, tuple(fields))


class CommandReader:
    """Cuts the host's bytes into lines and yields the valid commands; `rejected` counts the rest by cause."""

    def __init__(self) -> None:
        self.rejected: Counter[str] = Counter()
        self._part = bytearray()  # bounded: a run past the line limit is thrown away at once
        self._skipping = False

    def feed(self, data: bytes) -> Iterator[Command]:
        """Yield each command that `data` completes, in the order in which they came."""
        *ended, rest = data.split(b"\n")
        for piece in ended:
            self._take(piece)
            if not self._skipping:
                command = parse_command(bytes(self._part))
                if isinstance(command, Command):
                    yield command
                else:
                    self.rejected[command] += 1
            self._part.clear()
            self._skipping = False
        self._take(rest)

    def _take(self, piece: bytes) -> None:
        if self._skipping:
            return
        if len(self._part) + len(piece) > MAX_LINE_BYTES - 1:
            self.rejected["too_long"] += 1
            self._part.clear()
            self._skipping = True
        else:
            self._part += piece
