"""Exposure at the sensor: the rolling 15-minute and 8-hour averages, with the unknown time declared.

Definitions: 8-hour average E = Σ C·Δt / 8 h (29 CFR 1910.1000(d)(1)); short-term exposure Σ C·Δt / 900 s.
Time before the run counts as unexposed. Time in the run without a valid reading is unknown: its seconds are
kept beside the figure, and it counts at the higher of the readings on either side. It knows readings and run
time, and nothing of limits.
"""

from __future__ import annotations

from collections import deque
from typing import Final

from monitor.core.events import Exposed, Reading

STEL_S: Final = 900
TWA_S: Final = 8 * 3600
JOIN_S: Final = 1.5  # two valid readings further apart than this have unknown time between them


class _Window:
    """Sums over the last `span_s` seconds, in bins of one second: dose in ppm·s and unknown seconds."""

    def __init__(self, span_s: int) -> None:
        self._span_s = span_s
        self._bins: deque[tuple[int, float, float]] = deque()  # (second, dose, unknown); at most span_s + 2
        self._dose = 0.0
        self._unknown_s = 0.0

    def add(self, second: int, dose: float, unknown_s: float) -> None:
        bins = self._bins
        if bins and bins[-1][0] == second:
            bins[-1] = (second, bins[-1][1] + dose, bins[-1][2] + unknown_s)
        else:
            bins.append((second, dose, unknown_s))
        self._dose += dose
        self._unknown_s += unknown_s

    def forget(self, t_s: float) -> None:
        """Let go of the seconds that lie wholly before the window that ends at `t_s`."""
        bins = self._bins
        while bins and bins[0][0] + 1 <= t_s - self._span_s:
            _, dose, unknown_s = bins.popleft()
            self._dose -= dose
            self._unknown_s -= unknown_s
        if not bins:
            self._dose = self._unknown_s = 0.0  # rounding does not pile up over days

    def sums(self, t_s: float) -> tuple[float, float]:
        """Dose and unknown seconds of the window that ends at `t_s`; a second cut by its edge counts in part."""
        dose, unknown_s, start_s = self._dose, self._unknown_s, t_s - self._span_s
        for second, its_dose, its_unknown_s in self._bins:
            if second >= start_s:
                break
            outside = min(1.0, start_s - second)
            dose -= outside * its_dose
            unknown_s -= outside * its_unknown_s
        return dose, max(0.0, unknown_s)


class Exposure:
    """Both averages of one run. `start_s` is the run second at which the run's time begins to count."""

    def __init__(self, start_s: float = 0.0) -> None:
        self._stel, self._twa = _Window(STEL_S), _Window(TWA_S)
        self._known_to_s = start_s  # all time before this is in the windows
        self._ppm: float | None = None  # the newest valid reading, or the range that one was over
        self._over_range = False  # a reading since then was over its range
        self._unknown_s = 0.0
        self._stel_max = 0.0

    def feed(self, t_s: float, reading: Reading) -> None:
        """Take a reading at run second `t_s`; an unknown one only lets time pass.

        A sensor over its range counts at its range, and its time as unknown.
        """
        if reading.value is None:
            if reading.at_least is not None:
                self._ppm = max(self._ppm or 0.0, reading.at_least)
                self._over_range = True
            return
        before, gap_s = self._ppm, t_s - self._known_to_s
        if gap_s > 0.0:
            if before is None or self._over_range or gap_s > JOIN_S:
                self._put(gap_s, max(reading.value, before or 0.0), 1.0)
            else:
                self._put(gap_s, 0.5 * (before + reading.value), 0.0)
        self._ppm = reading.value
        self._over_range = False

    def pass_time(self, t_s: float) -> Exposed:
        """Let time pass to run second `t_s`, and give the averages then."""
        self._stel.forget(t_s)
        self._twa.forget(t_s)
        now = self.at(t_s)
        self._stel_max = now.stel_max_ppm
        return now

    def at(self, t_s: float) -> Exposed:
        """The averages at run second `t_s`, time since the newest valid reading counted at that reading.

        `t_s` is not before the second to which time has passed. Asking changes nothing.
        """
        ppm = max(0.0, self._ppm or 0.0)
        open_s = max(0.0, t_s - self._known_to_s)
        open_unknown_s = open_s if open_s > JOIN_S or self._ppm is None or self._over_range else 0.0
        dose, unknown_s = self._stel.sums(t_s)
        stel = max(0.0, (dose + ppm * min(open_s, STEL_S)) / STEL_S)
        stel_unknown_s = min(STEL_S, unknown_s + open_unknown_s)
        dose, _ = self._twa.sums(t_s)
        twa = max(0.0, (dose + ppm * min(open_s, TWA_S)) / TWA_S)
        stel_max = max(self._stel_max, stel)
        return Exposed(t_s, stel, stel_max, stel_unknown_s, twa, self._unknown_s + open_unknown_s)

    def _put(self, span_s: float, ppm: float, unknown: float) -> None:
        """Spread a stretch of constant concentration over the seconds it lies in."""
        start, end = self._known_to_s, self._known_to_s + span_s
        first, last = int(start), int(end)
        if first == last:  # the usual case, ten times a second
            self._add(last, span_s, ppm, unknown)
        else:
            for second in range(max(first, last - TWA_S - 1), last + 1):  # older ones are out of both windows already
                part_s = min(end, second + 1.0) - max(start, float(second))
                if part_s > 0.0:
                    self._add(second, part_s, ppm, unknown)
        self._known_to_s = end
        self._unknown_s += span_s * unknown

    def _add(self, second: int, part_s: float, ppm: float, unknown: float) -> None:
        self._stel.add(second, part_s * ppm, part_s * unknown)
        self._twa.add(second, part_s * ppm, part_s * unknown)
