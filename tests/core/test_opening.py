"""Closing down: when a flask is called safe to open, and that nothing else ever makes it so."""

from __future__ import annotations

from dataclasses import replace
from itertools import takewhile
from math import inf
from statistics import mean

import pytest
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from monitor.core.events import Closing, Noted, Overview, Reading
from monitor.core.heldwords import Left, held_words
from monitor.core.opening import AGAINST, CAUTION, Glance, Opening
from monitor.terms import BenchTerms
from tests.core.lines import DARK, tc_word
from tests.core.runs import BENCH, BURNER, SMALL, Run, ppm_sum, told, warm
from tests.examples import examples

HOLD_S = 60.0
BELOW_PPM, PLATE_C, DEADBAND_C = 0.25, 45.0, 2.0
LITTLE = Left(0.0002, 0.0001, 0.0001, 0.0)
QUICK: BenchTerms = replace(BENCH, limits=replace(BENCH.limits, open_hold_s=HOLD_S))
AIR = Reading(0.05, 0.1)
COOL = Reading(30.0, 0.8)


class Flask:
    """An `Opening` fed by hand, half a second at a time, five samples each."""

    def __init__(self, counts: str = "drop") -> None:
        self.opening = Opening(QUICK, counts)
        self.t_s, self.drops = 100.0, 40
        self.alarms: tuple[str, ...] = ()
        self.drift: str | None = None
        self.left = LITTLE
        self.said: list[str] = []
        self.opening.begin(self.t_s, self.drops)

    def run(self, seconds: float, gas: Reading = AIR, plate: Reading = COOL) -> Closing:
        for _ in range(round(2 * seconds)):
            self.t_s += 0.5
            for _ in range(5):
                self.opening.hear(gas)
            glance = Glance(self.t_s, gas, plate, self.drops, self.alarms, self.drift, self.left)
            self.said += self.opening.on_time(glance)
        now = self.opening.now
        assert now is not None
        return now


def test_it_is_safe_after_the_stated_time_and_not_before() -> None:
    """Air under the limit, no drop, a cool plate: safe at the end of the time, and the record says what was seen."""
    flask = Flask()
    almost = flask.run(HOLD_S - 0.5)
    assert not almost.safe
    assert almost.missing == ("59 s of 1 min 00 s under 0.25 ppm", "59 s of 1 min 00 s without a drop")
    done = flask.run(1.0)
    assert done.safe
    assert done.missing == ()
    assert "under 0.25 ppm for 1 min 00 s" in done.seen
    assert flask.said[0].startswith("closing down: By the account")
    (safe,) = (words for words in flask.said if words.startswith("safe to open by what was seen: "))
    assert safe.endswith(CAUTION)


def test_a_flask_that_holds_gas_is_never_called_safe_without_the_hood() -> None:
    """All else being so, 5.8 g still dissolved make it safe under the hood alone, until it is swept out."""
    flask = Flask()
    flask.left = Left(0.08, 0.01, 0.004, 0.0)
    now = flask.run(HOLD_S + 0.5)
    assert (now.safe, now.little) == (True, False)
    assert flask.said[-1].startswith("safe to open under the hood alone, for it still holds gas, by what was seen: ")
    flask.left = LITTLE
    assert flask.run(0.5).little
    assert flask.said[-1].startswith("safe to open by what was seen: ")


def test_a_hot_plate_alone_holds_it_up() -> None:
    """The words say how long the air has been good, and that the plate is still hot."""
    flask = Flask()
    now = flask.run(45.0, plate=Reading(85.0))
    assert "44 s of 1 min 00 s under 0.25 ppm" in now.missing
    assert "the plate is still at 85.0 °C, wanted under 45 °C" in now.missing
    now = flask.run(60.0, plate=Reading(85.0))
    assert now.missing == ("the plate is still at 85.0 °C, wanted under 45 °C",)
    assert flask.run(0.5, plate=Reading(44.9)).safe
    assert flask.run(0.5, plate=Reading(46.9)).safe  # within the deadband it stays
    assert not flask.run(0.5, plate=Reading(47.1)).safe
    assert flask.said[-1].startswith("no longer safe to open: the plate is still at 47.1 °C")


