"""Reading the board's lines in tests, by the protocol's text and nothing of the package."""

from __future__ import annotations

import binascii
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Sample:
    """An S frame's fields."""

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


def bodies(data: bytes) -> list[str]:
    """The bodies of whole, valid lines; fails on a line that is not valid."""
    found = []
    for line in data.splitlines(keepends=True):
        assert line.endswith(b"\n")
        assert len(line) <= 120
        body, _, digits = line[:-1].rpartition(b"*")
        assert digits == b"%04X" % binascii.crc_hqx(body, 0xFFFF)
        found.append(body.decode("ascii"))
    return found


def samples(data: bytes) -> list[Sample]:
    """The S frames among the lines of `data`."""
    found = []
    for body in bodies(data):
        kind, *fields = body.split(",")
        if kind == "S":
            found.append(Sample(*(int(field, 16 if i in (6, 9) else 10) for i, field in enumerate(fields))))
    return found


def command(body: str) -> bytes:
    """A command's line."""
    data = body.encode("ascii")
    return data + b"*%04X\n" % binascii.crc_hqx(data, 0xFFFF)
