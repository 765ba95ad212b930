"""A hotplate with an on-off controller, its thermocouple behind it, and a cold junction that drifts.

Promises a heat balance: what the heater put in is what the plate stores and what it lost to the room, to rounding.
The permit relay stands in the heater's supply: without it the controller may ask as it likes.
"""

from __future__ import annotations

import math

from monitor.rig.reality import Normals, Reality
from monitor.rig.thermocouple import reported_hot_c


class Hotplate:
    """One plate in a room at `room_c`. `off_plate` takes the thermocouple off, into the air; `bath_c` into a bath."""

    def __init__(self, reality: Reality, room_c: float, normal: Normals, sensor_error_c: float = 0.0) -> None:
        self._reality = reality
        self._room_c = room_c
        self._normal = normal
        self._sensor_error_c = sensor_error_c
        self.setpoint_c: float | None = None
        self.flame_w = 0.0  # of a burner that the thermocouple stands at; no relay cuts it
        self.heating = False
        self.off_plate = False
        self.bath_c: float | None = None
        self.plate_c = room_c
        self.junction_c = room_c
        self.cold_c = room_c + 2.0  # the converter sits beside a warm regulator
        self.energy_in_j = 0.0
        self.energy_lost_j = 0.0

    def step(self, dt_s: float, permit: bool) -> None:
        """Go on by `dt_s` with the supply there or cut."""
        reality = self._reality
        if self.setpoint_c is None or self.plate_c > self.setpoint_c + reality.plate_hysteresis_c:
            self.heating = False
        elif self.plate_c < self.setpoint_c - reality.plate_hysteresis_c:
            self.heating = True
        heat_j = (reality.plate_w if self.heating and permit else 0.0) * dt_s + self.flame_w * dt_s
        lost_j = reality.plate_loss_w_per_k * (self.plate_c - self._room_c) * dt_s
        self.energy_in_j += heat_j
        self.energy_lost_j += lost_j
        self.plate_c += (heat_j - lost_j) / reality.plate_j_per_k
        target_c = self._room_c if self.off_plate else self.plate_c
        if self.bath_c is not None:
            target_c = self.bath_c
        self.junction_c += (target_c - self.junction_c) * -math.expm1(-dt_s / reality.junction_s)
        # An Ornstein–Uhlenbeck wander of 0.3 °C over 5 minutes: the draught on the converter.
        home_c = self._room_c + 2.0
        self.cold_c += (home_c - self.cold_c) * dt_s / 300.0 + 0.3 * math.sqrt(2.0 * dt_s / 300.0) * self._normal()

    def reading_c(self) -> tuple[float, float]:
        """The hot and cold junction as the converter reports them, °C, noise included, before rounding."""
        hot_c = self.junction_c + self._sensor_error_c + self._reality.junction_noise_c * self._normal()
        return reported_hot_c(hot_c, self.cold_c), self.cold_c
