"""The roll of benches against a plain model, and the promises that a person relies on."""

from __future__ import annotations

import json
from typing import Any, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.benches.keys import Cause
from monitor.benches.levels import Level, name_key
from monitor.benches.roll import Message, Roll
from monitor.core.events import AlarmState, Phase, Priority, StandingAlarm
from tests.benches.words import SESSIONS, alarm, at, change, kept, live, run, speak, voice

HIGH, MEDIUM, LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW
BENCHES = ("hood-2", "hood-10", "b")
ALARMS = (
    alarm("GAS-HIGH", HIGH),
    alarm("GAS-HIGH", HIGH, AlarmState.ACKNOWLEDGED),
    alarm("GAS-HIGH-HIGH", HIGH, AlarmState.LATCHED_ACKNOWLEDGED),
    alarm("DRIP-FAST", MEDIUM),
    alarm("PLATE-HIGH", MEDIUM, AlarmState.RETURNED_UNACKNOWLEDGED),
    alarm("PLATE-HIGH", MEDIUM, AlarmState.ACKNOWLEDGED),
    alarm("ACID-LOW", LOW),
    alarm("ACID-LOW", LOW, AlarmState.SHELVED),
    alarm("GAS-STEL", MEDIUM, AlarmState.OUT_OF_SERVICE),
    alarm("CHARGE-SPENT", LOW, AlarmState.ACKNOWLEDGED),
)


KINDS = ("watching", "watching", "ended", "lost", "stalled", "state", "standing", "standing", "junk")


class Step(NamedTuple):
    """Some time passes, then one message comes."""

    wait_s: float
    message: Message
    what: str


def words() -> st.SearchStrategy[tuple[Message, str]]:
    """Something that a bench says, live or kept by the broker, or something that is none of its words."""
    return st.builds(
        _word,
        st.sampled_from(BENCHES),
        st.sampled_from(SESSIONS),
        st.sampled_from(KINDS),
        st.lists(st.sampled_from(ALARMS), max_size=3, unique_by=lambda a: a.tag),
        st.sampled_from(Phase),
        st.integers(1, 40),
        st.sampled_from(("live", "live", "kept")),
        st.integers(0, 30),
    )


def _word(
    bench: str,
    session: str,
    what: str,
    alarms: list[StandingAlarm],
    phase: Phase,
    number: int,
    how: str,
    left_s: int,
) -> tuple[Message, str]:
    v, seen = voice(bench, session), run(5.0, *alarms, phase=phase)
    if what == "junk":
        return Message(f"so2bench/{bench}/state", b"21.5 degC", how == "kept"), what
    sent = {
        "watching": v.watched(seen),
        "ended": v.ended(seen),
        "lost": v.lost(),
        "stalled": v.stalled(seen),
        "state": v.state(seen, number, 0),
        "standing": v.standing(seen, number),
    }[what]
    if how == "live":
        return live(sent), what
    return kept(sent, None if sent.expiry_s is None else min(left_s, sent.expiry_s)), what


STEPS = st.lists(
    st.builds(lambda wait_s, word: Step(wait_s, *word), st.sampled_from((0.0, 0.5, 1.0, 7.0, 29.0, 31.0)), words()),
    max_size=40,
)

RANK = {"high": 0, "medium": 1, "low": 2}
WAITS = ("unacknowledged", "returned to normal, unacknowledged", "latched, unacknowledged")
ASIDE = ("normal", "shelved", "suppressed by design", "out of service")


