"""Brokers that are killed, frozen, cut off or deaf: nothing waits for them, and no alarm change is lost by them."""

from __future__ import annotations

import gc
import threading
import time
from itertools import islice
from pathlib import Path
from statistics import median

import pytest

from monitor.core.events import Event
from monitor.edges.mqtt import Pace
from monitor.edges.mqtt_broker import broker_of
from monitor.edges.mqtt_outbox import STATES_MAX
from monitor.terms import MqttTerms
from tests.edges.broker import Broker, Listener, Relay, certify, complete_and_in_order, wait_until
from tests.edges.mqtt_host import Host, changes, overview

pytestmark = pytest.mark.broker


def test_killed_and_started_again(tmp_path: Path) -> None:
    """Alarm changes from before, during and after a broker's death all arrive, in order; old states do not."""
    news = changes()
    with Broker(tmp_path) as broker, Relay(broker) as relay:
        relay.join()
        with Host(relay.url) as host:
            with Listener(broker) as listener:
                host.hear(*islice(news, 10), overview(1.0))
                assert complete_and_in_order(listener.wait("alarm", 10), 10)
            broker.kill()
            wait_until(lambda: host.troubles != [], "the loss is noticed")
            relay.cut()
            for second in range(2, 32):
                host.hear(*islice(news, 3), overview(float(second)))
            broker.start()
            with Listener(broker) as listener:
                relay.join()
                wait_until(lambda: host.in_order, "connected again")
                host.hear(*islice(news, 10), overview(32.0))
                got = listener.wait("alarm", 100)
                assert [g.said["seq"] for g in got] == list(range(11, 111))
                assert [g.said["t_s"] for g in got] == [float(n) for n in range(11, 111)]
                states = [g.said for g in listener.wait("state", STATES_MAX + 1)]
                assert [s["number"] for s in states] == [28 - 1, 28, 29, 30, 31, 32]
                assert {s["dropped"] for s in states} == {25}
                listener.wait_watched("watching")


def test_frozen(tmp_path: Path) -> None:
    """Alarm changes made while the broker is frozen arrive when it thaws, in order."""
    news = changes()
    with Broker(tmp_path) as broker, Listener(broker) as listener, Host(broker.url) as host:
        host.hear(next(news), overview(1.0))
        listener.wait("alarm")
        broker.freeze()
        host.hear(*islice(news, 20), overview(2.0))
        wait_until(lambda: any("stopped answering" in t for t in host.troubles), "the freeze is noticed")
        wait_until(lambda: any("does not answer" in t for t in host.troubles), "trying again is in vain")
        host.hear(*islice(news, 20), overview(3.0))
        broker.thaw()
        wait_until(lambda: host.in_order, "connected again")
        host.hear(overview(4.0))
        assert complete_and_in_order(listener.wait("alarm", 41), 41)
        listener.wait_watched("watching")


def test_answers_lost(tmp_path: Path) -> None:
    """When only the broker's answers are lost, a change may come twice, and its number shows it."""
    news = changes()
    with Broker(tmp_path) as broker, Relay(broker) as relay, Listener(broker) as listener:
        relay.join()
        with Host(relay.url) as host:
            host.hear(next(news))
            listener.wait("alarm")
            wait_until(lambda: host.in_order, "the answer has come")
            relay.deaf = True
            host.hear(*islice(news, 5))
            wait_until(lambda: host.troubles != [], "the missing answer is noticed")
            relay.deaf = False
            wait_until(lambda: host.in_order, "connected again")
            wait_until(lambda: complete_and_in_order(listener.all("alarm"), 6), "all there and in order")
            assert [g.said["seq"] for g in listener.all("alarm")] == [1, 2, 2, 3, 4, 5, 6]


def test_the_bench_never_waits(tmp_path: Path) -> None:
    """Handing over takes as long with a frozen broker as with none at all, within the scatter of one run."""
    news = changes()

    def typical_s(host: Host) -> float:
        each: list[float] = []
        for n in range(500):
            events: list[Event] = [next(news), overview(float(n))]
            begun_s = time.perf_counter()
            host.outlet(events)
            each.append(time.perf_counter() - begun_s)
        return median(each)

    with Broker(tmp_path) as broker:
        with Host(f"mqtt://127.0.0.1:{broker.port}") as host:
            host.hear(overview(1.0))
            wait_until(lambda: host.in_order, "connected")
            broker.freeze()
            host.hear(next(news))
            frozen_s = typical_s(host)
            wait_until(lambda: host.troubles != [], "the freeze is noticed")
            frozen_s = max(frozen_s, typical_s(host))
        broker.thaw()
        broker.kill()
        with Host(f"mqtt://127.0.0.1:{broker.port}") as host:
            wait_until(lambda: host.troubles != [], "nobody is there")
            absent_s = typical_s(host)
    assert frozen_s / absent_s < 5.0


