"""Where the rest of the sulfur is, once it is known how much has gone over.

Promise: locked + generated = what the charge can make, generated = held + delivered, nothing is negative. On the drip
route the liquor's course says what is held when so much has gone over; over hot acid the headspace holds its own
mixture; a burner holds nothing.
"""

from __future__ import annotations

from functools import lru_cache
from math import hypot

from monitor.chemistry.planning import most_so2_mol
from monitor.chemistry.sweep import sweep_of
from monitor.chemistry.trajectory import build_trajectory
from monitor.core.events import Accounted
from monitor.terms import AcidOnSulfurTerms, DripTerms, RunTerms

HOT_HELD_RELATIVE_U = 0.3  # of what stands over hot acid: its temperature is not measured; judgement

course_of = lru_cache(maxsize=4)(build_trajectory)  # it never changes, so runs of one charge share it


class Balance:
    """The balance of one charge."""

    def __init__(self, run: RunTerms) -> None:
        charge = run.charge
        self.charge_mol = most_so2_mol(charge)
        self.sweep = sweep_of(charge)
        self.course = course_of(charge) if isinstance(charge, DripTerms) else None
        self._hot = isinstance(charge, AcidOnSulfurTerms)
        if isinstance(charge, DripTerms):
            self._charge_relative_u = hypot(
                charge.salt_mass_g.u / charge.salt_mass_g.value, charge.salt_purity.u / charge.salt_purity.value
            )
            self.final_mol = self.course.at(charge.acid_volume_ml).delivered_mol if self.course else 0.0
        else:
            self._charge_relative_u = charge.sulfur_mass_g.u / charge.sulfur_mass_g.value
            if isinstance(charge, AcidOnSulfurTerms):
                acid = charge.acid_mol_per_l
                self._charge_relative_u = max(self._charge_relative_u, acid.u / acid.value)
            self.final_mol = self.charge_mol - (self.sweep.mixed_l / self.sweep.air_l_per_mol if self._hot else 0.0)

    def headspace_share(self, delivered_mol: float) -> float:
        """Of what is held when so much has gone over, the part that stands over the liquor, 0 to 1."""
        if self.course is None:
            return 1.0  # hot acid dissolves next to none
        acid = self.course.acid_ml_for_delivered(delivered_mol)
        at = self.course.at(self.course.end_ml if acid is None else acid)
        return at.held_headspace_mol / at.held_mol if at.held_mol > 0.0 else 0.0

    def account(self, t_s: float, drops: int, delivered_mol: float, u_delivered_mol: float) -> Accounted:
        """The account when so much has gone over, with the acid that goes with it by the course."""
        acid_ml = held = u_held = 0.0
        if self.course is not None:
            acid = self.course.acid_ml_for_delivered(delivered_mol)
            acid_ml = self.course.end_ml if acid is None else acid
            held = self.course.at(acid_ml).held_mol
            u_held = self.course.uncertainty(acid_ml, 0.0).held_mol
            first = self.course.first_gas_ml
            if first is not None and acid_ml < first:  # the liquor fills unseen: anything up to its fill may be there
                u_held = max(u_held, 0.5 * self.course.at(first).held_mol)
        elif self._hot:
            held = self.sweep.headspace_so2_mol(self.sweep.gas_l(delivered_mol))
            u_held = HOT_HELD_RELATIVE_U * held
        held = max(0.0, min(held, self.charge_mol - delivered_mol))
        u_generated = hypot(u_delivered_mol, u_held)
        return Accounted(
            t_s,
            drops,
            acid_ml,
            held + delivered_mol,
            held,
            delivered_mol,
            self.charge_mol - held - delivered_mol,
            u_generated,
            u_held,
            u_delivered_mol,
            hypot(u_generated, self._charge_relative_u * self.charge_mol),
        )
