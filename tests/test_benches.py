"""Many benches over a real Mosquitto: heard, lost, found again, and nothing else taken for one."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from monitor.benches.keys import Cause
from monitor.benches.levels import Level
from monitor.benches.picture import Row
from monitor.cli import main
from monitor.core.catalogue import CATALOGUE
from monitor.edges.mqtt_broker import Broker as Address
from monitor.edges.mqtt_broker import broker_of
from monitor.edges.page import BenchesPage
from monitor.terms import MqttTerms
from monitor.uptime import uptime_s
from tests.dashboards.live import a_port
from tests.edges.broker import LOOPBACK, Broker, Relay, certify, tool, wait_until
from tests.edges.mqtt_host import BENCH, Host, changes, overview, standing
from tests.edges.test_mqtt_will import host_process
from tests.hearing import Hearing

FLEET = "tests.benchmarks.benches_fleet"
needs_broker = pytest.mark.broker


def leave(broker: Broker, topic: str, payload: bytes, *, keep: bool = True) -> None:
    """What another program does: publish something, to be kept."""
    command = [tool("mosquitto_pub"), "-V", "5", "-h", LOOPBACK, "-p", str(broker.port), "-t", topic, "-s"]
    subprocess.run([*command, *(["-r"] if keep else [])], input=payload, check=True)


@needs_broker
def test_benches_are_heard_with_their_alarms(tmp_path: Path) -> None:
    """Benches that were there before, and such as come later, are on the list, worst first, with their alarms."""
    with Broker(tmp_path) as broker, Host(broker.url, bench="hood-1") as early:
        early.hear(overview(1.0))
        wait_until(lambda: early.in_order, "the first bench is heard by the broker")
        with Hearing(broker.url) as hearing, Host(broker.url, bench="hood-2") as late:
            hearing.wait_level("hood-1", Level.QUIET)
            late.hear(overview(2.0, (standing(),)), next(changes()))
            hearing.wait_level("hood-2", Level.MEDIUM_WAITING)
            wait_until(lambda: bool(row_of(hearing, "hood-2").changes), "the change is heard")
            row = row_of(hearing, "hood-2")
            assert row.standing is not None
            assert [a.tag for a in row.standing.alarms] == ["PLATE-HIGH"]
            assert row.changes[0].response == CATALOGUE["DRIP-FAST"].response("acid-drip")
            assert [r.judged.name for r in hearing.picture.rows(0, 9)] == ["hood-2", "hood-1"]
            late.stop()
            hearing.wait_level("hood-2", Level.ENDED)


def row_of(hearing: Hearing, name: str) -> Row:
    row = hearing.picture.one(name)
    assert row is not None
    return row


@needs_broker
def test_the_last_will_is_heard_at_once(tmp_path: Path) -> None:
    """When a monitor's process is killed, its bench is not heard from within a second or so, long before 30 s."""
    with Broker(tmp_path) as broker, Hearing(broker.url) as hearing, host_process(broker) as process:
        hearing.wait_level(BENCH, Level.QUIET)
        process.kill()
        killed_s = time.monotonic()
        hearing.wait_level(BENCH, Level.NOT_HEARD)
        assert time.monotonic() - killed_s < 5.0
        assert row_of(hearing, BENCH).judged.why == "the broker has lost its monitor"
        with Hearing(broker.url) as late:
            late.wait_level(BENCH, Level.NOT_HEARD)
            assert row_of(late, BENCH).judged.why == "the broker has lost its monitor"


@needs_broker
def test_leftovers_are_counted_and_never_shown(tmp_path: Path) -> None:
    """Whatever other programs left at the broker, only benches are on the list, and each refusal has its cause."""
    left = {
        "so2bench/kiln/temperature": b"812",
        "so2bench/old": b"online",
        "so2bench/hood-7/state": b'{"temp": 21.5}',
        "so2bench/hood-7/standing": b"none",
        "so2bench/hood-7/watched": b'{"v": 1, "bench": "hood-8", "session": "5be0a9d4"}',
        "so2bench/hood 9/watched": b"1",
        "so2bench/hood-8/state": b"x" * 40_000,
        "so2bench/hood-9/state": b"y" * 2_000_000,  # beyond what the listener lets the broker send at all
        "elsewhere/hood-1/state": b"{}",
    }
    with Broker(tmp_path) as broker, Host(broker.url) as host:
        for topic, payload in left.items():
            leave(broker, topic, payload)
        host.hear(overview(1.0))
        wait_until(lambda: host.in_order, "the bench is heard by the broker")
        with Hearing(broker.url) as hearing:
            hearing.wait_level(BENCH, Level.QUIET)
            wait_until(lambda: sum(hearing.listening.roll.refused.values()) == 7, "all leftovers are counted")
            leave(broker, "so2bench/hood-5/state", b"\x00\xff", keep=False)
            wait_until(lambda: hearing.listening.roll.refused[Cause.JSON] == 2, "what comes later is counted")
            assert {c: n for c, n in hearing.listening.roll.refused.items() if n} == {
                Cause.TOPIC: 2,
                Cause.VERSION: 1,
                Cause.JSON: 2,
                Cause.OTHER_BENCH: 1,
                Cause.NAME: 1,
                Cause.LARGE: 1,
            }
            assert set(hearing.levels) == {BENCH}
            assert hearing.connected


