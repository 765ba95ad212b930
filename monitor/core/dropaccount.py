"""The account by acid drops: a place on the course that the charge takes as its acid goes in.

The liquor's course (`monitor.chemistry.trajectory`) depends on the acid that has gone in and on nothing else. The
course is computed once a run; without weighings its uncertainties are read from it.
"""

from __future__ import annotations

from math import ceil, hypot
from typing import ClassVar

from monitor.chemistry.trajectory import Trajectory
from monitor.core.account import RELEASE_LAG_S
from monitor.core.balance import course_of
from monitor.core.events import Accounted, Forecast
from monitor.core.metered import MeteredAccount, Row
from monitor.terms import BenchTerms, DripTerms, RunTerms


class DropAccount(MeteredAccount):
    """The account of one run on the acid-drip route by its drops."""

    counts: ClassVar[str] = "drop"

    def __init__(self, bench: BenchTerms, run: RunTerms) -> None:
        if not isinstance(run.charge, DripTerms):
            raise TypeError("the drop account is for the acid-drip route")
        super().__init__(run, bench.drops.volume_ul)
        self.charge = run.charge
        self.acid_volume_ml = run.charge.acid_volume_ml
        self.course: Trajectory = course_of(run.charge)
        self._need_ml = None if self.need_mol is None else self.course.acid_ml_for_delivered(self.need_mol)

    @property
    def acid_ml(self) -> float:
        """Acid that has gone in, mL."""
        return self.counted_ul * 1e-3

    @property
    def acid_left_fraction(self) -> float:
        """Of the acid that the run began with, 0 to 1."""
        return max(0.0, 1.0 - self.acid_ml / self.charge.acid_volume_ml)

    @property
    def charge_spent(self) -> bool:
        """Whether the limiting reagent is used up: the salt's sulfur(IV) all turned, or the acid all in."""
        return self.acid_ml >= min(self.course.acid_ml_to_spend, self.charge.acid_volume_ml)

    def _delivered_of(self, counted_ul: float) -> float:
        return self.course.at(counted_ul * 1e-3).delivered_mol

    def _parts_of(self, counted_ul: float) -> Row:
        return self.course.delivered_parts(counted_ul * 1e-3)

    def _most_of(self, counted_ul: float) -> float:
        return self.course.at(counted_ul * 1e-3).generated_mol

    def _kept(self, t_s: float) -> Accounted:
        acid_ml = self.acid_ml
        at = self.course.at(acid_ml)
        u = self.course.uncertainty(acid_ml, self.u_volume_ul / self.volume_ul)
        generated, delivered, u_delivered, u_held = at.generated_mol, at.delivered_mol, u.delivered_mol, u.held_mol
        if self.weighings:  # what a weighing moves from held to delivered was made all the same
            delivered = self.delivered_mol
            generated = max(generated, delivered)
            u_delivered = self._u_delivered_mol()
            u_held = min(u_held, hypot(u.generated_mol, u_delivered))
        return Accounted(
            t_s,
            self.drops,
            acid_ml,
            generated,
            generated - delivered if self.weighings else at.held_mol,
            delivered,
            self.course.charge_mol - generated if self.weighings else at.locked_mol,
            u.generated_mol,
            u_held,
            u_delivered,
            u.locked_mol,
        )

    def headspace_share(self) -> float:
        """Of what is held, the part that stands over the liquor."""
        at = self.course.at(self.acid_ml)
        return at.held_headspace_mol / at.held_mol if at.held_mol > 0.0 else 0.0

    def _acid_ml_to_need(self, need_mol: float) -> float | None:
        """Acid that will have brought the need over, mL, what the weighings taught put in."""
        if not self.corrected:
            return self._need_ml
        return self.course.acid_ml_for_delivered(max(0.0, need_mol - (self.delivered_mol - self._by_course())))

    def _by_course(self) -> float:
        return self._delivered_of(self.counted_ul)

    def forecast(self, t_s: float) -> Forecast:
        """Where the run is heading at the present drip rate.

        `still_to_come_mol` is what goes over by itself if the tap is shut now: the part of the delivered figure
        that is still on its way, since a liquor gives up its excess only over some seconds.
        """
        rate = self.drip_per_min(t_s)
        acid_ml, drop_ml = self.acid_ml, self.volume_ul * 1e-3
        here = self._by_course()
        before = self.course.at(max(0.0, acid_ml - drop_ml)).delivered_mol
        per_drop_mol = max(0.0, here - before) if self.drops else 0.0
        final_mol = self._delivered_of(self.charge.acid_volume_ml * 1e3) + self.delivered_mol - here
        drops_to_need: int | None = None
        minutes: float | None = None
        need_ml = None if self.need_mol is None else self._acid_ml_to_need(self.need_mol)
        if need_ml is not None:
            drops_to_need = max(0, ceil((need_ml - acid_ml) / drop_ml - 1e-9))
            if rate > 0.0 or drops_to_need == 0:
                minutes = drops_to_need / rate if drops_to_need else 0.0
        return Forecast(
            drip_per_min=rate,
            delivery_mol_per_min=per_drop_mol * rate,
            final_delivered_mol=max(final_mol, self.delivered_mol),
            still_to_come_mol=per_drop_mol * rate * (RELEASE_LAG_S / 60.0),
            need_mol=self.need_mol,
            drops_to_need=drops_to_need,
            minutes_to_need=minutes,
            acid_left_ml=max(0.0, self.charge.acid_volume_ml - acid_ml),
        )