def test_absent_from_the_start(tmp_path: Path) -> None:
    """A broker that comes only later gets every alarm change since the beginning."""
    broker = Broker(tmp_path)
    with Host(broker.url) as host:
        host.hear(*islice(changes(), 30), overview(1.0))
        wait_until(lambda: host.troubles != [], "nobody is there")
        with broker:
            wait_until(lambda: host.in_order, "connected")
            assert host.troubles[0].startswith("nobody listens at")
            with Listener(broker) as listener:
                listener.wait_watched("watching")


def test_trouble_is_told_once(tmp_path: Path) -> None:
    """Each reason is told once however often it recurs, and the end of the trouble once."""
    with Broker(tmp_path) as broker, Host(broker.url) as host:
        wait_until(lambda: host.in_order, "connected")
        broker.kill()
        wait_until(lambda: len(host.troubles) == 2, "lost, and nobody there")
        time.sleep(1.5)  # many tries, for which there is no clock to pass
        broker.start()
        wait_until(lambda: host.in_order, "connected again")
    assert [failing for failing, _ in host.told] == [False, True, True, False]
    at = f"connected to the broker at 127.0.0.1:{broker.port}"
    assert host.told[0][1] == at
    assert host.told[-1][1] == f"{at} again; so far no alarm change was lost, and 0 states were left out"
    assert "broke off" in host.troubles[0]
    assert host.troubles[1].startswith("nobody listens at")


def test_two_hosts_for_one_bench(tmp_path: Path) -> None:
    """A second monitor with the same bench's name throws the first out, which names that as a reason."""
    with Broker(tmp_path) as broker, Host(broker.url, Pace(first_retry_s=60.0)) as first:
        wait_until(lambda: first.in_order, "connected")
        with Host(broker.url) as second:
            wait_until(lambda: second.in_order, "connected")
            wait_until(lambda: first.troubles != [], "thrown out")
    assert "another so2bench signed in for the same bench" in first.troubles[0]


def test_given_up_counts_as_lost(tmp_path: Path) -> None:
    """A connection that was given up leaves the last will to the broker, until there is a new one."""
    patient = Pace(answer_s=0.3, first_retry_s=60.0)
    with Broker(tmp_path) as broker, Listener(broker) as listener, Host(broker.url, patient) as host:
        host.hear(overview(1.0))
        listener.wait_watched("watching")
        broker.freeze()
        host.hear(next(changes()))
        wait_until(lambda: host.troubles != [], "the freeze is noticed")
        broker.thaw()
        listener.wait_watched("lost")


def test_the_end_comes_into_a_handshake(tmp_path: Path) -> None:
    """A run that ends while a connection is being made leaves nothing of it behind when it is made after all."""
    signed = certify(tmp_path, "ours")
    with Broker(tmp_path / "b", certificates=signed) as broker:
        known = broker_of(MqttTerms(f"mqtts://127.0.0.1:{broker.port}", None, str(signed.authority)), {})
        broker.freeze()
        with Host(known) as host:
            time.sleep(0.2)  # into the handshake, which nothing shows from outside
            thaw = threading.Timer(0.2, broker.thaw)
            thaw.start()
            host.stop()
            thaw.join()
        complaints = host.complaints
        del host
        gc.collect()  # what was left behind complains when it is collected
        assert complaints == []


@pytest.mark.parametrize("frozen_when", ["connected", "connecting"])
def test_the_end_is_not_held_up(tmp_path: Path, frozen_when: str) -> None:
    """The run can end while the broker is frozen; when it thaws, its last will tells that nobody watches."""
    slow = Pace(answer_s=60.0, keepalive_s=60)
    with Broker(tmp_path) as broker, Listener(broker) as listener:
        if frozen_when == "connecting":
            broker.freeze()
        with Host(broker.url, slow) as host:
            host.hear(overview(1.0))
            if frozen_when == "connected":
                listener.wait_watched("watching")
                broker.freeze()
                host.hear(*islice(changes(), 3), overview(2.0))
            else:
                time.sleep(0.2)  # into the wait for the broker's welcome, which nothing shows from outside
            host.stop(within_s=10.0)
        broker.thaw()
        if frozen_when == "connected":
            listener.wait_watched("lost")
