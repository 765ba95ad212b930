"""Acknowledging through a real broker, on a real run: done once, logged with who, and only where it is allowed."""

from __future__ import annotations

import json
import subprocess
import threading
import time
from itertools import islice
from pathlib import Path
from typing import Any

import pytest

from monitor.core.events import AlarmState, Answered, PermitChanged, Taken
from monitor.core.requests import make_request
from monitor.replay import replay_log
from monitor.service import REQUESTS_MAX, Service, begin
from tests.core.lines import BoardScript
from tests.edges.broker import LOOPBACK, Broker, Got, Listener, complete_and_in_order, tool, wait_until
from tests.edges.mqtt_bench import TAG, Bench, restarting
from tests.edges.mqtt_host import Host, changes, overview
from tests.scripted import ScriptedPort, terms

pytestmark = pytest.mark.broker
ALLOWED = "acknowledge = true"


def ask(broker: Broker, session: str, number: str = "n-1", *options: str, **said: Any) -> None:
    """Ask as another program would, with `mosquitto_pub`."""
    payload = {
        "v": 1,
        "session": session,
        "id": number,
        "kind": "acknowledge",
        "who": "Ada",
        "asked_utc_s": time.time(),
        "tag": TAG,
        **said,
    }
    send(broker, json.dumps(payload), *options)


def send(broker: Broker, payload: str, *options: str) -> None:
    where = ["-V", "5", "-h", LOOPBACK, "-p", str(broker.port), "-t", "so2bench/hood-2/ask", "-q", "1"]
    expiry = [] if options else ["-D", "publish", "message-expiry-interval", "30"]
    subprocess.run([tool("mosquitto_pub"), *where, *expiry, *options, "-m", payload], check=True)


def answer(listener: Listener, number: str) -> Got:
    wait_until(lambda: any(g.said["id"] == number for g in listener.all("answer")), f"the answer to {number}")
    return next(g for g in listener.all("answer") if g.said["id"] == number)


def session_of(listener: Listener) -> str:
    wait_until(lambda: any(g.said["tag"] == TAG for g in listener.all("alarm")), "the alarm")
    session: str = listener.all("alarm")[-1].said["session"]
    return session


def test_acknowledged_from_another_room(tmp_path: Path) -> None:
    """An alarm is acknowledged by a message: the answer says so, the alarm's change and the log say by whom, by MQTT.

    Sent twice, it is done once. The run's replay is the run.
    """
    broker = Broker(tmp_path / "b")
    with broker, Listener(broker) as listener, Bench(tmp_path, broker.url, ALLOWED) as bench:
        session = session_of(listener)
        for _ in range(2):
            ask(broker, session, who="Ada\u202e \n Lovelock", asked_utc_s=time.time())
        got = answer(listener, "n-1")
        assert (got.said["accepted"], got.said["text"]) == (True, f"{TAG}: acknowledged")
        assert (got.qos, got.retain, got.content_type) == (1, False, "application/json")
        wait_until(lambda: listener.all("alarm")[-1].said["cause"] == "acknowledged", "the change is told")
        assert listener.all("alarm")[-1].said["who"] == "Ada Lovelock, by MQTT"
        wait_until(lambda: (listener.all("state")[-1].said["requests"] or {}).get("accepted") == 1, "it is counted")
        ask(broker, session, "n-2")
        assert not answer(listener, "n-2").said["accepted"]  # nothing is left to be acknowledged
    assert [c.who for c in bench.changes() if c.cause == "acknowledged"] == ["Ada Lovelock, by MQTT"]
    asked = [e.data for e in bench.events if isinstance(e, Taken) and not isinstance(e.data, bytes)]
    assert [r.who for r in asked if r.kind == "acknowledge"] == ["Ada Lovelock, by MQTT", "Ada, by MQTT"]
    replayed, _ = replay_log(bench.log, bench.terms, bench.run_terms)
    assert replayed.overview() == bench.run.bench.overview()


def test_not_unless_the_bench_allows_it(tmp_path: Path) -> None:
    """Where bench.toml does not allow it, which is the rule, nothing is taken in and nothing is answered."""
    quiet = Bench(tmp_path, (broker := Broker(tmp_path / "b")).url)
    with broker, Listener(broker) as listener, quiet as bench:
        ask(broker, session_of(listener))
        listener.wait("state", len(listener.all("state")) + 3)
        assert listener.all("answer") == []
        assert listener.all("state")[-1].said["requests"] is None
    assert [c for c in bench.changes() if c.cause == "acknowledged"] == []


