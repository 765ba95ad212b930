"""What can befall a broker and the way to it, for the campaign: each fault comes, stays for a while, and goes."""

from __future__ import annotations

import contextlib
import json
import random
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from tests.edges.broker import LOOPBACK, Broker, Certificates, Relay

BENCH = "hood-9"
PASSWORDS = {"bench": "drip drop", "reader": "read all", "other": "let me in"}
RULES = "user bench\ntopic readwrite so2bench/#\n\nuser reader\ntopic readwrite #\n\nuser other\ntopic readwrite #\n"
RULES_AGAINST = RULES.replace("user bench\ntopic readwrite", "user bench\ntopic read")
SLOW_BYTES_PER_S = 4000.0  # an alarm's change is about 700 bytes
SMALL_BYTES = 300  # less than any message of a bench
FLOOD_PER_S = 1000.0


@dataclass
class Site:
    """A broker, the relay on the bench's way to it, and certificates: the right ones and others. None: plain TCP."""

    folder: Path
    broker: Broker
    relay: Relay
    right: Certificates | None
    other: Certificates | None
    rng: random.Random
    kept: list[paho.Client] = field(default_factory=list)

    def client(
        self, name: str, user: str, clean: bool = True, prepare: Callable[[paho.Client], None] = lambda _: None
    ) -> paho.Client:
        """A client of the lower library, straight to the broker; its loop runs in a thread until `stop`."""
        client = paho.Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=paho.MQTTv5)
        client.username_pw_set(user, PASSWORDS[user])
        if self.right is not None:
            client.tls_set_context(ssl.create_default_context(cafile=str(self.right.authority)))
        client.reconnect_delay_set(0.05, 0.2)  # type: ignore[arg-type]
        session = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        session.SessionExpiryInterval = 0 if clean else 3600
        client.connect_async(LOOPBACK, self.broker.port, keepalive=5, clean_start=clean, properties=session)
        prepare(client)
        client.loop_start()
        self.kept.append(client)
        return client

    def stop(self) -> None:
        """End the clients."""
        for client in self.kept:
            client.disconnect()
            client.loop_stop()


@contextmanager
def killed(site: Site) -> Iterator[None]:
    """The broker dies and comes back with what it had written down."""
    site.broker.kill()
    yield
    site.broker.start()


@contextmanager
def restarted(site: Site) -> Iterator[None]:
    """The broker is restarted in good order, at once."""
    site.broker.stop()
    site.broker.start()
    yield


@contextmanager
def cut(site: Site) -> Iterator[None]:
    """The network is away."""
    site.relay.cut()
    yield
    site.relay.join()


@contextmanager
def slow(site: Site) -> Iterator[None]:
    """The way to the broker is narrow."""
    site.relay.bytes_per_s = SLOW_BYTES_PER_S
    yield
    site.relay.bytes_per_s = None


@contextmanager
def frozen(site: Site) -> Iterator[None]:
    """The broker takes connections and answers nothing."""
    site.broker.freeze()
    yield
    site.broker.thaw()


@contextmanager
def deaf(site: Site) -> Iterator[None]:
    """The broker's answers are lost on the way."""
    site.relay.deaf = True
    yield
    site.relay.deaf = False


@contextmanager
def disk_full(site: Site) -> Iterator[None]:
    """The broker can write nothing down."""
    site.broker.fill_disk(full=True)
    yield
    site.broker.fill_disk(full=False)


@contextmanager
def too_long(site: Site) -> Iterator[None]:
    """The broker is set to throw out whoever sends as much as one message of a bench."""
    site.broker.stop()
    site.broker.more = [f"message_size_limit {SMALL_BYTES}"]
    site.broker.start()
    yield
    site.broker.stop()
    site.broker.more = []
    site.broker.start()


@contextmanager
def refused(site: Site) -> Iterator[None]:
    """The broker's access list takes the right to write away."""
    site.broker.allow(RULES_AGAINST)
    yield
    site.broker.allow(RULES)


