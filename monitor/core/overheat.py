"""Overheat ahead of time: where the plate is and how fast it rises, and when it will reach its upper limit.

A two-state Kalman filter (temperature and slope) whose slope wanders as an integrated white noise; a reading beyond
4 σ of what was foretold is left out, but no more than five in a row, for then the plate has changed its ways. It
knows the upper limits and nothing of alarms.

Why the horizon shrinks: on an ordinary on-off heat-up towards a setpoint at the plate's high limit the reading
nears the upper limit for a while without ever reaching it. With a horizon of at most 0.6 of the way from the
highest setpoint to the limit, at the present slope, such a heat-up is quiet.
"""

from __future__ import annotations

from math import inf
from typing import Final

from monitor.core.events import Reading

Q_C2_PER_S3: Final = 1e-4  # of the slope's wander; tried on simulated plates (`tests/benchmarks/bench_overheat.py`)
NOISE_C: Final = 0.1  # of the converter's reading; from memory of data sheets of such converters
LSB_C: Final = 0.25
R_C2: Final = NOISE_C**2 + LSB_C**2 / 12.0
GATE: Final = 4.0  # standard deviations
REJECTIONS_MAX: Final = 5  # readings in a row
HORIZON_S: Final = 30.0  # as tried on the same plates
HORIZON_PART: Final = 0.6  # of the time from the highest setpoint to the limit
HOLD_S: Final = 2.0  # it must stand so long; looked ahead by as much more, so that standing costs no lead
SETTLE_S: Final = 5.0  # of readings before the slope means anything
GAP_S: Final = 5.0  # without a reading, after which the filter begins anew


class PlateAhead:
    """Follows one plate. `limit_c` is the upper limit, `setpoint_max_c` the highest at which it is ever set."""

    def __init__(self, limit_c: float, setpoint_max_c: float) -> None:
        self._limit_c = limit_c
        self._way_c = HORIZON_PART * max(limit_c - setpoint_max_c, 0.0)
        self._at_s = -inf
        self._begun_s = 0.0
        self._rejected = 0
        self._near_since_s: float | None = None
        self.plate_c = 0.0
        self.slope_c_per_s = 0.0
        self._p_tt = self._p_ts = self._p_ss = 0.0

    def feed(self, t_s: float, plate: Reading) -> None:
        """Take a reading of run second `t_s`; one without a value is passed over."""
        value = plate.value
        if value is None:
            if t_s - self._at_s > GAP_S:
                self._near_since_s = None
            return
        dt = t_s - self._at_s
        if dt > GAP_S or self._rejected >= REJECTIONS_MAX:
            self._begin(t_s, value)
            return
        if dt <= 0.0:
            return
        self._at_s = t_s
        # foretell
        self.plate_c += self.slope_c_per_s * dt
        self._p_tt += dt * (2.0 * self._p_ts + dt * self._p_ss) + Q_C2_PER_S3 * dt * dt * dt / 3.0
        self._p_ts += dt * self._p_ss + Q_C2_PER_S3 * dt * dt / 2.0
        self._p_ss += Q_C2_PER_S3 * dt
        # correct
        surprise = value - self.plate_c
        s = self._p_tt + R_C2
        if surprise * surprise > GATE * GATE * s:
            self._rejected += 1
            return
        self._rejected = 0
        gain_t, gain_s = self._p_tt / s, self._p_ts / s
        self.plate_c += gain_t * surprise
        self.slope_c_per_s += gain_s * surprise
        self._p_ss -= gain_s * self._p_ts
        self._p_ts -= gain_t * self._p_ts
        self._p_tt -= gain_t * self._p_tt
        near = self.seconds_to_limit() < self.horizon_s() + HOLD_S and t_s - self._begun_s >= SETTLE_S
        if not near:
            self._near_since_s = None
        elif self._near_since_s is None:
            self._near_since_s = t_s

    def _begin(self, t_s: float, value: float) -> None:
        self._at_s = self._begun_s = t_s
        self._rejected = 0
        self._near_since_s = None
        self.plate_c, self.slope_c_per_s = value, 0.0
        self._p_tt, self._p_ts, self._p_ss = R_C2, 0.0, 1.0

    def horizon_s(self) -> float:
        """How far ahead an alarm looks at the present slope, s."""
        slope = self.slope_c_per_s
        return HORIZON_S if slope * HORIZON_S <= self._way_c else self._way_c / slope

    def seconds_to_limit(self) -> float:
        """Until the limit is reached at the present slope, s; infinite when it does not rise, 0 when it is there."""
        left_c = self._limit_c - self.plate_c
        if left_c <= 0.0:
            return 0.0
        return left_c / self.slope_c_per_s if self.slope_c_per_s > 0.0 else inf

    def minutes_to_limit(self) -> float | None:
        """For an overview: minutes until the limit at the present slope, None when that is over an hour or never."""
        seconds = self.seconds_to_limit()
        return seconds / 60.0 if seconds <= 3600.0 and self._at_s - self._begun_s >= SETTLE_S else None

    def words(self) -> str | None:
        """What is foretold when it has stood for 2 s, or None."""
        since_s = self._near_since_s
        if since_s is None or self._at_s - since_s < HOLD_S:
            return None
        return (
            f"{self.plate_c:.0f} °C and rising {60.0 * self.slope_c_per_s:.0f} °C/min: "
            f"{self._limit_c:g} °C in {self.seconds_to_limit():.0f} s"
        )
