"""Published limits of SO2 in air, each with its source and the month in which that was looked up.

They are shown beside a plan's worst case. What a bench alarms at stands in its own file; local rules come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

from monitor.chemistry.cautions import IDLH_PPM


@dataclass(frozen=True, slots=True)
class AirLimit:
    """A limit, ppm by volume, and the span of time that it is an average over."""

    name: str
    ppm: float
    over: str
    source: str
    checked: str


LIMITS = (
    AirLimit("EU, 8 h", 0.5, "8 h average", "Directive (EU) 2017/164, indicative", "2026-11"),
    AirLimit("EU, short", 1.0, "15 min average", "Directive (EU) 2017/164, indicative", "2026-11"),
    AirLimit("NIOSH REL", 2.0, "10 h average", "NIOSH IDLH documentation, 7446-09-5", "2026-11"),
    AirLimit("NIOSH STEL", 5.0, "15 min average", "NIOSH IDLH documentation, 7446-09-5", "2026-11"),
    AirLimit("OSHA PEL", 5.0, "8 h average", "29 CFR 1910.1000, Table Z-1, by NIOSH 7446-09-5", "2026-11"),
    AirLimit("NIOSH IDLH", IDLH_PPM, "at once dangerous to life", "NIOSH IDLH documentation, 7446-09-5", "2026-11"),
)


def minutes_to_clear(ppm: float, limit_ppm: float, volume_m3: float, ventilation_m3_per_h: float) -> float | None:
    """Minutes until a mixed room that nothing more leaks into has fallen to a limit; None if it is not ventilated.

    The well-mixed box: C = C0 exp(−Q t / V).
    """
    if ppm <= limit_ppm:
        return 0.0
    if ventilation_m3_per_h <= 0.0:
        return None
    return 60.0 * volume_m3 / ventilation_m3_per_h * log(ppm / limit_ppm)
