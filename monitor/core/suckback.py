"""Suck-back: gas stops while the tube is in the liquid, and the liquid climbs up the tube.

A flask that made gas holds warm gas that the liquid still takes: once less is made than the liquid takes, the
pressure falls under the outside's. What is known beforehand is that the making falls off, so that is what is
watched: no drop for three of the usual intervals, or drops that bring a tenth of what they brought (the charge is
spent). Common practice, no source. The rule says so once and stays until gas flows again or ten minutes have
passed; a tap shut on purpose gives the same advice, because the liquid does not know the purpose.

A flask that was warmed on the plate draws back when it cools, however long ago the last drop fell: 10 °C are 3 % of
its pressure, 30 cm of water (Gay-Lussac's law). Hot sources have a rule of their own (`hotsource`).
"""

from __future__ import annotations

from collections import deque
from typing import Final

FLOWING_MOL_PER_MIN: Final = 2e-4  # 5 mL of gas a minute: a bubble now and then; less never filled the tube
BACK_MOL_PER_MIN: Final = 4e-4  # deadband: gas flows again
REFERENCE_S: Final = 60.0  # the usual delivery is the mean over so long
REFERENCES_S: Final = 180.0  # and the largest of these within so long
FALLEN: Final = 0.10  # of the usual
RISEN: Final = 0.30  # deadband
STILL_MIN_S: Final = 15.0
STILL_INTERVALS: Final = 3.0
OVER_S: Final = 600.0  # what would have climbed has
EVERY_S: Final = 5.0
NEWEST_PART: Final = 0.2  # of the usual interval, taken from the newest
WARM_C: Final = 45.0  # of a plate that was heated: no room is as warm
COOLED_C: Final = 10.0  # under the highest of
COOLED_IN_S: Final = 600.0  # so long; a flask lags behind its plate, and a controller swings by a few degrees


class CoolingFlask:
    """A flask on a plate that cools while nothing makes gas. Fed on the grid."""

    def __init__(self) -> None:
        self._past: deque[tuple[float, float]] = deque()  # (s, plate °C), one in 5 s of ten minutes
        self._words: str | None = None

    def forget(self) -> None:
        """No gas is being made: what was warm before counts no more."""
        self._past.clear()
        self._words = None

    def words(self, t_s: float, plate_c: float | None, still_s: float) -> str | None:
        """What is wrong at such a plate, `still_s` after the last drop, or None; an unknown one changes nothing."""
        past = self._past
        if plate_c is None or (past and t_s - past[-1][0] < EVERY_S):
            return self._words
        past.append((t_s, plate_c))
        while past[0][0] < t_s - COOLED_IN_S:
            past.popleft()
        top_c = max(c for _, c in past)
        cools = still_s >= STILL_MIN_S and top_c >= WARM_C and plate_c <= top_c - COOLED_C
        self._words = (
            f"the plate fell from {top_c:.0f} to {plate_c:.0f} °C and nothing drips: the flask cools, liquid may be "
            "drawn back"
            if cools
            else None
        )
        return self._words


class SuckBack:
    """Follows what goes over, by drops or bubbles as `counts` says. Fed on the grid."""

    def __init__(self, counts: str = "drop") -> None:
        self._counts = counts
        self._marks: deque[tuple[float, float]] = deque()  # (s, mol delivered), one in 5 s of the last minute
        self._usual: deque[tuple[float, float]] = deque()  # (s, mol/min), one in 5 s of three minutes
        self._usual_most = 0.0  # of these
        self._drops = 0
        self._last_drop_s: float | None = None
        self._interval_s = 0.0  # the usual one; 0 before two drops
        self._since_s: float | None = None
        self._usual_then = 0.0
        self._over = False  # it was said, and its time is over
        self._words = ""

    def feed(self, t_s: float, delivered_mol: float, per_drop_mol: float, drops: int, last_drop_s: float) -> None:
        """Take the state of delivery at run second `t_s`; `per_drop_mol` is what a drop brings over now."""
        if drops > self._drops:
            self._time(drops, last_drop_s)
        if not self._marks or t_s - self._marks[-1][0] >= EVERY_S:
            self._remember(t_s, delivered_mol)
        still_s = t_s - last_drop_s
        still = still_s >= max(STILL_MIN_S, STILL_INTERVALS * self._interval_s)
        now = 0.0 if still or self._interval_s <= 0.0 else per_drop_mol * 60.0 / self._interval_s
        if self._since_s is not None or self._over:
            if now >= max(BACK_MOL_PER_MIN, RISEN * self._usual_then):
                self._since_s, self._over = None, False
            elif self._since_s is not None and t_s - self._since_s >= OVER_S:
                self._since_s, self._over = None, True
            return
        usual = self._usual_most
        if usual >= FLOWING_MOL_PER_MIN and now < FALLEN * usual and self._interval_s > 0.0:
            self._since_s, self._usual_then = t_s, usual
            less = "the acid that drips in makes" if self._counts == "drop" else "the flask makes"
            why = f"no {self._counts} for {still_s:.0f} s" if still else f"{less} hardly any gas now"
            self._words = f"{why}, after {1000.0 * usual:.1f} mmol a minute: gas stops, liquid may be drawn back"

    def step(self, mol: float) -> None:
        """A weighing moved what is reckoned as delivered by so much: no gas has flowed by that."""
        self._marks = deque((at_s, delivered_mol + mol) for at_s, delivered_mol in self._marks)

    def lose_sight(self) -> None:
        """Drops may pass unseen: the next one tells nothing of the interval before it."""
        self._last_drop_s = None

    def _time(self, drops: int, last_drop_s: float) -> None:
        before_s = self._last_drop_s
        if before_s is not None:
            interval_s = (last_drop_s - before_s) / (drops - self._drops)
            if self._interval_s <= 0.0 or interval_s > STILL_INTERVALS * self._interval_s:
                self._interval_s = interval_s  # the first, or the one after a stop
            else:
                self._interval_s += NEWEST_PART * (interval_s - self._interval_s)
        self._drops, self._last_drop_s = drops, last_drop_s

    def _remember(self, t_s: float, delivered_mol: float) -> None:
        marks, usual = self._marks, self._usual
        marks.append((t_s, delivered_mol))
        while marks[0][0] < t_s - REFERENCE_S:
            marks.popleft()
        usual.append((t_s, (delivered_mol - marks[0][1]) * (60.0 / REFERENCE_S)))
        while usual[0][0] < t_s - REFERENCES_S:
            usual.popleft()
        self._usual_most = max(rate for _, rate in usual)

    def words(self) -> str | None:
        """What is seen while the advice stands, or None."""
        return None if self._since_s is None else self._words
