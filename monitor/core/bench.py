"""The whole of a run as a value: bytes, time and requests in; events out.

Live, replay and the simulated bench call this same code. What it says depends on nothing but what it was given:
slow rules run on a fixed grid of half seconds of run time, whenever the caller happens to call, so a replayed
record gives the same events as the live run, to the last digit.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from monitor.core import frames
from monitor.core.accounts import account_of
from monitor.core.alarms import LATCHED, STANDING, AlarmBook, Input, RefusedError
from monitor.core.asked import bump_test, clear, end_before_safe, end_bump_test, weigh
from monitor.core.boardline import BoardLine
from monitor.core.bumptest import BumpTest
from monitor.core.catalogue import HEARD_ONLY_IN
from monitor.core.dripcheck import DripCheck
from monitor.core.events import (
    Answered,
    Event,
    Exposed,
    Forecast,
    Instant,
    Noted,
    Overview,
    Phase,
    PhaseChanged,
    Reading,
    Rejected,
    Request,
    Sampled,
    Taken,
)
from monitor.core.exposure import Exposure
from monitor.core.firstcheck import FirstCheck
from monitor.core.frames import Decoder, FrameRejected, HelloFrame, SampleFrame
from monitor.core.heldwords import Left
from monitor.core.hotsource import HotAdvice
from monitor.core.leakwatch import LeakWatch
from monitor.core.levels import Condition
from monitor.core.opening import AGAINST, Glance, Opening
from monitor.core.performance import Figures, performance_lines
from monitor.core.phases import PhaseWatch, Scene
from monitor.core.ready import Seen
from monitor.core.rules import LINK_LOST_S, Facts, Rules
from monitor.core.sensing import GasSense, PlateSense
from monitor.core.spans import run_clock
from monitor.core.timeline import Timeline
from monitor.core.trust import GasTrust, PlateTrust
from monitor.core.watches import MAKING, Watches
from monitor.terms import AcidOnSulfurTerms, BenchTerms, RunTerms

GRID_S: Final = 0.5  # exact in binary, so that the grid never drifts
GAS_OFF_DELAY_S: Final = 60.0  # or twice T90 if that is longer (alarm table)
GAS_TAGS = ("GAS-HIGH-HIGH", "GAS-HIGH", "GAS-LEAK", "GAS-RISING", "GAS-STEL", "GAS-TWA")
GAS_SEEN = ("GAS-HIGH-HIGH", "GAS-HIGH", "GAS-LEAK", "GAS-RISING")
CLEARING: Final = frozenset({Phase.RUNNING_OUT, Phase.CLOSING_DOWN, Phase.CLOSED})
CLEARED_EVERY_S: Final = 10.0  # a line of the account, while the flask is cleared
ENDED_WITH_THE_RUN: Final = frozenset({"phase", "bump-test", "stop"})  # may wait behind the one that stops it
STALE_SEND_S: Final = 2.0  # a keep-alive that should have gone out longer ago than this is not sent at all
HEATER_NOTES: Final = {"heater on": True, "heater off": False}  # a note in just these words, in any case
_STILL: Final = Reading(None, why="gas channel does not stir")
_NO_READING: Final = Reading(None, why="nothing received yet")


class Counts(NamedTuple):
    """How the line did: frames accepted, rejected by cause, samples missing, restarts, drops not believed."""

    accepted: int
    rejected: dict[str, int]
    lost: int
    restarts: int
    counter_faults: int


class Bench:
    """One run. `recording` is a run without a host: nothing is commanded, and the first drop begins generating."""

    def __init__(self, bench: BenchTerms, run: RunTerms, start: Instant, *, recording: bool = False) -> None:
        self.bench, self.run, self._recording = bench, run, recording
        self._at = start
        self._input_at = start  # of the newest input: ticks leave no trace, so the grid's UTC must not hang on them
        self._grid_s = (start.mono_s // GRID_S + 1.0) * GRID_S
        self._decoder, self._timeline = Decoder(), Timeline()
        self._plate_sense, self._gas_sense = PlateSense(bench.thermocouple), GasSense(bench.gas)
        self._plate_trust, self._gas_trust, self._drip_check = PlateTrust(), GasTrust(bench.gas), DripCheck()
        self._board = BoardLine(bench, recording=recording)
        self._watches = Watches(bench, run, recording=recording)
        self.account = account_of(bench, run)
        self._hot_advice = HotAdvice(run)
        self._opening = Opening(bench, self.account.counts, hot_acid=run.route == "acid-on-sulfur")
        self._exposure = Exposure(start.mono_s)
        self._leak = LeakWatch(bench.gas, bench.room)
        self._rules = Rules(bench.limits)
        gas_off_s = max(GAS_OFF_DELAY_S, 2.0 * bench.gas.t90_s)
        self._alarms = AlarmBook(dict.fromkeys(GAS_TAGS, gas_off_s))
        self._sample: Sampled | None = None
        self._heard_s = start.mono_s
        self._accepted = self._lost = self._restarts = self._counter_faults = self._drops = 0
        self._rejected: dict[str, int] = dict.fromkeys(frames.CAUSES, 0)
        self._rejected_all = self._rejected_when_heard = self._faults_when_heard = 0
        self.phase = Phase.GETTING_READY
        self._phase_watch = PhaseWatch(run, bench.limits.drip_stalled_s)
        self._phase_since_s = start.mono_s
        self._taken_back = False  # the permit, by a person
        self._begun = False  # gas may have been made
        self.stopped = False
        self._set_aside: set[str] = set()
        self._first_steps = True
        self._bump = BumpTest()
        self._hot_route = isinstance(run.charge, AcidOnSulfurTerms)
        self._check = FirstCheck(bench, run)

    # --- in ---------------------------------------------------------------------------------------------------

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        """Take bytes that arrived at `at`."""
        at = self._not_before(at)
        out: list[Event] = [Taken(at, data)]
        self._take_time(at, out)
        for item in self._decoder.feed(data):
            if isinstance(item, SampleFrame):
                self._on_sample(item, at, out)
            elif isinstance(item, FrameRejected):
                self._rejected[item.cause] += 1
                self._rejected_all += 1
                out.append(Rejected(at.mono_s, item.cause, item.line))
            elif isinstance(item, HelloFrame):
                self._board.on_hello(item, at.mono_s, out)
            else:
                self._board.on_answer(item, at.mono_s, out)
        return out

    def tick(self, at: Instant) -> list[Event]:
        """Let time pass up to `at`. Leaves no trace in the record: the grid decides what time does."""
        out: list[Event] = []
        self._advance(self._not_before(at), out)
        return out

    def command(self, request: Request, at: Instant) -> list[Event]:
        """Take a request; it is answered, and refused with a reason if it makes no sense."""
        at = self._not_before(at)
        out: list[Event] = [Taken(at, request)]
        self._take_time(at, out)
        try:
            text = self._obey(request, at, out)
        except RefusedError as why:
            out.append(Answered(at.mono_s, request.request_id, False, str(why)))
        else:
            out.append(Answered(at.mono_s, request.request_id, True, text))
        self._settle_permit(at, out)
        return out

    # --- out, for those who ask -------------------------------------------------------------------------------

    @property
    def counts(self) -> Counts:
        """How the line did so far."""
        rejected = {cause: n for cause, n in self._rejected.items() if n}
        return Counts(self._accepted, rejected, self._lost, self._restarts, self._counter_faults)

    @property
    def now(self) -> Instant:
        """The newest instant that the run knows of."""
        return self._at

    @property
    def drops(self) -> int:
        """Drops counted in this run."""
        return self._drops

    def exposure_now(self) -> Exposed:
        """The exposure averages now."""
        return self._exposure.at(self._at.mono_s)

    def alarm_figures(self) -> Figures:
        """How the alarms did so far."""
        return self._alarms.performance.figures(self._at.mono_s)

    def overview(self) -> Overview:
        """The whole run now."""
        t_s = self._at.mono_s
        s = self._sample
        known = s is not None and not self._link_is_lost(t_s)
        silent = Reading(None, why="no word from the board") if s is not None else _NO_READING
        return Overview(
            t_s=t_s,
            utc_s=self._at.utc_s,
            phase=self.phase,
            permit_on=self._board.permit_on,
            permit_why=self._board.permit_why,
            sample_age_s=None if s is None else t_s - self._heard_s,
            plate=s.plate if s is not None and known else silent,
            gas=s.gas if s is not None and known else silent,
            account=self.account.state(t_s),
            forecast=self.account.forecast(t_s),
            metering=self.account.metering(),
            exposure=self._exposure.at(t_s),
            alarms=self._alarms.standing(),
            frames_accepted=self._accepted,
            frames_rejected=self._rejected_all,
            frames_lost=self._lost,
            restarts=self._restarts,
            plate_minutes_to_limit=self._watches.plate.minutes_to_limit(),
            checks=self._check.lines(self._seen()) if self._check.wanted else (),
            leak=self._leak.leak,
            closing=self._opening.now,
            advice=self._hot_advice.standing,
            alarms_did=tuple(performance_lines(self.alarm_figures())),
        )

    # --- time -------------------------------------------------------------------------------------------------

    def _not_before(self, at: Instant) -> Instant:
        return at if at.mono_s >= self._at.mono_s else Instant(self._at.mono_s, at.utc_s)

    def _take_time(self, at: Instant, out: list[Event]) -> None:
        """Let time pass up to an input's instant, and mind its clock."""
        self._advance(at, out)
        self._input_at = at
        jumped = self._watches.clock_step(at)
        if jumped is not None:
            self._note(Condition("CLOCK-STEPPED", True, jumped), at, out)
            self._note(Condition("CLOCK-STEPPED", False), at, out)

    def _advance(self, to: Instant, out: list[Event]) -> None:
        if self._first_steps:
            self._first_steps = False
            self._enter(self.phase, "", self._at, out)
        while self._grid_s <= to.mono_s:
            at = Instant(self._grid_s, self._input_at.utc_s + (self._grid_s - self._input_at.mono_s))
            self._grid_s += GRID_S
            self._at = at
            self._on_grid(at, out, send=to.mono_s - at.mono_s <= STALE_SEND_S)
        self._at = to

    def _link_is_lost(self, t_s: float) -> bool:
        return t_s - self._heard_s > LINK_LOST_S

    def _on_grid(self, at: Instant, out: list[Event], *, send: bool) -> None:
        t_s = at.mono_s
        if self.account.cleared.going_on:
            self.account.cleared.to(t_s)
            if t_s % CLEARED_EVERY_S == 0.0:
                out.append(self.account.state(t_s))
        if not self._recording and not self._link_is_lost(t_s):
            self._follow_the_phase(at, out)
        gate_dark = self._sample is not None and bool(self._sample.io & frames.IO_GATE_DARK)
        ahead = self.account.forecast(t_s)
        facts = Facts(
            t_s=t_s,
            phase=self.phase,
            sample_age_s=t_s - self._heard_s,
            garbled=self._rejected_all > self._rejected_when_heard,
            repeats=self._counter_faults > self._faults_when_heard,
            account=self.account,
            coming_mol=ahead.still_to_come_mol if self.account.counts == "bubble" else 0.0,  # a drop's is counted
            exposure=self._exposure.pass_time(t_s),
            accepted=self._accepted,
            rejected=self._rejected_all,
            lost=self._lost,
            drops=self._drops,
            drip_fault=self._drip_check.words(t_s),
            counted_twice=self._drip_check.counted_twice(t_s),
            gate_dark=gate_dark,
        )
        for condition in self._rules.on_time(facts):
            self._note(condition, at, out)
        plate = self._sample.plate if self._sample is not None else None
        lost, zero_drift = self._link_is_lost(t_s), self._leak.zero_words()
        words = self._watches.on_time(at, self.phase, plate, self.account, ahead, lost, zero_drift, gate_dark)
        for condition in self._rules.said(words):
            self._note(condition, at, out)
        if t_s == int(t_s):
            self._tell_of_the_leak(at, ahead, out)
        known = plate.value if plate is not None and not lost else None
        gas_seen = bool(self._alarms.true_of(GAS_SEEN))
        advice = self._hot_advice.on_time(t_s, self.phase in MAKING, known, self.account, gas_seen=gas_seen)
        out.extend(Noted(t_s, "advice", text) for text in advice)
        if self._bump.time_is_up(t_s):
            end_bump_test(self._bump, self._alarms, "time up", "", at, out)
        out.extend(self._alarms.pass_time(at))
        if self.phase is Phase.CLOSING_DOWN:
            self._look_whether_it_may_be_opened(t_s, zero_drift, out)
        self._settle_permit(at, out)
        if send:
            self._board.on_grid(self._sample, buzzer=self._alarms.sounding(), out=out)
        if t_s == int(t_s):
            out.append(self.overview())

    def _follow_the_phase(self, at: Instant, out: list[Event]) -> None:
        account = self.account
        enough = account.charge_spent or (account.need_mol is not None and account.gone_over_mol >= account.need_mol)
        begun = self._phase_watch.next_phase(
            Scene(
                t_s=at.mono_s,
                phase=self.phase,
                phase_since_s=self._phase_since_s,
                permit_on=self._board.permit_on,
                permit_taken_back=self._taken_back,
                plate_c=None if self._sample is None else self._sample.plate.value,
                counts=account.counts,
                last_count_s=account.last_drop_s,
                enough=enough,
            )
        )
        if begun is not None:
            self._enter(begun, "", at, out)

    def _look_whether_it_may_be_opened(self, t_s: float, zero_drift: str | None, out: list[Event]) -> None:
        account, share = self.account.state(t_s), self.account.headspace_share()
        over_mol = share * account.held_mol
        cleared = self.account.cleared
        left = Left(
            liquor_mol=account.held_mol - over_mol,
            headspace_mol=over_mol,
            u_held_mol=account.u_held_mol,
            locked_mol=account.locked_mol,
            cleared_mol=cleared.freed_mol,
            air_l_per_min=cleared.air_l_per_min if cleared.going_on else None,
            liquor_c=cleared.liquor_c if cleared.going_on else None,
        )
        s = None if self._link_is_lost(t_s) else self._sample
        silent = Reading(None, why="no word from the board")
        gas, plate = (silent, silent) if s is None else (s.gas, s.plate)
        alarms = self._alarms.true_of(AGAINST)
        heats = self._board.permit_on and self.run.route != "burner"  # whose permit is its draught
        said = self._opening.on_time(Glance(t_s, gas, plate, self._drops, alarms, zero_drift, left, heats))
        out.extend(Noted(t_s, "opening", text) for text in said)

    def _tell_of_the_leak(self, at: Instant, ahead: Forecast, out: list[Event]) -> None:
        counted = self.run.meter != "weighings"  # between weighings nobody knows what is being made
        made = ahead.delivery_mol_per_min if counted else None
        if not self._leak.on_time(at.mono_s, made):
            return
        for tag, words in self._leak.words():
            if words is not None:
                self._note(Condition(tag, True, words), at, out)

    # --- frames -----------------------------------------------------------------------------------------------

    def _on_sample(self, frame: SampleFrame, at: Instant, out: list[Event]) -> None:
        t_s, new_drops, new_rejects, lost, odd = self._timeline.place(frame, at.mono_s)
        self._accepted += 1
        self._lost += lost
        if odd != "counter":  # a board that says the same again and again, or starts over and over, hangs
            self._heard_s = at.mono_s
            self._rejected_when_heard, self._faults_when_heard = self._rejected_all, self._counter_faults
        if odd is not None:
            self._on_oddity(odd, frame, at, out)
        must_be_hot = self._hot_route and self.phase is Phase.GENERATING
        plate = self._plate_trust.judge(t_s, frame, self._plate_sense.read(frame), must_be_hot)
        gas = self._gas_trust.judge(t_s, frame, self._gas_sense.read(frame))
        # A sum that repeats may be stuck where the noise had it: the same excess again and again is no rise.
        tier_changed = self._leak.on_sample(t_s, _STILL if self._gas_sense.still else gas)
        if self._leak.fault is not None and gas.value is not None:
            gas = Reading(None, why=self._leak.fault)
        if new_drops:
            self._drip_check.feed(t_s, frame, new_drops, lost)
            self._on_drops(new_drops, t_s, frame, at, out)
        sample = Sampled(t_s, self._drops, frame.rejects, plate, frame.cold_c, gas, frame.gas_span, frame.io)
        self._sample = sample
        out.append(sample)
        self._exposure.feed(t_s, gas)
        self._check.hear(gas)
        if self.phase is Phase.CLOSING_DOWN:
            self._opening.hear(gas)
        wanted = None if self._recording else self._board.permit_on
        self._watches.on_sample(t_s, plate)
        plate_fault = self._plate_sense.fault or self._plate_trust.fault
        gas_fault = self._gas_sense.fault or self._gas_trust.fault or self._leak.fault
        found = self._rules.on_sample(sample, plate_fault, gas_fault, wanted, new_rejects)
        if tier_changed:
            found.extend(self._rules.said(self._leak.words()))
        if found:
            for condition in found:
                self._note(condition, at, out)
            self._settle_permit(at, out)

    def _on_oddity(self, odd: str, frame: SampleFrame, at: Instant, out: list[Event]) -> None:
        t_s = at.mono_s
        if odd == "first":
            out.append(
                Noted(t_s, "board", f"first sample, {run_clock(frame.ms * 0.001)} after its start {frame.boot}")
            )
            self._board.trips_due = True
        elif odd == "counter":
            self._counter_faults += 1
            if self._counter_faults == self._faults_when_heard + 1:  # of many on end the first is told
                went = f"counters went back to {frame.drops} drops at {frame.seq}: not believed"
                out.append(Noted(t_s, "counter", went))
        else:
            self._restarts += 1
            self._board.trips_due = True
            said = f"start {frame.boot}" if odd == "restart" else f"another board with the same start {frame.boot}"
            out.append(Noted(t_s, "restart", f"board restarted: {said}"))
            self._note(Condition("BOARD-RESTARTED", True, said), at, out)
            self._note(Condition("BOARD-RESTARTED", False), at, out)
            self._settle_permit(at, out)

    def _on_drops(self, new: int, t_s: float, frame: SampleFrame, at: Instant, out: list[Event]) -> None:
        self._drops += new
        if self.phase is Phase.GETTING_READY and (self._recording or self._board.permit_on):
            self._enter(Phase.GENERATING, "", at, out)
        if self.account.counts:
            since_drop_s = ((frame.ms - frame.drop_ms) % (1 << 32)) * 0.001
            drop_t_s = max(t_s - since_drop_s, 0.0) if since_drop_s < 3600.0 else t_s
            self.account.count(t_s, new, drop_t_s, t_s if self._sample is None else self._sample.t_s)
            out.append(self.account.state(t_s))

    # --- conditions, permit, commands -------------------------------------------------------------------------

    def _note(self, condition: Condition, at: Instant, out: list[Event]) -> None:
        change = self._alarms.condition(at, condition.tag, condition.true, condition.detail)
        if change is not None:
            out.append(change)
        if condition.tag == "TRIP-LATCHED" and not condition.true:
            who = self._board.cleared_for()
            if who and self._alarms.state(condition.tag) in LATCHED:  # it may have been set aside meanwhile
                out.extend(self._alarms.ask(at, condition.tag, Input.RESET, who))

    def _settle_permit(self, at: Instant, out: list[Event]) -> None:
        if not self._board.permit_on:
            return
        against = self._alarms.against_permit(at)
        if against is not None:
            self._set_permit(False, f"taken away by {against}", at, out)

    def _set_permit(self, on: bool, why: str, at: Instant, out: list[Event]) -> None:
        self._board.set_permit(on, why, at.mono_s, buzzer=self._alarms.sounding(), out=out)

    def _enter(self, phase: Phase, who: str, at: Instant, out: list[Event]) -> None:
        self.phase, self._phase_since_s = phase, at.mono_s
        self._begun = self._begun or phase not in (Phase.GETTING_READY, Phase.CLOSED)
        out.append(PhaseChanged(at.mono_s, phase, who))
        if phase not in CLEARING:
            self.account.resume(at.mono_s)
        if phase is Phase.CLOSING_DOWN:
            self._opening.begin(at.mono_s, self._drops)
        else:
            self._opening.end()
        for tag, heard in HEARD_ONLY_IN.items():
            wanted = phase not in heard
            if wanted != (tag in self._set_aside):
                self._set_aside ^= {tag}
                what = Input.SUPPRESS if wanted else Input.UNSUPPRESS
                out.extend(self._alarms.ask(at, tag, what, who, f"phase {phase.value}"))

    def _obey(self, r: Request, at: Instant, out: list[Event]) -> str:
        """Do what is asked; give the answer in words, or raise RefusedError."""
        if self.stopped and r.kind in ENDED_WITH_THE_RUN:
            raise RefusedError("the run is closed")
        if r.kind in ("acknowledge", "reset", "shelve", "unshelve", "remove", "return"):
            tag = str(r.arg("tag"))
            what = Input[r.kind.upper()]
            if tag == "TRIP-LATCHED" and what is Input.RESET and self._alarms.state(tag) in STANDING:
                # The board holds this latch: ask it, and let go of ours when it has.
                self._board.ask_to_clear(r.who, out)
                return f"{tag}: the board is asked to clear its trip"
            changes = list(self._alarms.ask(at, tag, what, r.who, str(r.arg("reason")), float(r.arg("minutes", 0.0))))
            out.extend(changes)
            return f"{tag}: {what.value}" if changes else f"{tag}: nothing changed"
        if r.kind == "permit":
            return self._ask_permit(bool(r.arg("on")), r.who, at, out)
        if r.kind == "phase":
            wanted = Phase(str(r.arg("phase")))
            if wanted is Phase.CLOSED:
                raise RefusedError("a run is closed by stopping it: ask for stop")
            if wanted is not self.phase:
                self._enter(wanted, r.who, at, out)
            return f"phase: {self.phase.value}"
        if r.kind in ("checklist", "check", "seen"):
            return self._check.obey(r, at.mono_s, out)
        if r.kind == "stop":
            if self._begun or self._drops:
                end_before_safe(self._opening.now, self.phase, r, at.mono_s, out)
            self._set_permit(False, f"run ended by {r.who}", at, out)
            self._enter(Phase.CLOSED, r.who, at, out)
            out.append(Noted(at.mono_s, "alarms", "; ".join(performance_lines(self.alarm_figures()))))
            self.stopped = True
            return "the run is closed"
        if r.kind == "note":
            out.append(Noted(at.mono_s, "note", f"{r.who}: {r.arg('text')}"))
            return self._mind_the_heater(str(r.arg("text")))
        if r.kind == "clearing":
            return clear(self.account, self.phase, r, at.mono_s, out)
        if r.kind == "bump-test":
            return bump_test(self._bump, self._alarms, r, at, out, permit_on=self._board.permit_on)
        if r.kind in ("weighing", "undo-weighing"):
            before_mol = self.account.delivered_mol
            words = weigh(self.account, r, at.mono_s, out)
            self._watches.weighed(self.account.delivered_mol - before_mol)
            return words
        return self._hear_the_shell(r, at, out)

    def _mind_the_heater(self, text: str) -> str:
        """The permit's contact does not tell whether the plate is switched on; a person's note does, in these words.

        A burner has no heater, and its permit is its draught, which must not be lost while somebody lights it.
        """
        said = text.strip(" .").casefold()
        if said not in HEATER_NOTES or self.run.route == "burner":
            return "noted"
        on = HEATER_NOTES[said]
        self._plate_trust.say_heater(on)
        return "noted: the thermocouple is expected to show it within 30 s" if on else "noted"

    def _ask_permit(self, on: bool, who: str, at: Instant, out: list[Event]) -> str:
        self._taken_back = not on
        if not on:
            self._set_permit(False, f"taken back by {who}", at, out)
            return "permit off"
        if self.stopped:
            raise RefusedError("the run is closed")
        if self._bump.on:
            raise RefusedError("permit stays off: a bump test is announced; wait for its end, or end it")
        against = self._alarms.against_asking()
        if against:
            raise RefusedError(f"permit stays off: {', '.join(against)} first has to be dealt with and reset")
        if self._sample is None:
            raise RefusedError("permit stays off: nothing has been heard from the board yet")
        self._check.pass_it(self._seen(), at.mono_s, out)
        self._set_permit(True, f"asked for by {who}", at, out)
        return "permit on"

    def _seen(self) -> Seen:
        t_s = self._at.mono_s
        most_mol = self.account.forecast(t_s).final_delivered_mol
        return Seen(self._input_at.utc_s, self._link_is_lost(t_s), self._board.protocol, self._sample, most_mol)

    def _hear_the_shell(self, r: Request, at: Instant, out: list[Event]) -> str:
        if r.kind == "port":
            out.append(Noted(at.mono_s, "port", str(r.arg("text"))))
            if r.arg("open"):
                self._board.ask_who_is_there(out)
            return "heard"
        if r.kind == "refuse":
            raise RefusedError(str(r.arg("text")))
        failing = bool(r.arg("failing"))
        tag = "LOG-FAILING" if r.kind == "log" else str(r.arg("tag"))
        self._note(Condition(tag, failing, str(r.arg("text"))), at, out)
        out.append(Noted(at.mono_s, "record" if r.kind == "log" else "outlet", str(r.arg("text"))))
        return "heard"
