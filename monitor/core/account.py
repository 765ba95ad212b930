"""The sulfur account, whatever meters it: what a run asks of it, how counts become a rate, what a weighing says.

Promise of every account: locked + generated = what the charge can make, generated = held + delivered, at every
moment; delivered never falls but by a weighing, which is a stated step in the record. It knows counts, weighings and
run time, and nothing of alarms. What the counts mean stands in the modules that are named after their meters.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import deque
from math import hypot
from typing import ClassVar, Final, NamedTuple

from monitor.chemistry.planning import most_so2_mol
from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL
from monitor.chemistry.sweep import sweep_of
from monitor.core.cleared import Cleared
from monitor.core.events import Accounted, Corrected, Forecast, Metering
from monitor.core.requests import RECEIVER_GAIN, SULFUR_LOSS, WEIGHED_ON
from monitor.terms import Measured, RunTerms

RATE_WINDOW_S: Final = 20.0  # drop rate is counted over this (alarm table: "drop rate over 20 s")
RELEASE_LAG_S: Final = 5.0  # a stirred liquor gives up its excess over about this; common practice, no source
SPENT: Final = 0.99  # of what the charge can make, where no acid is counted
MOST_WEIGHINGS: Final = 500  # of one run; a person weighs some ten times, and more are refused

BY_BALANCE, BY_AIR, BY_WATER = "weighing", "air that left with the gas", "water that left with the gas"
AIR_RELATIVE_U, WATER_RELATIVE_U = 0.10, 0.30  # of what left with the gas by the headspace's model; judgement


class WeighingRefusedError(ValueError):
    """A weighing that makes no sense; the message says why. Nothing has changed."""


class Weighing(NamedTuple):
    """A mass since the run began, g, with its standard uncertainty."""

    what: str
    grams: float
    u_g: float


class Weighed(NamedTuple):
    """A weighing in the record, and the SO2 that it says has gone over, what was swept or warmed out left out."""

    t_s: float
    by: Weighing
    delivered: Measured  # mol
    whole: Measured  # mol, with what was swept or warmed out


class Account(ABC):
    """The account of one run. A drop here is what the counter counts: a drop of acid, or a bubble of gas."""

    counts: ClassVar[str]  # "drop", "bubble", or "" where nothing is counted
    acid_volume_ml: float | None = None  # that the run began with; None where no acid is counted

    def __init__(self, run: RunTerms) -> None:
        self.route, self.meter = run.route, run.meter
        self.need_mol = run.receiver.need_mol if run.receiver is not None else None
        self.charge_mol = most_so2_mol(run.charge)
        self._sweep = sweep_of(run.charge)
        self.cleared = Cleared(run.charge)
        self.drops = 0
        self.swept = 0  # bubbles that passed while the flask was cleared: air, and what is reckoned to go with it
        self.last_drop_s: float | None = None
        self.delivered_mol = 0.0
        self.weighings: list[Weighed] = []  # MOST_WEIGHINGS at most
        self._falls: deque[tuple[float, float, int]] = deque()  # (from_s, to_s, drops) of RATE_WINDOW_S; 10/s at most

    # --- what a meter makes of it -----------------------------------------------------------------------------

    @abstractmethod
    def _kept(self, t_s: float) -> Accounted:
        """The account at run second `t_s` by its meter and its weighings, without what was swept or warmed out."""

    @abstractmethod
    def forecast(self, t_s: float) -> Forecast:
        """Where the run is heading at the present rate."""

    @abstractmethod
    def metering(self) -> Metering:
        """By what the account is kept now."""

    @abstractmethod
    def headspace_share(self) -> float:
        """Of what is held, the part that stands over the liquor, 0 to 1."""

    @abstractmethod
    def _counted(self) -> None:
        """More has been counted."""

    @abstractmethod
    def _take(self, weighed: Weighed) -> None:
        """Make the account agree with a weighing. Raises WeighingRefusedError and changes nothing."""

    @abstractmethod
    def _give_back(self) -> None:
        """Make the account what it would be without the weighing that was just taken from the list."""

    @property
    def acid_ml(self) -> float:
        """Acid that has gone in, mL; 0 where none is counted."""
        return 0.0

    @property
    def charge_spent(self) -> bool:
        """Whether the limiting reagent is used up."""
        return self._kept(0.0).generated_mol >= SPENT * self.charge_mol

    @property
    def acid_left_fraction(self) -> float:
        """Of what the run began with, 0 to 1; where no acid is counted, 1 until the charge is spent."""
        return 0.0 if self.charge_spent else 1.0

    def state(self, t_s: float) -> Accounted:
        """The account at run second `t_s`."""
        return self.cleared.applied(self._kept(t_s))

    @property
    def gone_over_mol(self) -> float:
        """SO2 that has left the flask, mol: by the meter, and swept or warmed out."""
        return self.delivered_mol + self.cleared.freed_mol

    def clear(self, t_s: float, air_l_per_min: float, liquor_c: float) -> None:
        """From now on the flask is cleared with so much air, at such a temperature of its liquor."""
        self.cleared.begin(t_s, air_l_per_min, liquor_c, self._kept(t_s))

    def resume(self, t_s: float) -> None:
        """Gas is made again: the flask is cleared no longer, and its liquor fills anew."""
        self.cleared.end(t_s)
        if self.counts != "drop":
            self.cleared.fill()

    # --- counting ---------------------------------------------------------------------------------------------

    def count(self, t_s: float, new_drops: int, drop_t_s: float, since_s: float) -> None:
        """Count drops new at run second `t_s`: the newest fell at `drop_t_s`, none before `since_s`.

        Several at once are spread over that time: a gap in the line, or a host that was away, is no burst of drops.
        """
        if new_drops <= 0:
            return
        self.drops += new_drops
        if self.counts == "bubble" and self.cleared.going_on:
            self.swept += new_drops
        self.last_drop_s = last_s = max(drop_t_s, since_s)
        before_mol = self.delivered_mol
        self._counted()
        if self.counts == "drop":
            self.cleared.refill(self.delivered_mol - before_mol)
        self._falls.append((last_s if new_drops == 1 else since_s, last_s, new_drops))
        self._forget(t_s)

    def _forget(self, t_s: float) -> None:
        falls = self._falls
        while falls and falls[0][1] <= t_s - RATE_WINDOW_S:
            falls.popleft()

    def drip_per_min(self, t_s: float) -> float:
        """Drops a minute over the last 20 s."""
        self._forget(t_s)
        start_s = t_s - RATE_WINDOW_S
        drops = 0.0
        for from_s, to_s, n in self._falls:
            drops += n if from_s >= start_s else n * (to_s - start_s) / (to_s - from_s)
        return drops * (60.0 / RATE_WINDOW_S)

    def gas_l_per_min(self, t_s: float) -> float | None:  # noqa: ARG002 - bubbles alone know
        """Gas that passes the counter, L/min over the last 20 s; None where it counts no gas."""
        return None

    # --- weighing ---------------------------------------------------------------------------------------------

    def weigh(self, t_s: float, who: str, weighing: Weighing) -> Corrected:
        """Take a weighing into the account.

        Raises:
            WeighingRefusedError: it makes no sense; nothing has changed.
        """
        self._refuse_nonsense(weighing)
        whole = self._delivered_by(weighing)
        out = self.cleared.out
        metered = Measured(max(0.0, whole.value - out.freed_mol), hypot(whole.u, out.u_freed_mol))
        weighed = Weighed(t_s, weighing, metered, whole)
        if whole.value > self.charge_mol + 3.0 * whole.u:
            raise WeighingRefusedError(
                f"{weighing.grams:g} g would be {whole.value:.3f} mol of SO2, and all the charge makes "
                f"no more than {self.charge_mol:.3f} mol"
            )
        before, meter_before = self.state(t_s), self.metering()
        self._take(weighed)
        self.weighings.append(weighed)
        return self._corrected(t_s, who, weighed, before, meter_before)

    def undo_weighing(self, t_s: float, who: str) -> Corrected:
        """Take the newest weighing back out of the account.

        Raises:
            WeighingRefusedError: there is none.
        """
        if not self.weighings:
            raise WeighingRefusedError("there is no weighing to undo")
        before, meter_before = self.state(t_s), self.metering()
        weighed = self.weighings.pop()
        self._give_back()
        undone = weighed._replace(by=weighed.by._replace(what=f"undo {weighed.by.what}"))
        return self._corrected(t_s, who, undone, before, meter_before)

    def _corrected(self, t_s: float, who: str, w: Weighed, before: Accounted, meter: Metering) -> Corrected:
        after, meter_after = self.state(t_s), self.metering()
        return Corrected(
            t_s=t_s,
            who=who,
            what=w.by.what,
            grams=w.by.grams,
            u_g=w.by.u_g,
            weighed_mol=w.whole.value,
            u_weighed_mol=w.whole.u,
            delivered_before_mol=before.delivered_mol,
            u_before_mol=before.u_delivered_mol,
            delivered_after_mol=after.delivered_mol,
            u_after_mol=after.u_delivered_mol,
            volume_before_ul=meter.volume_ul,
            u_volume_before_ul=meter.u_volume_ul,
            volume_after_ul=meter_after.volume_ul,
            u_volume_after_ul=meter_after.u_volume_ul,
        )

    def _refuse_nonsense(self, w: Weighing) -> None:
        known = WEIGHED_ON[self.route]
        if w.what not in known:
            raise WeighingRefusedError(
                f"'{w.what[:40]}' is not weighed on the {self.route} route; wanted is {' or '.join(known)}"
            )
        if w.grams <= 0.0:
            raise WeighingRefusedError(f"found {w.grams:g} g; a {w.what} is the grams since the run began, above 0")
        if w.u_g <= 0.0:
            raise WeighingRefusedError(f"found an uncertainty of {w.u_g:g} g; wanted is that of the balance, above 0")
        if len(self.weighings) >= MOST_WEIGHINGS:
            raise WeighingRefusedError(f"this run has {MOST_WEIGHINGS} weighings, and takes no more")
        if self.weighings and self.weighings[-1].by == w:
            raise WeighingRefusedError(f"this weighing, {w.grams:g} g {w.what}, is in the account already")
        for past in reversed(self.weighings):
            if past.by.what == w.what:
                if w.grams < past.by.grams - 2.0 * hypot(w.u_g, past.by.u_g):
                    raise WeighingRefusedError(
                        f"the {w.what} was {past.by.grams:g} g before and cannot become {w.grams:g} g; "
                        "if that one was wrong, undo it first"
                    )
                return

    def _delivered_by(self, w: Weighing) -> Measured:
        """The SO2 that has gone over by a weighing, mol: what is weighed is the gas, with the air and water in it.

        The flask is weighed with all that stands on it, the acid's funnel too. A receiver is taken to keep all that
        reaches it, burning sulfur to turn to SO2 alone.
        """
        so2_mol, parts = self._weighed(w)
        return Measured(so2_mol, hypot(*(u_mol for _, u_mol in parts)))

    def _weighed(self, w: Weighing) -> tuple[float, tuple[tuple[str, float], ...]]:
        """SO2 by a weighing, mol, and what each input adds to its standard uncertainty, mol."""
        molar_g = MOLAR_MASS_G_PER_MOL["S" if w.what == SULFUR_LOSS else "SO2"]
        balance = (BY_BALANCE, w.u_g / molar_g)
        if w.what in (SULFUR_LOSS, RECEIVER_GAIN):
            return w.grams / molar_g, (balance,)
        so2_g, air_g, water_g = self._sweep.parts_of_loss_g(w.grams)
        return so2_g / molar_g, (
            balance,
            (BY_AIR, AIR_RELATIVE_U * air_g / molar_g),
            (BY_WATER, WATER_RELATIVE_U * water_g / molar_g),
        )
