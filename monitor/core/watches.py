"""The watches beside the limits: each looks at one thing over time and says in words what is wrong, or nothing.

This is where they are gathered and fed; what each of them watches for stands in its own module. It knows readings,
the account and run time, and nothing of delays or of the life cycle of an alarm.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf
from typing import Final

from monitor.core.account import Account
from monitor.core.events import Forecast, Instant, Phase, Reading
from monitor.core.hotsource import WINDOW_DEADBAND_C, HotSource
from monitor.core.overheat import PlateAhead
from monitor.core.suckback import CoolingFlask, SuckBack
from monitor.core.upkeep import CLOCK_STEP_S, Scrubber, overdue
from monitor.terms import AcidOnSulfurTerms, BenchTerms, RunTerms

MAKING: Final = frozenset({Phase.GENERATING, Phase.RUNNING_OUT, Phase.CLOSING_DOWN})
_DAY_S: Final = 86400.0

Word = tuple[str, str | None]  # a tag, and what is wrong


class Watches:
    """The watches of one run. `recording`: its UTC is no time of day."""

    def __init__(self, bench: BenchTerms, run: RunTerms, *, recording: bool) -> None:
        self._bench, self._run, self._recording = bench, run, recording
        charge = run.charge
        self._window_c = charge.window_c if isinstance(charge, AcidOnSulfurTerms) else None
        limits = bench.limits
        self.plate = PlateAhead(limits.plate_high_high_c, limits.plate_high_c)
        self._suck_back = SuckBack("bubble" if run.meter == "bubbles" else "drop")
        self._scrubber = Scrubber(run)
        self._day = -1
        self._overdue: str | None = None
        self._drifted = False  # the gas zero, as far as is known
        self._ahead_of_mono_s: float | None = None
        self._low = False
        self._seen_from_s = 0.0  # when the gate was last dark
        self._hot = HotSource(run)
        self._cooling = CoolingFlask() if run.route == "acid-drip" else None

    def on_sample(self, t_s: float, plate: Reading) -> None:
        """Look at a sample."""
        self.plate.feed(t_s, plate)

    def weighed(self, step_mol: float) -> None:
        """A weighing, or the undoing of one, moved what is delivered by so much."""
        self._suck_back.step(step_mol)

    def clock_step(self, at: Instant) -> str | None:
        """Look at the clocks of an input: by how much the time of day jumped against run time, in words, or None."""
        ahead_s = at.utc_s - at.mono_s
        before_s, self._ahead_of_mono_s = self._ahead_of_mono_s, ahead_s
        if before_s is None or self._recording or abs(ahead_s - before_s) <= CLOCK_STEP_S:
            return None
        return f"the time of day jumped by {ahead_s - before_s:+.0f} s"

    def on_time(
        self,
        at: Instant,
        phase: Phase,
        plate: Reading | None,
        account: Account,
        ahead: Forecast,
        link_lost: bool,
        zero_drift: str | None,
        gate_dark: bool,
    ) -> Iterator[Word]:
        """Look at what needs no single sample; `zero_drift` is of the gas sensor. Give what is so by tag.

        `ahead` is where the account is heading now.
        """
        if not self._recording:
            day = int(at.utc_s // _DAY_S)
            if day != self._day:
                self._day = day
                self._overdue = overdue(self._bench, self._run, at.utc_s)
            if zero_drift is not None and not self._drifted:
                yield "CALIBRATION-OVERDUE", None  # so that it calls anew, where a date stood acknowledged
            self._drifted = zero_drift is not None
            yield "CALIBRATION-OVERDUE", "; ".join(w for w in (zero_drift, self._overdue) if w) or None
        if link_lost:  # else nobody knows, and LINK-LOST says so
            return
        yield "PLATE-RISING", self.plate.words()
        yield (
            "SCRUBBER-LOW",
            self._scrubber.words(account.gone_over_mol, ahead.final_delivered_mol + account.cleared.freed_mol),
        )
        back = self._of_the_flow(at.mono_s, ahead, account, gate_dark)
        if phase not in MAKING:
            self._hot.forget()
            back = None
        plate_c = plate.value if plate is not None else None
        if self._window_c is not None and plate_c is not None:
            yield "PLATE-LOW", self._under_window(self._window_c[0], phase, plate_c)
        if phase in MAKING:
            back = self._hot.words(plate_c) or back
        if self._cooling is not None:
            if phase not in MAKING:
                self._cooling.forget()
            elif not gate_dark:
                last_s = account.last_drop_s
                cools = self._cooling.words(at.mono_s, plate_c, inf if last_s is None else at.mono_s - last_s)
                back = back or cools
        if account.cleared.going_on and account.cleared.air_l_per_min > 0.0:
            back = None  # what falls short of gas comes as air, and not as liquid
        yield "SUCK-BACK", back

    def _of_the_flow(self, t_s: float, ahead: Forecast, account: Account, gate_dark: bool) -> str | None:
        """Behind a dark gate drops may fall: it is told as such, and nothing is said to have stopped."""
        if account.last_drop_s is None:
            return None
        if gate_dark:
            self._seen_from_s = t_s
            self._suck_back.lose_sight()
            return self._suck_back.words()
        last_drop_s = max(account.last_drop_s, self._seen_from_s)
        per_drop_mol = ahead.delivery_mol_per_min / ahead.drip_per_min if ahead.drip_per_min > 0.0 else 0.0
        self._suck_back.feed(t_s, account.delivered_mol, per_drop_mol, account.drops, last_drop_s)
        return self._suck_back.words()

    def _under_window(self, low_c: float, phase: Phase, plate_c: float) -> str | None:
        edge_c = low_c + WINDOW_DEADBAND_C if self._low else low_c
        self._low = phase in MAKING and plate_c < edge_c
        return f"{plate_c:.0f} °C, the window begins at {low_c:g} °C" if self._low else None
