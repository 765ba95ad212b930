"""The acid tap: when each drop falls and how large it is.

Promises never to let out more acid than there was. The rate scatters from drop to drop; a shut valve lets nothing
through. It knows nothing of what the acid falls into, nor of the gate that counts the drops.
"""

from __future__ import annotations

from dataclasses import dataclass

from monitor.rig.reality import Normals, Reality


@dataclass(frozen=True, slots=True)
class Drop:
    """One drop: when it passed the gate, and what it held."""

    at_s: float
    volume_ul: float


class Tap:
    """A tap over `acid_ul` of acid; `believed_drop_ul` is the calibration, the truth is a ratio to it."""

    def __init__(self, acid_ul: float, believed_drop_ul: float, reality: Reality, normal: Normals) -> None:
        self.left_ul = acid_ul
        self.drop_ul = believed_drop_ul * reality.drop_volume_ratio
        self._volume_cv = reality.drop_volume_cv
        self._interval_cv = reality.drop_interval_cv
        self._normal = normal
        self.rate_per_min = 0.0
        self._due_drops = 1.0  # how much of the interval to the next drop is still to come, in mean intervals
        self.drops = 0

    def step(self, now_s: float, dt_s: float, valve_open: bool) -> list[Drop]:
        """The drops that fall in the `dt_s` that end at `now_s`."""
        if not valve_open or self.rate_per_min <= 0.0:
            return []
        drops_per_s = self.rate_per_min / 60.0
        self._due_drops -= dt_s * drops_per_s
        fallen = []
        while self._due_drops <= 0.0 and self.left_ul > 0.0:
            volume_ul = min(self.drop_ul * max(1.0 + self._volume_cv * self._normal(), 0.3), self.left_ul)
            self.left_ul -= volume_ul
            self.drops += 1
            fallen.append(Drop(now_s + self._due_drops / drops_per_s, volume_ul))
            self._due_drops += max(1.0 + self._interval_cv * self._normal(), 0.2)
        return fallen
