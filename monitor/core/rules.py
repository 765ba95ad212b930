"""What is wrong now: readings, counts and the account against their limits, as conditions true or false by tag.

Limits and deadbands live here, how a reading is held against them in `monitor.core.levels`; delays and the life cycle
live in `monitor.core.alarms`.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

from monitor.core.account import Account
from monitor.core.events import Exposed, Phase, Reading, Sampled
from monitor.core.frames import IO_CONTACT, IO_PERMIT, IO_TRIP_GAS, IO_TRIP_HEAT
from monitor.core.levels import Condition, Level, Loose
from monitor.terms import LimitTerms

SAMPLES: Final = 3  # in a row, before a gas or an upper plate limit counts (alarm table)
GAS_DEADBAND: Final = 0.20  # of the limit (alarm table)
FLOW_DEADBAND: Final = 0.05  # of the limit; published alarm-management tables, from memory
PLATE_DEADBAND, PLATE_DEADBAND_C = 0.01, 2.0  # the larger counts (alarm table)
LINK_LOST_S: Final = 3.0  # alarm table
NOISY_PART, NOISY_MIN = 0.05, 100  # of the last minute's lines (alarm table), when there were at least so many
OUTAGE_SAMPLES: Final = 30  # missing at one stroke, ten a second (protocol): LINK-LOST told of them
REJECTS_MIN: Final = 5  # edges in a minute, before they can outnumber the drops; common practice, no source
CONTACT_S: Final = 1.0  # alarm table
ACID_LOW_PART: Final = 0.10  # alarm table
ENOUGH_PART: Final = 0.95  # of the need, under which it is not enough after all: what is to come scatters
UNASKED_DROPS: Final = 3  # in a phase with the tap shut; the last one or two may still hang from it
MINUTE_S: Final = 60.0


class Facts(NamedTuple):
    """What the slower rules look at, twice a second."""

    t_s: float
    phase: Phase
    sample_age_s: float  # since the newest valid sample, or since the start
    garbled: bool  # bytes arrive, but no frame among them since the newest valid sample
    repeats: bool  # samples arrive whose counters do not go on
    account: Account
    coming_mol: float  # what would still go over by itself, and is not in the account's figure
    exposure: Exposed
    accepted: int
    rejected: int
    lost: int
    drops: int
    drip_fault: str | None  # what is wrong with the counting of drops
    counted_twice: bool  # it is that, so that they seem to fall faster than they do
    gate_dark: bool


class Rules:
    """The rules of one run."""

    def __init__(self, limits: LimitTerms) -> None:
        self._limits = limits
        self._gas = tuple(
            Level(tag, limit, GAS_DEADBAND * limit, "ppm", SAMPLES)
            for tag, limit in (
                ("GAS-HIGH", limits.gas_high_ppm),
                ("GAS-HIGH-HIGH", limits.gas_high_high_ppm),
            )
        )
        self._plate = tuple(
            Level(tag, limit, max(PLATE_DEADBAND * limit, PLATE_DEADBAND_C), "°C", samples)
            for tag, limit, samples in (
                ("PLATE-HIGH", limits.plate_high_c, 1),
                ("PLATE-HIGH-HIGH", limits.plate_high_high_c, SAMPLES),
            )
        )
        self._stel = Level("GAS-STEL", limits.gas_stel_ppm, GAS_DEADBAND * limits.gas_stel_ppm, "ppm in 15 min", 1)
        self._twa = Level("GAS-TWA", limits.gas_twa_ppm, GAS_DEADBAND * limits.gas_twa_ppm, "ppm in 8 h", 1)
        fast = limits.drip_fast_per_min
        self._fast = Level("DRIP-FAST", fast, FLOW_DEADBAND * fast, "drops/min", 1)
        flow = limits.gas_fast_l_per_min
        self._flow = Level("DRIP-FAST", flow, FLOW_DEADBAND * flow, "L/min of gas", 1)
        self._said: dict[str, bool] = {}
        self._words: dict[str, str | None] = {}  # what watches said last
        self._plate_loose, self._gas_loose = Loose(), Loose()
        self._plate_fault: str | None = None
        self._gas_fault: str | None = None
        self._trips = 0
        self._blocked_by = ""
        self._contact_wrong_since_s: float | None = None
        self._minute: deque[tuple[float, int, int, int, int, int]] = deque()  # two a second for a minute: 121 at most
        self._rejects = 0
        self._lost = 0  # as last looked at
        self._told_lost = 0  # of those, the ones in outages
        self._seen_from_s = 0.0  # when the gate was last dark
        self._phase: Phase | None = None
        self._phase_from_s, self._phase_drops = 0.0, 0  # when the present phase began, and what was counted by then

    def _changed(self, tag: str, true: bool) -> bool:
        """Whether this is news; what is seen is put into words only then."""
        if self._said.get(tag, False) == true:
            return False
        self._said[tag] = true
        return True

    def on_sample(
        self,
        s: Sampled,
        plate_fault: str | None,
        gas_fault: str | None,
        permit_wanted: bool | None,
        new_rejects: int,
    ) -> list[Condition]:
        """Look at one sample; give the conditions that changed.

        `permit_wanted` is what the host commands, or None when only the board's own word is known.
        """
        out: list[Condition] = []
        for level in self._gas:
            found = level.feed(s.gas)
            if found is not None:
                out.append(found)
        for level in self._plate:
            found = level.feed(s.plate)
            if found is not None:
                out.append(found)
        gas_fault = self._gas_loose.feed(s.gas, gas_fault)
        if gas_fault != self._gas_fault:  # another fault before the first has gone is told in its own words
            self._gas_fault = gas_fault
            out.append(Condition("GAS-FAULT", gas_fault is not None, gas_fault or ""))
        plate_fault = self._plate_loose.feed(s.plate, plate_fault)
        if plate_fault != self._plate_fault:
            self._plate_fault = plate_fault
            out.append(Condition("PLATE-FAULT", plate_fault is not None, plate_fault or ""))
        io = s.io
        trips = io & (IO_TRIP_HEAT | IO_TRIP_GAS)
        if trips != self._trips:
            self._trips = trips
            words = " and ".join(w for bit, w in ((IO_TRIP_HEAT, "overheat"), (IO_TRIP_GAS, "gas")) if io & bit)
            out.append(Condition("TRIP-LATCHED", bool(trips), f"the board saw {words}" if trips else ""))
        wanted = bool(io & IO_PERMIT) if permit_wanted is None else permit_wanted
        if bool(io & IO_CONTACT) == wanted:
            self._contact_wrong_since_s = None
        elif self._contact_wrong_since_s is None:
            self._contact_wrong_since_s = s.t_s
        wrong = self._contact_wrong_since_s is not None and s.t_s - self._contact_wrong_since_s >= CONTACT_S
        if self._changed("PERMIT-REFUSED", wrong):
            words = "asked on, relay is off" if wanted else "asked off, relay is on"
            out.append(Condition("PERMIT-REFUSED", wrong, words))
        self._rejects += new_rejects
        return out

    def said(self, words: Iterable[tuple[str, str | None]]) -> Iterator[Condition]:
        """Take what watches say, a tag and what is wrong or None; give what changed, if only in its words."""
        known = self._words
        for tag, wrong in words:
            if known.get(tag) != wrong:
                known[tag] = wrong
                yield Condition(tag, wrong is not None, wrong or "")

    def on_time(self, f: Facts) -> Iterator[Condition]:
        """Look at everything that needs no single sample; give the conditions that changed."""
        if f.phase is not self._phase:
            self._phase, self._phase_from_s, self._phase_drops = f.phase, f.t_s, f.drops
        for level, value in ((self._stel, f.exposure.stel_ppm), (self._twa, f.exposure.twa_ppm)):
            found = level.feed(Reading(value))
            if found is not None:
                yield found
        lost = f.sample_age_s > LINK_LOST_S
        words = f"no valid sample for {LINK_LOST_S:g} s"
        if f.repeats:
            words += "; samples arrive, but their counters do not go on: the board hangs, or starts over and over"
        elif f.garbled:
            words += "; bytes arrive but none makes a frame: wrong device, wrong baud, or a broken line"
        yield from self.said([("LINK-LOST", words if lost else None)])
        yield from self._over_a_minute(f)
        account = f.account
        if account.counts == "drop":
            yield from self._of_the_acid(f, account)
        elif account.counts == "bubble":
            yield from self._of_the_bubbles(f, account)
        if account.counts:
            yield from self._of_the_count(f, account, lost)
        yield from self._of_the_charge(account, f.coming_mol)

    def _over_a_minute(self, f: Facts) -> Iterator[Condition]:
        minute = self._minute
        if f.lost - self._lost >= OUTAGE_SAMPLES:
            self._told_lost += f.lost - self._lost
        self._lost = f.lost
        minute.append((f.t_s, f.accepted, f.rejected, f.lost - self._told_lost, f.drops, self._rejects))
        while minute[0][0] < f.t_s - MINUTE_S:
            minute.popleft()
        _, accepted_then, rejected_then, lost_then, drops_then, rejects_then = minute[0]
        accepted, rejected = f.accepted - accepted_then, f.rejected - rejected_then
        lost = f.lost - self._told_lost - lost_then
        drops, rejects = f.drops - drops_then, self._rejects - rejects_then
        lines, sent = accepted + rejected, accepted + lost
        bad = lines >= NOISY_MIN and rejected > NOISY_PART * lines
        gaps = sent >= NOISY_MIN and lost > NOISY_PART * sent
        if self._changed("LINK-NOISY", bad or gaps):
            words = f"{rejected} of {lines} lines of the last minute unreadable, {lost} samples missing"
            yield Condition("LINK-NOISY", bad or gaps, words)
        splash = rejects >= REJECTS_MIN and rejects > drops
        by = "dark" if f.gate_dark else "count" if f.drip_fault else "splash" if splash else ""
        if by != self._blocked_by:
            self._blocked_by = by
            words = f"{rejects} splashes against {drops} drops in the last minute"
            yield Condition("DRIP-BLOCKED", bool(by), "the gate is dark" if f.gate_dark else f.drip_fault or words)

    def _of_the_acid(self, f: Facts, account: Account) -> Iterator[Condition]:
        if self._fast.true or not f.counted_twice:
            found = self._fast.feed(Reading(account.drip_per_min(f.t_s)))
            if found is not None:
                yield found
        yield from self._unasked(f, account, f.phase is not Phase.GENERATING, "drops fall")
        if account.acid_volume_ml is not None:
            low = account.acid_left_fraction <= ACID_LOW_PART
            if self._changed("ACID-LOW", low):
                yield Condition("ACID-LOW", low, f"{account.acid_ml:.1f} mL of {account.acid_volume_ml:g} mL in")

    def _of_the_bubbles(self, f: Facts, account: Account) -> Iterator[Condition]:
        """Gas that runs out, or is swept or warmed out, bubbles by right; before the beginning none does."""
        found = self._flow.feed(Reading(account.gas_l_per_min(f.t_s)))
        if found is not None:
            yield found
        yield from self._unasked(f, account, f.phase is Phase.GETTING_READY, "bubbles come")

    def _unasked(self, f: Facts, account: Account, shut: bool, come: str) -> Iterator[Condition]:
        here = f.drops - self._phase_drops
        unasked = shut and here >= UNASKED_DROPS and account.drip_per_min(f.t_s) > 0.0
        if self._changed("DRIP-UNASKED", unasked):
            yield Condition("DRIP-UNASKED", unasked, f"{come} in the phase '{f.phase.value}'")

    def _of_the_count(self, f: Facts, account: Account, link_lost: bool) -> Iterator[Condition]:
        if f.gate_dark:  # drops may fall behind it, and DRIP-BLOCKED says so
            self._seen_from_s = f.t_s
            return
        last_s = account.last_drop_s
        still_s = 0.0 if last_s is None else f.t_s - max(last_s, self._seen_from_s, self._phase_from_s)
        stalled = (
            last_s is not None
            and f.phase is Phase.GENERATING
            and account.acid_left_fraction > 0.0
            and still_s >= self._limits.drip_stalled_s
        )
        # With a lost link nobody knows, and LINK-LOST says so.
        if not link_lost and self._changed("DRIP-STALLED", stalled):
            yield Condition("DRIP-STALLED", stalled, f"no {account.counts} for {self._limits.drip_stalled_s:g} s")

    def _of_the_charge(self, account: Account, coming_mol: float) -> Iterator[Condition]:
        spent = account.charge_spent
        if self._changed("CHARGE-SPENT", spent):
            by_acid = account.acid_volume_ml is not None
            amount = f"{account.acid_ml:.1f} mL of acid" if by_acid else f"{account.delivered_mol:.3f} mol gone over"
            yield Condition("CHARGE-SPENT", spent, f"after {amount}")
        if account.need_mol is not None:
            delivered, need = account.gone_over_mol, account.need_mol
            part = ENOUGH_PART if self._said.get("ENOUGH-DELIVERED", False) else 1.0
            enough = delivered + coming_mol >= part * need
            if self._changed("ENOUGH-DELIVERED", enough):
                coming = f" and {coming_mol:.3f} mol still to come" if coming_mol >= 0.0005 else ""
                yield Condition("ENOUGH-DELIVERED", enough, f"{delivered:.3f} mol{coming} of {need:.3f} mol wanted")
