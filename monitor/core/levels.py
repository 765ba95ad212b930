"""A reading held against a limit, and one that comes and goes.

Promise: an unknown reading never ends a condition and never begins one: the sensor's own fault alarm speaks of it, so
that no fault looks like gas or heat. A sensor over its range is known to be at least there, and counts so. It knows
readings in their order, and neither time nor what the limits are.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from monitor.core.events import Reading

LOOSE_FROM: Final = 10.0  # samples without a value, over those that have one, LOOSE_TO of which make up for one
LOOSE_TO: Final = 0.25


class Condition(NamedTuple):
    """One tag's condition now, with what was seen when it is true."""

    tag: str
    true: bool
    detail: str = ""


class Level:
    """A limit on a rising value: true after `samples` in a row at or over it, false again under the deadband."""

    def __init__(self, tag: str, limit: float, deadband: float, unit: str, samples: int) -> None:
        self.tag, self.limit, self.clear, self.unit, self.samples = tag, limit, limit - deadband, unit, samples
        self.true = False
        self._over = 0

    def feed(self, reading: Reading) -> Condition | None:
        """Take a reading; give the condition if it changed."""
        value = reading.value if reading.value is not None else reading.at_least
        if value is None:
            return None
        if value >= self.limit:
            self._over += 1
            if self._over >= self.samples and not self.true:
                self.true = True
                sign = "over " if reading.value is None else ""
                return Condition(self.tag, True, f"{sign}{value:.4g} {self.unit}, limit {self.limit:g} {self.unit}")
        else:
            self._over = 0
            if self.true and value < self.clear:
                self.true = False
                return Condition(self.tag, False)
        return None


class Loose:
    """A reading that comes and goes, as behind a loose plug: three bad samples in a row it never has, nor a use.

    One sample in five without a value is borne; one in three is told within 6 s, two in three within 2 s.
    """

    WORDS = "reading comes and goes: a loose plug or wire"

    def __init__(self) -> None:
        self._lack = 0.0
        self._true = False

    def feed(self, reading: Reading, fault: str | None) -> str | None:
        """Give the fault: the one that is known, or this one while it stands."""
        if fault is not None:
            self._lack, self._true = 0.0, False
        elif reading.value is None and reading.at_least is None:
            self._lack += 1.0
            if self._lack >= LOOSE_FROM:
                self._lack, self._true = LOOSE_FROM, True
        elif self._lack > 0.0:
            self._lack -= LOOSE_TO
            self._true = self._true and self._lack > 0.0
        return self.WORDS if self._true else fault