def test_an_unknown_reading_begins_the_time_anew_and_says_why() -> None:
    """One unknown sample among good ones is enough, and the reason and the time lost are in the words."""
    flask = Flask()
    flask.run(50.0)
    flask.opening.hear(Reading(None, why="gas channel at the top of its converter"))
    now = flask.run(0.5)
    assert now.under_s == 0.0
    assert now.begun_anew == (
        "begun anew after 50 s, at 0:02:30: the gas reading is unknown (gas channel at the top of its converter)"
    )
    assert flask.said[-1] == f"the time {now.begun_anew}"
    assert not flask.run(59.0).safe
    assert flask.run(1.5).safe


def test_gas_begins_the_time_anew() -> None:
    """The mean of ten seconds at the limit does it; a single wild sample does not."""
    flask = Flask()
    flask.run(30.0)
    flask.opening.hear(Reading(5.0))  # five ppm in one sample of a hundred: 0.05 ppm more
    assert flask.run(10.0).under_s > 39.0
    now = flask.run(12.0, gas=Reading(0.4))
    assert now.under_s == 0.0
    assert "the air reads 0.40 ppm, wanted under 0.25 ppm for 1 min 00 s" in now.missing
    assert "the air read 0.26 ppm, wanted under 0.25 ppm" in now.begun_anew


def test_over_the_range_is_gas_and_not_unknown() -> None:
    """A sensor over its range is known to read at least that."""
    flask = Flask()
    flask.run(30.0)
    now = flask.run(1.0, gas=Reading(None, why="over the sensor's range", at_least=20.0))
    assert now.begun_anew.endswith("ppm, wanted under 0.25 ppm")
    assert not any("unknown" in m for m in now.missing)


def test_a_drop_begins_the_still_time_anew() -> None:
    """A single drop means that the tap is not shut, whatever the air says."""
    flask = Flask()
    flask.run(61.0)
    flask.drops += 1
    now = flask.run(0.5)
    assert now.missing == ("0 s of 1 min 00 s without a drop",)
    assert not flask.run(59.0).safe
    assert flask.run(1.0).safe


def test_a_sweep_that_bubbles_is_told_to_end() -> None:
    """Where bubbles are counted, air that is led through keeps the counter busy; a drip counter does not see it."""
    for counts, said in (("bubble", True), ("drop", False)):
        flask = Flask(counts)
        flask.left = LITTLE._replace(air_l_per_min=0.5, liquor_c=22.0)
        (words,) = (m for m in flask.run(10.0).missing if f"without a {counts}" in m)
        assert ("end it for the last look" in words) == said


def test_a_blind_counter_sees_no_shut_tap() -> None:
    """Time in which the counter could not see counts as time in which drops may have fallen."""
    flask = Flask()
    flask.alarms = ("DRIP-BLOCKED",)
    assert "the counter cannot see (DRIP-BLOCKED)" in flask.run(70.0).missing
    flask.alarms = ()
    assert not flask.run(59.0).safe
    assert flask.run(1.5).safe


@pytest.mark.parametrize("tag", AGAINST)
def test_an_alarm_that_stands_is_against_it(tag: str) -> None:
    """No gas alarm, sensor fault or relay fault stands while a flask is called safe."""
    flask = Flask()
    flask.run(61.0)
    flask.alarms = (tag,)
    now = flask.run(0.5)
    assert not now.safe
    assert any(tag in missing for missing in now.missing)


def test_a_zero_that_drifted_is_against_it() -> None:
    """A reading whose zero is known to be off says nothing about clean air."""
    flask = Flask()
    flask.drift = "the gas sensor's zero has drifted"
    assert flask.run(70.0).missing == ("the gas sensor's zero has drifted",)


def test_an_unknown_plate_is_not_cool() -> None:
    """A plate that nobody reads is not taken for cool."""
    flask = Flask()
    assert flask.run(70.0, plate=Reading(None, why="open")).missing == ("the plate's reading is unknown (open)",)


def test_where_nothing_is_counted_it_says_so() -> None:
    """A weighed run cannot see its tap, and does not claim to."""
    now = Flask("").run(61.0)
    assert now.safe
    assert "nothing is counted on this run: see for yourself that no more gas is made" in now.seen


def test_hot_acid_is_not_as_cool_as_its_plate() -> None:
    """On the hot route a cool plate is said with what only the person can see."""
    flask = Flask("bubble")
    flask.opening = Opening(QUICK, "bubble", hot_acid=True)
    flask.opening.begin(flask.t_s, flask.drops)
    assert any("the acid cools more slowly" in words for words in flask.run(61.0).seen)


