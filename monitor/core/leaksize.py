"""How large a leak is, by fitting the room and the sensor to the trace: onset and rate at once.

The room is one box, V·dC/dt = G − Q·C, the model of industrial-hygiene texts; the sensor behind it is first order
with its T90. The trace rises long before the room is steady, so the steady formula G = Q·C would say far too little.
It knows a trace of one-second means and nothing of alarms. Rates are in ppm·m³/s inside, mg/min outside.
"""

from __future__ import annotations

from math import exp, log, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.chemistry.gas import mg_per_m3_from_ppm
from monitor.terms import GasTerms, RoomTerms

Floats = NDArray[np.float64]

DOUBLED = 2.0  # the nominal uncertainty, for a room is no box and its ventilation no constant
BEFORE_S = 120.0  # of trace before the earliest onset, to find the level from which it rose
LOOK_BACK_S = 120.0  # how long before the first estimate the leak may have begun
MISFIT = 2.0  # χ² a degree of freedom, beyond which one steady leak does not explain the trace
VARIED = 0.2  # coefficient of variation of the making since the onset, from which it tells whether a leak follows
BETTER = 10.0  # in χ², by which one of two explanations must win; common practice, no source
S_PER_MIN = 60.0


def box_ppm(t_s: float, source_ppm_m3_per_s: float, volume_m3: float, ventilation_m3_per_s: float) -> float:
    """Concentration in one box, clean at first, `t_s` after a steady source began; ppm (or the source's own unit)."""
    steady = source_ppm_m3_per_s / ventilation_m3_per_s
    return steady * (1.0 - exp(-t_s * ventilation_m3_per_s / volume_m3))


def ventilation_m3_per_h(volume_m3: float, half_life_h: float) -> float:
    """The ventilation under which a concentration halves in that time, one box."""
    return volume_m3 * log(2.0) / half_life_h


class Size(NamedTuple):
    """A leak as fitted: its rate with the doubled standard uncertainty, when it began, how well the model fits."""

    mg_per_min: float
    u_mg_per_min: float
    onset_s: float
    misfit: float  # χ² a degree of freedom


class Following(NamedTuple):
    """Whether the trace goes with what is being made: None when the making was too steady to tell."""

    follows: bool | None
    correlation: float | None
    share: float | None  # of what is being made


