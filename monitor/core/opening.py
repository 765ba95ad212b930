"""Closing down: whether the flask may be opened, from what has been seen, for how long, and what is still missing.

Promise: it says safe only when all of this is so at once: the air has read under the limit without a break for the
stated time, nothing has been counted for as long, the plate is cool, and no fault or gas alarm stands. An unknown
reading begins the time anew and says why. What is still held is the account's figure and is said with it, never
taken for nothing. It is stepped on the bench's half-second grid and reads no clock, so that a replay is exact. The
sensor smells the air of the bench, not of the flask: this is an aid, no certificate.
"""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

from monitor.core.events import Closing, Reading
from monitor.core.heldwords import SO2_G_PER_MOL, Left, held_words, is_little
from monitor.core.spans import passed, run_clock
from monitor.terms import BenchTerms

MEAN_S = 10.0  # a reading is the mean of so long: single samples scatter by more than the limit
STEP_S = 0.5  # the bench's grid
PLATE_DEADBAND_C = 2.0  # alarm table
WORTH_SAYING_S = 10.0  # a shorter time that is begun anew is not worth a line in the record
CAUTION = "The sensor smells the air of the bench, not of the flask. An aid, no certificate."

# While one of these stands nothing is called safe; words for the ones whose tag says too little.
AGAINST: dict[str, str] = {
    "GAS-HIGH-HIGH": "there is gas in the air",
    "GAS-HIGH": "there is gas in the air",
    "GAS-LEAK": "gas is leaking",
    "GAS-RISING": "the gas reading creeps up",
    "GAS-FAULT": "the gas sensor is not to be believed",
    "PLATE-FAULT": "the plate's thermometer is not to be believed",
    "DRIP-BLOCKED": "the counter cannot see",
    "PERMIT-REFUSED": "the permit relay does not follow",
    "TRIP-LATCHED": "the board has tripped",
}


class Glance(NamedTuple):
    """What the bench knows at one step. A reading while nothing comes from the board is unknown, and says so."""

    t_s: float
    gas: Reading
    plate: Reading
    drops: int  # counted in this run
    alarms: tuple[str, ...]  # those of AGAINST that stand
    zero_drift: str | None
    left: Left
    permit_on: bool = False  # where it lets heat or acid come; a draught may go on


