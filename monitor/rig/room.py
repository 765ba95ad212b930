"""A leak into a well-mixed ventilated room, and a slow, noisy SO2 sensor that hears of it.

The room is V dC/dt = G − Q·C (the one-box model of industrial hygiene); the sensor is first order with its T90, its
zero drifts as a random walk, its noise is white. Both are stepped by their exact solution, so no step size matters.
The gas channel is what a 10-bit converter makes of it: 64 readings a sample, with a live last bit.
"""

from __future__ import annotations

import math
from array import array
from bisect import bisect_right
from typing import Final

import numpy as np

from monitor.rig.headspace import R_J_PER_MOL_K
from monitor.rig.reality import Normals, Reality
from monitor.terms import GasTerms, RoomTerms

SO2_G_PER_MOL: Final = 64.058
READINGS: Final = 64
COUNT_MAX: Final = 1023
SAMPLE_S: Final = 0.1
_BLOCK: Final = 512  # samples' worth of dither drawn at once


class Room:
    """The air of one room; SO2 in ppm by volume at its temperature and pressure."""

    def __init__(self, terms: RoomTerms, temperature_c: float, pressure_pa: float) -> None:
        molar_m3 = R_J_PER_MOL_K * (temperature_c + 273.15) / pressure_pa
        self._changes_per_s = terms.ventilation_m3_per_h / 3600.0 / terms.volume_m3
        self._ppm_per_mol = molar_m3 / terms.volume_m3 * 1e6
        self.ppm = 0.0

    def step(self, dt_s: float, leak_mol_per_s: float) -> None:
        """Go on by `dt_s` under a steady leak."""
        steady_ppm = leak_mol_per_s * self._ppm_per_mol / self._changes_per_s
        self.ppm += (steady_ppm - self.ppm) * -math.expm1(-dt_s * self._changes_per_s)


class GasSensor:
    """The sensor and its channel. `extra_ppm` is added to what it shows, `quiet` scales its noise.

    Under its calibration cap it is in a gas of `cap_ppm`, whatever the room's air holds.
    """

    def __init__(self, terms: GasTerms, reality: Reality, rng: np.random.Generator) -> None:
        self._terms = terms
        self._gain = reality.gas_gain_ratio
        self._drift_per_root_s = reality.gas_drift_ppm_per_root_h / 60.0
        self._tau_s = terms.t90_s / math.log(10.0)
        self._dither_counts = reality.gas_dither_counts
        # The part of the noise that is the same in all 64 readings: what the dither leaves of the stated noise,
        # which is that of a 1 s mean.
        dither_ppm2 = READINGS * (reality.gas_dither_counts**2 + 1.0 / 12.0) * terms.ppm_per_sum**2
        self._slow_noise_ppm = math.sqrt(max(terms.noise_ppm**2 / SAMPLE_S - dither_ppm2, 0.0))
        self._rng = rng
        self._normal = Normals(rng.spawn(1)[0])
        self._dither = np.empty((0, READINGS))
        self._least: list[float] = []  # of each row of dither
        self._most: list[float] = []
        self._whole: list[int] = []  # what a row adds up to when each of its readings is rounded
        self._short = array("d")  # row by row, in order: by what each reading falls short of being rounded up, 0 to 1
        self._row = 0
        self.seen_ppm = 0.0
        self.drift_ppm = 0.0
        self.extra_ppm = 0.0
        self.quiet = 1.0
        self.cap_ppm: float | None = None

    def step(self, dt_s: float, room_ppm: float) -> None:
        """Go on by `dt_s` in air with `room_ppm`, or under the cap."""
        air_ppm = room_ppm if self.cap_ppm is None else self.cap_ppm
        self.seen_ppm += (air_ppm - self.seen_ppm) * -math.expm1(-dt_s / self._tau_s)
        self.drift_ppm += self._drift_per_root_s * math.sqrt(dt_s) * self._normal()

    def sample(self) -> tuple[int, int]:
        """The sum and the span of the 64 readings of one sample interval."""
        terms = self._terms
        if self._row == len(self._least):
            self._draw()
        shown_ppm = self._gain * self.seen_ppm + self.drift_ppm + self.extra_ppm
        shown_ppm += self.quiet * self._slow_noise_ppm * self._normal()
        level = (terms.zero_sum + shown_ppm / terms.ppm_per_sum) / READINGS
        row, quiet = self._row, self.quiet
        self._row += 1
        # Rounding keeps the order of readings, so the ends of the row are its least and its most.
        low, high = round(self._least[row] * quiet + level), round(self._most[row] * quiet + level)
        if quiet == 1.0 and low >= 0 and high <= COUNT_MAX:
            # A level adds its whole counts to every reading, and one more to those that its rest lifts over a half.
            counts = math.floor(level)
            first = row * READINGS
            lifted = bisect_right(self._short, level - counts, first, first + READINGS) - first
            return self._whole[row] + READINGS * counts + lifted, high - low
        readings = np.rint(self._dither[row] * quiet + level).clip(0, COUNT_MAX)
        low, high = min(max(low, 0), COUNT_MAX), min(max(high, 0), COUNT_MAX)
        return int(np.add.reduce(readings)), high - low

    def _draw(self) -> None:
        self._dither = self._rng.standard_normal((_BLOCK, READINGS)) * self._dither_counts
        self._least, self._most = self._dither.min(axis=1).tolist(), self._dither.max(axis=1).tolist()
        raised = self._dither + 0.5
        whole = np.floor(raised)
        self._whole = whole.sum(axis=1).astype(int).tolist()
        self._short = array("d", np.sort(1.0 - (raised - whole), axis=1).tobytes())
        self._row = 0
