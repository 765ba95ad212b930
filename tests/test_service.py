"""One live run as the service wires it: what is asked is answered, what is late is refused, trouble ends no run."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path
from typing import cast

import pytest

from monitor.core.events import AlarmChanged, Answered, PermitChanged
from monitor.edges import runlog
from monitor.edges.inbox import STALE_S, inbox_path
from monitor.edges.logreader import LogReader
from monitor.edges.notify import Notify
from monitor.errors import LogError, PortError, RefusalError
from monitor.service import WATCHING_ENDED, Service, begin
from tests.core.lines import BoardScript
from tests.scripted import CALM, SPEED, ScriptedPort, Watched, terms, watch

pytestmark = pytest.mark.live


def for_ever(board: BoardScript, _n: int) -> bytes:
    """A quiet board."""
    return board.sample()


def answer(watched: Watched, request_id: str) -> Answered:
    """The answer to a request; waits for it."""

    def found() -> list[Answered]:
        return [e for e in list(watched.events) if isinstance(e, Answered) and e.request_id == request_id]

    watched.wait(found, "the answer")
    return found()[0]


def test_what_is_asked_is_answered_in_the_log(tmp_path: Path) -> None:
    """A request by the inbox is carried out, and its answer stands in the log under its number."""
    log = tmp_path / "run.so2log"
    with Watched(begin(log, *terms(), speed=CALM), ScriptedPort(BoardScript(), for_ever, CALM)) as watched:
        watched.wait(lambda: watched.port.samples > 5, "some samples")
        number = watched.ask("permit", {"on": True})
        assert answer(watched, number).accepted
        reader = LogReader(log)
        watched.wait(lambda: reader.answer(number), "the answer in the log")
    assert LogReader(log).answer(number) == (True, "permit on")
    last = [e for e in watched.events if isinstance(e, PermitChanged)][-1]
    assert (last.on, last.why) == (False, "taken back by so2bench")  # whoever stops watching takes it back


@pytest.mark.parametrize("age_s", [STALE_S + 1.0, 86_400.0, -86_400.0])
def test_a_stale_request_is_refused(tmp_path: Path, age_s: float) -> None:
    """A request that lay too long, or comes from tomorrow, is refused unread, with the reason."""
    log = tmp_path / "run.so2log"
    with Watched(begin(log, *terms(), speed=SPEED), ScriptedPort(BoardScript(), for_ever)) as watched:
        watched.wait(lambda: watched.port.samples > 20, "some samples")
        got = answer(watched, watched.ask("permit", {"on": True}, time.time() - age_s))
    assert not got.accepted
    assert "older than 30 s and was not carried out" in got.text
    assert not [e for e in watched.events if isinstance(e, PermitChanged)]


@pytest.mark.parametrize(
    ("kind", "args", "words"),
    [
        ("explode", {}, "is not one that may be asked"),
        ("port", {"open": False, "text": "x"}, "is not one that may be asked"),
        ("log", {"failing": False, "text": "x"}, "is not one that may be asked"),
        ("note", {}, "lacks 'text'"),
        ("acknowledge", {"tag": "GAS-HIGH"}, "nothing to be done"),
        ("reset", {"tag": "NO-SUCH"}, "no alarm is called"),
        ("shelve", {"tag": "GAS-HIGH", "minutes": 5, "reason": "r"}, "cannot be shelved"),
        ("phase", {"phase": "closed"}, "closed by stopping it"),
    ],
)
def test_what_makes_no_sense_is_refused_and_the_run_goes_on(
    tmp_path: Path, kind: str, args: dict[str, object], words: str
) -> None:
    """A request that may not be made, or makes no sense now, is refused in the log with the reason; nothing ends."""
    log = tmp_path / "run.so2log"
    with Watched(begin(log, *terms(), speed=SPEED), ScriptedPort(BoardScript(), for_ever)) as watched:
        got = answer(watched, watched.ask(kind, args))
        assert not got.accepted
        assert words in got.text
        assert answer(watched, watched.ask("note", {"text": "still here"})).accepted


def test_stop_closes_the_run_for_good(tmp_path: Path) -> None:
    """A run that was stopped ends its service, is closed in its log, and is not taken up again."""
    log = tmp_path / "run.so2log"
    with Watched(begin(log, *terms(), speed=SPEED), ScriptedPort(BoardScript(), for_ever)) as watched:
        watched.ask("stop", {})
        watched.wait(lambda: watched.run.bench.stopped, "the end")
    assert LogReader(log).header().closed
    assert not inbox_path(log).exists()
    with pytest.raises(LogError, match="holds a run that is closed"):
        begin(log, *terms(), speed=SPEED)


def test_a_log_of_other_settings_is_not_taken_up(tmp_path: Path) -> None:
    """An unfinished run is taken up with its own settings alone."""
    log = tmp_path / "run.so2log"
    bench, bench_toml, run, run_toml = terms()
    begin(log, bench, bench_toml, run, run_toml)
    for other in ((bench_toml + "\n# changed", run_toml), (bench_toml, run_toml + "\n# changed")):
        with pytest.raises(LogError, match="other settings"):
            begin(log, bench, other[0], run, other[1])
    assert begin(log, bench, bench_toml, run, run_toml).taken_up


def left_alone(path: Path, hours: float) -> Path:
    """A run that was begun, and that nobody has watched for so many hours."""
    _, bench_toml, _, run_toml = terms()
    began_s = time.time() - 3600.0 * hours
    header = {"bench_toml": bench_toml, "run_toml": run_toml, "made_by": "so2bench test"}
    runlog.create(path, {**header, "start_mono_s": "0.0", "start_utc_s": repr(began_s)})
    return path


def test_hours_away_pass_in_the_run(tmp_path: Path) -> None:
    """The hours in which nobody watched pass in the run, a piece at a time, and stand in its log as a lost line."""
    log = left_alone(tmp_path / "run.so2log", 5.0)
    with Watched(begin(log, *terms()), ScriptedPort(BoardScript(), for_ever)) as watched:
        number = watched.ask("note", {"text": "back"})
        got = answer(watched, number)
    assert got.t_s == pytest.approx(18_000.0, abs=60.0)
    lost = next(e for e in watched.events if isinstance(e, AlarmChanged) and e.tag == "LINK-LOST")
    assert lost.t_s == pytest.approx(3.5)
    assert lost.utc_s == pytest.approx(time.time() - 18_000.0, abs=60.0)
    assert max(watched.lengths) < 500


def test_a_run_left_alone_for_days_is_not_taken_up(tmp_path: Path) -> None:
    """A run last watched days ago, by a clock that may be wrong, is refused with that question."""
    log = left_alone(tmp_path / "run.so2log", 24.0 * 400)
    with pytest.raises(LogError, match=r"last watched 400\.0 days ago .* is the clock right"):
        begin(log, *terms())


def test_two_services_of_one_run(tmp_path: Path) -> None:
    """A second service of the same run is refused, and does the first no harm; not even to its inbox."""
    log = tmp_path / "run.so2log"
    with Watched(begin(log, *terms(), speed=SPEED), ScriptedPort(BoardScript(), for_ever)) as watched:
        watched.wait(lambda: watched.port.samples > 20, "some samples")
        second = begin(log, *terms(), speed=SPEED)
        with pytest.raises(RefusalError, match="in use by another so2bench"):
            Service(second, lambda: watched.port)
        assert answer(watched, watched.ask("note", {"text": "still here"})).accepted


def test_a_run_that_went_on_while_it_was_taken_up(tmp_path: Path) -> None:
    """A run that another watched on while its record was read again is refused, and taken up whole the next time."""
    log = tmp_path / "run.so2log"
    with Watched(begin(log, *terms(), speed=SPEED), ScriptedPort(BoardScript(), for_ever)) as watched:
        watched.wait(lambda: watched.port.samples > 20, "some samples")
        early = begin(log, *terms(), speed=SPEED)
        answer(watched, watched.ask("note", {"text": "what the early one has not heard"}))
    with pytest.raises(LogError, match="was still written to while it was read again: that has ended, start anew"):
        Service(early, lambda: watched.port)
    assert not inbox_path(log).exists()
    watch(begin(log, *terms(), speed=SPEED), ScriptedPort(BoardScript(), lambda _b, n: None if n > 3 else b""), [])


def test_a_service_that_cannot_begin_lets_go_of_its_log(tmp_path: Path) -> None:
    """When the inbox cannot be made the service is refused, and the log is free for the next."""
    log = tmp_path / "run.so2log"
    run = begin(log, *terms())
    inbox_path(log).mkdir()
    with pytest.raises(LogError, match="cannot be made"):
        Service(run, lambda: ScriptedPort(BoardScript(), for_ever))
    inbox_path(log).rmdir()
    watch(begin(log, *terms(), speed=SPEED), ScriptedPort(BoardScript(), lambda _b, n: None if n > 3 else b""), [])


class Flaky(ScriptedPort):
    """A line that breaks off now and then."""

    def read(self, timeout_s: float) -> bytes:
        if self.samples % 100 == 99:
            self.samples += 1
            raise PortError("the line board broke off: unplugged?")
        return super().read(timeout_s)


def test_a_line_that_breaks_off_is_opened_again(tmp_path: Path) -> None:
    """A line that breaks off is noted and opened again, as often as it takes; no drop of the board is lost by it."""
    board = BoardScript()

    def dripping(script: BoardScript, n: int) -> bytes | None:
        script.drop(n % 5 == 0)
        return script.sample() if n <= 400 else None

    run = begin(tmp_path / "run.so2log", *terms(), speed=SPEED)
    watch(run, Flaky(board, dripping), [])
    texts = [text for _, what, text in LogReader(run.path).notes() if what == "port"]
    assert texts.count("the line board broke off: unplugged?") >= 3
    assert texts.count("the line to the board is open") >= 4
    assert run.bench.drops == board.drops


FULL = """
import resource, sys, time
from pathlib import Path
from monitor.core.events import AlarmChanged, PermitChanged
from monitor.service import begin
from tests.core.lines import BoardScript
from tests.scripted import CALM, ScriptedPort, Watched, terms