class Model:
    """MQTT.md read word by word, over the whole history, with nothing clever about it."""

    def __init__(self) -> None:
        self.heard: dict[str, dict[str, Any]] = {}

    def hear(self, now_s: float, m: Message, what: str) -> None:
        if what == "junk":
            return
        said = json.loads(m.payload)
        bench = self.heard.setdefault(said["bench"], {})
        life_s = {"watching": 30.0, "standing": 30.0, "state": 10.0}.get(what)
        said_s = now_s if life_s is None or m.expiry_s is None else now_s - (life_s - m.expiry_s)
        key = "watched" if what in ("watching", "ended", "lost", "stalled") else what
        old = bench.get(key)
        if old is not None and self._echo(old, said, said_s, key, retained=m.retained):
            return
        bench[key] = (said_s, said)

    @staticmethod
    def _echo(old: tuple[float, Any], said: Any, said_s: float, key: str, *, retained: bool) -> bool:
        """Whether a message tells nothing new: what the broker kept is older than what was heard since."""
        if key == "state":
            return bool(old[1]["session"] == said["session"] and said["number"] <= old[1]["number"])
        if not retained:
            return False
        if key == "watched" and not said["watched"]:
            return bool((old[1]["session"], old[1]["why"]) == (said["session"], said["why"]))
        return said_s < old[0]

    def level(self, name: str, now_s: float) -> str:
        bench = self.heard[name]
        if "watched" not in bench:
            return "NOT_HEARD"
        said_s, word = bench["watched"]
        worst = self._worst(bench, word["session"])
        if word["why"] == "ended":
            state = bench.get("state", (0.0, None))[1]
            busy = (
                state is not None
                and state["session"] == word["session"]
                and state["phase"]
                in (
                    "generating",
                    "running out",
                    "closing down",
                )
            )
            return "NOT_HEARD" if busy or worst.startswith("HIGH") else "ENDED"
        if not word["watched"] or now_s - said_s > 30.0:
            return "NOT_HEARD"
        if "standing" not in bench or bench["standing"][1]["session"] != word["session"]:
            return "NOT_HEARD"
        return worst if now_s - bench["standing"][0] <= 30.0 else "NOT_HEARD"

    @staticmethod
    def _worst(bench: dict[str, Any], session: str) -> str:
        listed = bench.get("standing", (0.0, {"session": "", "alarms": []}))[1]
        if listed["session"] != session:
            return "QUIET"
        calling = [a for a in listed["alarms"] if a["state"] not in ASIDE]
        for priority in ("high", "medium", "low"):
            these = [a for a in calling if a["priority"] == priority]
            if these:
                return priority.upper() + ("_WAITING" if any(a["state"] in WAITS for a in these) else "")
        return "QUIET"


@given(STEPS, st.sampled_from((0.0, 3.0, 11.0, 29.5, 31.0)))
def test_every_bench_has_the_level_that_the_page_of_topics_gives_it(steps: list[Step], then_s: float) -> None:
    """Whatever is said, in whatever order, live or kept: each bench is once on the list, at the model's level."""
    roll, model, now_s = Roll(), Model(), 100.0
    junk = 0
    for step in steps:
        now_s += step.wait_s
        cause = roll.hear(step.message, at(now_s))
        assert (cause is None) == (step.what != "junk")
        junk += cause is not None
        model.hear(now_s, step.message, step.what)
        seen = roll.look(now_s)
        assert {j.name: j.level.name for j in seen} == {n: model.level(n, now_s) for n in model.heard}
    now_s += then_s
    seen = roll.look(now_s)
    assert {j.name: j.level.name for j in seen} == {n: model.level(n, now_s) for n in model.heard}
    assert [j.level for j in seen] == sorted(j.level for j in seen)
    assert sum(roll.refused.values()) == junk
    assert roll.taken == len(steps) - junk


@given(STEPS, st.randoms(use_true_random=False))
def test_the_order_depends_on_nothing_but_what_was_said(steps: list[Step], chance: Any) -> None:
    """Benches that speak in another order among each other, each at its own times, give the same list."""
    timed, now_s = [], 100.0
    for step in steps:
        now_s += step.wait_s
        timed.append((now_s, step.message))
    by_bench = [[pair for pair in timed if pair[1].topic.split("/")[1] == name] for name in BENCHES]
    mixed = []
    while any(by_bench):
        mixed.append(chance.choice([queue for queue in by_bench if queue]).pop(0))
    lists = []
    for order in (timed, mixed):
        roll = Roll()
        for at_s, message in order:
            roll.hear(message, at(at_s))
        lists.append(roll.look(now_s))
    assert lists[0] == lists[1]


