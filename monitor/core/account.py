"""The sulfur account: counted drops to generated, held, delivered and locked, each with its uncertainty.

Promise: locked + generated = charged sulfur(IV) and generated = held + delivered, at every moment; delivered
never falls. The liquor's course (`monitor.chemistry.trajectory`) depends on the acid that has gone in and on
nothing else, so the account is a place on that course. It knows drops and run time, and nothing of alarms.
"""

from __future__ import annotations

from collections import deque
from functools import lru_cache
from math import ceil

from monitor.chemistry.trajectory import Trajectory, build_trajectory
from monitor.core.events import Accounted, Forecast
from monitor.terms import BenchTerms, DripTerms, RunTerms

RATE_WINDOW_S = 20.0  # drop rate is counted over this (alarm table: "drop rate over 20 s")
RELEASE_LAG_S = 5.0  # a stirred liquor gives up its excess over about this; common practice, no source


_course_of = lru_cache(maxsize=4)(build_trajectory)  # it never changes, so runs of one charge share it


class Account:
    """The account of one run on the acid-drip route."""

    def __init__(self, bench: BenchTerms, run: RunTerms) -> None:
        if not isinstance(run.charge, DripTerms):
            raise TypeError("the drop account is for the acid-drip route")
        self.charge = run.charge
        self.course: Trajectory = _course_of(run.charge)
        self.need_mol = run.receiver.need_mol if run.receiver is not None else None
        self._drop_ml = bench.drops.volume_ul.value * 1e-3
        self._drop_relative_u = bench.drops.volume_ul.u / bench.drops.volume_ul.value
        self.drops = 0
        self._falls: deque[tuple[float, float, int]] = deque()  # (from_s, to_s, drops) of RATE_WINDOW_S; 10/s at most
        self._final_mol = self.course.at(run.charge.acid_volume_ml).delivered_mol
        self._need_ml = None if self.need_mol is None else self.course.acid_ml_for_delivered(self.need_mol)
        self.last_drop_s: float | None = None
        self.delivered_mol = 0.0

    @property
    def acid_ml(self) -> float:
        """Acid that has gone in, mL."""
        return self.drops * self._drop_ml

    @property
    def acid_left_fraction(self) -> float:
        """Of the acid that the run began with, 0 to 1."""
        return max(0.0, 1.0 - self.acid_ml / self.charge.acid_volume_ml)

    @property
    def charge_spent(self) -> bool:
        """Whether the limiting reagent is used up: the salt's sulfur(IV) all turned, or the acid all in."""
        return self.acid_ml >= min(self.course.acid_ml_to_spend, self.charge.acid_volume_ml)

    def count(self, t_s: float, new_drops: int, drop_t_s: float, since_s: float) -> None:
        """Count drops new at run second `t_s`: the newest fell at `drop_t_s`, none before `since_s`.

        Several at once are spread over that time: a gap in the line, or a host that was away, is no burst of drops.
        """
        if new_drops <= 0:
            return
        self.drops += new_drops
        self.last_drop_s = last_s = max(drop_t_s, since_s)
        self.delivered_mol = self.course.at(self.acid_ml).delivered_mol
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

    def state(self, t_s: float) -> Accounted:
        """The account at run second `t_s`."""
        acid_ml = self.acid_ml
        at = self.course.at(acid_ml)
        u = self.course.uncertainty(acid_ml, self._drop_relative_u)
        return Accounted(
            t_s,
            self.drops,
            acid_ml,
            at.generated_mol,
            at.held_mol,
            at.delivered_mol,
            at.locked_mol,
            u.generated_mol,
            u.held_mol,
            u.delivered_mol,
            u.locked_mol,
        )

    def forecast(self, t_s: float) -> Forecast:
        """Where the run is heading at the present drip rate.

        `still_to_come_mol` is what goes over by itself if the tap is shut now: the part of the delivered figure
        that is still on its way, since a liquor gives up its excess only over some seconds.
        """
        rate = self.drip_per_min(t_s)
        acid_ml, drop_ml = self.acid_ml, self._drop_ml
        here = self.delivered_mol
        before = self.course.at(max(0.0, acid_ml - drop_ml)).delivered_mol
        per_drop_mol = max(0.0, here - before) if self.drops else 0.0
        drops_to_need: int | None = None
        minutes: float | None = None
        if self._need_ml is not None:
            drops_to_need = max(0, ceil((self._need_ml - acid_ml) / drop_ml - 1e-9))
            if rate > 0.0 or drops_to_need == 0:
                minutes = drops_to_need / rate if drops_to_need else 0.0
        return Forecast(
            drip_per_min=rate,
            delivery_mol_per_min=per_drop_mol * rate,
            final_delivered_mol=max(self._final_mol, here),
            still_to_come_mol=per_drop_mol * rate * (RELEASE_LAG_S / 60.0),
            need_mol=self.need_mol,
            drops_to_need=drops_to_need,
            minutes_to_need=minutes,
            acid_left_ml=max(0.0, self.charge.acid_volume_ml - acid_ml),
        )
