"""The check before a run: the permit waits for it, the tool judges what it sees, and all of it is in the record."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from monitor.core.events import CheckLine, Noted, Taken
from monitor.core.ready import ITEMS
from monitor.terms import BenchTerms, RunTerms, ScrubberTerms
from tests.core.lines import CONTACT, DARK, FRESH, line, tc_word
from tests.core.runs import BENCH, BURNER, SMALL, Run, ppm_sum

BY_PERSON = tuple(name for name, _, by_person in ITEMS if by_person)
SCRUBBED = replace(BURNER, scrubber=ScrubberTerms("NaOH", 2.75, 1.0))  # 3.2 g of sulfur is 0.1 mol


def begun(terms: RunTerms = SCRUBBED, bench: BenchTerms = BENCH) -> Run:
    """A run that wants the check, with a board that has said who it is and three seconds of samples."""
    run = Run(terms, bench)
    run.ask("checklist")
    run.ask("seen", item="disk", ok=True, text="12 GB free")
    run.bytes(line("B,7,1,1,01,100,20"))
    run.samples(3.0)
    return run


def tick_off(run: Run, *items: str) -> None:
    """The person passes these items."""
    for item in items or BY_PERSON:
        assert run.ask("check", item=item, outcome="passed", reason="").accepted


def line_of(run: Run, item: str) -> CheckLine:
    """One item as the overview has it."""
    (found,) = (c for c in run.bench.overview().checks if c.item == item)
    return found


def refusal(run: Run) -> str:
    """Why the permit is refused; fails if it is not."""
    answer = run.ask("permit", on=True)
    assert not answer.accepted
    assert not run.permit_on
    return answer.text


def test_without_the_list_nothing_is_wanted() -> None:
    """A run that was not told to want the check gives the permit as ever, and shows no list."""
    run = Run()
    run.sample()
    assert run.bench.overview().checks == ()
    assert not run.ask("check", item="hood", outcome="passed", reason="").accepted
    run.permit()


def test_the_permit_names_what_is_missing() -> None:
    """The permit is refused with the names of the missing items, until the last is passed."""
    run = begun()
    words = refusal(run)
    assert all(item in words for item in BY_PERSON)
    assert not any(f"{name} (" in words for name, _, by_person in ITEMS if not by_person)
    tick_off(run, *BY_PERSON[:-1])
    words = refusal(run)
    assert BY_PERSON[-1] in words
    assert BY_PERSON[0] not in words
    tick_off(run, BY_PERSON[-1])
    run.permit()


def test_it_is_asked_once() -> None:
    """Once the permit has been given, a later one needs no new check: the plate is warm by then."""
    run = begun()
    tick_off(run)
    run.permit()
    run.ask("permit", on=False)
    run.board.gas_sum = ppm_sum(0.2)
    run.samples(3.0)
    assert run.bench.overview().checks == ()
    run.permit()


def test_the_record_has_it_all() -> None:
    """Each mark is noted with who and why, and what was waived is said again when the permit is given."""
    run = begun()
    tick_off(run, *BY_PERSON[1:])
    assert run.ask("check", item="hood", outcome="waived", reason="done in the open air").accepted
    run.permit()
    notes = [e.text for e in run.events if isinstance(e, Noted) and e.what == "check"]
    assert "Ada: hood waived: done in the open air" in notes
    assert notes[-1] == "done; waived: hood"


def test_a_replay_waits_for_the_same() -> None:
    """What went in gives the same answers again: nothing of the list is outside the record."""
    run = begun()
    refusal(run)
    tick_off(run)
    run.permit()
    again = Run(SCRUBBED)
    for e in run.events:
        if isinstance(e, Taken):
            again.keep(
                again.bench.receive(e.data, e.at) if isinstance(e.data, bytes) else again.bench.command(e.data, e.at)
            )
    assert again.events == run.events


@pytest.mark.parametrize(
    ("item", "outcome", "reason", "words"),
    [
        ("hood", "waived", " ", "only with a reason"),
        ("gas", "passed", "", "judged by the tool itself"),
        ("gas", "failed", "I say", "judged by the tool itself"),
        ("moon", "passed", "", "item 'moon' is not known"),
        ("hood", "maybe", "", "outcome 'maybe' is not known"),
    ],
)
def test_no_such_mark(item: str, outcome: str, reason: str, words: str) -> None:
    """A mark that makes no sense is refused in words, and changes nothing."""
    run = begun()
    before = run.bench.overview().checks
    answer = run.ask("check", item=item, outcome=outcome, reason=reason)
    assert not answer.accepted
    assert words in answer.text
    assert run.bench.overview().checks == before


def test_failed_by_the_person() -> None:
    """An item that the person fails stands in the way, with the reason, until it is passed."""
    run = begun()
    tick_off(run)
    run.ask("check", item="hood", outcome="failed", reason="the paper hangs still")
    assert "hood (the paper hangs still)" in refusal(run)
    tick_off(run, "hood")
    run.permit()


def test_what_the_board_shows() -> None:
    """A warm plate, gas in the air, a dark gate, a welded relay: each fails, says why, and can be waived."""
    run = begun()
    tick_off(run)
    run.obeys = False
    run.board.gas_sum, run.board.io = ppm_sum(1.0), FRESH | DARK | CONTACT
    at_c = 22.0
    while at_c < 60.0:
        at_c += 5.0
        run.board.tc = tc_word(at_c)
        run.sample()
    run.samples(5.0)
    found = {name: line_of(run, name).reason for name in ("plate", "gas", "gate", "relay")}
    assert "still warm" in found["plate"]
    assert "wanted within 0.5 ppm of zero" in found["gas"]
    assert "beam is dark" in found["gate"]
    assert "closed though the permit is off" in found["relay"]
    assert all(line_of(run, name).outcome == "failed" for name in found)
    run.ask("check", item="plate", outcome="waived", reason="second run of the day")
    assert line_of(run, "plate").outcome == "waived"
    assert line_of(run, "plate").who == "Ada"


def test_a_board_that_does_not_say_what_it_is() -> None:
    """No hello, another protocol and no board at all are three different answers, and none passes."""
    run = Run(SCRUBBED)
    run.ask("checklist")
    assert line_of(run, "board").reason == "nothing is heard from it"
    assert line_of(run, "plate").outcome == ""
    run.samples(3.0)
    assert (line_of(run, "board").outcome, line_of(run, "board").reason) == ("", "it has not said yet what it is")
    run.bytes(line("B,7,2,1,01,100,20"))
    assert line_of(run, "board").reason == "it speaks protocol 2, wanted is 1"
    run.bytes(line("B,7,1,1,01,100,20"))
    assert line_of(run, "board").outcome == "passed"
    run.silence(5.0)
    assert line_of(run, "board").reason == "nothing is heard from it"


def test_a_single_noisy_sample_fails_nothing() -> None:
    """The gas is judged by a running mean: one sample of 1 ppm among quiet ones still passes."""
    run = begun()
    run.sample_with(lambda b: setattr(b, "gas_sum", ppm_sum(1.0)))
    assert line_of(run, "gas").outcome == "passed"


def test_dates_disk_and_clock() -> None:
    """An overdue calibration, a full disk and a clock that is before the newest calibration fail, with why."""
    late = replace(BENCH, drops=replace(BENCH.drops, calibrated=date(2026, 1, 1)))
    run = begun(replace(SMALL, scrubber=SCRUBBED.scrubber), late)
    assert "drop counter: 379 days ago" in line_of(run, "calibrations").reason  # 15 January 2027 less 1 January 2026
    run.ask("seen", item="disk", ok=False, text="2 MB free")
    assert line_of(run, "disk") == CheckLine("disk", "there is room for the record", False, "failed", "2 MB free", "")
    early = replace(BENCH, gas=replace(BENCH.gas, bump_tested=date(2027, 1, 16)))
    assert "bench.toml knows of 2027-01-16" in line_of(begun(SCRUBBED, early), "clock").reason


@pytest.mark.parametrize(
    ("scrubber", "outcome", "words"),
    [
        (None, "failed", "names none"),
        (ScrubberTerms("NaOH", 0.2, 1.0), "failed", "it takes 0.10 mol"),  # 0.2 mol of NaOH takes 0.1 mol to sulfite
        (ScrubberTerms("NaOH", 0.5, 1.0), "passed", "0.10 mol could come, it takes 0.25 mol"),
    ],
)
def test_the_scrubber(scrubber: ScrubberTerms | None, outcome: str, words: str) -> None:
    """The scrubber must take all that can come, with the alarm's fifth to spare; 3.2 g of sulfur is 0.0998 mol."""
    run = begun(replace(BURNER, scrubber=scrubber))
    assert line_of(run, "scrubber").outcome == outcome
    assert words in line_of(run, "scrubber").reason
