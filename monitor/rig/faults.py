"""Faults that can be switched on one at a time, between plant and board and between board and line.

Promises that a fault changes only what its row says, that all of them repeat under their seed, and that a fault that
is mended leaves nothing behind but what the bench itself remembers. Each row names the place where it acts and the
amount that it takes; what the monitor ought to make of it stands in no row, because the rig does not know.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from monitor.rig.room import COUNT_MAX, READINGS
from monitor.rig.thermocouple import HOT_C_PER_COUNT, OPEN, SHORT_TO_GROUND, SHORT_TO_SUPPLY
from monitor.rig.wire import GAS_SUM_MAX

_TC_BITS: Final = {"tc-open": OPEN, "tc-short-ground": SHORT_TO_GROUND, "tc-short-supply": SHORT_TO_SUPPLY}
_ANY_FAULT: Final = 0x1_0000
_COLD_BITS: Final = 0xFFF0


@dataclass(frozen=True, slots=True)
class FaultKind:
    """What a fault's amount is, if it takes one, and what the fault does."""

    amount: float
    unit: str
    does: str


FAULTS: Final[dict[str, FaultKind]] = {
    "tc-open": FaultKind(0, "", "thermocouple open"),
    "tc-short-ground": FaultKind(0, "", "thermocouple shorted to ground"),
    "tc-short-supply": FaultKind(0, "", "thermocouple shorted to the supply"),
    "tc-silent": FaultKind(0, "0 zeros, 1 ones", "converter does not answer"),
    "tc-jump": FaultKind(120, "°C", "hot junction reads so much higher, at once"),
    "tc-frozen": FaultKind(0, "", "converter repeats its last word"),
    "tc-off-plate": FaultKind(0, "", "thermocouple hangs in the air"),
    "gas-over": FaultKind(0, "", "every reading at the upper end"),
    "gas-under": FaultKind(0, "", "every reading at 0"),
    "gas-frozen": FaultKind(0, "", "channel repeats its last sum, no spread"),
    "gas-quiet": FaultKind(0.3, "of the noise that is left", "noise collapsed"),
    "gas-railed": FaultKind(3, "counts from the upper end", "amplifier at its rail, no spread"),
    "gas-drift": FaultKind(2, "ppm an hour", "zero drifts steadily"),
    "gas-interference": FaultKind(-1.5, "ppm", "another gas drives the cell"),
    "gate-blocked": FaultKind(0, "", "beam dark, drops unseen"),
    "gate-double": FaultKind(0.5, "of the drops", "a second edge after the dead time"),
    "gate-missed": FaultKind(0.3, "of the drops", "drops pass unseen"),
    "line-lost": FaultKind(0.2, "of the frames", "frames do not arrive"),
    "line-noise": FaultKind(0.002, "of the bytes, both ways", "bytes replaced at random"),
    "relay-stuck": FaultKind(0, "", "permit relay stays open"),
    "relay-welded": FaultKind(0, "", "permit relay stays closed"),
    "valve-leaks": FaultKind(0, "", "drip valve does not shut"),
}


class Faults:
    """The faults that stand, and what each does to what passes. Probabilities are drawn from `rng`."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._rng = rng
        self.standing: dict[str, float] = {}
        self._since_s: dict[str, float] = {}
        self._word = 0
        self._sum = 0

    def start(self, name: str, amount: float | None = None, now_s: float = 0.0) -> None:
        """Switch a fault on; ValueError if there is none of that name."""
        if name not in FAULTS:
            raise ValueError(f"found the fault {name!r}; wanted one of {', '.join(FAULTS)}")
        self.standing[name] = FAULTS[name].amount if amount is None else amount
        self._since_s[name] = now_s

    def mend(self, name: str) -> None:
        """Switch a fault off; a fault that does not stand is no error."""
        self.standing.pop(name, None)

    def __contains__(self, name: str) -> bool:
        return name in self.standing

    def zero_shift_ppm(self, now_s: float) -> float:
        """What the gas reading's zero has moved by."""
        drift_ppm_per_h = self.standing.get("gas-drift", 0.0)
        drift_ppm = drift_ppm_per_h * (now_s - self._since_s.get("gas-drift", now_s)) / 3600.0
        return drift_ppm + self.standing.get("gas-interference", 0.0)

    def converter(self, word: int) -> int:
        """The converter's word as the board reads it."""
        if "tc-frozen" in self.standing:
            return self._word
        if "tc-silent" in self.standing:
            return 0xFFFF_FFFF if self.standing["tc-silent"] else 0
        for name, bit in _TC_BITS.items():
            if name in self.standing:
                return word & _COLD_BITS | _ANY_FAULT | bit
        if "tc-jump" in self.standing:
            counts = (word >> 18) + round(self.standing["tc-jump"] / HOT_C_PER_COUNT)
            word = word & 0x3FFFF | (counts & 0x3FFF) << 18
        self._word = word
        return word

    def gas(self, gas_sum: int, span: int) -> tuple[int, int]:
        """The gas channel's sum and span as the board takes them."""
        if "gas-frozen" in self.standing:
            return self._sum, 0
        if "gas-over" in self.standing:
            return GAS_SUM_MAX, 0
        if "gas-under" in self.standing:
            return 0, 0
        if "gas-railed" in self.standing:
            return READINGS * (COUNT_MAX - int(self.standing["gas-railed"])), 0
        self._sum = gas_sum
        return gas_sum, span

    def edges(self, edges_ms: list[float], dead_ms: float) -> list[float]:
        """The gate's edges as the board sees them."""
        if not edges_ms:
            return edges_ms
        if "gate-blocked" in self.standing:
            return []
        if "gate-missed" in self.standing:
            share = self.standing["gate-missed"]
            edges_ms = [edge for edge in edges_ms if self._rng.random() >= share]
        if "gate-double" in self.standing:
            share = self.standing["gate-double"]
            seconds = [e + dead_ms + self._rng.uniform(5.0, 60.0) for e in edges_ms if self._rng.random() < share]
            edges_ms = sorted(edges_ms + seconds)
        return edges_ms

    def to_host(self, data: bytes) -> bytes:
        """The board's bytes as the host gets them."""
        if "line-lost" in self.standing:
            share = self.standing["line-lost"]
            data = b"".join(line for line in data.splitlines(keepends=True) if self._rng.random() >= share)
        return self._garbled(data)

    def to_board(self, data: bytes) -> bytes:
        """The host's bytes as the board gets them."""
        return self._garbled(data)

    def _garbled(self, data: bytes) -> bytes:
        if "line-noise" not in self.standing or not data:
            return data
        hit = self._rng.random(len(data)) < self.standing["line-noise"]
        noise = self._rng.integers(0, 256, len(data), dtype=np.uint8)
        return np.where(hit, noise, np.frombuffer(data, dtype=np.uint8)).astype(np.uint8).tobytes()
