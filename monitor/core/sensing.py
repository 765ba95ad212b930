"""Frames to readings: each a value with its uncertainty, or no value and the reason.

It knows the calibrations and the physics of the two sensors, and nothing of limits, alarms or time.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

from monitor.core.events import Reading
from monitor.core.frames import SILENT_WORDS, SampleFrame
from monitor.core.typek import reported_hot_c, true_hot_c
from monitor.terms import GasTerms, ThermocoupleTerms

SUM_MAX: Final = 65472  # 64 readings of 1023 (protocol)
SURE_SAMPLES: Final = 3  # in a row, before a bad reading is a fault (alarm table)
FROZEN_SAMPLES: Final = 20  # 2 s
STILL_SAMPLES: Final = 3  # after which a sum that repeats tells of no rise, whatever it turns out to be
UNDER_RANGE: Final = 0.05  # of the sensor's range, below its calibrated zero
HOT_LSB_C: Final = 0.25
_CACHE_MAX: Final = 4096  # words; when full it is emptied: a slow computation again, never a wrong value

_FAULT_BITS = (
    (1, "thermocouple open circuit"),
    (2, "thermocouple short to ground"),
    (4, "thermocouple short to supply"),
)


class PlateSense:
    """The hotplate's thermocouple."""

    def __init__(self, terms: ThermocoupleTerms) -> None:
        self._offset_c = terms.offset_c.value
        self._u_c = sqrt(terms.offset_c.u**2 + HOT_LSB_C**2 / 12.0)
        self._seen: dict[int, Reading] = {}
        self._bad = 0
        self.fault: str | None = None

    def read(self, frame: SampleFrame) -> Reading:
        """The plate in °C, by ITS-90, offset added. Sets `fault` once it is sure."""
        word = frame.tc
        found = self._seen.get(word)
        if found is None:
            if len(self._seen) >= _CACHE_MAX:
                self._seen.clear()
            found = self._seen[word] = self._convert(frame)
        if found.why is None:
            self._bad = 0
            self.fault = None
        else:
            self._bad += 1
            if self._bad >= SURE_SAMPLES:
                self.fault = found.why
        return found

    def _convert(self, frame: SampleFrame) -> Reading:
        if frame.tc in SILENT_WORDS:
            return Reading(None, why="thermocouple converter does not answer")
        faults = frame.tc_faults
        for bit, words in _FAULT_BITS:
            if faults & bit:
                return Reading(None, why=words)
        if frame.tc & 0x10000:
            return Reading(None, why="thermocouple fault, kind not told")
        hot, cold = frame.hot_c, frame.cold_c
        assert hot is not None
        assert cold is not None
        true_c = true_hot_c(hot, cold)
        if true_c is None:
            return Reading(None, why="emf outside type K")
        return Reading(true_c + self._offset_c, self._u_c)


class GasSense:
    """The SO2 sensor's channel."""

    def __init__(self, terms: GasTerms) -> None:
        self._terms = terms
        self.fault: str | None = None
        self._bad = 0
        self._same = 0  # samples in a row with the same sum and no spread at all
        self._last_sum = -1
        self._noise_u_ppm = terms.noise_ppm * sqrt(10.0)  # one sample of ten a second; the mean of 1 s has noise_ppm

    @property
    def still(self) -> bool:
        """Whether the newest samples had the same sum and no spread."""
        return self._same >= STILL_SAMPLES

    def read(self, frame: SampleFrame) -> Reading:
        """SO2 in ppm. Sets `fault` once it is sure."""
        found = self._convert(frame)
        if frame.gas_span == 0 and frame.gas_sum == self._last_sum:
            self._same += 1
            if self._same >= FROZEN_SAMPLES:
                self.fault = "gas reading frozen: a live channel dithers"
                return Reading(None, why=self.fault)
        else:
            self._same = 1 if frame.gas_span == 0 else 0
        self._last_sum = frame.gas_sum
        if found.value is not None or found.at_least is not None:
            self._bad = 0
            self.fault = None
        else:
            self._bad += 1
            if self._bad >= SURE_SAMPLES:
                self.fault = found.why
        return found

    def _convert(self, frame: SampleFrame) -> Reading:
        terms = self._terms
        gas_sum = frame.gas_sum
        if gas_sum >= SUM_MAX:
            return Reading(None, why="gas channel at the top of its converter")
        if gas_sum <= 0:
            return Reading(None, why="gas channel at the bottom of its converter")
        ppm = (gas_sum - terms.zero_sum) * terms.ppm_per_sum
        if ppm > terms.range_ppm:
            return Reading(None, why="over the sensor's range", at_least=terms.range_ppm)
        if ppm < -UNDER_RANGE * terms.range_ppm:
            return Reading(None, why="under zero by more than 5 % of the range")
        scale = terms.relative_u * ppm
        return Reading(ppm, sqrt(scale * scale + self._noise_u_ppm * self._noise_u_ppm))


def tc_trip_quarters(limit_c: float, offset_c: float, cold_c: float = 25.0) -> int:
    """The board's overheat trip, in quarter °C as its converter reports, for a true limit in °C."""
    return max(0, int((reported_hot_c(limit_c - offset_c, cold_c)) / HOT_LSB_C))


def gas_trip_sum(limit_ppm: float, terms: GasTerms) -> int:
    """The board's gas trip as a gas_sum, for a limit in ppm."""
    return min(SUM_MAX, max(1, int(terms.zero_sum + limit_ppm / terms.ppm_per_sum)))
