"""Whether a sensor may be believed, judged by how its readings follow one another.

Promise: a reading that no plate and no gas can make is None with the reason from its first sample, and a fault once
it has held; a fault is never taken for heat or gas. Each judge is told run time and knows nothing of limits or
alarms. What a single sample shows by itself is found in `monitor.core.sensing`; the noise of the gas channel in
`monitor.core.gasnoise`.
"""

from __future__ import annotations

from collections import deque
from math import exp, log

from monitor.core.events import Reading
from monitor.core.frames import IO_CONTACT, SampleFrame
from monitor.core.gasnoise import NoiseWatch
from monitor.core.sensing import SUM_MAX
from monitor.terms import GasTerms

JUMP_C_PER_S = 60.0  # alarm table; a thermocouple in its well moves by a few °C/s at most
JUMP_SAMPLES = 5  # in a row on the far side, before a jump is a fault
BELIEVED_AGAIN_S = 60.0  # after so long on the far side it is taken for what is there; the alarm stays latched
WORD_FROZEN_S = 60.0  # alarm table
STEP_MAX_S = 1.0  # of silence counted as frozen time: a lost line is no frozen word
OFF_SPAN_S = 30.0  # alarm table
OFF_EXCESS_C = 6.0  # over the cold junction, before a plate counts as heated
OFF_PART = 0.5  # of that excess lost within the span; a plate that cools with a time constant of 60 s keeps 0.6
COLD_SPAN_S = 29.0  # of no heat where heat must be: the alarm table's 30 s, less the samples at either end
OFF_SURE = 3  # seconds in a row
RISE_C = 1.5  # in that span: the least that a heated plate shows, and more than noise and a draught do
PLATE_TAU_S = 600.0  # in which a hot plate cools; common practice, no source
RAIL_PART = 0.03  # of the converter's width: an amplifier does not reach its supply
RAIL_SAMPLES = 10
SAMPLE_S = 0.1  # protocol
GAS_JUMP_SAMPLES = 3  # alarm table
GAS_MOST_RANGES = 100.0  # the strongest gas that is thought of at the sensor, in ranges
GAS_FALL_RANGES = 0.5  # what a reading may fall by in a sample over and above what fresh air does to it

FROZEN_WORD = f"thermocouple reading frozen: the same word for {WORD_FROZEN_S:g} s"
PLATE_JUMP = "temperature jumped as no plate can"
OFF_PLATE = "thermocouple off the plate: it fell as no heated plate can cool"
NEVER_WARM = "thermocouple not on the plate, or the plate is not switched on: gas is made, and no heat is seen"
NO_RISE = "thermocouple not on the plate, or the plate is not heating: the heater was noted as on, and nothing rises"
RAILED = "gas amplifier at its rail, or its wire off"
GAS_JUMP = "gas reading jumped as no gas can make it"


