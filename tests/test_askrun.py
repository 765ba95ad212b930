"""What is asked of a watched run from a terminal: put into its record by name, and answered or refused there."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.core.requests import ASKED_BY_PEOPLE
from monitor.edges.logreader import LogReader
from monitor.rig.bench import SimulatedBench
from monitor.rig.serve import BenchServer
from tests.live import LiveRun, terms, wait_until

pytestmark = pytest.mark.live


@pytest.fixture
def watched(tmp_path: Path) -> Iterator[LiveRun]:
    """A run on a simulated board."""
    bench, _, run, _ = terms()
    port = tmp_path / "board"
    with BenchServer(SimulatedBench(bench, run, 3), port), LiveRun(tmp_path / "run.so2log", port) as live:
        wait_until(lambda: live.log.exists() and LogReader(live.log).overview(), "the run's first word")
        yield live


def ask(live: LiveRun, *words: str) -> int:
    return main(["ask", *words, "--log", str(live.log), "--who", "Operator 2"])


def test_a_run_without_a_page_is_worked_from_a_terminal(watched: LiveRun, capsys: pytest.CaptureFixture[str]) -> None:
    """Note, permit and phase: each is answered, and stands in the record under the name."""
    for words in (
        ["note", "tube is clear"],
        ["permit", "on"],
        ["phase", "generating"],
        ["permit", "off"],
    ):
        assert ask(watched, *words) == 0, words
    assert "permit on" in capsys.readouterr().out
    kinds = [(r.kind, r.who) for _, r in LogReader(watched.log).requests() if r.who == "Operator 2"]
    wanted = ["note", "permit", "phase", "permit"]
    assert kinds == [(kind, "Operator 2") for kind in wanted]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["weighing", "flask loss", "heavy", "0.1"], "grams: found 'heavy', wanted a number"),
        (["weighing", "flask loss"], "weighing: found 1 of its values, wanted: weighing WHAT GRAMS U_G"),
        (["weighing", "flask loss", "1", "0.1"], "refused: "),
        (["permit", "please"], "on: found 'please', wanted on or off"),
        (["stop", "a", "b"], "stop: found 2 of its values, wanted: stop [REASON]"),
        (["phase", "lunch"], "phase 'lunch' is not known"),
        (["acknowledge", "GAS-HIGH"], "refused: GAS-HIGH is normal: nothing to be done"),
    ],
)
def test_what_makes_no_sense_is_refused(
    watched: LiveRun, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    """A mistake in the words, and what the run itself refuses, are told in one line with status 1."""
    assert ask(watched, *words) == 1
    assert said in capsys.readouterr().err


def test_every_request_that_people_may_make_is_in_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    """The help names each with its values, and none that only the shell may make."""
    with pytest.raises(SystemExit):
        main(["ask", "--help"])
    said = " ".join(capsys.readouterr().out.split())
    assert all(kind in said for kind in ASKED_BY_PEOPLE)
    assert "refuse TEXT" not in said
