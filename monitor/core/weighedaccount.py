"""The account by weighings alone: what has gone over is what the newest weighing says, and stands until the next.

What goes over between two weighings is not in it; the page and the record say when it was weighed.
"""

from __future__ import annotations

from math import hypot
from typing import ClassVar

from monitor.core.account import Account, Weighed
from monitor.core.balance import Balance
from monitor.core.events import Accounted, Forecast, Metering
from monitor.terms import RunTerms


class WeighedAccount(Account):
    """The account of one run by its weighings."""

    counts: ClassVar[str] = ""

    def __init__(self, run: RunTerms) -> None:
        super().__init__(run)
        self._balance = Balance(run)
        self._u_mol = 0.0

    def count(self, t_s: float, new_drops: int, drop_t_s: float, since_s: float) -> None:
        """What a counter counts says nothing here."""

    def _counted(self) -> None:
        """Nothing is counted."""

    def _take(self, weighed: Weighed) -> None:
        self.delivered_mol = min(weighed.delivered.value, self.charge_mol)
        self._u_mol = weighed.delivered.u

    def _give_back(self) -> None:
        newest = self.weighings[-1] if self.weighings else None
        self.delivered_mol = 0.0 if newest is None else min(newest.delivered.value, self.charge_mol)
        self._u_mol = 0.0 if newest is None else newest.delivered.u

    def budget(self) -> tuple[tuple[str, float], ...]:
        """What each input adds to the standard uncertainty of delivered, mol, the largest first; empty unweighed."""
        if not self.weighings:
            return ()
        return tuple(sorted(self._weighed(self.weighings[-1].by)[1], key=lambda named: -named[1]))

    def metering(self) -> Metering:
        """By what the account is kept now."""
        weighed_s = self.weighings[-1].t_s if self.weighings else None
        return Metering(self.route, self.meter, None, None, None, None, len(self.weighings), weighed_s)

    def _kept(self, t_s: float) -> Accounted:
        """The account as the newest weighing left it."""
        return self._balance.account(t_s, self.drops, self.delivered_mol, self._u_mol)

    def headspace_share(self) -> float:
        """Of what is held, the part that stands over the liquor."""
        return self._balance.headspace_share(self.delivered_mol)

    def forecast(self, t_s: float) -> Forecast:
        """Where the run is heading at the rate of the newest two weighings, which is all that is known of it."""
        per_min = self._mol_per_min()
        final_mol = max(self._balance.final_mol, self.delivered_mol)
        minutes: float | None = None
        if self.need_mol is not None and self.need_mol <= final_mol:
            left_mol = self.need_mol - self.delivered_mol
            if left_mol <= 0.0:
                minutes = 0.0
            elif per_min > 0.0 and self.weighings:
                minutes = max(0.0, left_mol / per_min - (t_s - self.weighings[-1].t_s) / 60.0)
        return Forecast(
            drip_per_min=0.0,
            delivery_mol_per_min=per_min,
            final_delivered_mol=final_mol,
            still_to_come_mol=0.0,
            need_mol=self.need_mol,
            drops_to_need=None,
            minutes_to_need=minutes,
            acid_left_ml=0.0,
        )

    def _mol_per_min(self) -> float:
        if len(self.weighings) < 2:
            return 0.0
        before, now = self.weighings[-2:]
        gained_mol = now.delivered.value - before.delivered.value
        if now.t_s <= before.t_s or gained_mol <= 2.0 * hypot(now.delivered.u, before.delivered.u):
            return 0.0
        return gained_mol * 60.0 / (now.t_s - before.t_s)
