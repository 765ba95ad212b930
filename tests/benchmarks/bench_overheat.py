"""How early an overheat is foretold, and how often falsely: `python -m tests.benchmarks.bench_overheat`.

Simulated plates (the rig's hotplate, its converter's steps and noise). Healthy: an on-off heat-up to a setpoint at or
under the high limit, and ten minutes there. Failing: the controller sticks on, at any time of the heat-up, at full or
part power. The oracle knows the plate's true temperature and slope and the same horizon, and needs no 2 s to be sure;
lead is the time from the alarm to the true crossing of the limit, as a share of the oracle's.
"""

from __future__ import annotations

import argparse
import statistics
from math import inf
from typing import NamedTuple

import numpy as np

from monitor.core.events import Reading
from monitor.core.frames import SampleFrame
from monitor.core.overheat import HORIZON_PART, HORIZON_S, PlateAhead
from monitor.core.sensing import PlateSense
from monitor.rig.hotplate import Hotplate
from monitor.rig.reality import Normals, Reality
from monitor.rig.thermocouple import converter_word
from monitor.terms import Measured, ThermocoupleTerms

LIMIT_C, SETPOINT_MAX_C = 340.0, 320.0
DT_S = 0.1
AMBIENT_C = 22.0


class Result(NamedTuple):
    """Seconds before the crossing at which the alarm and the oracle spoke; None when they did not."""

    lead_s: float | None
    oracle_s: float | None
    crossed: bool


def _reality(rng: np.random.Generator) -> Reality:
    power_w = rng.uniform(400.0, 900.0)
    return Reality(
        plate_w=power_w,
        plate_j_per_k=rng.uniform(600.0, 1500.0),
        plate_loss_w_per_k=power_w / rng.uniform(380.0, 600.0),  # it can reach 380 to 600 °C over the room
        junction_s=rng.uniform(0.5, 3.0),
    )


def run(seed: int, *, fails: bool) -> Result:
    """One plate."""
    rng = np.random.default_rng(seed)
    plate = Hotplate(_reality(rng), AMBIENT_C, Normals(rng.spawn(1)[0]))
    plate.setpoint_c = rng.uniform(100.0, SETPOINT_MAX_C)
    sticks_c = plate.setpoint_c - 2.0
    sense = PlateSense(ThermocoupleTerms(Measured(0.0, 0.8)))
    ahead = PlateAhead(LIMIT_C, SETPOINT_MAX_C)
    spoke_s: float | None = None
    oracle_s: float | None = None
    t_s, settled_s, before_c = 0.0, 0.0, plate.plate_c
    while t_s < 3600.0 and settled_s < 600.0:
        t_s += DT_S
        if fails and plate.plate_c > sticks_c:
            plate.setpoint_c = 1000.0
        plate.step(DT_S, True)
        reading: Reading = sense.read(SampleFrame(1, 0, 0, 0, 0, 0, converter_word(*plate.reading_c()), 0, 5, 8))
        ahead.feed(t_s, reading)
        if spoke_s is None and ahead.words() is not None:
            spoke_s = t_s
        slope = (plate.plate_c - before_c) / DT_S
        before_c = plate.plate_c
        if fails:
            way_c = HORIZON_PART * (LIMIT_C - SETPOINT_MAX_C)
            horizon_s = min(HORIZON_S, way_c / slope if slope > 0.0 else inf)
            if oracle_s is None and slope > 0.0 and LIMIT_C - plate.plate_c < horizon_s * slope:
                oracle_s = t_s
            if plate.plate_c >= LIMIT_C:
                break
        elif plate.plate_c > (plate.setpoint_c or 0.0) - 5.0:
            settled_s += DT_S
    crossed = plate.plate_c >= LIMIT_C
    return Result(None if spoke_s is None else t_s - spoke_s, None if oracle_s is None else t_s - oracle_s, crossed)


def figures(healthy: int, failing: int, seed: int = 1) -> tuple[int, int, list[float]]:
    """False alarms among healthy plates, misses among failing ones, and each lead as a share of the oracle's."""
    false = sum(run(seed + n, fails=False).lead_s is not None for n in range(healthy))
    shares, missed = [], 0
    for n in range(failing):
        result = run(seed + 100_000 + n, fails=True)
        if not result.crossed or result.oracle_s is None:
            continue
        missed += result.lead_s is None
        if result.lead_s is not None:
            shares.append(result.lead_s / result.oracle_s)
    return false, missed, shares


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--healthy", type=int, default=500)
    parser.add_argument("--failing", type=int, default=200)
    args = parser.parse_args()
    false, missed, shares = figures(args.healthy, args.failing)
    print(f"false alarms: {false} of {args.healthy} healthy heat-ups (aim 0)")
    print(f"missed: {missed} of {missed + len(shares)} overheats")
    print(
        f"lead over the oracle's: median {statistics.median(shares):.2f} (aim 0.90), worst {min(shares):.2f} (0.75)"
    )


if __name__ == "__main__":
    main()
