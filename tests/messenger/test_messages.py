"""Messages to people from a real run, through the real messenger, to a message service of the test's own."""

from __future__ import annotations

import asyncio
import os
import signal
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from monitor import cli
from monitor.core.events import AlarmState, Priority, StandingAlarm
from monitor.edges.notify import Notify
from monitor.errors import RefusalError, SettingsError
from monitor.messenger.letters import Scene, Teller
from monitor.messenger.targets import targets_of
from monitor.rig import scenario
from monitor.rig.bench import SimulatedBench
from monitor.rig.serve import BenchServer
from monitor.settings import bench_from, parse_toml, run_from
from monitor.terms import NotifyTerms
from tests.edges.mqtt_host import overview
from tests.messenger.sink import Sink, wait_until
from tests.settings import BENCH_TOML

pytestmark = pytest.mark.live

ENV = "SO2BENCH_TEST_URLS"
LEAK = StandingAlarm("GAS-LEAK", Priority.HIGH, AlarmState.UNACKNOWLEDGED, 1.0, "0.9 ppm over its usual level")


class People:
    """The outlet as the service has it, with what it told of its own trouble."""

    def __init__(self) -> None:
        self.told: list[tuple[bool, str]] = []
        self.notify = Notify(
            "hood-2", "invented", "acid-drip", NotifyTerms(ENV), lambda *said: self.told.append(said)
        )
        self.t_s = 0.0

    def hear(self, *alarms: StandingAlarm) -> None:
        self.t_s += 1.0
        self.notify([overview(self.t_s, alarms)])


def test_a_run_is_told_of_from_its_beginning_to_its_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """The beginning, an alarm and the wanted end reach the service, in this order, and no secret stands in them."""
    with Sink() as sink:
        monkeypatch.setenv(ENV, sink.url)
        people = People()
        people.hear()
        sink.wait_for("watched from now")
        people.hear(LEAK)
        letter = sink.wait_for("GAS-LEAK")
        assert letter["type"] == "failure"
        people.notify.goodbye("The run was ended by a person.")
        people.notify.close()
        sink.wait_for("The run was ended by a person.")
        assert [title.partition(": ")[2].split(",")[0] for title in sink.titles()] == [
            "watched from now",
            "high alarm",
            "watching was ended",
        ]
        assert "s3cret" not in str(sink.got)
        assert people.told == []


def test_an_end_that_nobody_wanted_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a goodbye the messenger says that nobody watches, however the run ended."""
    with Sink() as sink:
        monkeypatch.setenv(ENV, sink.url)
        people = People()
        people.hear()
        people.notify.close()
        assert "the permit away by itself" in sink.wait_for("NOBODY WATCHES")["message"].replace("\n", " ")


def test_a_failing_service_is_told_of_and_gets_its_letter_later(monkeypatch: pytest.MonkeyPatch) -> None:
    """A service that refuses is trouble after three tries; when it takes messages again, nothing was forgotten."""
    with Sink() as sink, Sink() as other:
        monkeypatch.setenv(ENV, f"{sink.url} {other.url}")
        sink.status = 503
        people = People()
        people.hear(LEAK)
        other.wait_for("GAS-LEAK")  # one that fails does not hold up another
        wait_until(lambda: people.told, "that messages fail")
        assert people.told == [(True, "message service 1 of 2 (json) did not take it")]
        sink.status = 200
        sink.wait_for("GAS-LEAK")
        wait_until(lambda: len(people.told) == 2, "that they go out again")
        assert people.told[1] == (False, "message service 1 of 2 (json) takes them again")
        people.notify.goodbye("x")
        people.notify.close()


def test_a_messenger_that_dies_is_started_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """When the messenger's process dies, that is told, another takes its place, and the alarm is told by that one."""
    with Sink() as sink:
        monkeypatch.setenv(ENV, sink.url)
        people = People()
        people.hear()
        sink.wait_for("watched from now")
        people.notify._process.kill()
        people.notify._process.wait()

        def started_anew() -> bool:
            people.hear(LEAK)
            return (False, "the messenger was started anew") in people.told

        wait_until(started_anew, "another messenger")
        assert people.told[0] == (True, "the messenger ended and is started anew")
        people.hear(LEAK)
        sink.wait_for("GAS-LEAK")
        people.notify.goodbye("x")
        people.notify.close()