def tags(watched, after):
    return [e.tag for e in list(watched.events) if isinstance(e, AlarmChanged) and e.after.value == after]

def permits(watched):
    return [e for e in list(watched.events) if isinstance(e, PermitChanged)]

port = ScriptedPort(BoardScript(), lambda board, n: board.sample(), CALM)
with Watched(begin(Path(sys.argv[1]), *terms(), speed=CALM), port) as watched:
    watched.wait(lambda: port.samples > 5, "some samples")
    watched.ask("permit", {"on": True})
    watched.wait(lambda: permits(watched), "the permit")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, hard))
    watched.wait(lambda: "LOG-FAILING" in tags(watched, "unacknowledged"), "LOG-FAILING")
    watched.wait(lambda: len(permits(watched)) == 2, "the permit's end")
    resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    watched.wait(lambda: "LOG-FAILING" in tags(watched, "latched, unacknowledged"), "the return")
    given = port.samples
on, off = permits(watched)
raised = next(e for e in watched.events if isinstance(e, AlarmChanged) and e.tag == "LOG-FAILING")
assert (on.on, off.on, off.why) == (True, False, "taken away by LOG-FAILING"), (on, off)
assert 30.0 <= off.t_s - raised.t_s <= 31.0, (raised, off)
print(given)
"""


def test_a_full_disk_is_an_alarm_and_no_end(tmp_path: Path) -> None:
    """When the disk is full LOG-FAILING comes, 30 s later the permit goes; with room again it returns, nothing lost.

    The system's limit on a file's size stands in for the disk's end.
    """
    log = tmp_path / "run.so2log"
    child = subprocess.run([sys.executable, "-c", FULL, str(log)], capture_output=True, text=True, check=False)
    assert child.returncode == 0, child.stderr
    inputs = list(LogReader(log).inputs())
    samples = [data for _, data in inputs if isinstance(data, bytes)]
    twin = BoardScript()
    for data in samples[:5]:  # before the permit changed the board's bits
        assert data == twin.sample()
    assert len(samples) >= int(child.stdout)
    header = LogReader(log).header()
    assert header.last.mono_s >= inputs[-1][0].mono_s
    assert [tag for _, _, tag, *_ in LogReader(log).alarms() if tag == "LOG-FAILING"]


class People:
    """The outlet to people, as far as an end is concerned."""

    def __init__(self) -> None:
        self.heard: list[str] = []

    def goodbye(self, text: str) -> None:
        self.heard.append(text)

    def close(self) -> None:
        self.heard.append("closed")


def test_a_run_ends_on_a_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With disk and waiting room full the watching can be ended: people are told, and how much is lost is said."""
    monkeypatch.setattr(runlog, "QUEUE_MAX", 20)
    log, people = tmp_path / "run.so2log", People()
    watched = Watched(begin(log, *terms(), speed=SPEED), ScriptedPort(BoardScript(), for_ever))
    watched.service._notify = cast(Notify, people)
    watched.service._log._db.execute("PRAGMA busy_timeout=50")
    with closing(sqlite3.connect(log, isolation_level=None)) as db:
        db.execute("BEGIN IMMEDIATE")  # a writer that does not let go is as good as a full disk
        with pytest.raises(LogError, match=r"the end of the run could not be written \(\d+ entries lost\)"), watched:
            watched.wait(lambda: len(watched.service._log._waiting) == 20, "a full waiting room")
        db.execute("ROLLBACK")
    assert people.heard == [WATCHING_ENDED, "closed"]
    assert not inbox_path(log).exists()
