"""A click is followed until the record says what became of it."""

from __future__ import annotations

import time
from pathlib import Path

from dashboards.asking import FORGET_S, SHOWN_S, WAIT_S, Asked, ask, follow, outcome_words
from monitor.core.events import Answered
from monitor.edges.inbox import Inbox
from tests.dashboards.runs import QUIET, write_log


def test_a_request_lies_in_the_inbox_with_its_name(tmp_path: Path) -> None:
    """Who asks, and for what, reaches the monitor; a blank name is the bench."""
    log = write_log(tmp_path / "a.so2log", [QUIET])
    inbox = Inbox(log)
    ask(log, "acknowledge", "bench-2", {"tag": "GAS-HIGH"}, "Acknowledge GAS-HIGH", 0.0, time.time())
    ask(log, "stop", "  ", {}, "End the run", 0.0, time.time())
    got = inbox.take()
    inbox.close()
    assert [(a.kind, a.who, dict(a.args)) for a in got] == [
        ("acknowledge", "bench-2", {"tag": "GAS-HIGH"}),
        ("stop", "bench", {}),
    ]


def test_nobody_there_is_said_at_once(tmp_path: Path) -> None:
    """A request that nobody can take is not asked, and says why."""
    log = write_log(tmp_path / "a.so2log", [QUIET])
    asked = ask(log, "permit", "bench", {"on": True}, "Ask for the permit", 0.0, time.time())
    assert asked.refused
    assert "nothing is watching it" in outcome_words(asked, 0.0)


def test_the_answer_comes_from_the_record(tmp_path: Path) -> None:
    """Done and refused are told with the monitor's own words."""
    answers = [Answered(1.0, "aa", True, "permit on"), Answered(2.0, "bb", False, "the run is closed")]
    log = write_log(tmp_path / "a.so2log", [QUIET, *answers])
    waiting = [Asked("aa", "Ask for the permit", 0.0, None, False), Asked("bb", "Note", 0.0, None, False)]
    got = follow(log, waiting, 1.0)
    assert [outcome_words(a, 1.0) for a in got] == [
        "Ask for the permit – done: permit on",
        "Note – refused: the run is closed",
    ]
    assert [a.refused for a in got] == [False, True]
    assert follow(log, got, 1.0 + SHOWN_S) == []


def test_no_answer_is_not_taken_for_yes(tmp_path: Path) -> None:
    """A request without an answer says so, soon as waiting, later as not to be counted on; then it is let go."""
    log = write_log(tmp_path / "a.so2log", [QUIET])
    asked = [Asked("cc", "End the run", 0.0, None, False)]
    (still,) = follow(log, asked, 5.0)
    assert outcome_words(still, 5.0) == "End the run – asked, waiting for the answer"
    assert outcome_words(still, WAIT_S + 2.0) == "End the run – no answer for 12 s: do not count on it"
    assert follow(log, asked, FORGET_S) == []