def test_silence_is_louder_than_gas() -> None:
    """A bench that is watched no more stands above every alarm; then the unacknowledged before the acknowledged."""
    roll = Roll()
    speak(roll, "quiet", 100.0)
    speak(roll, "low", 100.0, alarm("ACID-LOW", LOW, AlarmState.ACKNOWLEDGED))
    speak(roll, "low-new", 100.0, alarm("ACID-LOW", LOW))
    speak(roll, "medium", 100.0, alarm("PLATE-HIGH", MEDIUM, AlarmState.ACKNOWLEDGED))
    speak(roll, "medium-new", 100.0, alarm("PLATE-HIGH", MEDIUM))
    speak(roll, "high", 100.0, alarm("GAS-HIGH", HIGH, AlarmState.ACKNOWLEDGED))
    speak(roll, "high-new", 100.0, alarm("GAS-HIGH", HIGH), alarm("PLATE-HIGH", MEDIUM))
    speak(roll, "over", 100.0, alarm("GAS-FAULT", HIGH, AlarmState.LATCHED_UNACKNOWLEDGED))
    speak(roll, "silent", 60.0, alarm("GAS-HIGH", HIGH))
    speak(roll, "ended", 100.0, phase=Phase.CLOSED)
    roll.hear(live(voice("ended").ended(run())), at(101.0))
    names = [j.name for j in roll.look(102.0)]
    assert names == [
        "silent", "high-new", "over", "high", "medium-new", "medium", "low-new", "low", "quiet", "ended",
    ]  # fmt: skip


def test_a_last_will_counts_at_once() -> None:
    """When the broker says that it has lost a monitor, its bench is not heard from in that instant."""
    roll = Roll()
    speak(roll, "hood-2", 100.0)
    assert roll.look(100.5)[0].level is Level.QUIET
    roll.hear(live(voice().lost()), at(100.5))
    (seen,) = roll.look(100.5)
    assert (seen.level, seen.why, seen.heard_s) == (Level.NOT_HEARD, "the broker has lost its monitor", 100.0)


def test_thirty_seconds_and_no_more() -> None:
    """A bench is watched for 30 s after its newest word, by this machine's arrival times, whatever its clock says."""
    roll = Roll()
    v, seen = voice(), run()._replace(utc_s=5.0)  # a clock that was never set
    for sent in (v.watched(seen), v.standing(seen, 0), v.state(seen, 1, 0)):
        roll.hear(live(sent), at(100.0))
    assert roll.look(130.0)[0].level is Level.QUIET
    late = roll.look(130.001)[0]
    assert (late.level, late.why) == (Level.NOT_HEARD, "no word from its monitor")
    assert late.clock_ahead_s is not None
    assert late.clock_ahead_s < -1e9


def test_what_the_broker_kept_is_as_old_as_it_is() -> None:
    """A kept word that has 4 s of its life left is believed for 4 s."""
    roll = Roll()
    for sent in (voice().watched(run()), voice().standing(run(), 0)):
        roll.hear(kept(sent, 4.0), at(100.0))
    assert roll.look(104.0)[0].level is Level.QUIET
    assert roll.look(104.001)[0].level is Level.NOT_HEARD
    assert roll.look(104.001)[0].heard_s == 74.0


def test_a_kept_word_without_an_end_is_nobodys() -> None:
    """A bench gives what it leaves at the broker an end; "watched" without one could be years old."""
    roll = Roll()
    for sent in (voice().watched(run()), voice().standing(run(), 0), voice().state(run(), 1, 0)):
        assert roll.hear(kept(sent, None), at(100.0)) is Cause.KEPT
    assert len(roll) == 0
    assert roll.hear(kept(voice().ended(None), None), at(100.0)) is None
    assert [j.level for j in roll.look(100.0)] == [Level.ENDED]


def test_walking_away_from_a_run_is_no_quiet_end() -> None:
    """Watching that is ended in the middle of a run, or with gas in the air, leaves the bench at the top."""
    roll = Roll()
    speak(roll, "a", 100.0, phase=Phase.GENERATING)
    speak(roll, "b", 100.0, alarm("GAS-HIGH", HIGH, AlarmState.ACKNOWLEDGED), phase=Phase.CLOSED)
    speak(roll, "c", 100.0, alarm("ACID-LOW", LOW), phase=Phase.CLOSED)
    for name in "abc":
        roll.hear(live(voice(name).ended(run())), at(101.0))
    assert [(j.name, j.level, j.why) for j in roll.look(101.0)] == [
        ("a", Level.NOT_HEARD, "watching was ended while generating"),
        ("b", Level.NOT_HEARD, "watching was ended with a high alarm standing"),
        ("c", Level.ENDED, "in good order: nobody watches"),
    ]


