"""The watches beside the limits: each looks at one thing over time and says in words what is wrong, or nothing.

This is where they are gathered and fed; what each of them watches for stands in its own module. It knows readings,
the account and run time, and nothing of delays or of the life cycle of an alarm.
"""

from __future__ import annotations

from collections.abc import Iterator

from monitor.core.account import Account
from monitor.core.events import Instant, Phase, Reading
from monitor.core.overheat import PlateAhead
from monitor.core.suckback import SuckBack
from monitor.core.upkeep import CLOCK_STEP_S, Scrubber, overdue
from monitor.terms import AcidOnSulfurTerms, BenchTerms, RunTerms

WINDOW_DEADBAND_C = 2.0  # alarm table
COOLED_C = 20.0  # under the window: hot acid makes hardly any gas there and its own gas shrinks
MAKING = frozenset({Phase.GENERATING, Phase.RUNNING_OUT, Phase.CLOSING_DOWN})
_DAY_S = 86400.0

Word = tuple[str, str | None]  # a tag, and what is wrong


class Watches:
    """The watches of one run. `recording`: its UTC is no time of day."""

    def __init__(self, bench: BenchTerms, run: RunTerms, *, recording: bool) -> None:
        self._bench, self._run, self._recording = bench, run, recording
        charge = run.charge
        self._window_c = charge.window_c if isinstance(charge, AcidOnSulfurTerms) else None
        limits = bench.limits
        self.plate = PlateAhead(limits.plate_high_high_c, limits.plate_high_c)
        self._suck_back = SuckBack()
        self._scrubber = Scrubber(run)
        self._day = -1
        self._overdue: str | None = None
        self._ahead_of_mono_s: float | None = None
        self._low = False
        self._was_hot = False

    def on_sample(self, t_s: float, plate: Reading) -> None:
        """Look at a sample."""
        self.plate.feed(t_s, plate)

    def clock_step(self, at: Instant) -> str | None:
        """Look at the clocks of an input: by how much the time of day jumped against run time, in words, or None."""
        ahead_s = at.utc_s - at.mono_s
        before_s, self._ahead_of_mono_s = self._ahead_of_mono_s, ahead_s
        if before_s is None or self._recording or abs(ahead_s - before_s) <= CLOCK_STEP_S:
            return None
        return f"the time of day jumped by {ahead_s - before_s:+.0f} s"

    def on_time(
        self, at: Instant, phase: Phase, plate: Reading | None, account: Account | None, link_lost: bool
    ) -> Iterator[Word]:
        """Look at what needs no single sample; give what is so by tag."""
        if not self._recording:
            day = int(at.utc_s // _DAY_S)
            if day != self._day:
                self._day = day
                self._overdue = overdue(self._bench, self._run, at.utc_s)
            yield "CALIBRATION-OVERDUE", self._overdue
        if link_lost:  # else nobody knows, and LINK-LOST says so
            return
        yield "PLATE-RISING", self.plate.words()
        if account is not None:
            yield from self._of_the_account(at.mono_s, phase, account)
        if self._window_c is not None and plate is not None and plate.value is not None:
            yield from self._of_the_window(self._window_c[0], phase, plate.value)

    def _of_the_account(self, t_s: float, phase: Phase, account: Account) -> Iterator[Word]:
        ahead = account.forecast(t_s)
        yield "SCRUBBER-LOW", self._scrubber.words(account.delivered_mol, ahead.final_delivered_mol)
        if account.last_drop_s is not None:
            per_drop_mol = ahead.delivery_mol_per_min / ahead.drip_per_min if ahead.drip_per_min > 0.0 else 0.0
            self._suck_back.feed(t_s, account.delivered_mol, per_drop_mol, account.drops, account.last_drop_s)
        yield "SUCK-BACK", self._suck_back.words() if phase in MAKING else None

    def _of_the_window(self, low_c: float, phase: Phase, plate_c: float) -> Iterator[Word]:
        making = phase in MAKING
        self._low = making and (plate_c < low_c if not self._low else plate_c < low_c + WINDOW_DEADBAND_C)
        yield "PLATE-LOW", f"{plate_c:.0f} °C, the window begins at {low_c:g} °C" if self._low else None
        self._was_hot = making and (self._was_hot or plate_c >= low_c)
        cooled = self._was_hot and plate_c < low_c - COOLED_C
        yield "SUCK-BACK", f"the flask cools: plate at {plate_c:.0f} °C, it was over {low_c:g} °C" if cooled else None