class PlateTrust:
    """Judges the plate's readings."""

    def __init__(self) -> None:
        self.fault: str | None = None
        self._word = -1
        self._same_s = 0.0
        self._at_s = 0.0
        self._second: deque[tuple[float, float]] = deque(maxlen=10)  # (s, °C) believed in the last second
        self._jump_from_c: float | None = None
        self._jump_s = 0.0
        self._far = 0
        # (s, °C over the cold junction, the heater's contact), one a second
        self._excesses: deque[tuple[float, float, bool]] = deque(maxlen=int(OFF_SPAN_S) + 1)
        self._falls = 0
        self._off: tuple[float, float] | None = None  # since (s), from an excess (°C)
        self._cold_since_s: float | None = None  # no warmer than the room, though it has to be hot
        self._heater_on = False  # a person said so, and no rise has been seen since
        self._said_from: tuple[float, float] | None = None  # since (s) under the closed contact, from an excess (°C)

    def judge(self, t_s: float, frame: SampleFrame, reading: Reading, must_be_hot: bool = False) -> Reading:
        """Give the reading as it may be believed at run second `t_s`. Sets `fault` once it is sure.

        `must_be_hot`: what is going on needs a hot plate, so one that reads cold under the closed contact lies.
        """
        frozen = self._is_frozen(t_s, frame.tc)
        value = reading.value
        self.fault = None
        if value is None:
            return reading
        if not self._excesses or t_s - self._excesses[-1][0] >= 1.0:
            self._watch_the_fall(t_s, value, frame)
        why = self._jumped(t_s, value)
        if frozen:
            why = self.fault = FROZEN_WORD
        elif self._off is not None:
            why = self.fault = OFF_PLATE
        elif self._was_never_warm(t_s, value, frame, must_be_hot):
            why = self.fault = NEVER_WARM
        elif self._heater_on and self._does_not_rise(t_s, value, frame):
            why = self.fault = NO_RISE
        return reading if why is None else Reading(None, why=why)

    def say_heater(self, on: bool) -> None:
        """A person says that the plate's heater has been switched on, or off."""
        self._heater_on = on
        self._said_from = None

    def _is_frozen(self, t_s: float, word: int) -> bool:
        step_s, self._at_s = t_s - self._at_s, t_s
        if word != self._word:
            self._word = word
            self._same_s = 0.0
            return False
        self._same_s += step_s if step_s < STEP_MAX_S else STEP_MAX_S
        return self._same_s >= WORD_FROZEN_S - 1e-6

    def _jumped(self, t_s: float, value: float) -> str | None:
        second = self._second
        from_c = self._jump_from_c
        if from_c is None:
            if not second:
                second.append((t_s, value))
                return None
            then_s, then_c = second[0]
            allowed_c = JUMP_C_PER_S * max(1.0, t_s - then_s)
            if abs(value - then_c) <= allowed_c:
                second.append((t_s, value))
                return None
            self._jump_from_c, self._jump_s, self._far = then_c, t_s, 0
        elif abs(value - from_c) <= JUMP_C_PER_S or t_s - self._jump_s >= BELIEVED_AGAIN_S:
            self._jump_from_c = None
            second.clear()
            second.append((t_s, value))
            return None
        self._far += 1
        if self._far >= JUMP_SAMPLES:
            self.fault = PLATE_JUMP
        return PLATE_JUMP

    def _was_never_warm(self, t_s: float, value: float, frame: SampleFrame, must_be_hot: bool) -> bool:
        """A contact that is open ends it: a plate without its supply may be cold."""
        cold_c = frame.cold_c
        if not must_be_hot or cold_c is None or value - cold_c >= OFF_EXCESS_C or not frame.io & IO_CONTACT:
            self._cold_since_s = None
            return False
        if self._cold_since_s is None:
            self._cold_since_s = t_s
        return t_s - self._cold_since_s >= COLD_SPAN_S - 1e-6

    def _does_not_rise(self, t_s: float, value: float, frame: SampleFrame) -> bool:
        """A rise ends it for good: the thermocouple is where the heat is."""
        cold_c = frame.cold_c
        if cold_c is None or not frame.io & IO_CONTACT:
            self._said_from = None
            return False
        excess_c = value - cold_c
        if self._said_from is None:
            self._said_from = (t_s, excess_c)
        since_s, from_c = self._said_from
        if excess_c >= OFF_EXCESS_C or excess_c - from_c >= RISE_C:
            self._heater_on = False
            return False
        return t_s - since_s >= COLD_SPAN_S - 1e-6

    def _watch_the_fall(self, t_s: float, value: float, frame: SampleFrame) -> None:
        """A heated plate cools slowly; a thermocouple that has come off it falls to the room at once.

        A plate that was never warm tells nothing here: it may be switched off.
        """
        cold_c = frame.cold_c
        if cold_c is None:
            return
        excess_c = value - cold_c
        excesses = self._excesses
        while excesses and excesses[0][0] < t_s - OFF_SPAN_S:
            excesses.popleft()
        excesses.append((t_s, excess_c, bool(frame.io & IO_CONTACT)))
        if self._off is not None:
            since_s, from_c = self._off
            cooled_c = from_c * exp((since_s - t_s) / PLATE_TAU_S)
            if excess_c >= OFF_PART * cooled_c or cooled_c < OFF_EXCESS_C:
                self._off = None
                excesses.clear()
            return
        peak_c = max(e for _, e, _ in excesses)
        fallen = peak_c >= OFF_EXCESS_C and excess_c < OFF_PART * peak_c and any(c for _, _, c in excesses)
        self._falls = self._falls + 1 if fallen else 0
        if self._falls >= OFF_SURE:
            self._off = (t_s, peak_c)
            self._falls = 0


class GasTrust:
    """Judges the gas channel's readings."""

    def __init__(self, terms: GasTerms) -> None:
        self.fault: str | None = None
        self._tau_s = terms.t90_s / log(10.0)
        self._range_ppm = terms.range_ppm
        self._noise = NoiseWatch()
        self._at_rail = 0
        self._last: tuple[float, float] | None = None  # (s, ppm) believed
        self._jump_s: float | None = None
        self._far = 0

    def judge(self, t_s: float, frame: SampleFrame, reading: Reading) -> Reading:
        """Give the reading as it may be believed at run second `t_s`. Sets `fault` once it is sure."""
        self.fault = None
        gas_sum = frame.gas_sum
        if frame.gas_span == 0 and not RAIL_PART * SUM_MAX < gas_sum < (1.0 - RAIL_PART) * SUM_MAX:
            self._at_rail += 1
            if self._at_rail >= RAIL_SAMPLES:
                self.fault = RAILED
            return Reading(None, why=RAILED)
        self._at_rail = 0
        if reading.value is None and reading.at_least is None:
            return reading
        why = self._noise.feed(gas_sum)
        if why is not None:
            self.fault = why
            return Reading(None, why=why)
        if reading.value is None:
            self._last = None
            return reading
        why = self._jumped(t_s, reading.value)
        return reading if why is None else Reading(None, why=why)

    def _jumped(self, t_s: float, ppm: float) -> str | None:
        if self._last is None:
            self._last = (t_s, ppm)
            return None
        then_s, then_ppm = self._last
        moved_ppm = ppm - then_ppm
        if -GAS_FALL_RANGES * self._range_ppm < moved_ppm < GAS_FALL_RANGES * self._range_ppm:
            possible = True  # the usual case, without an exponential
        else:
            within_s = (t_s if self._jump_s is None else self._jump_s) - then_s  # a held jump is still the same one
            part = 1.0 - exp(-max(within_s, SAMPLE_S) / self._tau_s)
            most_ppm = GAS_MOST_RANGES * self._range_ppm * part
            possible = -then_ppm * part - GAS_FALL_RANGES * self._range_ppm <= moved_ppm <= most_ppm
        if possible or (self._jump_s is not None and t_s - self._jump_s >= BELIEVED_AGAIN_S):
            self._last, self._jump_s, self._far = (t_s, ppm), None, 0
            return None
        if self._jump_s is None:
            self._jump_s = t_s
        self._far += 1
        if self._far >= GAS_JUMP_SAMPLES:
            self.fault = GAS_JUMP
        return GAS_JUMP
