"""The check before a run from a terminal while the run is watched without a page: marked, answered and recorded."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.edges.logreader import LogReader
from monitor.rig.bench import SimulatedBench
from monitor.rig.serve import BenchServer
from tests.live import LiveRun, terms, wait_until

pytestmark = pytest.mark.live

BY_PERSON = ("hood", "tube", "protection", "someone")


@pytest.fixture
def watched(tmp_path: Path) -> Iterator[LiveRun]:
    """A run on a simulated board that waits for its check, all that the tool sees passed."""
    bench, _, run, _ = terms()
    port = tmp_path / "board"
    with (
        BenchServer(SimulatedBench(bench, run, 3), port),
        LiveRun(tmp_path / "run.so2log", port, needs_check=True) as live,
    ):
        wait_until(lambda: len(left(live.log)) == len(BY_PERSON), "the tool's own items are passed")
        yield live


def left(log: Path) -> list[str]:
    """What is neither passed nor waived by the record; all of it before there is one."""
    overview = LogReader(log).overview() if log.exists() else None
    checks = [{"item": "", "outcome": ""}] * 99 if overview is None else overview["checks"]
    return [c["item"] for c in checks if c["outcome"] not in ("passed", "waived")]


def person(monkeypatch: pytest.MonkeyPatch, answer: Callable[[str], str]) -> None:
    """Somebody at the terminal."""
    monkeypatch.setattr("builtins.input", lambda prompt="": answer(prompt))


def marks(log: Path) -> list[tuple[str, str, str]]:
    """Who marked what how, by the record."""
    asked = [request for _, request in LogReader(log).requests() if request.kind == "check"]
    return [(request.who, str(request.arg("item")), str(request.arg("outcome"))) for request in asked]


def test_checked_from_a_terminal(
    watched: LiveRun, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each item is passed by name in the record; with all done the permit is asked for there and then, and comes."""
    person(monkeypatch, lambda prompt: "yes" if "permit" in prompt else "y")
    assert main(["check", "--log", str(watched.log), "--who", "Operator 2"]) == 0
    assert marks(watched.log) == [("Operator 2", item, "passed") for item in BY_PERSON]
    wait_until(lambda: (LogReader(watched.log).overview() or {})["permit_on"], "the permit, by the record")
    assert "Ready, and so it stands in the record." in capsys.readouterr().out
    assert main(["check", "--log", str(watched.log)]) == 1
    assert "waits for no check" in capsys.readouterr().err


def test_failed_and_waived_are_recorded(
    watched: LiveRun, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A waiver wants its reason, a failed item is named at the end; the second time only what is left is asked."""
    said = iter(["w", "w outdoors", "n", "y", "y"])
    person(monkeypatch, lambda _: next(said))
    assert main(["check", "--log", str(watched.log), "--who", "Operator 2"]) == 1
    out, err = capsys.readouterr()
    assert "hood can be waived only with a reason" in out
    assert err.startswith("so2bench: not ready: tube;")
    assert left(watched.log) == ["tube"]
    asked: list[str] = []

    def again(prompt: str) -> str:
        asked.append(prompt)
        return "no" if "permit" in prompt else "y"

    person(monkeypatch, again)
    assert main(["check", "--log", str(watched.log), "--who", "Operator 3"]) == 0
    assert len(asked) == 2
    assert marks(watched.log)[-1] == ("Operator 3", "tube", "passed")
    assert not watched.bench.overview().permit_on


def test_a_run_that_nobody_watches(
    watched: LiveRun, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A log without its monitor takes no marks, and says so; a log that is not there likewise."""
    person(monkeypatch, lambda _: "y")
    watched.service.stop()
    wait_until(lambda: not watched.log.with_name("run.so2log.inbox").exists(), "the monitor is gone")
    assert main(["check", "--log", str(watched.log)]) == 1
    assert "nothing is watching it" in capsys.readouterr().err
    assert main(["check", "--log", "no-such.so2log"]) == 1
    assert "there is no such run log" in capsys.readouterr().err


@pytest.mark.parametrize("options", [[], ["--bench", "bench.toml"], ["--log", "a.so2log", "--gate"]])
def test_what_does_not_go_together(options: list[str]) -> None:
    """A log, or both files: anything else is wrong usage."""
    with pytest.raises(SystemExit) as ended:
        main(["check", *options])
    assert ended.value.code == 2
