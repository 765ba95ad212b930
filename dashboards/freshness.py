"""How long ago the run said something new, by this machine's own clock.

A run's times cannot tell that: on a simulated bench they run fast, and a stopped run's stand still. So the page
remembers when the newest overview was first seen. It looks only while somebody has the page open, so the moment of
change is narrowed by when the file was last written; that time of day is believed only within the bounds of what
was seen, because clocks get set.
"""

from __future__ import annotations


class Freshness:
    """Remembers, for one run log, when its newest word came. Seconds throughout."""

    def __init__(self) -> None:
        self._t_s: float | None = None
        self._came_mono_s = 0.0
        self._looked_mono_s: float | None = None

    def age_s(self, t_s: float, written_utc_s: float, now_mono_s: float, now_utc_s: float) -> float:
        """Age of the overview of run second `t_s`, in a log last written at `written_utc_s`."""
        if t_s != self._t_s:
            age_s = max(0.0, now_utc_s - written_utc_s)
            if self._looked_mono_s is not None:
                age_s = min(age_s, now_mono_s - self._looked_mono_s)
            self._t_s, self._came_mono_s = t_s, now_mono_s - age_s
        self._looked_mono_s = now_mono_s
        return max(0.0, now_mono_s - self._came_mono_s)
