"""From an alarm at the sensor to its message at an MQTT subscriber, against a bare echo through the same broker.

    python -m tests.benchmarks.bench_mqtt

The real service, in a process of its own, watches one end of a pseudo-terminal and is connected to a real Mosquitto;
this script is the board at the other end, and the subscriber. In each trial a frame says that the board has tripped;
the time is taken from its last byte to the alarm's message, and on the way to the permit command that comes back on
the line. The echo, in turn with the trials, is a message of the same length and QoS that this script publishes by one
connection and gets by another. Measured: the 99th percentile of each, in one run. Aim: at most 2 times.
"""

from __future__ import annotations

import json
import os
import select
import statistics
import tempfile
import time
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from monitor.core.frames import IO_KEPT_ALIVE
from tests.edges.broker import LOOPBACK, Broker
from tests.ptyboard import PATIENCE_S, QUIET_S, Board, Watching

TRIALS = 300
AIM = 2.0
BENCH = "hood-9"
_ECHO = "echo"
_LONG = 700  # bytes, as an alarm's message


class Wire:
    """A connection of the library's lower half, driven by hand so that no thread stands between it and the clock."""

    def __init__(self, port: int, name: str, *topics: str) -> None:
        self.got: list[paho.MQTTMessage] = []
        self.ready = False
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=paho.MQTTv5)
        self._client.on_message = lambda _client, _data, message: self.got.append(message)
        self._client.on_connect = lambda *_: self._connected(topics)
        self._client.on_subscribe = lambda *_: self._now_ready()
        self._client.connect(LOOPBACK, port, keepalive=600)
        while not self.ready:
            self.read(PATIENCE_S)

    def _connected(self, topics: tuple[str, ...]) -> None:
        if topics:
            self._client.subscribe([(topic, 1) for topic in topics])
        else:
            self._now_ready()

    def _now_ready(self) -> None:
        self.ready = True

    @property
    def socket(self) -> paho.SocketLike:
        """For `select`."""
        socket = self._client.socket()
        assert socket is not None
        return socket

    def read(self, within_s: float) -> None:
        """Take in one packet, and send what is due."""
        if select.select([self.socket], [], [], within_s)[0]:
            self._client.loop_read()
        while self._client.want_write():
            self._client.loop_write()

    def drain(self) -> None:
        """Take in what is there, and forget it."""
        while select.select([self.socket], [], [], 0.0)[0]:
            self.read(0.0)
        self.got.clear()

    def publish(self, topic: str, payload: bytes) -> None:
        """Send one, QoS 1."""
        self._client.publish(topic, payload, qos=1)


def echo_s(publisher: Wire, subscriber: Wire) -> float:
    """Seconds from publishing to hearing it."""
    publisher.drain()
    subscriber.drain()
    payload = os.urandom(_LONG // 2).hex().encode()
    begun_s = time.perf_counter()
    publisher.publish(_ECHO, payload)
    while not any(m.payload == payload for m in subscriber.got):
        subscriber.read(PATIENCE_S)
    return time.perf_counter() - begun_s


def alarm_s(watching: Watching, subscriber: Wire) -> tuple[float, float]:
    """Seconds from the last byte of a trip to the permit command on the line, and to the alarm's message."""
    watching.make_ready()
    time.sleep(QUIET_S)
    subscriber.drain()
    begun_s = watching.trip()
    line, permit_s, wire = b"", None, watching.board.master
    while True:
        both: list[Any] = [wire, subscriber.socket]
        ready, _, _ = select.select(both, [], [], PATIENCE_S)
        assert ready, "neither answer nor message"
        if wire in ready:
            line += os.read(wire, 4096)
            if permit_s is None and b",0,1*" in line:
                permit_s = time.perf_counter() - begun_s
        if subscriber.socket in ready:
            subscriber.read(0.0)
            if any(_tells_of_the_trip(m) for m in subscriber.got):
                assert permit_s is not None, "the message came before the permit command"
                return permit_s, time.perf_counter() - begun_s


def _tells_of_the_trip(message: paho.MQTTMessage) -> bool:
    if not message.topic.endswith("/alarm"):
        return False
    said = json.loads(message.payload)
    return (said["tag"], said["cause"]) == ("TRIP-LATCHED", "condition true")


def measure(trials: int) -> tuple[list[float], list[float], list[float]]:
    """Echoes, permit commands and messages, in turn."""
    echoes, permits, messages = [], [], []
    with tempfile.TemporaryDirectory() as folder, Broker(Path(folder) / "broker") as broker:
        publisher, listener = Wire(broker.port, "publisher"), Wire(broker.port, "echo", _ECHO)
        alarms = Wire(broker.port, "alarms", f"so2bench/{BENCH}/alarm", f"so2bench/{BENCH}/watched")
        toml = f'\n[mqtt]\nurl = "{broker.url}"\n'
        with Watching(Board(), Path(folder) / "run.so2log", toml, BENCH) as watching:
            deadline_s = time.perf_counter() + PATIENCE_S
            while not any(m.topic.endswith("/watched") for m in alarms.got):
                watching.board.send(IO_KEPT_ALIVE)
                alarms.read(0.1)
                assert time.perf_counter() < deadline_s, "the service never connected"
            for _ in range(trials):
                echoes.append(echo_s(publisher, listener))
                permit_s, message_s = alarm_s(watching, alarms)
                permits.append(permit_s)
                messages.append(message_s)
    return echoes, permits, messages


def _p99(times_s: list[float]) -> float:
    return statistics.quantiles(times_s, n=100)[98]


def main() -> None:
    """Print all three, their ratio, and where the time goes."""
    echoes, permits, messages = measure(TRIALS)
    for name, times_s in (("echo", echoes), ("permit", permits), ("message", messages)):
        print(f"{name:<8} median {1e3 * statistics.median(times_s):6.2f} ms   p99 {1e3 * _p99(times_s):6.2f} ms")
    echo, permit, message = (statistics.median(t) for t in (echoes, permits, messages))
    print(
        f"of the median message: {permit / message:.0%} from the line to the permit command, {echo / message:.0%} as "
        f"the echo, {(message - permit - echo) / message:.0%} between the bench's thread and the broker"
    )
    ratio = _p99(messages) / _p99(echoes)
    print(f"p99 {ratio:.2f} times the echo; aim {AIM:g} times: {'reached' if ratio <= AIM else 'NOT reached'}")


if __name__ == "__main__":
    main()
