"""The phases of a run: which begins by what is seen, and what to mind in each on each route.

A person may begin any phase but the end. By itself a phase begins only on what cannot be mistaken: the first drop or
the heat of a route that makes gas; a charge that is spent, or a need that has gone over, with nothing counted any
more; a permit that a person has taken back while nothing comes. Anything less is the person's to say: a tap that
clogs must raise its alarm, and must not be taken for one that was shut. It knows no clock and no alarm.
"""

from __future__ import annotations

from typing import NamedTuple

from monitor.core.events import Phase
from monitor.core.hotsource import LIT_C
from monitor.terms import AcidOnSulfurTerms, BurnerTerms, RunTerms

QUIET_S = 60.0  # where nothing is counted, a permit taken back for so long; common practice, no source


class Scene(NamedTuple):
    """What the bench knows at one step."""

    t_s: float
    phase: Phase
    phase_since_s: float
    permit_on: bool
    permit_taken_back: bool  # by a person, not by an alarm
    plate_c: float | None
    counts: str  # what is counted; empty where nothing is
    last_count_s: float | None
    enough: bool  # the charge is spent, or the need has gone over


class PhaseWatch:
    """Tells the next phase of one run when it is there to be seen."""

    def __init__(self, run: RunTerms, still_s: float) -> None:
        charge = run.charge
        self._hot_c: float | None = None
        if isinstance(charge, AcidOnSulfurTerms):
            self._hot_c = charge.window_c[0]
        elif isinstance(charge, BurnerTerms):
            self._hot_c = LIT_C
        self._still_s = still_s

    def next_phase(self, s: Scene) -> Phase | None:
        """The phase that has begun, or None."""
        if s.phase is Phase.GETTING_READY:
            hot = self._hot_c is not None and s.plate_c is not None and s.plate_c >= self._hot_c
            return Phase.GENERATING if hot and s.permit_on else None
        if s.phase is Phase.GENERATING:
            # One that a person has begun anew is given as long for its first drop.
            given_its_time = s.t_s - s.phase_since_s >= self._still_s
            return Phase.RUNNING_OUT if s.counts and s.enough and given_its_time and self._still(s) else None
        if s.phase is Phase.RUNNING_OUT:
            over = s.permit_taken_back and s.t_s - s.phase_since_s >= QUIET_S and self._still(s)
            return Phase.CLOSING_DOWN if over else None
        return None

    def _still(self, s: Scene) -> bool:
        return s.last_count_s is None or s.t_s - s.last_count_s >= self._still_s
