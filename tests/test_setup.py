"""What the commands about a set-up say, and what a supervisor hears of a live run."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from monitor import cli
from monitor.edges.logreader import LogReader
from monitor.edges.supervisor import SOCKET_ENV, Supervisor
from monitor.rig import scenario
from monitor.rig.bench import SimulatedBench
from monitor.rig.serve import BenchServer
from monitor.settings import bench_from, parse_toml, run_from
from tests.edges.broker import Broker
from tests.edges.mqtt_host import overview
from tests.messenger.sink import wait_until

pytestmark = pytest.mark.live


@contextmanager
def set_up(folder: Path, more: str = "") -> Iterator[None]:
    """The demonstration's two files in a folder, and its bench on a port."""
    link = folder / "board"
    bench_toml, run_toml = scenario.bench_toml(str(link), datetime.now(UTC).date()) + more, scenario.run_toml()
    (folder / "bench.toml").write_text(bench_toml)
    (folder / "run.toml").write_text(run_toml)
    bench, run = bench_from(parse_toml(bench_toml, "b"), "b"), run_from(parse_toml(run_toml, "r"), "r")
    with BenchServer(SimulatedBench(bench, run, 1), link, 1.0):
        yield


def lines_of(text: str) -> dict[str, str]:
    """What the doctor said, by what it looked at: the verdict and the words."""
    found = {}
    for line in text.splitlines():
        verdict, what, words = line[:14].strip(), line[14:25].strip(" :"), line[25:]
        if verdict:
            found[what] = f"{verdict}: {words}"
    return found


