"""What has been swept or warmed out of a flask since the tap was shut, and what an account becomes by it.

Promise: locked + generated = charge and generated = held + delivered stay true, what was counted and weighed stays
what it was, and what is held only falls until more acid goes in. A person says how much air is led in and how warm
the liquor is; how much leaves by that is reckoned (`monitor.chemistry.clearing`), with an uncertainty of its own. It
is moved on from outside.
"""

from __future__ import annotations

from math import hypot

from monitor.chemistry.clearing import NOTHING, Charge, Clearing, Out, clearing_of
from monitor.core.events import Accounted


class Cleared:
    """The clearing of one run's flask."""

    def __init__(self, charge: Charge) -> None:
        self._charge = charge
        self._course: Clearing | None = None  # of the stretch that goes on, since the flow or the temperature changed
        self._air_l, self._to_s = 0.0, 0.0  # of that stretch
        self._before, self._refilled_mol = NOTHING, 0.0
        self.air_l_per_min, self.liquor_c = 0.0, 0.0

    @property
    def going_on(self) -> bool:
        """Whether the flask is being cleared."""
        return self._course is not None

    @property
    def out(self) -> Out:
        """What has left by it and has not been made up for since, and the part of what would be held that is."""
        before, now = self._before, NOTHING if self._course is None else self._course.out(self._air_l)
        freed_mol = before.freed_mol + now.freed_mol
        if freed_mol <= 0.0:
            return NOTHING
        still = max(0.0, 1.0 - self._refilled_mol / freed_mol)
        # The flow was stated by the same person all along: uncertainties add up, and do not average out.
        return Out(
            still * freed_mol,
            1.0 - still * (1.0 - before.part * now.part),
            still * (before.u_freed_mol + now.u_freed_mol),
            still * (before.u_part * now.part + before.part * now.u_part),
        )

    @property
    def freed_mol(self) -> float:
        """SO2 that has left by it and has not been made up for since, mol."""
        return self.out.freed_mol

    def refill(self, mol: float) -> None:
        """By the count so much more would have gone over: it fills the liquor instead, until that is full again."""
        if mol > 0.0 and self.freed_mol > 0.0:
            self._refilled_mol += mol

    def fill(self) -> None:
        """What is held is what the meter's account says, for nobody knows how far the liquor is filled again."""
        self._before = self._before._replace(part=1.0, u_part=0.0)

    def begin(self, t_s: float, air_l_per_min: float, liquor_c: float, kept: Accounted) -> None:
        """From now on so much air is led in, over a liquor so warm; `kept` is the account without any clearing."""
        self.end(t_s)
        now = self.applied(kept)
        left_mol = now.locked_mol + now.held_mol
        self._course = clearing_of(self._charge, kept.acid_ml, left_mol, now.held_mol, liquor_c)
        self._air_l, self._to_s = 0.0, t_s
        self.air_l_per_min, self.liquor_c = air_l_per_min, liquor_c

    def to(self, t_s: float) -> None:
        """Time has passed up to run second `t_s`."""
        if self._course is not None and t_s > self._to_s:
            self._air_l += self.air_l_per_min * (t_s - self._to_s) / 60.0
            self._to_s = t_s

    def end(self, t_s: float) -> None:
        """Nothing is led in any more; what has left has left."""
        self.to(t_s)
        self._before, self._refilled_mol = self.out, 0.0
        self._course = None
        self.air_l_per_min = 0.0

    def applied(self, a: Accounted) -> Accounted:
        """The account `a`, as it is kept by its meter, with what has been cleared put over."""
        out = self.out
        if out.freed_mol <= 0.0:
            return a
        charge_mol = a.locked_mol + a.generated_mol
        delivered_mol = min(a.delivered_mol + out.freed_mol, charge_mol)
        held_mol = min(out.part * a.held_mol, charge_mol - delivered_mol)
        generated_mol = held_mol + delivered_mol
        return a._replace(
            generated_mol=generated_mol,
            held_mol=held_mol,
            delivered_mol=delivered_mol,
            locked_mol=max(0.0, charge_mol - generated_mol),
            u_held_mol=hypot(out.part * a.u_held_mol, out.u_part * a.held_mol),
            u_delivered_mol=hypot(a.u_delivered_mol, out.u_freed_mol),
        )