@needs_broker
def test_a_kept_watched_from_nowhere_is_no_bench(tmp_path: Path) -> None:
    """A true "watched" that somebody put there to be kept for ever makes no bench."""
    word = b'{"v": 1, "bench": "hood-3", "session": "5be0a9d4", "watched": true, "why": "watching", "text": "", '
    with Broker(tmp_path) as broker:
        leave(broker, "so2bench/hood-3/watched", word + b'"heard_utc_s": 1.0}')
        with Hearing(broker.url) as hearing:
            wait_until(lambda: hearing.listening.roll.refused[Cause.KEPT] == 1, "it is refused")
            assert hearing.levels == {}


@needs_broker
def test_a_broker_that_is_away_is_said_and_found_again(tmp_path: Path) -> None:
    """Killed, the broker is away since that moment, with the reason; back, benches are heard again by themselves."""
    with Broker(tmp_path) as broker, Hearing(broker.url) as hearing, Host(broker.url) as host:
        host.hear(overview(1.0))
        hearing.wait_level(BENCH, Level.QUIET)
        before_s = uptime_s()
        broker.kill()
        hearing.wait_connected(there=False)
        seen = hearing.picture.whole.broker
        assert seen is not None
        assert before_s <= seen.since_s <= uptime_s()
        wait_until(lambda: any("nobody listens at" in line for line in hearing.said), "the reason is said")
        assert hearing.levels == {BENCH: Level.QUIET}  # its own 30 s have not passed
        assert hearing.listening.roll.look(uptime_s() + 31.0)[0].level is Level.NOT_HEARD
        later = hearing.picture.whole.broker
        assert later is not None
        assert later.since_s == seen.since_s
        broker.start()
        hearing.wait_connected()
        host.hear(overview(2.0, (standing(),)))
        hearing.wait_level(BENCH, Level.MEDIUM_WAITING)


@needs_broker
def test_a_broker_that_hangs_is_away(tmp_path: Path) -> None:
    """A broker that only keeps the connection open is noticed by its silence."""
    with Broker(tmp_path) as broker, Hearing(broker.url) as hearing:
        hearing.wait_connected()
        broker.freeze()
        hearing.wait_connected(there=False)
        broker.thaw()
        hearing.wait_connected()


@needs_broker
def test_a_cut_line_loses_no_more_than_its_time(tmp_path: Path) -> None:
    """After a cut between listener and broker an alarm that was raised meanwhile is on the list."""
    with Broker(tmp_path) as broker, Relay(broker) as relay, Host(broker.url) as host:
        relay.join()
        with Hearing(relay.url) as hearing:
            host.hear(overview(1.0))
            hearing.wait_level(BENCH, Level.QUIET)
            relay.cut()
            hearing.wait_connected(there=False)
            host.hear(overview(2.0, (standing(),)))
            relay.join()
            hearing.wait_level(BENCH, Level.MEDIUM_WAITING)


# The library leaves the socket of a failed handshake to be closed by the collector.
@pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning")
@needs_broker
def test_signing_in_and_being_refused(tmp_path: Path) -> None:
    """TLS and a password let it in; a wrong certificate or password is told in a sentence that holds no password."""
    good, bad = certify(tmp_path, "good"), certify(tmp_path, "bad")
    with Broker(tmp_path, certificates=good, users={"reader": "s3cret"}) as broker:

        def address(authority: Path, password: str) -> Address:
            terms = MqttTerms(f"mqtts://reader@{LOOPBACK}:{broker.port}", "PASSWORD", str(authority))
            return broker_of(terms, {"PASSWORD": password})

        with Hearing(address(good.authority, "s3cret")) as hearing:
            hearing.wait_connected()
        for authority, password, words in (
            (bad.authority, "s3cret", "shows a certificate that is not accepted"),
            (good.authority, "wr0ng", "does not let user 'reader' in"),
        ):
            with Hearing(address(authority, password)) as hearing:
                wait_until(lambda h=hearing, w=words: any(w in line for line in h.said), words)  # type: ignore[misc]
                assert not any("s3cret" in line or "wr0ng" in line for line in hearing.said)
                assert not hearing.connected


@needs_broker
def test_two_listeners_do_not_disturb_each_other(tmp_path: Path) -> None:
    """Any number of people may look at the same benches."""
    with Broker(tmp_path) as broker, Hearing(broker.url) as one, Hearing(broker.url) as two, Host(broker.url) as host:
        host.hear(overview(1.0))
        one.wait_level(BENCH, Level.QUIET)
        two.wait_level(BENCH, Level.QUIET)
        assert one.connected
        assert two.connected
        assert not any("broke off" in line for line in one.said + two.said)


