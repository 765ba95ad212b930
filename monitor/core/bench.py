"""The whole of a run as a value: bytes, time and requests in; events out.

Live, replay and the simulated bench call this same code. What it says depends on nothing but what it was given:
slow rules run on a fixed grid of half seconds of run time, whenever the caller happens to call, so a replayed
record gives the same events as the live run, to the last digit.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from monitor.core import frames
from monitor.core.account import Weighing, WeighingRefusedError
from monitor.core.accounts import account_of
from monitor.core.alarms import LATCHED, STANDING, AlarmBook, Input, RefusedError
from monitor.core.bumptest import FIRST_TO_BE_CLEAR, SET_ASIDE, BumpTest
from monitor.core.catalogue import HEARD_ONLY_IN
from monitor.core.corrections import correction_words
from monitor.core.dripcheck import DripCheck
from monitor.core.events import (
    Answered,
    Event,
    Exposed,
    Forecast,
    Instant,
    Noted,
    Overview,
    PermitChanged,
    Phase,
    PhaseChanged,
    Reading,
    Rejected,
    Request,
    Sampled,
    Send,
    Taken,
)
from monitor.core.exposure import Exposure
from monitor.core.frames import AnswerFrame, Decoder, FrameRejected, HelloFrame, SampleFrame
from monitor.core.heldwords import Left
from monitor.core.hotsource import HotAdvice
from monitor.core.leakwatch import LeakWatch
from monitor.core.opening import AGAINST, Glance, Opening
from monitor.core.performance import Figures, performance_lines
from monitor.core.phases import PhaseWatch, Scene
from monitor.core.ready import NoSuchMarkError, ReadyList, Seen
from monitor.core.rules import Condition, Facts, Rules
from monitor.core.sensing import GasSense, PlateSense, gas_trip_sum, tc_trip_quarters
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
MOST_AIR_L_PER_MIN: Final = 100.0
LIQUOR_C = (0.0, 110.0)  # a watery liquor boils
STALE_SEND_S: Final = 2.0  # a keep-alive that should have gone out longer ago than this is not sent at all
HEATER_NOTES: Final = {"heater on": True, "heater off": False}  # a note in just these words, in any case
PROTOCOL: Final = 1
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
        self._permit_asked = False
        self._permit_why = "not asked for"
        self.stopped = False
        self._n = 0  # number of the newest command
        self._trips_due = False  # the board has yet to confirm its trip limits
        self._set_aside: set[str] = set()
        self._clear_asked_by = ""  # who asked the board to clear its trip, until it has
        self._first_steps = True
        self._protocol: int | None = None  # what the board says that it speaks
        self._bump = BumpTest()
        self._hot_route = isinstance(run.charge, AcidOnSulfurTerms)
        self._ready: ReadyList | None = None  # the check that the first permit waits for, until it is given

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
                self._on_hello(item, at, out)
            else:
                self._on_answer(item, at, out)
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
            permit_on=self._permit_asked,
            permit_why=self._permit_why,
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
            checks=() if self._ready is None else self._ready.lines(self._seen()),
            leak=self._leak.leak,
            closing=self._opening.now,
            advice=self._hot_advice.standing,
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
        return t_s - self._heard_s > 3.0

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
            sample=self._sample,
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
            self._end_bump_test("time up", "", at, out)
        out.extend(self._alarms.pass_time(at))
        if self.phase is Phase.CLOSING_DOWN:
            self._look_whether_it_may_be_opened(t_s, zero_drift, out)
        self._settle_permit(at, out)
        if send and not self._recording:
            if self._trips_due:
                self._send_trips(out)
            self._keep_alive(out)
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
                permit_on=self._permit_asked,
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
        heats = self._permit_asked and self.run.route != "burner"  # whose permit is its draught
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
        if self._ready is not None:
            self._ready.hear(gas)
        if self.phase is Phase.CLOSING_DOWN:
            self._opening.hear(gas)
        wanted = None if self._recording else self._permit_asked
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
            self._trips_due = True
        elif odd == "counter":
            self._counter_faults += 1
            if self._counter_faults == self._faults_when_heard + 1:  # of many on end the first is told
                went = f"counters went back to {frame.drops} drops at {frame.seq}: not believed"
                out.append(Noted(t_s, "counter", went))
        else:
            self._restarts += 1
            self._trips_due = True
            said = f"start {frame.boot}" if odd == "restart" else f"another board with the same start {frame.boot}"
            out.append(Noted(t_s, "restart", f"board restarted: {said}"))
            self._note(Condition("BOARD-RESTARTED", True, said), at, out)
            self._note(Condition("BOARD-RESTARTED", False), at, out)
            self._settle_permit(at, out)

    def _on_drops(self, new: int, t_s: float, frame: SampleFrame, at: Instant, out: list[Event]) -> None:
        self._drops += new
        if self.phase is Phase.GETTING_READY and (self._recording or self._permit_asked):
            self._enter(Phase.GENERATING, "", at, out)
        if self.account.counts:
            since_drop_s = ((frame.ms - frame.drop_ms) % (1 << 32)) * 0.001
            drop_t_s = max(t_s - since_drop_s, 0.0) if since_drop_s < 3600.0 else t_s
            self.account.count(t_s, new, drop_t_s, t_s if self._sample is None else self._sample.t_s)
            out.append(self.account.state(t_s))

    def _on_hello(self, hello: HelloFrame, at: Instant, out: list[Event]) -> None:
        self._protocol = hello.protocol
        out.append(Noted(at.mono_s, "board", f"start {hello.boot} ({hello.why}), firmware {hello.firmware}"))
        if hello.protocol != PROTOCOL:
            out.append(
                Noted(
                    at.mono_s,
                    "board",
                    f"the board speaks protocol {hello.protocol}, wanted is {PROTOCOL}: load its firmware anew",
                )
            )
        self._trips_due = True

    def _on_answer(self, answer: AnswerFrame, at: Instant, out: list[Event]) -> None:
        if answer.command == "L" and answer.result == 0:
            self._trips_due = False
        elif answer.result != 0:
            if answer.command == "C":
                self._clear_asked_by = ""
            what = {"C": "to clear its trip: the cause still stands", "L": "its trip limits"}.get(
                answer.command, answer.command
            )
            out.append(Noted(at.mono_s, "refused", f"the board refused {what}"))

    # --- conditions, permit, commands -------------------------------------------------------------------------

    def _note(self, condition: Condition, at: Instant, out: list[Event]) -> None:
        change = self._alarms.condition(at, condition.tag, condition.true, condition.detail)
        if change is not None:
            out.append(change)
        if condition.tag == "TRIP-LATCHED" and not condition.true and self._clear_asked_by:
            who, self._clear_asked_by = self._clear_asked_by, ""
            if self._alarms.state(condition.tag) in LATCHED:  # it may have been set aside meanwhile
                out.extend(self._alarms.ask(at, condition.tag, Input.RESET, who))

    def _settle_permit(self, at: Instant, out: list[Event]) -> None:
        if not self._permit_asked:
            return
        against = self._alarms.against_permit(at)
        if against is not None:
            self._set_permit(False, f"taken away by {against}", at, out)

    def _set_permit(self, on: bool, why: str, at: Instant, out: list[Event]) -> None:
        self._permit_why = why
        if on != self._permit_asked:
            self._permit_asked = on
            out.append(PermitChanged(at.mono_s, on, why))
            self._keep_alive(out)

    def _next_n(self) -> int:
        self._n = (self._n + 1) & 0xFFFF
        return self._n

    def _keep_alive(self, out: list[Event]) -> None:
        if not self._recording:
            buzzer = self._alarms.sounding()
            out.append(Send(frames.keep_alive(self._next_n(), self._permit_asked, buzzer)))

    def _send_trips(self, out: list[Event]) -> None:
        cold_c = self._sample.cold_c if self._sample is not None and self._sample.cold_c is not None else 25.0
        offset_c = self.bench.thermocouple.offset_c.value
        heat = tc_trip_quarters(self.bench.limits.plate_high_high_c, offset_c, cold_c)
        gas = gas_trip_sum(self.bench.limits.gas_high_high_ppm, self.bench.gas)
        out.append(Send(frames.set_trips(self._next_n(), heat, gas)))

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
        if r.kind in ("acknowledge", "reset", "shelve", "unshelve", "remove", "return"):
            tag = str(r.arg("tag"))
            what = Input[r.kind.upper()]
            if tag == "TRIP-LATCHED" and what is Input.RESET and self._alarms.state(tag) in STANDING:
                # The board holds this latch: ask it, and let go of ours when it has.
                self._clear_asked_by = r.who
                out.append(Send(frames.clear_trips(self._next_n())))
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
            return self._check(r, at, out)
        if r.kind == "stop":
            self._mind_the_flask(r, at, out)
            self._set_permit(False, f"run ended by {r.who}", at, out)
            self._enter(Phase.CLOSED, r.who, at, out)
            out.append(Noted(at.mono_s, "alarms", "; ".join(performance_lines(self.alarm_figures()))))
            self.stopped = True
            return "the run is closed"
        if r.kind == "note":
            out.append(Noted(at.mono_s, "note", f"{r.who}: {r.arg('text')}"))
            return self._mind_the_heater(str(r.arg("text")))
        if r.kind == "clearing":
            return self._clear(float(r.arg("air_l_per_min")), float(r.arg("liquor_c")), r.who, at, out)
        if r.kind == "bump-test":
            return self._bump_test(r, at, out)
        if r.kind in ("weighing", "undo-weighing"):
            return self._weigh(r, at, out)
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

    def _mind_the_flask(self, r: Request, at: Instant, out: list[Event]) -> None:
        """A run that may have made gas ends when its flask may be opened, or with a reason."""
        closing = self._opening.now
        if (closing is not None and closing.safe) or not (self._begun or self._drops):
            return
        lacks = "; ".join(closing.missing) if closing is not None else f"the run is {self.phase.value}"
        reason = str(r.arg("reason")).strip()
        if not reason:
            raise RefusedError(f"the flask is not known to be safe to open: {lacks}; to end the run now, say why")
        out.append(Noted(at.mono_s, "opening", f"ended by {r.who} before it was safe to open: {reason}; {lacks}"))

    def _clear(self, air_l_per_min: float, liquor_c: float, who: str, at: Instant, out: list[Event]) -> str:
        if self.phase not in (Phase.RUNNING_OUT, Phase.CLOSING_DOWN):
            raise RefusedError(
                "a flask is cleared when no gas is being made: begin running out or closing down first"
            )
        if not 0.0 <= air_l_per_min <= MOST_AIR_L_PER_MIN:
            raise RefusedError(f"found {air_l_per_min:g} L of air a minute, wanted 0 to {MOST_AIR_L_PER_MIN:g}")
        if not LIQUOR_C[0] <= liquor_c <= LIQUOR_C[1]:
            raise RefusedError(f"found a liquor at {liquor_c:g} °C, wanted {LIQUOR_C[0]:g} to {LIQUOR_C[1]:g} °C")
        self.account.clear(at.mono_s, air_l_per_min, liquor_c)
        words = f"{air_l_per_min:g} L of air a minute, liquor at {liquor_c:g} °C"
        out.extend((Noted(at.mono_s, "clearing", f"{who}: {words}"), self.account.state(at.mono_s)))
        return words

    def _bump_test(self, r: Request, at: Instant, out: list[Event]) -> str:
        minutes = float(r.arg("minutes"))
        if minutes == 0.0:
            if not self._bump.on:
                raise RefusedError("no bump test is announced")
            self._end_bump_test(f"ended by {r.who}", r.who, at, out)
            return "bump test ended: a leak is told of again"
        if self._permit_asked:
            raise RefusedError("a bump test is made with the permit off: take it back first")
        raised = [t for t in FIRST_TO_BE_CLEAR if self._alarms.state(t) in STANDING | LATCHED]
        if raised:
            raise RefusedError(f"no bump test now: {', '.join(raised)} first has to be dealt with")
        try:
            self._bump.begin(at.mono_s, minutes)
        except ValueError as why:
            raise RefusedError(str(why)) from why
        words = f"bump test announced for {minutes:g} min"
        out.append(Noted(at.mono_s, "bump test", f"{r.who}: {words}; the fixed limits stay"))
        for tag in SET_ASIDE:
            out.extend(self._alarms.ask(at, tag, Input.SUPPRESS, r.who, words))
        return f"{words}: {' and '.join(SET_ASIDE)} are set aside, the permit stays off"

    def _end_bump_test(self, why: str, who: str, at: Instant, out: list[Event]) -> None:
        self._bump.end()
        out.append(Noted(at.mono_s, "bump test", why))
        for tag in SET_ASIDE:
            out.extend(self._alarms.ask(at, tag, Input.UNSUPPRESS, who, ""))

    def _weigh(self, r: Request, at: Instant, out: list[Event]) -> str:
        try:
            if r.kind == "undo-weighing":
                corrected = self.account.undo_weighing(at.mono_s, r.who)
            else:
                weighing = Weighing(str(r.arg("what")), float(r.arg("grams")), float(r.arg("u_g")))
                corrected = self.account.weigh(at.mono_s, r.who, weighing)
        except WeighingRefusedError as why:
            raise RefusedError(str(why)) from why
        out.extend((corrected, self.account.state(at.mono_s)))
        return correction_words(corrected, self.account.counts)

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
        if self._ready is not None:
            missing = self._ready.missing(self._seen())
            if missing:
                raise RefusedError(f"permit stays off: the check before the run lacks {'; '.join(missing)}")
            waived = ", ".join(line.item for line in self._ready.lines(self._seen()) if line.outcome == "waived")
            out.append(Noted(at.mono_s, "check", f"done; waived: {waived}" if waived else "done, nothing waived"))
            self._ready = None
        self._set_permit(True, f"asked for by {who}", at, out)
        return "permit on"

    def _seen(self) -> Seen:
        t_s = self._at.mono_s
        forecast = self.account.forecast(t_s)
        most_mol = None if forecast is None else forecast.final_delivered_mol
        return Seen(self._input_at.utc_s, self._link_is_lost(t_s), self._protocol, self._sample, most_mol)

    def _check(self, r: Request, at: Instant, out: list[Event]) -> str:
        if r.kind == "checklist":
            self._ready = ReadyList(self.bench, self.run)
            out.append(Noted(at.mono_s, "check", "the permit waits for the check before the run"))
            return "heard"
        if self._ready is None:
            if r.kind == "seen":
                return "heard"
            raise RefusedError("there is no check to make: none is wanted, or it is done")
        item = str(r.arg("item"))
        if r.kind == "seen":
            self._ready.tell(item, bool(r.arg("ok")), str(r.arg("text")))
            return "heard"
        try:
            words = self._ready.mark(item, str(r.arg("outcome")), str(r.arg("reason")), r.who)
        except NoSuchMarkError as why:
            raise RefusedError(str(why)) from why
        out.append(Noted(at.mono_s, "check", f"{r.who}: {words}"))
        return words

    def _hear_the_shell(self, r: Request, at: Instant, out: list[Event]) -> str:
        if r.kind == "port":
            out.append(Noted(at.mono_s, "port", str(r.arg("text"))))
            if r.arg("open"):
                self._trips_due = True
                out.append(Send(frames.who_is_there(self._next_n())))
            return "heard"
        if r.kind == "refuse":
            raise RefusedError(str(r.arg("text")))
        failing = bool(r.arg("failing"))
        tag = "LOG-FAILING" if r.kind == "log" else str(r.arg("tag"))
        self._note(Condition(tag, failing, str(r.arg("text"))), at, out)
        out.append(Noted(at.mono_s, "record" if r.kind == "log" else "outlet", str(r.arg("text"))))
        return "heard"