class Opening:
    """The closing down of one run. `counts` is what the run's counter counts; empty where nothing is counted.

    With `hot_acid` the flask is hotter than the plate for long, and only a person can see that.
    """

    def __init__(self, bench: BenchTerms, counts: str, *, hot_acid: bool = False) -> None:
        limits = bench.limits
        self._below_ppm, self._hold_s = limits.open_below_ppm, limits.open_hold_s
        self._plate_c, self._counts, self._hot_acid = limits.open_plate_c, counts, hot_acid
        self._room_m3, self._room_limit_ppm = bench.room.volume_m3, limits.gas_high_ppm
        self._since_s: float | None = None
        self._forget(0.0, 0)

    def _forget(self, t_s: float, drops: int) -> None:
        self._steps: deque[tuple[float, int]] = deque(maxlen=round(MEAN_S / STEP_S))  # sum, count of a step
        self._sum, self._count, self._unknown = 0.0, 0, ""
        self._under_since_s: float | None = None
        self._still_since_s, self._drops = t_s, drops
        self._plate_ok = False
        self._begun_anew = ""
        self._now: Closing | None = None

    def begin(self, t_s: float, drops: int) -> None:
        """The phase begins, with so many drops counted."""
        self._since_s = t_s
        self._forget(t_s, drops)

    def end(self) -> None:
        """The phase is over; what was seen in it counts no more."""
        self._since_s = None
        self._now = None

    def hear(self, gas: Reading) -> None:
        """Take a sample's gas reading. One over the sensor's range counts as that much."""
        value = gas.value if gas.value is not None else gas.at_least
        if value is None:
            self._unknown = gas.why or "no reason given"
        else:
            self._sum += value
            self._count += 1

    @property
    def now(self) -> Closing | None:
        """How it stands; None outside the phase, and before its first step."""
        return self._now

    def on_time(self, g: Glance) -> list[str]:
        """Look at one step of the grid; give what is worth a line in the record."""
        if self._since_s is None:
            return []
        said = self._of_the_air(g)
        if g.drops != self._drops or "DRIP-BLOCKED" in g.alarms:
            self._drops, self._still_since_s = g.drops, g.t_s
        seen, missing = self._judge(g)
        before, safe = self._now, not missing
        held_mol = g.left.liquor_mol + g.left.headspace_mol
        little = is_little(g.left, self._room_m3, self._room_limit_ppm)
        held = held_words(g.left, self._room_m3, self._room_limit_ppm)
        if before is None:
            said.append(f"closing down: {held}")
        elif safe and not (before.safe and (before.little or not little)):
            alone = "safe to open" if little else "safe to open under the hood alone, for it still holds gas,"
            said.append(f"{alone} by what was seen: {', '.join(seen)}. {held} {CAUTION}")
        elif before.safe and not safe:
            said.append(f"no longer safe to open: {'; '.join(missing)}")
        self._now = Closing(
            since_s=self._since_s,
            safe=safe,
            under_s=self._under_s(g.t_s),
            hold_s=self._hold_s,
            seen=tuple(seen),
            missing=tuple(missing),
            held=held,
            little=little,
            held_g=SO2_G_PER_MOL * held_mol,
            u_held_g=SO2_G_PER_MOL * g.left.u_held_mol,
            begun_anew=self._begun_anew,
        )
        return said

    def _under_s(self, t_s: float) -> float:
        return 0.0 if self._under_since_s is None else t_s - self._under_since_s

    def _of_the_air(self, g: Glance) -> list[str]:
        """Take the samples of the step into the mean; begin the time anew where they ask for it."""
        unknown = self._unknown or ((g.gas.why or "no reason given") if _unknown(g.gas) else "")
        why = ""
        if unknown:
            self._steps.clear()
            why = f"the gas reading is unknown ({unknown})"
        else:
            self._steps.append((self._sum, self._count))
            heard = sum(n for _, n in self._steps)
            if heard and (mean_ppm := sum(s for s, _ in self._steps) / heard) >= self._below_ppm:
                why = f"the air read {mean_ppm:.2f} ppm, wanted under {self._below_ppm:g} ppm"
            elif heard and self._under_since_s is None:
                self._under_since_s = g.t_s
        self._sum, self._count, self._unknown = 0.0, 0, ""
        if not why or self._under_since_s is None:
            return []
        under_s, self._under_since_s = self._under_s(g.t_s), None
        if under_s < WORTH_SAYING_S:
            return []
        self._begun_anew = f"begun anew after {passed(under_s)}, at {run_clock(g.t_s)}: {why}"
        return [f"the time {self._begun_anew}"]

    def _judge(self, g: Glance) -> tuple[list[str], list[str]]:
        seen: list[str] = []
        missing = [f"{AGAINST[tag]} ({tag})" for tag in g.alarms]
        if g.zero_drift is not None:
            missing.append(g.zero_drift)
        if g.permit_on:
            missing.append("the permit is on: take it back, so that neither heat nor acid can come")
        under_s, limit = self._under_s(g.t_s), f"under {self._below_ppm:g} ppm"
        if under_s >= self._hold_s:
            seen.append(f"{limit} for {passed(under_s)}")
        elif self._under_since_s is not None:
            missing.append(f"{passed(under_s)} of {passed(self._hold_s)} {limit}")
        elif self._steps:
            now_ppm = sum(s for s, _ in self._steps) / max(1, sum(n for _, n in self._steps))
            missing.append(f"the air reads {now_ppm:.2f} ppm, wanted {limit} for {passed(self._hold_s)}")
        else:
            missing.append(f"the gas reading is unknown, wanted {limit} for {passed(self._hold_s)}")
        self._of_the_count(g, seen, missing)
        self._of_the_plate(g.plate, seen, missing)
        return seen, missing

    def _of_the_count(self, g: Glance, seen: list[str], missing: list[str]) -> None:
        if not self._counts:
            seen.append("nothing is counted on this run: see for yourself that no more gas is made")
            return
        still_s = g.t_s - self._still_since_s
        if still_s >= self._hold_s:
            seen.append(f"no {self._counts} for {passed(still_s)}")
        else:
            swept = "; the air of the sweep bubbles too: end it for the last look"
            also = swept if self._counts == "bubble" and g.left.air_l_per_min else ""
            missing.append(f"{passed(still_s)} of {passed(self._hold_s)} without a {self._counts}{also}")

    def _of_the_plate(self, plate: Reading, seen: list[str], missing: list[str]) -> None:
        if plate.value is None:
            self._plate_ok = False
            missing.append(f"the plate's reading is unknown ({plate.why or 'no reason given'})")
            return
        limit_c = self._plate_c + (PLATE_DEADBAND_C if self._plate_ok else 0.0)
        self._plate_ok = plate.value < limit_c
        if self._plate_ok:
            slower = "; the acid cools more slowly: see for yourself that it is cold" if self._hot_acid else ""
            seen.append(f"the plate is at {plate.value:.1f} °C{slower}")
        else:
            missing.append(f"the plate is still at {plate.value:.1f} °C, wanted under {self._plate_c:g} °C")


def _unknown(gas: Reading) -> bool:
    return gas.value is None and gas.at_least is None
