"""The check before a run at the terminal, on a simulated board behind a serial port that is not there."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.rig.bench import SimulatedBench
from monitor.rig.serve import BenchServer
from tests.live import terms, wait_until

pytestmark = pytest.mark.live

CHECK = ["check", "--bench", "bench.toml", "--run", "run.toml"]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the two files of the demonstration, and nothing else."""
    _, bench_toml, _, run_toml = terms(str(tmp_path / "board"))
    (tmp_path / "bench.toml").write_text(bench_toml, "utf-8")
    (tmp_path / "run.toml").write_text(run_toml, "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def board(folder: Path) -> BenchServer:
    """A simulated bench on the port that bench.toml names; start it with `with`."""
    bench, _, run, _ = terms()
    return BenchServer(SimulatedBench(bench, run, 3), folder / "board")


def person(monkeypatch: pytest.MonkeyPatch, answer: Callable[[str], str]) -> list[str]:
    """Somebody at the terminal; gives what was asked."""
    asked: list[str] = []

    def heard(prompt: str = "") -> str:
        asked.append(prompt)
        return answer(prompt)

    monkeypatch.setattr("builtins.input", heard)
    return asked


def test_all_is_well(board: BenchServer, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """On a bench in order the person is asked for what only a person sees, the relay is tried, and it is ready."""
    asked = person(monkeypatch, lambda prompt: "yes" if "relay" in prompt else "y")
    with board:
        assert main([*CHECK, "--relay"]) == 0
        wait_until(lambda: not board.bench.board.permit, "the permit is off again")
    out = capsys.readouterr().out
    assert "passed  relay: the permit relay is open while the permit is off: closed and opened" in out
    assert out.splitlines()[-1].startswith("Ready.")
    assert len(asked) == 1 + 4
    for item in ("board", "plate", "gas", "gate", "disk", "clock", "calibrations", "scrubber"):
        assert f"passed  {item}" in out


def test_ten_drops(board: BenchServer, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """A gate that sees none of the drops fails, and what it saw is said."""
    person(monkeypatch, lambda prompt: "" if "pipette" in prompt or "leaves" in prompt else "y")
    with board:
        assert main([*CHECK, "--gate"]) == 1
    out, err = capsys.readouterr()
    assert "0 of 10 drops seen" in out
    assert err == "so2bench: not ready: gate\n"


def test_failed_and_waived(
    board: BenchServer, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A waiver without a reason is asked again; an item that the person fails is named at the end."""
    said = iter(["maybe", "w", "w outdoors", "n", "y", "y"])
    person(monkeypatch, lambda _: next(said))
    with board:
        assert main(CHECK) == 1
    out, err = capsys.readouterr()
    assert "hood can be waived only with a reason" in out
    assert err == "so2bench: not ready: tube\n"


def test_no_board(folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Without a board the rest is gone through all the same, and the board is what is not ready."""
    person(monkeypatch, lambda prompt: "" if "leaves" in prompt else "y")
    assert main(CHECK) == 1
    out, err = capsys.readouterr()
    assert "is the board plugged in" in out
    assert err == "so2bench: not ready: board, plate, gas, gate, relay\n"


def test_nobody_there(folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Without a person the check is refused, not a traceback."""

    def gone(_: str) -> str:
        raise EOFError

    person(monkeypatch, gone)
    assert main(CHECK) == 1
    assert "the check needs a person" in capsys.readouterr().err