def test_leaving_and_coming_back_begins_from_nothing() -> None:
    """What was seen in an earlier closing down counts no more."""
    flask = Flask()
    assert flask.run(61.0).safe
    flask.opening.end()
    assert flask.opening.now is None
    flask.opening.begin(flask.t_s, flask.drops)
    assert not flask.run(1.0).safe


def test_what_is_held_is_said_in_grams() -> None:
    """0.09 mol is 5.77 g (64.058 g/mol, CIAAW 2021) and 37 ppm in 60 m³ (24.465 L/mol at 25 °C, ideal gas)."""
    words = held_words(Left(0.08, 0.01, 0.004, 0.61), 60.0, 2.0)
    assert "5.77 ± 0.51 g of SO2 (0.090 mol)" in words
    assert "5.1 g dissolved in the liquor and 0.64 g over it" in words
    assert "37 ppm in this room" in words
    assert "Another 39 g are locked in the charge" in words


def test_little_is_called_little_only_with_its_uncertainty_on_top() -> None:
    """In 60 m³ 2 ppm are 4.9 mmol: 3 mmol ± 1 are little, 3 mmol ± 3 are not."""
    assert "at most 0.26 g" in held_words(Left(0.003, 0.0, 0.0005, 0.0), 60.0, 2.0)
    assert "± 0.19 g" in held_words(Left(0.003, 0.0, 0.0015, 0.0), 60.0, 2.0)


class AgainstAModel(RuleBasedStateMachine):
    """Any history of readings, drops, plates and alarms: safe exactly when a dumb model that keeps all says so."""

    @initialize()
    def begin(self) -> None:
        self.flask = Flask()
        self.steps: list[tuple[float | None, float | None, bool, bool]] = []  # gas, plate, drop, alarm
        self.means: list[float] = []  # of the ten seconds before each step; infinite where it was unknown
        self.cool = False

    @rule(
        seconds=st.sampled_from([0.5, 3.0, 20.0, 61.0]),
        gas=st.sampled_from([0.013, 0.111, 0.197, 0.2393, 0.3119, 2.0301, None]),  # no mean of them is the limit
        plate=st.sampled_from([20.0, 44.0, 46.0, 48.0, None]),
        drop=st.booleans(),
        alarm=st.sampled_from([False, False, False, True]),
    )
    def go_on(self, seconds: float, gas: float | None, plate: float | None, drop: bool, alarm: bool) -> None:
        flask = self.flask
        flask.drops += drop
        flask.alarms = ("GAS-RISING",) if alarm else ()
        for step in range(round(2 * seconds)):
            unknown = Reading(None, why="a test")
            flask.run(0.5, unknown if gas is None else Reading(gas), unknown if plate is None else Reading(plate))
            self.steps.append((gas, plate, drop and step == 0, alarm))
            known = list(takewhile(lambda one: one is not None, (s[0] for s in reversed(self.steps[-20:]))))
            self.means.append(mean([one for one in known if one is not None]) if known else inf)
            self.cool = plate is not None and plate < PLATE_C + (DEADBAND_C if self.cool else 0.0)

    @invariant()
    def as_the_model_says(self) -> None:
        now = self.flask.opening.now
        if now is None:
            return
        need = round(2 * HOLD_S)
        under = next((n for n, ppm in enumerate(reversed(self.means)) if not ppm < BELOW_PPM), len(self.means))
        still = next((n for n, s in enumerate(reversed(self.steps)) if s[2]), len(self.steps))
        alarm = self.steps[-1][3]
        assert now.safe == (under - 1 >= need and still >= need and self.cool and not alarm)
        assert now.safe == (not now.missing)
        assert now.under_s == max(0, under - 1) / 2


TestAgainstAModel = AgainstAModel.TestCase
TestAgainstAModel.settings = examples(40)


# --- in the bench -------------------------------------------------------------------------------------------------


def closing_down(run: Run) -> None:
    """A small run that drips a little, then closes down."""
    run.samples(2.0)
    run.permit()
    run.samples(20.0, lambda board: board.drop() if board.seq % 10 == 0 else None)
    run.ask("permit", on=False)
    assert run.ask("phase", phase="closing down").accepted


def newest(run: Run) -> Closing:
    closing = [e for e in run.events if isinstance(e, Overview)][-1].closing
    assert closing is not None
    return closing