def test_a_killed_run_calls_people(tmp_path: Path) -> None:
    """The whole program, killed without a chance to say anything, is reported within seconds by its messenger."""
    with Sink() as sink:
        link = tmp_path / "board"
        bench_toml = scenario.bench_toml(str(link), datetime.now(UTC).date()) + f'\n[notify]\nurls_env = "{ENV}"\n'
        (tmp_path / "bench.toml").write_text(bench_toml)
        (tmp_path / "run.toml").write_text(scenario.run_toml())
        bench = bench_from(parse_toml(bench_toml, "b"), "b")
        run = run_from(parse_toml(scenario.run_toml(), "r"), "r")
        with BenchServer(SimulatedBench(bench, run, 1), link, 1.0):
            options = "watch --bench bench.toml --run run.toml --log x.so2log --no-dashboard"
            process = subprocess.Popen(
                [sys.executable, "-m", "monitor", *options.split()],
                cwd=tmp_path,
                env={**os.environ, ENV: sink.url},
                stdout=subprocess.DEVNULL,
            )
            try:
                sink.wait_for("watched from now")
            finally:
                process.send_signal(signal.SIGKILL)
                process.wait()
            sink.wait_for("NOBODY WATCHES")
        log = b"".join(p.read_bytes() for p in tmp_path.glob("x.so2log*"))
        assert b"s3cret" not in log


@pytest.mark.parametrize(
    ("urls", "words"),
    [
        ("", f"the environment variable {ENV} is not set or empty"),
        ("json://good.example nonsense", "URL 2 of 2 in SO2BENCH_TEST_URLS is none that Apprise understands"),
        (" ".join(["json://good.example"] * 21), "found 21 URLs in SO2BENCH_TEST_URLS, wanted at most 20"),
    ],
)
def test_urls_that_cannot_be_used_are_refused_before_anything_starts(
    monkeypatch: pytest.MonkeyPatch, urls: str, words: str
) -> None:
    """A missing or unknown URL is refused with its place, and never shown."""
    monkeypatch.setenv(ENV, urls)
    with pytest.raises(SettingsError, match="urls_env") as told:
        targets_of(ENV)
    assert words in str(told.value)
    assert "example" not in str(told.value)
    with pytest.raises(RefusalError, match="urls_env"):
        Notify("hood-2", "invented", "acid-drip", NotifyTerms(ENV), lambda *_: None)


def test_what_a_run_is_called_is_no_markup() -> None:
    """A service that shows HTML, as mail does, gets the lines as lines, and what people wrote as text."""
    scene = Scene("hood-2", "Se <b>& more</b>", "acid-drip")
    letter = Teller(Priority.LOW, 60.0, str).next(0.0, scene)
    assert letter is not None
    with Sink() as sink:
        (target,) = targets_of(ENV, {ENV: f"{sink.url}?format=html"})
        assert asyncio.run(target.deliver(letter)) is None
    shown = sink.got[0]["message"].replace("&nbsp;", " ")
    assert "Messages about its alarms come here.<br" in shown
    assert "Run: Se &lt;b&gt;&amp; more&lt;/b&gt;." in shown


def test_a_trial_message_says_who_took_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The command sends one message by every service, names those that took it, and refuses if one did not."""
    path = tmp_path / "bench.toml"
    path.write_text(BENCH_TOML)
    assert cli.main(["try-message", "--bench", str(path)]) == 1
    assert "found no [notify], wanted is that table" in capsys.readouterr().err
    path.write_text(BENCH_TOML + f'\n[notify]\nurls_env = "{ENV}"\n')
    with Sink() as sink, Sink() as broken:
        monkeypatch.setenv(ENV, f"{sink.url} {broken.url}")
        assert cli.main(["try-message", "--bench", str(path)]) == 0
        broken.status = 500
        assert cli.main(["try-message", "--bench", str(path)]) == 1
        assert [letter["title"] for letter in sink.got] == ["hood-2: a trial message"] * 2
    said = capsys.readouterr()
    assert said.out.splitlines()[-1] == "message service 1 of 2 (json) took the message: look whether it arrived"
    assert said.err == "so2bench: message service 2 of 2 (json) did not take it\n"
    assert "s3cret" not in said.out + said.err