@needs_broker
def test_one_table_at_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`benches --once` prints what is there now, and nothing else."""
    with Broker(tmp_path) as broker, Host(broker.url) as host:
        host.hear(overview(1.0, (standing(),)))
        wait_until(lambda: host.in_order, "the bench is heard by the broker")
        assert main(["benches", "--broker", broker.url, "--once"]) == 0
    out, err = capsys.readouterr()
    assert "1 bench: 1 !! medium alarm, not acknowledged" in out
    assert "Plate too hot" in out
    assert err == ""


def test_no_broker_is_a_refusal(capsys: pytest.CaptureFixture[str]) -> None:
    """Where nobody listens, `--once` says so in one sentence and prints no table."""
    assert main(["benches", "--broker", f"mqtt://{LOOPBACK}:1", "--once"]) == 1
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "is the broker running" in err


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--broker", "http://x"], "--broker: found 'http://x', wanted is a URL"),
        (["--broker", "mqtt://a:b@x"], "--broker: found a password in it"),
        (["--broker", "mqtt://a@x", "--password-env", "NOT_SET_HERE"], "--password-env: the environment variable"),
        (["--broker", "mqtt://x", "--password-env", "HOME"], "found no user, but --password-env is given"),
        (["--broker", "mqtts://x", "--ca-file", "/nowhere"], "--ca-file: '/nowhere' cannot be used"),
        (["--demo", "--password-env", "HOME"], "invented benches need no broker"),
    ],
)
def test_mistakes_name_the_option(options: list[str], words: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A mistake is refused before anything is connected to, and names the option; no password is repeated."""
    assert main(["benches", *options, "--plain"]) == 1
    err = capsys.readouterr().err
    assert words in err
    assert "a:b" not in err


@pytest.mark.parametrize("options", [[], ["--demo", "0"], ["--demo", "many"], ["--demo", "--broker", "mqtt://x"]])
def test_wrong_usage(options: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """A broker or invented benches, one of them; else the usage is shown."""
    with pytest.raises(SystemExit) as ended:
        main(["benches", *options])
    assert ended.value.code == 2
    assert "usage: so2bench benches" in capsys.readouterr().err


def test_tables_until_told(tmp_path: Path) -> None:
    """`benches --plain` prints a table when something changes, marked as invented, and ends in good order."""
    command = [sys.executable, "-m", "monitor", "benches", "--demo", "4", "--plain"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=tmp_path) as process:
        assert process.stdout is not None
        lines = [process.stdout.readline().rstrip() for _ in range(4)]
        process.send_signal(signal.SIGINT)
        process.stdout.read()
        assert process.wait(20.0) == 0
    assert lines[0] == "INVENTED DATA: none of these benches exists."
    assert "4 benches" in lines[1]
    assert lines[2].split()[:2] == ["bench", "state"]


def test_the_page_is_not_told_the_password(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The page's process has no use for the broker's password, so it does not have it."""
    monkeypatch.setenv("READER_PASSWORD", "s3cret")
    page = BenchesPage(tmp_path, a_port(), without=("READER_PASSWORD",))
    try:
        environment = Path(f"/proc/{page._process.pid}/environ")
        wait_until(lambda: b"SO2BENCH_BENCHES=" in environment.read_bytes(), "the process has its environment")
        assert b"s3cret" not in environment.read_bytes()
    finally:
        page.close()
    assert os.environ["READER_PASSWORD"] == "s3cret"


@needs_broker
def test_nothing_is_missed_of_many(tmp_path: Path) -> None:
    """Forty benches, each with the real outlet and a connection of its own: every state and every change arrives.

    A short share of `tests.benchmarks.bench_benches`.
    """
    count = 40
    with Broker(tmp_path) as broker, Hearing(broker.url) as hearing:
        hearing.wait_connected()
        line = [sys.executable, "-m", FLEET, broker.url, str(count), "each"]
        with subprocess.Popen(line, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as fleet:
            wait_until(lambda: len(hearing.levels) == count, "all benches are heard")
            time.sleep(3.0)  # of their lives
            said, _ = fleet.communicate("\n", timeout=60.0)
        given: dict[str, list[int]] = json.loads(said)
        assert min(states for states, _ in given.values()) >= 3

        def all_arrived() -> bool:
            rows = list(hearing.picture.rows(0, count))
            return given == {
                r.judged.name: [r.state.number if r.state else 0, r.changes[-1].seq if r.changes else 0] for r in rows
            }

        wait_until(all_arrived, "the last states and changes have arrived")
        assert [(j.states_missed, j.changes_missed) for j in hearing.listening.roll.look(0.0)] == [(0, 0)] * count
        assert not any(hearing.listening.roll.refused.values())