@contextmanager
def wrong_password(site: Site) -> Iterator[None]:
    """The broker comes back with another password for the bench."""
    site.broker.stop()
    site.broker.set_password("bench", "another")
    site.broker.start()
    yield
    site.broker.stop()
    site.broker.set_password("bench", PASSWORDS["bench"])
    site.broker.start()


@contextmanager
def wrong_certificate(site: Site) -> Iterator[None]:
    """The broker comes back with a certificate of an authority that nobody here knows."""
    site.broker.stop()
    site.broker.certificates = site.other
    site.broker.start()
    yield
    site.broker.stop()
    site.broker.certificates = site.right
    site.broker.start()


@contextmanager
def taken_over(site: Site) -> Iterator[None]:
    """Another program signs in under the bench's name, and again whenever it is thrown out."""
    intruder = site.client(f"so2bench-{BENCH}", "other")
    yield
    site.kept.remove(intruder)
    intruder.disconnect()
    intruder.loop_stop()


@contextmanager
def flooded(site: Site) -> Iterator[None]:
    """Another program asks for something a thousand times a second."""
    client, stop = site.client("flood", "other"), threading.Event()
    payload = json.dumps({"id": "x", "who": "nobody"})

    def flood() -> None:
        while not stop.wait(10.0 / FLOOD_PER_S):
            for _ in range(10):
                client.publish(f"so2bench/{BENCH}/ask", payload)

    thread = threading.Thread(target=flood, name="flood")
    thread.start()
    yield
    stop.set()
    thread.join()
    site.kept.remove(client)
    client.disconnect()
    client.loop_stop()


class Fault(NamedTuple):
    """A fault, and whether the bench must say that its broker is lost."""

    begin: Callable[[Site], AbstractContextManager[None]]
    noticed: bool = True
    tls_only: bool = False


FAULTS: dict[str, Fault] = {
    "killed": Fault(killed),
    "restarted": Fault(restarted, noticed=False),  # over before it is worth an alarm
    "network cut": Fault(cut),
    "slow": Fault(slow, noticed=False),
    "frozen": Fault(frozen),
    "answers lost": Fault(deaf),
    "disk full": Fault(disk_full, noticed=False),
    "message too long": Fault(too_long),
    "right taken away": Fault(refused),
    "wrong password": Fault(wrong_password),
    "wrong certificate": Fault(wrong_certificate, tls_only=True),
    "name taken over": Fault(taken_over),
    "flood of requests": Fault(flooded, noticed=False),
}


class Receiver:
    """A client that keeps a session at the broker, as the documents advise whoever wants every alarm."""

    def __init__(self, site: Site) -> None:
        self.got: list[dict[str, Any]] = []
        self.watched: list[str] = []
        self._subscribed = threading.Event()
        site.client("reader", "reader", clean=False, prepare=self._prepare)

    def _prepare(self, client: paho.Client) -> None:
        client.on_connect = self._connected
        client.on_message = self._message
        client.on_subscribe = lambda *_: self._subscribed.set()

    def wait(self, within_s: float) -> None:
        """Wait until it is subscribed."""
        assert self._subscribed.wait(within_s), "the receiver is not subscribed"

    def _connected(self, client: paho.Client, *_: object) -> None:
        client.subscribe([(f"so2bench/{BENCH}/alarm", 1), (f"so2bench/{BENCH}/watched", 1)])

    def _message(self, _client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        said = json.loads(message.payload)
        if message.topic.endswith("/alarm"):
            self.got.append(said)
        else:
            self.watched.append(said["why"])


def wait_until(true: Callable[[], bool], within_s: float, meanwhile: Callable[[], None]) -> bool:
    """Wait for that, doing something else a few times a second; says whether it came."""
    end_s = time.monotonic() + within_s
    while not true():
        if time.monotonic() > end_s:
            return False
        with contextlib.suppress(BlockingIOError):
            meanwhile()
        time.sleep(0.05)
    return True