def opening_notes(run: Run) -> list[str]:
    return [e.text for e in run.events if isinstance(e, Noted) and e.what == "opening"]


def test_a_run_closes_down_and_may_be_ended() -> None:
    """The overview tells how it stands each second; once safe, the run ends without a reason."""
    run = Run(SMALL, QUICK)
    closing_down(run)
    run.samples(30.0)
    assert not newest(run).safe
    run.samples(32.0)
    assert newest(run).safe
    assert newest(run).held_g > 0.0
    assert run.ask("stop").accepted
    assert not any("ended by" in text for text in opening_notes(run))


def test_a_permit_that_is_on_holds_it_up() -> None:
    """While heat and acid may come by themselves no flask is safe; a burner's permit is its draught, and may stay."""
    for terms, held_up in ((SMALL, True), (BURNER, False)):
        run = Run(terms, QUICK)
        run.samples(2.0)
        run.permit()
        run.ask("phase", phase="closing down")
        run.samples(65.0)
        assert ("the permit is on" in " ".join(newest(run).missing)) == held_up
        assert newest(run).safe != held_up
        run.ask("permit", on=False)
        run.samples(2.0)
        assert newest(run).safe


def test_before_it_is_safe_a_reason_is_asked_for_and_kept() -> None:
    """Ended too early, the run asks why; a blank is no reason; the reason and what was missing stay in the record."""
    run = Run(SMALL, QUICK)
    closing_down(run)
    run.samples(30.0)
    for args in ({}, {"reason": "  "}):
        answer = run.ask("stop", **args)
        assert not answer.accepted
        assert answer.text.startswith("the flask is not known to be safe to open: 29 s of 1 min 00 s under 0.25 ppm")
        assert not run.bench.stopped
    assert run.ask("stop", reason="the hood goes off at six").accepted
    assert "ended by Ada before it was safe to open: the hood goes off at six; 29 s of" in opening_notes(run)[-1]


def test_while_generating_the_end_asks_for_a_reason_too() -> None:
    """A run that never closed down says so; one that never began needs no reason."""
    run = Run(SMALL, QUICK)
    run.samples(1.0)
    run.ask("phase", phase="generating")
    assert "the run is generating" in run.ask("stop").text
    assert run.ask("stop", reason="a drill").accepted
    idle = Run(SMALL, QUICK)
    idle.samples(1.0)
    assert idle.ask("stop").accepted


def test_silence_begins_it_anew() -> None:
    """A line that falls silent leaves readings unknown, so the time begins anew when it speaks again."""
    run = Run(SMALL, QUICK)
    closing_down(run)
    run.samples(40.0)
    run.silence(6.0)
    assert newest(run).under_s == 0.0
    assert "the gas reading is unknown (no word from the board)" in newest(run).begun_anew
    run.samples(50.0)
    assert not newest(run).safe


def test_a_warm_plate_and_gas_are_seen_in_the_bench() -> None:
    """What the board reads reaches the verdict: heat, gas, a dark gate."""
    run = Run(SMALL, QUICK)
    closing_down(run)
    warm(run, 85.0)
    run.board.gas_sum = ppm_sum(0.5)
    run.board.io |= DARK
    run.samples(30.0)
    words = " / ".join(newest(run).missing)
    assert "the plate is still at 8" in words
    assert "the air reads 0.5" in words
    assert "DRIP-BLOCKED" in words


def test_a_replay_says_the_same() -> None:
    """Cut and called otherwise, the same bytes and requests give the same verdicts at the same half seconds."""
    first, again = Run(SMALL, QUICK), Run(SMALL, QUICK)
    for run, ticks in ((first, False), (again, True)):
        closing_down(run)
        for n in range(700):
            run.board.gas_sum = ppm_sum(0.5 if 200 < n < 260 else 0.05)
            run.sample()
            if ticks:
                run.keep(run.bench.tick(run.bench.now))
    assert list(told(first.events)) == list(told(again.events))
    assert any("begun anew" in text for text in opening_notes(first))


def test_a_burner_has_no_flask_to_hold_anything() -> None:
    """Nothing is held on the burner's route; what is locked in its sulfur is named."""
    run = Run(BURNER, QUICK)
    run.board.tc = tc_word(22.0)
    run.samples(2.0)
    run.ask("phase", phase="closing down")
    run.samples(2.0)
    assert "at most 0.01 g of SO2 are left" in newest(run).held
    assert "locked in the charge" in newest(run).held