@pytest.mark.broker
def test_the_doctor_finds_nothing_wrong_with_a_good_set_up(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Files, disk, clock, board and broker are looked at, and each is said to be good with what was seen."""
    with Broker(tmp_path) as broker, set_up(tmp_path, f'\n[mqtt]\nurl = "{broker.url}"\n'):
        arguments = ["doctor", "--bench", str(tmp_path / "bench.toml"), "--run", str(tmp_path / "run.toml")]
        assert cli.main([*arguments, "--folder", str(tmp_path)]) == 0
    said = lines_of(capsys.readouterr().out)
    assert [what for what in said if not what.startswith("wrong")][:9] == [
        *("program", "apparatus", "run", "record", "clock", "board", "broker", "messages", "page"),
    ]
    assert "10.0 samples a second" in said["board"]
    assert "lets this bench in and takes its messages" in said["broker"]


def test_the_doctor_says_all_that_is_wrong(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A mistake in the file, and each thing that cannot be looked at because of it, are named; the status is 1."""
    (tmp_path / "bench.toml").write_text('name = "hood 2"\n')
    assert cli.main(["doctor", "--bench", str(tmp_path / "bench.toml"), "--folder", str(tmp_path / "none")]) == 1
    got = capsys.readouterr()
    said = lines_of(got.out)
    assert said["apparatus"].startswith("WRONG: bench.toml: name: found 'hood 2'")
    assert said["record"].startswith("WRONG: nothing can be written in")
    assert said["board"] == said["broker"] == said["messages"] == "not looked at: the apparatus comes first"
    assert got.err == "so2bench: not as it should be: apparatus, record, board, broker, messages\n"


def test_the_doctor_tells_a_missing_board_and_a_missing_broker(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A port that is not there and a broker where nobody listens are told with what to look at."""
    with set_up(tmp_path, '\n[mqtt]\nurl = "mqtt://127.0.0.1:1"\n[notify]\nurls_env = "SO2BENCH_NOBODY"\n'):
        pass
    assert cli.main(["doctor", "--bench", str(tmp_path / "bench.toml"), "--folder", str(tmp_path)]) == 1
    said = lines_of(capsys.readouterr().out)
    assert "is the board plugged in, and is the path right?" in said["board"]
    assert "nobody listens at 127.0.0.1:1" in said["broker"]
    assert "SO2BENCH_NOBODY is not set or empty" in said["messages"]


def test_the_unit_is_one_that_systemd_takes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The unit bears absolute paths and no secret, and systemd's own check finds nothing in it to complain of."""
    with set_up(tmp_path):
        pass
    arguments = ["unit", "--bench", str(tmp_path / "bench.toml"), "--run", str(tmp_path / "run.toml")]
    assert cli.main([*arguments, "--log", str(tmp_path / "now.so2log"), "--user", "root", "--no-dashboard"]) == 0
    text = capsys.readouterr().out
    command = (
        f"watch --bench {tmp_path}/bench.toml --run {tmp_path}/run.toml --log {tmp_path}/now.so2log --no-dashboard"
    )
    assert command in text
    assert "Restart=on-failure" in text
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd is not on this machine")
    path = tmp_path / "so2bench-demo.service"
    path.write_text(text)
    got = subprocess.run(["systemd-analyze", "verify", str(path)], capture_output=True, text=True, check=False)
    assert (got.returncode, got.stderr) == (0, "")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--log", "a.so2log", "--user", "watcher\nExecStartPre=/bin/true"], "--user: found 'watcher\\n"),
        (["--log", "bench.toml"], "found a file that is no run log"),
        (["--log", "."], "found a folder, wanted one run log"),
        (["--log", "nowhere/a.so2log"], "--log: found no folder "),
    ],
)
def test_a_unit_that_would_not_start_is_not_printed(
    tmp_path: Path, more: list[str], words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An account that smuggles a line into the unit, and a log that can hold no run, are refused before boot."""
    with set_up(tmp_path):
        pass
    monkeypatch.chdir(tmp_path)
    assert cli.main(["unit", "--bench", "bench.toml", "--run", "run.toml", *more]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert words in said.err


def test_a_path_that_cannot_stand_in_a_unit_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A blank in a path would be read as another word by systemd: it is refused, with the path."""
    folder = tmp_path / "hood two"
    folder.mkdir()
    with set_up(folder):
        pass
    arguments = ["--bench", str(folder / "bench.toml"), "--run", str(folder / "run.toml"), "--log", "x.so2log"]
    assert cli.main(["unit", *arguments]) == 1
    assert "wanted a path without blanks" in capsys.readouterr().err


class Ears:
    """What systemd is to the program: a datagram socket, named in the environment."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "supervisor"
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(str(self.path))
        self.socket.settimeout(60.0)

    def hear(self) -> list[str]:
        """The lines of the next word."""
        return self.socket.recv(4096).decode().splitlines()


def test_a_supervisor_hears_each_overview(tmp_path: Path) -> None:
    """The first overview makes the run ready, each says that it is alive, and its end is told (sd_notify(3))."""
    ears = Ears(tmp_path)
    environ = {SOCKET_ENV: str(ears.path)}
    with ears.socket:
        supervisor = Supervisor(environ)
        assert environ == {}  # what is started from here does not speak for the monitor
        supervisor([overview(1.0)])
        supervisor([overview(2.0)])
        supervisor.close()
        supervisor([overview(3.0)])  # nothing, and no error
        said = [ears.hear() for _ in range(3)]
    status = "STATUS=getting ready, permit off, no alarm"
    assert said == [["READY=1", "WATCHDOG=1", status], ["WATCHDOG=1", status], ["STOPPING=1"]]


def test_without_a_supervisor_nothing_happens(tmp_path: Path) -> None:
    """No socket, or one that is gone, is no trouble."""
    for environ in ({}, {SOCKET_ENV: str(tmp_path / "nobody")}, {SOCKET_ENV: "@so2bench-nobody-at-all"}):
        supervisor = Supervisor(environ)
        supervisor([overview(1.0)])
        supervisor.close()


def test_a_run_that_is_killed_is_gone_on_with(tmp_path: Path) -> None:
    """Killed and started again by the same command, as a supervisor does it, the same run goes on in the same log."""
    ears = Ears(tmp_path)
    log = tmp_path / "now.so2log"
    options = "watch --bench bench.toml --run run.toml --log now.so2log --no-dashboard"
    with ears.socket, set_up(tmp_path):
        for time in (1, 2):
            process = subprocess.Popen(
                [sys.executable, "-m", "monitor", *options.split()],
                cwd=tmp_path,
                env={**os.environ, SOCKET_ENV: str(ears.path)},
                stdout=subprocess.DEVNULL,
            )
            assert ears.hear()[0] == "READY=1"
            wait_until(lambda: LogReader(log).header().last.mono_s > 0.0, "a record")
            process.send_signal(signal.SIGKILL if time == 1 else signal.SIGTERM)
            process.wait()
            while time == 2 and ears.hear() != ["STOPPING=1"]:
                pass
    said = [text for _, what, text in LogReader(log).notes() if what == "note"]
    assert "so2bench: watching was taken up again" in said
    assert "so2bench: watching ended; the run is still open" in said
