"""A board's lines for tests, written from the protocol's text and from nothing of the package.

The checksum is worked out bit by bit (CRC-16/IBM-3740: polynomial 0x1021, initial value 0xFFFF), not by the library
routine that the decoder uses. `BoardScript` is the least that a board can be: counters that go on.
"""

from __future__ import annotations

from dataclasses import dataclass

POLYNOMIAL, INITIAL = 0x1021, 0xFFFF

PERMIT, CONTACT, BUZZER, FRESH, OVERHEAT, GAS, DARK, WATCHDOG = 1, 2, 4, 8, 16, 32, 64, 128
QUIET_SUM = 8410  # the zero of the test bench's gas channel
PLATE_22_C = 0x01601600  # 22 °C hot, 22 °C cold


def crc16(data: bytes) -> int:
    """The checksum as a number."""
    value = INITIAL
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = (value << 1) ^ POLYNOMIAL if value & 0x8000 else value << 1
            value &= 0xFFFF
    return value


def line(body: str) -> bytes:
    """A valid line with its newline."""
    raw = body.encode("ascii")
    return raw + f"*{crc16(raw):04X}\n".encode("ascii")


def tc_word(hot_c: float, cold_c: float = 25.0, faults: int = 0) -> int:
    """The converter's word for temperatures as it reports them."""
    hot = round(hot_c / 0.25) & 0x3FFF
    cold = round(cold_c / 0.0625) & 0xFFF
    return hot << 18 | bool(faults) << 16 | cold << 4 | faults


@dataclass
class BoardScript:
    """A board under a test's hand: set its fields, then take its next sample line."""

    boot: int = 7
    seq: int = 0
    ms: int = 0
    drops: int = 0
    drop_ms: int = 0
    rejects: int = 0
    tc: int = PLATE_22_C
    gas_sum: int = QUIET_SUM
    gas_span: int = 5
    io: int = FRESH
    stirs: bool = True

    def sample(self) -> bytes:
        """The line of the sample due now; the counters go on by one sample.

        While `stirs`, the cold junction's last bit moves every 10 s, as a live converter's does.
        """
        tc = self.tc ^ (self.seq // 100 % 2) << 4 if self.stirs and self.tc not in (0, 0xFFFFFFFF) else self.tc
        made = line(
            f"S,{self.boot},{self.seq},{self.ms},{self.drops},{self.drop_ms},{self.rejects},{tc:08X},"
            f"{self.gas_sum},{self.gas_span},{self.io:02X}"
        )
        self.seq += 1
        self.ms = (self.ms + 100) % (1 << 32)
        return made

    def drop(self, count: int = 1) -> None:
        """Drops fall now."""
        self.drops += count
        self.drop_ms = self.ms

    def restart(self) -> None:
        """Start anew, under the next boot number."""
        self.boot = (self.boot + 1) % 65536
        self.seq = self.ms = self.drops = self.drop_ms = self.rejects = 0
