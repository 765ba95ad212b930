"""What a listener to many benches gets from a real Mosquitto when there is more than it can take at once."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from monitor.edges.mqtt_broker import broker_of
from monitor.edges.mqtt_ears import Ears
from monitor.edges.mqtt_payloads import Voice
from monitor.terms import MqttTerms
from tests.benches.words import change
from tests.edges.broker import LOOPBACK, Broker, wait_until
from tests.hearing import Hearing

pytestmark = pytest.mark.broker


@contextmanager
def speaker(broker: Broker) -> Iterator[mqtt.Client]:
    """A second program of the library's own, which says for benches what they would say."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.max_inflight_messages_set(1000)
    client.connect(LOOPBACK, broker.port)
    client.loop_start()
    try:
        yield client
    finally:
        client.disconnect()
        client.loop_stop()


def test_every_last_word_that_is_kept_is_heard(tmp_path: Path) -> None:
    """However many benches a broker keeps the last word of, a listener that comes later hears of each.

    Without a receive maximum Mosquitto would send 1020 and drop the others without a sign.
    """
    count = 1500
    with Broker(tmp_path) as broker:
        with speaker(broker) as client:
            said = [Voice(f"hood-{n}", "5be0a9d4", "acid-drip").lost() for n in range(count)]
            for sent in [client.publish(m.topic, m.payload, m.qos, m.retain) for m in said]:
                sent.wait_for_publish(20.0)
        with Hearing(broker.url) as hearing:
            wait_until(lambda: len(hearing.levels) == count, "all are heard")


def test_a_flood_of_states_drowns_no_alarm(tmp_path: Path) -> None:
    """When a listener cannot keep up the broker drops states and not alarms: all of these come, in order."""
    states, alarms = 6000, 300
    heard: list[str] = []
    may_go_on = threading.Event()

    def hear(topic: str, payload: bytes, retained: bool, expiry_s: float | None) -> None:
        may_go_on.wait(60.0)  # the listener's machine has something else to do
        heard.append(payload.decode() if topic.endswith("alarm") else topic.rpartition("/")[2])

    with Broker(tmp_path) as broker, speaker(broker) as client:
        connected, loops = threading.Event(), []

        async def listen() -> None:
            task = asyncio.current_task()
            assert task is not None
            loops.append((asyncio.get_running_loop(), task))
            await Ears(broker_of(MqttTerms(broker.url)), hear, lambda *_: connected.set()).run()

        def work() -> None:
            with pytest.raises(asyncio.CancelledError):
                asyncio.run(listen())

        thread = threading.Thread(target=work)
        thread.start()
        assert connected.wait(20.0)
        changes = [Voice("hood-1", "5be0a9d4", "acid-drip").alarm(change(n), n) for n in range(1, alarms + 1)]
        for n in range(states):
            sent = client.publish("so2bench/hood-1/state", b"s" * 10_000, 0)
            if n % (states // alarms) == 0:
                m = changes[n // (states // alarms)]
                sent = client.publish(m.topic, m.payload, m.qos, m.retain)
        sent.wait_for_publish(30.0)
        client.publish("so2bench/hood-1/state", b"last", 0).wait_for_publish(30.0)
        wait_until(lambda: "being dropped" in broker.log, "the broker begins to drop")
        may_go_on.set()
        wanted = [m.payload.decode() for m in changes]
        wait_until(lambda: [word for word in heard if word != "state"] == wanted, "every alarm is heard, in order")
        assert heard.count("state") < states
        loop, task = loops[0]
        loop.call_soon_threadsafe(task.cancel)
        thread.join(20.0)
        assert not thread.is_alive()
