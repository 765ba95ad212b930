"""A bump test that is announced: a whiff of test gas is meant, and no leak.

Promise: for a bounded time the leak detector's two alarms are set aside by design and the permit stays off; the fixed
limits and the sensor's faults stay. When the time is up, or somebody ends it, the alarms are heard again, and one
whose cause still stands calls. It knows run time and nothing of readings.
"""

from __future__ import annotations

SET_ASIDE = ("GAS-RISING", "GAS-LEAK")
FIRST_TO_BE_CLEAR = ("GAS-HIGH-HIGH", "GAS-HIGH", *SET_ASIDE)  # else an announcement would hide a leak that is there
# A whiff of a minute, and the slowest sensor's way back, with room to spare; common practice, no source.
MAX_MIN = 15.0


class BumpTest:
    """Whether one is announced, and until when."""

    def __init__(self) -> None:
        self._until_s: float | None = None

    @property
    def on(self) -> bool:
        """Whether one is announced."""
        return self._until_s is not None

    def begin(self, t_s: float, minutes: float) -> None:
        """It begins at run second `t_s`.

        Raises:
            ValueError: announced already, or for no time or too long.
        """
        if self.on:
            raise ValueError("a bump test is announced already")
        if not 0.0 < minutes <= MAX_MIN:
            raise ValueError(f"a bump test can be announced for up to {MAX_MIN:g} minutes, not {minutes:g}")
        self._until_s = t_s + 60.0 * minutes

    def time_is_up(self, t_s: float) -> bool:
        """Whether it is announced and its time is over at run second `t_s`."""
        return self._until_s is not None and t_s >= self._until_s

    def end(self) -> None:
        """It is over."""
        self._until_s = None
