"""The command line as a stranger meets it: what it prints, where, and with which exit status."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.edges.inbox import inbox_path
from monitor.edges.logreader import LogReader
from monitor.ending import ending_signals
from monitor.rig import scenario
from monitor.rig.bench import SimulatedBench
from monitor.rig.recordings import Keeper, write_recording
from monitor.rig.serve import BenchServer
from tests.chemistry.test_planning import PROMISED_KEYS
from tests.live import LiveRun, terms, wait_until
from tests.recorded import record_run

pytestmark = pytest.mark.live

BALANCED = """
title = "Balanced charge"
[generator]
route = "acid-drip"
meter = "drops"
salt = "Na2S2O5"
salt_mass = "95 g"
salt_purity = "100 %"
water = "100 mL"
acid = "HCl"
acid_strength = "10 mol/L"
acid_volume = "120 mL"
flask_volume = "500 mL"
temperature = "25 degC"
pressure = "1 atm"
"""


FILES = ("--bench", "bench.toml", "--run", "run.toml")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the two files of the demonstration, and nothing else."""
    _, bench_toml, _, run_toml = terms(str(tmp_path / "board"))
    (tmp_path / "bench.toml").write_text(bench_toml, "utf-8")
    (tmp_path / "run.toml").write_text(run_toml, "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_plan_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan in JSON is JSON alone, with every promised key, and null where the files do not say enough.

    The charge is a rule of the trade (common practice, no source): 95 g of metabisulfite, 100 mL of water, 120 mL
    of about 10 mol/L hydrochloric acid.
    """
    (folder / "balanced.toml").write_text(BALANCED, "utf-8")
    assert main(["plan", "balanced.toml", "--json"]) == 0
    out, err = capsys.readouterr()
    got = json.loads(out)
    assert err == ""
    assert set(got) >= set(PROMISED_KEYS)
    assert got["sulfur_iv_mol"] == pytest.approx(0.9995, abs=5e-5)
    assert got["acid_excess"] == pytest.approx(0.2006, abs=1e-3)
    assert got["limiting"] == "salt"
    assert 0.15 <= got["held_mol"] <= 0.25
    for key in ("need_mol", "acid_volume_for_need_ml", "drops_for_need", "scrubber_capacity_mol", "worst_case_ppm"):
        assert got[key] is None


def test_plan_for_a_person(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan for a person names amounts with units, and its cautions."""
    assert main(["plan", "run.toml", "--bench", "bench.toml"]) == 0
    out = capsys.readouterr().out
    assert "mol SO2 (k = 2)" in out
    assert "local rules" in out


def test_every_mistake_at_once(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Wrong settings are refused with a sentence for each mistake: file, key, found, wanted."""
    text = (folder / "run.toml").read_text("utf-8")
    text = text.replace('"120 mL"', '"120 g"').replace("salt_purity", "salt_puritty").replace('"HCl"', '"HNO3"')
    (folder / "run.toml").write_text(text, "utf-8")
    assert main(["plan", "run.toml"]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    for words in (
        "run.toml: generator.water: found '120 g'",
        "generator.salt_puritty",
        "generator.acid: found 'HNO3'",
    ):
        assert words in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    "argv",
    [[], ["plan"], ["plan", "run.toml", "--page"], ["watch", "--bench", "b"], ["boil"], ["demo", "--speed", "1000"]],
)
def test_wrong_usage(argv: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Wrong usage is exit status 2 and a word about the right one."""
    with pytest.raises(SystemExit) as ended:
        main(argv)
    assert ended.value.code == 2
    assert "usage: so2bench" in capsys.readouterr().err


@pytest.mark.parametrize("number", ["nan", "inf", "-1", "0", "soon", "1e9"])
@pytest.mark.parametrize(
    "option", [["demo", "--speed"], ["calibrate", "gas-zero", "--bench", "b", "--port", "--seconds"]]
)
def test_a_number_that_cannot_be(option: list[str], number: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What is no number, or none that can be meant, is wrong usage, which says what was found and what is wanted."""
    with pytest.raises(SystemExit) as ended:
        main([*option, number])
    assert ended.value.code == 2
    assert re.search(rf"{option[-1]}: found {number}, wanted .* from 1 to \d+$", capsys.readouterr().err.strip())


@pytest.mark.parametrize("command", [[], ["demo"], ["plan"], ["watch"], ["replay"]])
def test_help(command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Every command explains itself."""
    with pytest.raises(SystemExit) as ended:
        main([*command, "--help"])
    assert ended.value.code == 0
    assert "usage: so2bench" in capsys.readouterr().out


def test_replay_of_lines(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A text recording of a simulated run replays to an account near the plant's truth."""
    bench, _, run, _ = terms()
    plant = SimulatedBench(bench, run, scenario.SEED)
    keeper = Keeper(bench)
    plant.do("tap 60")
    write_recording(folder / "run.txt", plant, keeper, 600.0)
    assert main(["replay", "run.txt", "--bench", "bench.toml", "--run", "run.toml", "--json"]) == 0
    got = json.loads(capsys.readouterr().out)
    assert got["drops"] == plant.truth().drops
    assert got["account"]["delivered_mol"] == pytest.approx(plant.truth().delivered_mol, rel=0.05)
    account = got["account"]
    assert account["generated_mol"] == pytest.approx(account["held_mol"] + account["delivered_mol"], abs=1e-12)
    assert {"accepted", "rejected"} <= set(got["frames"])
    assert {"stel_max_ppm", "twa_ppm", "unknown_s"} <= set(got["exposure"])


def test_replay_under_other_settings(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A log that is replayed by files other than its own says so in one sentence, beside JSON alone."""
    record_run(folder / "a.so2log", 60.0)
    own = LogReader(folder / "a.so2log").header()
    (folder / "bench.toml").write_text(own.bench_toml.replace("board", "/dev/another"), "utf-8")
    replay = ["replay", "a.so2log", "--bench", "bench.toml", "--run", "run.toml", "--json"]
    for text, words in (
        (own.run_toml, ""),
        (own.run_toml.replace("80 +/- 0.5 g", "81 g"), "the same route and meter, but other values"),
        (scenario.run_toml("burner"), "acid-drip, metered by drops; given is burner, metered by weighings"),
    ):
        (folder / "run.toml").write_text(text, "utf-8")
        assert main(replay) == 0
        out, err = capsys.readouterr()
        assert json.loads(out)["frames"]["accepted"] > 500
        assert words in err
        assert err.count("\n") == bool(words)


@pytest.mark.parametrize("command", [["report"], ["export"], ["replay", *FILES]])
def test_a_folder_for_a_log(folder: Path, command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """A folder where a log is wanted is said in one sentence, with the logs that are in it."""
    record_run(folder / "a.so2log", 10.0)
    assert main([command[0], ".", *command[1:]]) == 1
    err = capsys.readouterr().err
    assert err == "so2bench: .: found a folder, wanted one run log (*.so2log); in it are a.so2log\n"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "found an empty file"),
        (b"rubbish\nmore rubbish\n", "found 2 lines without a time"),
        (b"SQLite format 3\x00" + b"\x00" * 200, "no run log"),
    ],
)
def test_no_recording(folder: Path, content: bytes, words: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What is no recording is refused in one sentence."""
    (folder / "what").write_bytes(content)
    assert main(["replay", "what", "--bench", "bench.toml", "--run", "run.toml"]) == 1
    err = capsys.readouterr().err
    assert words in err
    assert err.count("\n") == 1


def test_one_monitor_a_port_and_a_log(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A second monitor is refused: on the same port, and on the same log; the first goes on."""
    bench, _, run, _ = terms()
    log = folder / "run.so2log"
    watch = ["watch", "--bench", "bench.toml", "--run", "run.toml", "--no-dashboard"]
    with BenchServer(SimulatedBench(bench, run, 3), folder / "board"), LiveRun(log, folder / "board") as first:
        wait_until(lambda: first.bench.overview().frames_accepted > 5, "the first samples")
        assert main([*watch, "--log", "other.so2log"]) == 1
        assert "is in use by another program" in capsys.readouterr().err
        assert not (folder / "other.so2log").exists()
        (folder / "bench.toml").write_text(terms()[1], "utf-8")
        assert main([*watch, "--log", str(log)]) == 1
        assert "in use by another so2bench" in capsys.readouterr().err
        assert inbox_path(log).exists()
        before = first.bench.overview().frames_accepted
        wait_until(lambda: first.bench.overview().frames_accepted > before + 5, "more samples")


def test_a_page_that_is_refused_leaves_no_log(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A port in use is said in one sentence, before a record begins."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        assert main(["demo", "--page-port", f"{port}", "--log", "run.so2log"]) == 1
    err = capsys.readouterr().err
    assert f"--page-port: found {port}, which is in use" in err
    assert err.count("\n") == 1
    assert not (folder / "run.so2log").exists()


def test_no_board(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A port that is not there is refused in one sentence, and no log is made."""
    watch = ["watch", "--bench", "bench.toml", "--run", "run.toml", "--no-dashboard", "--log", "run.so2log"]
    assert main(watch) == 1
    assert "is the board plugged in" in capsys.readouterr().err
    assert not (folder / "run.so2log").exists()


def test_a_terminal_that_lacks_a_sign(folder: Path) -> None:
    """A plan goes to a terminal that knows no ± or µ all the same, with a mark in their place."""
    environ = {**os.environ, "PYTHONIOENCODING": "ascii"}
    plan = [sys.executable, "-m", "monitor", "plan", "run.toml"]
    done = subprocess.run(plan, env=environ, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert re.search(r"goes over +0\.\d+ \? 0\.\d+ mol SO2", done.stdout)


NAMELESS = "so2bench: this account has no name here; --user says which account is to watch\n"


def test_an_answer_that_is_no_text(folder: Path) -> None:
    """Bytes that are no character, typed at a question, are an answer like another."""
    bench, _, run, _ = terms()
    calibrate = ["calibrate", "gas-zero", "--bench", "bench.toml", "--seconds", "20", "--port"]
    with BenchServer(SimulatedBench(bench, run, 3), folder / "board", 10.0):
        command = [sys.executable, "-m", "monitor", *calibrate]
        environ = {**os.environ, "PYTHONIOENCODING": "utf-8"}
        done = subprocess.run(command, env=environ, input=b"\xff\n", capture_output=True, check=False, timeout=60)
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"bench.toml: gas.zero_sum = " in done.stdout


def test_an_account_without_a_name(folder: Path) -> None:
    """An account that has a number and no name, as in a container, is told so where a name is wanted alone."""
    nameless = "import getpass, sys; from monitor.cli import main\ngetpass.getuser = lambda: {}['uid not found']\n"
    unit = ["unit", *FILES, "--log", "a.so2log"]
    for command, said in ((["plan", "run.toml"], ""), ([*unit, "--user", "watcher"], ""), (unit, NAMELESS)):
        code = f"{nameless}sys.exit(main({command!r}))"
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (int(bool(said)), said)


def test_whoever_listens_goes_away(folder: Path) -> None:
    """A reader of its output that goes away ends a command without a traceback."""
    for command in ("plan run.toml", "benches --demo 30 --plain"):
        line = f"{sys.executable} -m monitor {command} | head -n 1"
        done = subprocess.run(line, shell=True, capture_output=True, text=True, check=True, timeout=60)
        assert done.stdout != ""
        assert done.stderr == ""


def test_ctrl_c_at_a_question(folder: Path) -> None:
    """Ctrl-C while a person is asked ends the command in one line, with the status that shells give it."""
    bench, _, run, _ = terms()
    calibrate = ["calibrate", "gas-zero", "--bench", "bench.toml", "--port"]
    with BenchServer(SimulatedBench(bench, run, 3), folder / "board"):
        child = subprocess.Popen(
            [sys.executable, "-u", "-m", "monitor", *calibrate],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        assert child.stdout is not None
        assert child.stdout.read(4) == b"Give"
        child.send_signal(signal.SIGINT)
        _, err = child.communicate(timeout=60)
    assert (child.returncode, err) == (130, b"so2bench: ended before it was done\n")


class _Page:
    """A page that is there until it is closed."""

    url = "http://127.0.0.1:1"
    closed = 0

    def __init__(self, *_: object) -> None:
        pass

    def close(self) -> None:
        _Page.closed += 1


def test_told_to_end_while_making_ready(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Told to end while the record is still read again, it takes its page with it, and the signal is as it was."""
    monkeypatch.setattr("monitor.edges.page.Page", _Page)
    monkeypatch.setattr("monitor.service.begin", lambda *_: signal.raise_signal(signal.SIGTERM))
    bench, _, run, _ = terms()
    with BenchServer(SimulatedBench(bench, run, 3), folder / "board"):
        assert main(["watch", *FILES, "--log", "run.so2log"]) == 130
    assert _Page.closed == 1
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_ctrl_c_in_the_middle_of_a_command(folder: Path) -> None:
    """A command stopped half-way says so in one line, with the status that shells give for it, and no traceback."""
    waits = folder / "recording"
    os.mkfifo(waits)  # the command is in the middle of its work once it reads from here
    argv = [sys.executable, "-m", "monitor", "replay", str(waits), *FILES]
    with subprocess.Popen(argv, stderr=subprocess.PIPE, text=True) as command, waits.open("wb"):
        command.send_signal(signal.SIGINT)
        _, said = command.communicate()
    assert (command.returncode, said) == (130, "so2bench: ended before it was done\n")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--draw", "4 L/minute"], "--draw: the route acid-drip has none"),
        (["--route", "acid-on-sulfur", "--acid", "HCl"], "--acid: the route acid-on-sulfur has none"),
        (["--route", "burner", "--salt", "K2S2O5"], "--salt: the route burner has none"),
        (["--route", "kettle"], "invalid choice: 'kettle'"),
        (["--page-port", "8501"], "unrecognized arguments"),
    ],
)
def test_what_a_route_does_not_have(more: list[str], words: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What would change nothing is refused, and not passed over in silence."""
    with pytest.raises(SystemExit) as ended:
        main(["plan", "--want", "12 g Se", *more])
    assert ended.value.code == 2
    assert words in capsys.readouterr().err


def test_no_folder_of_past_runs(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder that is not there is not one in which nothing was learned."""
    assert main(["plan", "run.toml", "--bench", "bench.toml", "--past", "nowhere"]) == 1
    assert capsys.readouterr().err == "so2bench: --past: found no folder nowhere, wanted one with run logs\n"


def test_a_name_that_the_machine_refuses(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file's name too long for the machine is one short sentence."""
    assert main(["demo", "--no-dashboard", "--log", "x" * 300]) == 1
    (said,) = capsys.readouterr().err.splitlines()
    assert said.startswith("so2bench: xxx")
    assert said.endswith("…: File name too long")


def test_a_terminal_that_goes_away(folder: Path) -> None:
    """A terminal that is closed, or a line to it that breaks, ends the watching in good order."""
    bench, _, run, _ = terms()
    watch = [sys.executable, "-u", "-m", "monitor", "watch", *FILES, "--no-dashboard", "--log", "run.so2log"]
    with BenchServer(SimulatedBench(bench, run, 3), folder / "board"):
        child = subprocess.Popen(watch, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        wait_until(lambda: inbox_path(folder / "run.so2log").exists(), "the watching")
        wait_until(lambda: LogReader(folder / "run.so2log").overview(), "an overview")
        child.send_signal(signal.SIGHUP)
        _, err = child.communicate(timeout=60)
    assert (child.returncode, err) == (0, b"")
    assert not inbox_path(folder / "run.so2log").exists()
    assert LogReader(folder / "run.so2log").notes(1)[0][2].endswith("watching ended; the run is still open")


def test_a_program_that_is_to_outlive_its_terminal() -> None:
    """Whoever starts it so that it outlives the terminal, as nohup does, is heeded (POSIX, nohup)."""
    assert ending_signals() == (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        assert ending_signals() == (signal.SIGINT, signal.SIGTERM)
    finally:
        signal.signal(signal.SIGHUP, before)
