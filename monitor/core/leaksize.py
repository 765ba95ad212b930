"""How large a leak is, by fitting the room and the sensor to the trace: onset and rate at once.

The room is one box, V·dC/dt = G − Q·C, the model of industrial-hygiene texts; the sensor behind it is first order
with its T90. The trace rises long before the room is steady, so the steady formula G = Q·C would say far too little.
It knows a trace of one-second means and nothing of alarms. Rates are in ppm·m³/s inside, mg/min outside.
"""

from __future__ import annotations

from math import exp, hypot, log, sqrt
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
LEAST_CHANGES_PER_H = 1e-3  # of the room's air; a shut room is fitted as one with this, which no trace tells from it
SAMPLES_MIN = 10  # seconds of trace, under which nothing is fitted
MAKING_U = 0.05  # relative, of the rate of making at a moment: counts lag behind the gas; common practice, no source
NEAR_S = 5.0  # of the onset, over which the making is averaged


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


class _Fit(NamedTuple):
    """A rate in the unit that was fitted, with its standard uncertainty, and the row of the best onset."""

    rate: float
    u: float
    onset_s: float
    misfit: float
    best: int

    def size(self, mg_per_min: float) -> Size:
        """In mg/min, of which a unit is `mg_per_min`."""
        return Size(self.rate * mg_per_min, DOUBLED * self.u * mg_per_min, self.onset_s, self.misfit)


class RoomModel:
    """The room and the sensor of one bench."""

    def __init__(self, room: RoomTerms, gas: GasTerms) -> None:
        self._q_m3_per_s = max(room.ventilation_m3_per_h, LEAST_CHANGES_PER_H * room.volume_m3) / 3600.0
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
        """Fit level, onset and rate of a steady leak to a trace; None if it is too short.

        `since_s` is a first estimate of the onset. Every onset of a grid of seconds is tried, level and rate solved
        for by least squares, and the rates averaged under the likelihood of their onsets.
        """
        used = _of_use(t_s, since_s)
        t, onsets = t_s[used], _onsets(t_s, since_s)
        if len(t) < SAMPLES_MIN or not len(onsets):
            return None
        fit = self._fit(ppm[used], onsets, self.response(t[None, :] - onsets[:, None]), noise_ppm)
        return None if fit is None else fit.size(self._mg_per_min)

    def explained(
        self, t_s: Floats, ppm: Floats, made_mg_per_min: Floats, since_s: float, noise_ppm: float | None = None
    ) -> tuple[Size, Following] | None:
        """The better of two explanations: a steady leak, and one that is a share of what is made at each second.

        The rate of a share is that of its onset: once the permit has gone it sinks with the making, and a steady
        leak fitted to that says less from second to second. None if the trace is too short.
        """
        steady = self.size(t_s, ppm, since_s, noise_ppm)
        used = _of_use(t_s, since_s)
        t, y, made, onsets = t_s[used], ppm[used], made_mg_per_min[used], _onsets(t_s, since_s)
        if steady is None:
            return None
        since = made[t >= steady.onset_s]
        mean_made = float(since.mean()) if len(since) else 0.0
        if mean_made <= 0.0:
            return steady, Following(False if len(since) else None, None, None)
        if float(since.std()) < VARIED * mean_made or len(since) < SAMPLES_MIN:
            part = steady.mg_per_min / mean_made
            return steady, Following(None, None, part if part <= 1.0 else None)
        shown = self._shown(t, made * (t[None, :] >= onsets[:, None]))
        fit = self._fit(y, onsets, shown, noise_ppm)
        if fit is None:
            return steady, Following(False, None, None)
        fit = fit._replace(u=hypot(fit.u, MAKING_U * fit.rate))
        at_onset = made[np.abs(t - fit.onset_s) <= NEAR_S]
        reference = float(at_onset.mean()) if len(at_onset) else 0.0
        shared = fit.size(reference if reference > 0.0 else float(since.max()))
        gain = (steady.misfit - shared.misfit) * (len(t) - 3)
        course = shown[fit.best]
        correlation = float(np.corrcoef(course, y)[0, 1]) if course.std() > 0.0 and y.std() > 0.0 else None
        follows = None if abs(gain) < BETTER else gain > 0.0
        share = fit.rate if follows is not False and 0.0 < fit.rate <= 1.0 else None
        return (steady if gain <= 0.0 else shared), Following(follows, correlation, share)

    def _fit(self, y: Floats, onsets: Floats, u: Floats, noise_ppm: float | None) -> _Fit | None:
        """Of `y`, ppm, a level and a rate for each onset, whose row of `u` is the reading for each unit of rate."""
        noise = noise_ppm or self._noise_ppm
        n = len(y)
        u_mean, y_mean = u.mean(axis=1), float(y.mean())
        uu = (u * u).sum(axis=1) - n * u_mean * u_mean
        uy = u @ y - n * u_mean * y_mean
        yy = float(((y - y_mean) ** 2).sum())
        good = np.flatnonzero(uu > 1e-12)
        if not len(good):
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
        return _Fit(mean, sqrt(variance), float(weight @ onsets), float(chi2[best]) / (n - 3), int(good[best]))

    def shown(self, t_s: Floats, leaks_mg_per_min: Floats) -> Floats:
        """The reading, ppm, under a leak given at each of these seconds; both lags by their exact steps."""
        row: Floats = self._shown(t_s, leaks_mg_per_min[None, :])[0]
        return row

    def _shown(self, t_s: Floats, leaks_mg_per_min: Floats) -> Floats:
        """The same for several leaks, one a row."""
        reading: Floats = np.zeros(leaks_mg_per_min.shape)
        steady_ppm = leaks_mg_per_min / (self._mg_per_min * self._q_m3_per_s)
        in_room = shown = np.zeros(len(leaks_mg_per_min))
        for i in range(1, len(t_s)):
            dt_s = float(t_s[i] - t_s[i - 1])
            in_room = in_room + (steady_ppm[:, i] - in_room) * -np.expm1(-dt_s / self._room_tau_s)
            shown = shown + (in_room - shown) * -np.expm1(-dt_s / self._lag_s)
            reading[:, i] = shown
        return reading


def _of_use(t_s: Floats, since_s: float) -> NDArray[np.bool_]:
    """Of a trace, what is looked at."""
    return t_s >= since_s - LOOK_BACK_S - BEFORE_S


def _onsets(t_s: Floats, since_s: float) -> Floats:
    """The seconds at which the leak may have begun."""
    return np.arange(max(since_s - LOOK_BACK_S, float(t_s[0])), float(t_s[-1]) - 2.0, 1.0) if len(t_s) else t_s
