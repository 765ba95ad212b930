"""What a listener at a real broker gets, when all is well."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from monitor.core.bench import Bench
from monitor.core.events import Instant
from monitor.edges import mqtt_link
from monitor.edges.mqtt import Pace
from monitor.edges.mqtt_broker import broker_of
from monitor.terms import MqttTerms
from tests.edges.broker import Broker, Listener, certify, complete_and_in_order, wait_until
from tests.edges.mqtt_host import BENCH, UTC_S, Host, changes, overview, standing
from tests.rig.terms import BENCH as BENCH_TERMS
from tests.rig.terms import drip_run

pytestmark = pytest.mark.broker


def test_a_real_bench(tmp_path: Path) -> None:
    """A bench that hears nothing from its board for five seconds is seen, second by second, to lose its line."""
    bench = Bench(BENCH_TERMS, drip_run(), Instant(0.0, UTC_S))
    with Broker(tmp_path) as broker, Listener(broker) as listener, Host(broker.url) as host:
        wait_until(lambda: host.in_order, "connected")
        for tenth in range(1, 51):
            host.hear(*bench.tick(Instant(tenth / 10, UTC_S + tenth / 10)))
        states = [g.said for g in listener.wait("state", 5)]
        assert [s["t_s"] for s in states] == [1.0, 2.0, 3.0, 4.0, 5.0]
        assert [s["utc_s"] - UTC_S for s in states] == [1.0, 2.0, 3.0, 4.0, 5.0]
        assert [s["number"] for s in states] == [1, 2, 3, 4, 5]
        assert states[-1]["gas_ppm"] == {"value": None, "u": None, "why": "nothing received yet", "at_least": None}
        wait_until(lambda: any(g.said["alarms"] for g in listener.all("standing")), "the line's alarm stands")
        lost = [g.said for g in listener.all("alarm") if g.said["tag"] == "LINK-LOST"]
        assert [(a["before"], a["after"], a["priority"]) for a in lost] == [("normal", "unacknowledged", "high")]
        assert lost[0]["utc_s"] == UTC_S + lost[0]["t_s"] == pytest.approx(UTC_S + 3.5)
        assert listener.all("standing")[-1].said["alarms"][0]["tag"] == "LINK-LOST"


def test_how_each_message_is_sent(tmp_path: Path) -> None:
    """States and lists stay with the broker and expire; an alarm change is news, and is not kept for late comers."""
    first, second = (change for change, _ in zip(changes(), range(2), strict=False))
    with Broker(tmp_path) as broker, Host(broker.url) as host:
        with Listener(broker) as listener:
            host.hear(first, overview(1.0, (standing(),)))
            alarm, state = listener.wait("alarm")[0], listener.wait("state")[0]
            assert (alarm.qos, alarm.expiry_s, alarm.content_type) == (1, None, "application/json")
            assert (state.qos, state.content_type) == (0, "application/json")
            assert listener.topics == {f"so2bench/{BENCH}/{n}" for n in ("alarm", "standing", "state", "watched")}
        with Listener(broker) as late:
            host.hear(second)
            assert [g.said["seq"] for g in late.wait("alarm")] == [2]
            kept = {name: late.all(name)[0] for name in ("state", "standing", "watched")}
            assert all(g.retain for g in kept.values())
            assert 0 < (kept["state"].expiry_s or 0) <= 10
            assert 0 < (kept["standing"].expiry_s or 0) <= 30
            assert 0 < (kept["watched"].expiry_s or 0) <= 30
            assert [a["tag"] for a in kept["standing"].said["alarms"]] == ["PLATE-HIGH"]
            assert kept["standing"].said["seq"] == 1
            assert kept["watched"].said["watched"] is True


def test_standing_alarms_follow(tmp_path: Path) -> None:
    """The list of standing alarms is said anew when it changes, and not at every overview."""
    with Broker(tmp_path) as broker, Listener(broker) as listener, Host(broker.url) as host:
        for t_s, alarms in ((1.0, ()), (2.0, (standing(),)), (3.0, (standing(),)), (4.0, ())):
            host.hear(overview(t_s, alarms))
            listener.wait("state", int(t_s))
        listener.wait("standing", 3)
        tags = [[a["tag"] for a in g.said["alarms"]] for g in listener.all("standing")]
        assert tags == [[], ["PLATE-HIGH"], []]


def test_watched_is_renewed(tmp_path: Path) -> None:
    """What expires is renewed for as long as the bench is heard."""
    quick = Pace(renew_s=0.1)
    with Broker(tmp_path) as broker, Listener(broker) as listener, Host(broker.url, quick) as host:
        for n in range(1, 1000):
            host.hear(overview(float(n)))
            listener.wait("state", n)
            if len(listener.all("watched")) >= 3 and len(listener.all("standing")) >= 3:
                break
        assert {g.said["why"] for g in listener.all("watched")} == {"watching"}


def test_not_watched_before_the_first_word(tmp_path: Path) -> None:
    """A connection alone is no watching: nothing is said before the bench itself has been heard."""
    with Broker(tmp_path) as broker, Listener(broker) as listener, Host(broker.url) as host:
        wait_until(lambda: host.in_order, "connected")
        host.hear(next(changes()))
        listener.wait("alarm")
        assert listener.all("watched") == []


def test_a_clean_end(tmp_path: Path) -> None:
    """At the end the last changes go out, then the bench is said to be no longer watched, and no will follows."""
    with Broker(tmp_path) as broker, Listener(broker) as listener:
        with Host(broker.url) as host:
            host.hear(overview(1.0))
            listener.wait_watched("watching")
            host.hear(*(change for change, _ in zip(changes(), range(50), strict=False)), overview(2.0))
        said = listener.wait_watched("ended")
        assert said.said["watched"] is False
        assert said.said["heard_utc_s"] == UTC_S + 2.0
        assert said.expiry_s is None
        assert complete_and_in_order(listener.all("alarm"), 50)
        assert listener.all("state")[-1].said["t_s"] == 2.0
        with Listener(broker) as late:
            assert late.wait("watched")[0].said["why"] == "ended"
        assert [g.said["why"] for g in listener.all("watched")].count("lost") == 0


def test_a_bench_that_stopped_speaking(tmp_path: Path) -> None:
    """A bench whose own thread has fallen silent is not called watched, though the connection lives."""
    quick = Pace(stalled_s=0.2)
    with Broker(tmp_path) as broker, Listener(broker) as listener, Host(broker.url, quick) as host:
        host.hear(overview(1.0))
        said = listener.wait_watched("stalled")
        assert said.said["watched"] is False
        assert said.expiry_s is None
        host.hear(overview(2.0))
        listener.wait_watched("watching")


def test_tls_and_a_password(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the right authority and the right password all goes through TLS."""
    signed = certify(tmp_path, "ours")
    plain = Broker(tmp_path / "b", certificates=signed, users={"bench": "drip drop"})
    monkeypatch.setenv("BENCH_PASSWORD", "drip drop")
    terms = MqttTerms(f"mqtts://bench@127.0.0.1:{plain.port}", "BENCH_PASSWORD", str(signed.authority))
    with plain as broker, Host(broker_of(terms)) as host:
        host.hear(overview(1.0))
        wait_until(lambda: host.in_order, "connected")
        assert host.troubles == []
        assert "as so2bench-hood-2 (p5" in broker.log


@pytest.mark.parametrize("answer", ["_on_connect", "_on_publish"])
def test_a_stop_in_the_instant_of_an_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answer: str) -> None:
    """A stop that comes in the same instant as the broker's answer still ends the task, and nothing is lost by it."""
    original = getattr(mqtt_link.Client, answer)
    stopped: list[str] = []

    def answer_and_stop(client: mqtt_link.Client, *args: Any) -> None:
        original(client, *args)
        if host.task is not None and not stopped:
            stopped.append(answer)
            host.task.cancel()

    monkeypatch.setattr(mqtt_link.Client, answer, answer_and_stop)
    with Broker(tmp_path) as broker, Listener(broker) as listener:
        host = Host(broker.url)
        host.hear(next(changes()), overview(1.0))
        with host:
            wait_until(lambda: host.task is not None and host.task.done(), "the task has ended")
        assert stopped == [answer]
        if answer == "_on_publish":
            listener.wait_watched("ended")
            assert complete_and_in_order(listener.all("alarm"), 1)
