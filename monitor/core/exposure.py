"""Exposure at the sensor: the rolling 15-minute and 8-hour averages, with the unknown time declared.

Definitions: 8-hour average E = Σ C·Δt / 8 h (29 CFR 1910.1000(d)(1)); short-term exposure Σ C·Δt / 900 s.
Time before the run counts as unexposed. Time in the run without a valid reading is unknown: its seconds are
kept beside the figure, and it counts at the higher of the readings on either side. It knows readings and run
time, and nothing of limits.
"""

from __future__ import annotations

from collections import deque

from monitor.core.events import Exposed, Reading

STEL_S = 900
TWA_S = 8 * 3600
JOIN_S = 1.5  # two valid readings further apart than this have unknown time between them


class _Window:
    """Sums over the last `span_s` seconds, in bins of one second: dose in ppm·s and unknown seconds."""

    def __init__(self, span_s: int) -> None:
        self._span = span_s
        self._bins: deque[tuple[int, float, float]] = deque()  # (second, dose, unknown); at most span_s + 1
        self._dose = 0.0
        self._unknown = 0.0

    def add(self, second: int, dose: float, unknown_s: float) -> None:
        if self._bins and self._bins[-1][0] == second:
            _, before, before_unknown = self._bins.pop()
            self._bins.append((second, before + dose, before_unknown + unknown_s))
        else:
            self._bins.append((second, dose, unknown_s))
        self._dose += dose
        self._unknown += unknown_s

    def forget_before(self, second: int) -> None:
        bins = self._bins
        while bins and bins[0][0] <= second - self._span:
            _, dose, unknown = bins.popleft()
            self._dose -= dose
            self._unknown -= unknown
        if not bins:
            self._dose = self._unknown = 0.0  # rounding does not pile up over days

    def average(self, span_s: float) -> float:
        return self._dose / span_s

    @property
    def unknown_s(self) -> float:
        return max(0.0, self._unknown)


class Exposure:
    """Both averages of one run. `start_s` is the run second at which the run's time begins to count."""

    def __init__(self, start_s: float = 0.0) -> None:
        self._stel, self._twa = _Window(STEL_S), _Window(TWA_S)
        self._known_to_s = start_s  # all time before this is in the windows
        self._ppm: float | None = None  # the newest valid reading
        self._unknown_s = 0.0
        self._stel_max = 0.0

    def feed(self, t_s: float, reading: Reading) -> None:
        """Take a reading at run second `t_s`; an unknown one only lets time pass.

        A sensor over its range counts at its range, and its time as unknown.
        """
        if reading.value is None:
            if reading.at_least is not None:
                self._ppm = max(self._ppm or 0.0, reading.at_least)
            return
        before, gap_s = self._ppm, t_s - self._known_to_s
        if gap_s <= 0.0:
            self._ppm = reading.value
            return
        if gap_s <= JOIN_S and before is not None:
            self._put(gap_s, 0.5 * (before + reading.value), 0.0)
        else:
            self._put(gap_s, max(reading.value, before if before is not None else 0.0), 1.0)
        self._ppm = reading.value

    def at(self, t_s: float) -> Exposed:
        """The averages at run second `t_s`, time since the newest valid reading counted at that reading."""
        second = int(t_s)
        self._stel.forget_before(second)
        self._twa.forget_before(second)
        open_s = max(0.0, t_s - self._known_to_s)
        dose = open_s * max(0.0, self._ppm or 0.0)
        unknown_s = open_s if open_s > JOIN_S or self._ppm is None else 0.0
        stel = max(0.0, self._stel.average(STEL_S) + min(dose, STEL_S * max(0.0, self._ppm or 0.0)) / STEL_S)
        twa = max(0.0, self._twa.average(TWA_S) + dose / TWA_S)
        self._stel_max = max(self._stel_max, stel)
        stel_unknown = min(STEL_S, self._stel.unknown_s + unknown_s)
        return Exposed(t_s, stel, self._stel_max, stel_unknown, twa, self._unknown_s + unknown_s)

    def _put(self, span_s: float, ppm: float, unknown: float) -> None:
        """Spread a stretch of constant concentration over the seconds it lies in."""
        start, end = self._known_to_s, self._known_to_s + span_s
        first = max(int(start), int(end) - TWA_S - 1)  # older seconds are out of both windows already
        for second in range(first, int(end) + 1):
            part_s = min(end, second + 1.0) - max(start, float(second))
            if part_s > 0.0:
                self._stel.add(second, part_s * ppm, part_s * unknown)
                self._twa.add(second, part_s * ppm, part_s * unknown)
        self._known_to_s = end
        self._unknown_s += span_s * unknown