def test_a_watched_bench_must_say_what_stands() -> None:
    """Without its list of alarms, or with that of an earlier monitor, a bench is not shown as quiet."""
    roll = Roll()
    old, new = voice(session=SESSIONS[0]), voice(session=SESSIONS[1])
    roll.hear(live(new.watched(run())), at(100.0))
    assert roll.look(100.0)[0].why == "it does not say which alarms stand"
    roll.hear(live(old.standing(run(), 0)), at(100.0))
    assert roll.look(100.0)[0].level is Level.NOT_HEARD
    roll.hear(live(new.standing(run(), 0)), at(100.0))
    assert roll.look(100.0)[0].level is Level.QUIET


def test_gaps_are_counted_by_the_benchs_own_numbers() -> None:
    """States and alarm changes that did not arrive are counted, doubles are not, and a new monitor begins anew."""
    roll, v = Roll(), voice()
    for number in (5, 6, 6, 9, 8):
        roll.hear(live(v.state(run(), number, 0)), at(100.0))
        roll.hear(live(v.alarm(change(number), number)), at(100.0))
    (seen,) = roll.look(100.0)
    assert (seen.states_missed, seen.changes_missed) == (2, 2)
    assert len(list(roll.changes("hood-2"))) == 3
    roll.hear(live(voice(session=SESSIONS[1]).state(run(), 40, 0)), at(100.0))
    assert roll.look(100.0)[0].states_missed == 0


def test_a_full_list_refuses_and_says_so() -> None:
    """Beyond its bound further benches are refused and counted; those that are on the list stay and are heard."""
    roll = Roll(benches_max=2)
    for number in (1, 2, 3):
        roll.hear(live(voice(f"hood-{number}").watched(run())), at(100.0))
    assert (len(roll), roll.refused[Cause.FULL]) == (2, 1)
    assert roll.hear(live(voice("hood-1").standing(run(), 0)), at(101.0)) is None


def test_what_is_said_between_others_is_passed_over() -> None:
    """Requests and answers on a bench's further topics are nobody's leftovers: neither taken nor counted."""
    roll = Roll()
    for name in ("ask", "answer", "doctor"):
        assert roll.hear(Message(f"so2bench/hood-1/{name}", b"{}"), at(100.0)) is None
    assert (len(roll), roll.taken, sum(roll.refused.values())) == (0, 0, 0)


def test_a_new_monitor_is_not_judged_by_the_old_ones_words() -> None:
    """What an earlier monitor said of phase and alarms counts for nothing when a later one ended in good order."""
    roll, old, new = Roll(), voice(session=SESSIONS[0]), voice(session=SESSIONS[1])
    seen = run(1.0, alarm("GAS-HIGH", HIGH), phase=Phase.GENERATING)
    for sent in (old.state(seen, 1, 0), old.standing(seen, 0), new.watched(run()), new.ended(run())):
        roll.hear(live(sent), at(100.0))
    assert roll.look(100.0)[0].level is Level.ENDED


def test_only_a_bench_that_is_not_watched_is_taken_off() -> None:
    """Clearing the word that the broker keeps takes a given-up bench off the list, and no other."""
    roll = Roll()
    speak(roll, "hood-1", 100.0)
    speak(roll, "hood-2", 60.0)
    for name in ("hood-1", "hood-2", "never-there"):
        assert roll.hear(Message(f"so2bench/{name}/watched", b""), at(100.0)) is None
    assert [j.name for j in roll.look(100.0)] == ["hood-1"]


def test_names_sort_as_a_person_counts() -> None:
    """Two comes before ten, and no two names are the same."""
    names = ["hood-10", "hood-2", "Hood-2", "hood-02", "hood", "2", "10", "a-b-3"]
    assert sorted(names, key=name_key) == ["2", "10", "Hood-2", "a-b-3", "hood", "hood-02", "hood-2", "hood-10"]


@given(st.lists(st.from_regex(r"[A-Za-z0-9-]{1,40}", fullmatch=True), unique=True))
def test_every_two_names_have_an_order(names: list[str]) -> None:
    """Any names sort, the same from every order of arrival."""
    assert sorted(names, key=name_key) == sorted(set(names), key=name_key)


@pytest.mark.parametrize("count", [25])
def test_only_the_newest_changes_are_kept(count: int) -> None:
    """However long a bench is heard, what is kept of it is bounded."""
    roll = Roll()
    for number in range(1, count + 1):
        roll.hear(live(voice().alarm(change(number), number)), at(100.0))
    assert [json.loads(c)["seq"] for c in roll.changes("hood-2")] == list(range(count - 19, count + 1))
