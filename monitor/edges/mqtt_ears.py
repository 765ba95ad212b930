"""Hears what every bench on a broker says, and tells whether the broker is there.

Promise: each message goes to the hearer as it comes, in order, with what is left of its life; no trouble with the
broker or the network is raised, all of it is told in one sentence; a connection that breaks is opened again, and what
the broker keeps is heard anew. It writes nothing to the broker, and judges nothing.

There are two connections: one for what must not be missed (watched or not, alarms), one for the rest, the states
above all. When a machine cannot keep up, a broker lets so many messages wait for each connection and then drops some:
these are states then, and not alarms.
"""

from __future__ import annotations

import asyncio
import logging
import random
import secrets
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any, Final

import aiomqtt
from paho.mqtt.client import MQTTMessage
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from monitor.edges.mqtt_broker import Broker
from monitor.edges.mqtt_link import BrokerError, Client, opening_words
from monitor.edges.mqtt_payloads import ROOT

WORDS: Final = tuple(f"{ROOT}/+/{name}" for name in ("watched", "standing", "alarm"))
ALL: Final = f"{ROOT}/#"  # so that what does not belong there is seen and counted
_HEARD_ALREADY: Final = tuple(topic.rpartition("+")[2] for topic in WORDS)
PACKET_MAX: Final = 1_048_576  # bytes; the broker keeps larger ones to itself (MQTT 5, 3.1.2.11.4)
# As many as may be (MQTT 5, 3.1.2.11.3). Without it Mosquitto sends 20, lets 1000 wait, and drops the rest unsaid: of
# 4500 benches whose last word it keeps, 1020 would be heard.
UNANSWERED_MAX: Final = 65_535
GOODBYE_S: Final = 1.0  # to close a connection in good order
_REFUSED: Final = 0x80  # MQTT 5, 3.9.3: from here on a subscription was not granted

Hearer = Callable[[str, bytes, bool, float | None], None]
_log = logging.getLogger(__name__)
_log.addHandler(logging.NullHandler())


@dataclass(frozen=True, slots=True)
class Patience:
    """How patient to be, in seconds. A broker that hangs is noticed within twice the keep-alive."""

    keepalive_s: int = 10
    answer_s: float = 5.0
    first_retry_s: float = 0.25  # doubles with each failure
    last_retry_s: float = 10.0


class _Ear(Client):
    """A client that hands messages on at once: there is no queue to fill, a slow hearer holds back the connection."""

    hearer: Hearer | None = None

    def _on_message(self, _client: Any, _userdata: Any, message: MQTTMessage) -> None:
        if self.hearer is not None:
            expiry_s = getattr(message.properties, "MessageExpiryInterval", None)
            self.hearer(_topic(message), bytes(message.payload), message.retain, expiry_s)


def _topic(message: MQTTMessage) -> str:
    try:
        return message.topic
    except UnicodeDecodeError:  # a broker must not let it through (MQTT 5, 1.5.4), some do
        return ""


class Ears:
    """Hears benches until cancelled.

    `hear(topic, payload, retained, expiry_s)` and `on_change(there, text)` are called in the event loop; the latter
    when the broker has become ready to be heard, and after each attempt that failed, with the reason.
    """

    def __init__(
        self, broker: Broker, hear: Hearer, on_change: Callable[[bool, str], None], patience: Patience | None = None
    ) -> None:
        self._broker, self._hear, self._on_change = broker, hear, on_change
        self._patience = patience or Patience()
        self._name = f"so2bench-benches-{secrets.token_hex(4)}"  # any number of them may listen

    async def run(self) -> None:
        """Listen until cancelled."""
        patience, retry_s = self._patience, self._patience.first_retry_s
        while True:
            begun_s = time.monotonic()
            try:
                await self._listen()
            except BrokerError as why:
                self._on_change(False, str(why))
            if time.monotonic() - begun_s > patience.last_retry_s:
                retry_s = patience.first_retry_s
            await asyncio.sleep(retry_s * random.uniform(0.8, 1.2))
            retry_s = min(2.0 * retry_s, patience.last_retry_s)

    async def _listen(self) -> None:
        """Both connections, from opening to the breaking of either.

        Raises:
            BrokerError: one could not be opened, or broke.
        """
        async with self._ear(WORDS, 1, self._hear) as words, self._ear((ALL,), 0, self._hear_rest) as rest:
            task = asyncio.current_task()
            if task is not None and task.cancelling():
                raise asyncio.CancelledError  # which the library may have forgotten (python/cpython#86296)
            self._on_change(True, f"connected to the broker at {self._broker.at}")
            waiting = [asyncio.create_task(self._until_broken(ear)) for ear in (words, rest)]
            try:
                done, _ = await asyncio.wait(waiting, return_when=asyncio.FIRST_COMPLETED)
            finally:
                for one in waiting:
                    one.cancel()
                await asyncio.gather(*waiting, return_exceptions=True)
            done.pop().result()

    def _hear_rest(self, topic: str, payload: bytes, retained: bool, expiry_s: float | None) -> None:
        if not (topic.count("/") == 2 and topic.endswith(_HEARD_ALREADY)):
            self._hear(topic, payload, retained, expiry_s)

    async def _until_broken(self, ear: _Ear) -> None:
        try:
            async for _ in ear.messages:  # none comes this way; it is woken when the connection breaks
                pass
        except (aiomqtt.MqttError, OSError) as why:
            raise BrokerError(_lost_words(self._broker, why)) from None

    @asynccontextmanager
    async def _ear(self, topics: tuple[str, ...], qos: int, hear: Hearer) -> AsyncIterator[_Ear]:
        """An open connection that hears those topics.

        Raises:
            BrokerError: it could not be opened, or may not hear them.
        """
        client = self._client(f"{self._name}-{qos}", hear)
        try:
            await client.__aenter__()
        except (aiomqtt.MqttError, OSError) as why:
            client.abandon()
            raise BrokerError(opening_words(self._broker, why)) from None
        except asyncio.CancelledError:
            client.abandon()
            raise
        try:
            granted = await client.subscribe([(topic, qos) for topic in topics])
            if any((code if isinstance(code, int) else code.value) >= _REFUSED for code in granted):
                raise BrokerError(f"the broker at {self._broker.at} does not let this program read {ALL}")
            yield client
        except (aiomqtt.MqttError, OSError) as why:
            raise BrokerError(_lost_words(self._broker, why)) from None
        finally:
            try:
                async with asyncio.timeout(GOODBYE_S):
                    await client.__aexit__(None, None, None)
            except (aiomqtt.MqttError, OSError):  # a timeout is an OSError, too
                client.abandon()

    def _client(self, name: str, hear: Hearer) -> _Ear:
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.MaximumPacketSize = PACKET_MAX
        properties.ReceiveMaximum = UNANSWERED_MAX
        client = _Ear(
            self._broker.host,
            self._broker.port,
            username=self._broker.user,
            password=self._broker.password,
            tls_context=self._broker.tls,
            identifier=name,
            protocol=aiomqtt.ProtocolVersion.V5,
            clean_start=True,
            properties=properties,
            keepalive=self._patience.keepalive_s,
            timeout=self._patience.answer_s,
            logger=_log,
        )
        client.hearer = hear
        return client


def _lost_words(broker: Broker, why: BaseException) -> str:
    if "timed out" in str(why) or "eep alive" in str(why.__cause__ or why):
        return f"the broker at {broker.at} has stopped answering"
    return f"the connection to the broker at {broker.at} broke off: the broker or the network is away"