def test_what_may_not_be_asked(tmp_path: Path) -> None:
    """Another kind or session, a stale, kept or lasting request are refused with the reason; rubbish is counted.

    The permit was never touched.
    """
    broker = Broker(tmp_path / "b")
    with broker, Listener(broker) as listener, Bench(tmp_path, broker.url, ALLOWED) as bench:
        session = session_of(listener)
        ask(broker, session, "permit", kind="permit", on=True)
        ask(broker, session, "reset", kind="reset")
        ask(broker, "00000000", "other")
        ask(broker, session, "stale", asked_utc_s=time.time() - 31.0)
        ask(broker, session, "no-tag", tag="NO-SUCH")
        ask(broker, session, "lasting", "-D", "publish", "message-expiry-interval", "3600")
        ask(broker, session, "kept", "-r", "-D", "publish", "message-expiry-interval", "30")
        send(broker, "rubbish")
        send(broker, "x" * 5000)  # too long for the connection: the broker keeps it to itself
        words = {
            "permit": "and no other",
            "reset": "may be asked from afar",
            "other": "wanted the one that now watches",
            "stale": "older than 30 s and was not carried out",
            "no-tag": "no alarm is called",
            "lasting": "expires within 30 s",
            "kept": "to be kept by the broker",
        }
        for number, word in words.items():
            got = answer(listener, number)
            assert not got.said["accepted"]
            assert word in got.said["text"]
        wait_until(
            lambda: listener.all("state")[-1].said["requests"] == {"accepted": 0, "refused": 7, "ignored": 1},
            "all are counted",
        )
        assert bench.changes()[-1].after is AlarmState.UNACKNOWLEDGED
    assert not [e for e in bench.events if isinstance(e, PermitChanged)]


def test_leftovers_are_not_even_looked_at(tmp_path: Path) -> None:
    """A request that lies kept at the broker from before is not sent to the bench at all."""
    with Broker(tmp_path / "b") as broker, Listener(broker) as listener:
        ask(broker, "00000000", "left", "-r")
        with Bench(tmp_path, broker.url, ALLOWED):
            session = session_of(listener)
            ask(broker, session, "now")
            assert answer(listener, "now").said["accepted"]
            assert [g.said["id"] for g in listener.all("answer")] == ["now"]


def test_a_flood_of_requests_delays_no_alarm(tmp_path: Path) -> None:
    """Under a thousand requests at once the changes of alarms go out as before, and the flood is counted."""
    asked: list[object] = []
    with Broker(tmp_path / "b") as broker, Listener(broker) as listener:
        host = Host(broker.url, on_ask=asked.append)
        with host:
            host.hear(overview(1.0))
            listener.wait_watched("watching")
            lines = "\n".join(['{"id": "x"}'] * 1000)
            where = ["-V", "5", "-h", LOOPBACK, "-p", str(broker.port), "-t", "so2bench/hood-2/ask", "-l"]
            flood = threading.Thread(
                target=subprocess.run, args=([tool("mosquitto_pub"), *where],), kwargs={"input": lines.encode()}
            )
            flood.start()
            host.hear(*islice(changes(), 20), overview(2.0))
            assert complete_and_in_order(listener.wait("alarm", 20), 20)
            flood.join()
            wait_until(
                lambda: sum((listener.all("state")[-1].said["requests"] or {}).values()) >= 1000 or _hear(host),
                "all are counted",
            )
            assert host.troubles == []
    assert asked == []


def _hear(host: Host) -> bool:
    host.hear(overview(3.0))
    time.sleep(0.05)
    return False


def test_a_broker_that_does_not_let_it_read(tmp_path: Path) -> None:
    """Where the access list gives no right to read requests the rest goes on as before."""
    rules = "topic write so2bench/#\ntopic read test/#\n"
    with Broker(tmp_path / "b", rules=rules) as broker, Host(broker.url, on_ask=lambda _: None) as host:
        host.hear(overview(1.0))
        wait_until(lambda: host.in_order, "connected")
        assert host.troubles == []


def test_requests_without_room_are_answered(tmp_path: Path) -> None:
    """When too many wait, those that found no room are refused in the log, and the shell's own word has room."""
    bench, bench_toml, run, run_toml = terms()
    begun = begin(tmp_path / "run.so2log", bench, bench_toml, run, run_toml)
    events: list[Any] = []
    service = Service(begun, lambda: ScriptedPort(BoardScript(), restarting), (events.extend,))
    try:
        for n in range(REQUESTS_MAX + 250):
            service._admit(f"n-{n}", time.time(), "note", "Ada", {"text": "again"})
        assert service.ask(make_request("log", "so2bench", {"failing": False, "text": "well"}))
        while not service._requests.empty():
            events.extend(begun.bench.command(service._requests.get_nowait(), service.now))
        service._refuse_the_turned_away()
        answers = {e.request_id: e for e in events if isinstance(e, Answered)}
        assert sum(a.accepted for i, a in answers.items() if i.startswith("n-")) == REQUESTS_MAX
        refused = [a for a in answers.values() if not a.accepted]
        assert {a.text for a in refused} == {"200 requests were waiting already: ask again"}
        assert {a.request_id for a in refused} == {f"n-{n}" for n in range(250, 450)}
        noted = [e.text for e in events if getattr(e, "what", "") == "note" and "found no room" in e.text]
        assert noted == ["so2bench: 50 more requests found no room and were not carried out"]
    finally:
        service._inbox.close()
        service._log.close()