class RoomModel:
    """The room and the sensor of one bench."""

    def __init__(self, room: RoomTerms, gas: GasTerms) -> None:
        self._q_m3_per_s = room.ventilation_m3_per_h / 3600.0
        self._room_tau_s = room.volume_m3 / self._q_m3_per_s
        self._lag_s = gas.t90_s / log(10.0)
        if abs(self._lag_s / self._room_tau_s - 1.0) < 1e-3:
            self._lag_s *= 1.002  # equal time constants have another closed form; this is as near as any T90 is known
        self._noise_ppm, self._relative_u = gas.noise_ppm, gas.relative_u
        self._mg_per_min = mg_per_m3_from_ppm(1.0) * S_PER_MIN  # per ppm·m³/s

    def response(self, age_s: Floats) -> Floats:
        """Reading, ppm for each ppm·m³/s, so long after a steady source began; 0 before."""
        age_s = np.maximum(age_s, 0.0)
        room, lag = self._room_tau_s, self._lag_s
        rise = (room * -np.expm1(-age_s / room) - lag * -np.expm1(-age_s / lag)) / (room - lag)
        return rise / self._q_m3_per_s

    def size(self, t_s: Floats, ppm: Floats, since_s: float, noise_ppm: float | None = None) -> Size | None:
        """Fit level, onset and rate to a trace; `since_s` is a first estimate of the onset. None if it is too short.

        Every onset of a grid of seconds is tried, level and rate solved for by least squares, and the rates averaged
        under the likelihood of their onsets.
        """
        noise = noise_ppm or self._noise_ppm
        first_s = max(since_s - LOOK_BACK_S, float(t_s[0]) if len(t_s) else since_s)
        used = t_s >= first_s - BEFORE_S
        t, y = t_s[used], ppm[used]
        onsets = np.arange(first_s, float(t[-1]) - 2.0, 1.0) if len(t) else t
        if len(t) < 10 or not len(onsets):
            return None
        u = self.response(t[None, :] - onsets[:, None])
        n = len(t)
        u_mean, y_mean = u.mean(axis=1), float(y.mean())
        uu = (u * u).sum(axis=1) - n * u_mean * u_mean
        uy = u @ y - n * u_mean * y_mean
        yy = float(((y - y_mean) ** 2).sum())
        good = uu > 1e-12
        if not good.any():
            return None
        onsets, uu, uy = onsets[good], uu[good], uy[good]
        rate = uy / uu
        chi2 = (yy - uy * uy / uu) / noise**2
        best = int(np.argmin(chi2))
        weight = np.exp(-0.5 * (chi2 - chi2[best])) * (rate > 0.0)
        total = float(weight.sum())
        if total <= 0.0:
            return None
        weight /= total
        mean = float(weight @ rate)
        variance = float(weight @ ((rate - mean) ** 2 + noise**2 / uu)) + (self._relative_u * mean) ** 2
        return Size(
            mean * self._mg_per_min,
            DOUBLED * sqrt(variance) * self._mg_per_min,
            float(weight @ onsets),
            float(chi2[best]) / (n - 3),
        )

    def following(self, t_s: Floats, ppm: Floats, made_mg_per_min: Floats, size: Size) -> Following:
        """Compare a leak that is a share of what is made with a steady one, since the fitted onset.

        `made_mg_per_min` is the rate of making at the same seconds as the trace; gaps count at the last rate.
        """
        used = t_s >= size.onset_s - BEFORE_S
        t, y, made = t_s[used], ppm[used], made_mg_per_min[used]
        since = made[t >= size.onset_s]
        mean_made = float(since.mean()) if len(since) else 0.0
        if mean_made <= 0.0:
            return Following(False if len(since) else None, None, None)
        share = size.mg_per_min / mean_made
        if float(since.std()) < VARIED * mean_made or len(since) < 10:
            return Following(None, None, share if share <= 1.0 else None)
        steady = self.response(t - size.onset_s)
        with_making = self.shown(t, np.where(t >= size.onset_s, made, 0.0))
        share, misfit = _line(with_making, y)
        _, misfit_steady = _line(steady, y)
        gain = (misfit_steady - misfit) / self._noise_ppm**2
        correlation = float(np.corrcoef(with_making, y)[0, 1]) if with_making.std() > 0.0 and y.std() > 0.0 else None
        follows = None if abs(gain) < BETTER else gain > 0.0
        return Following(follows, correlation, share if follows is not False and 0.0 < share <= 1.0 else None)

    def shown(self, t_s: Floats, leaks_mg_per_min: Floats) -> Floats:
        """The reading, ppm, under a leak given at each of these seconds; both lags by their exact steps."""
        reading = np.zeros(len(t_s))
        per_ppm = self._mg_per_min * self._q_m3_per_s
        in_room = shown = 0.0
        for i in range(1, len(t_s)):
            dt_s = float(t_s[i] - t_s[i - 1])
            in_room += (float(leaks_mg_per_min[i]) / per_ppm - in_room) * -np.expm1(-dt_s / self._room_tau_s)
            shown += (in_room - shown) * -np.expm1(-dt_s / self._lag_s)
            reading[i] = shown
        return reading


def _line(x: Floats, y: Floats) -> tuple[float, float]:
    """Slope of y over x by least squares, and the sum of squares left."""
    dx, dy = x - x.mean(), y - y.mean()
    xx = float(dx @ dx)
    slope = float(dx @ dy) / xx if xx > 0.0 else 0.0
    left = dy - slope * dx
    return slope, float(left @ left)
