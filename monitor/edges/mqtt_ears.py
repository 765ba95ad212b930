"""Hears what every bench on a broker says, and tells whether the broker is there.

Promise: each message goes to the hearer as it comes, in order, with what is left of its life; no trouble with the
broker or the network is raised, all of it is told in one sentence; a connection that breaks is opened again, and what
the broker keeps is heard anew. It writes nothing to the broker, and judges nothing.
"""

from __future__ import annotations

import asyncio
import logging
import random
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import aiomqtt
from paho.mqtt.client import MQTTMessage
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from monitor.edges.mqtt_broker import Broker
from monitor.edges.mqtt_link import BrokerError, Client, opening_words
from monitor.edges.mqtt_payloads import ROOT

TOPICS: Final = f"{ROOT}/#"  # all, so that what does not belong there is seen and counted
PACKET_MAX: Final = 1_048_576  # bytes; the broker keeps larger ones to itself (MQTT 5, 3.1.2.11.4)
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
        """One connection, from opening to breaking.

        Raises:
            BrokerError: it could not be opened, or broke.
        """
        client = self._client()
        try:
            await client.__aenter__()
        except (aiomqtt.MqttError, OSError) as why:
            client.abandon()
            raise BrokerError(opening_words(self._broker, why)) from None
        except asyncio.CancelledError:
            client.abandon()
            raise
        try:
            granted = await client.subscribe(TOPICS, qos=1)
            if any((code if isinstance(code, int) else code.value) >= _REFUSED for code in granted):
                raise BrokerError(f"the broker at {self._broker.at} does not let this program read {TOPICS}")
            task = asyncio.current_task()
            if task is not None and task.cancelling():
                raise asyncio.CancelledError  # which the library may have forgotten (python/cpython#86296)
            self._on_change(True, f"connected to the broker at {self._broker.at}")
            async for _ in client.messages:  # none comes this way; it is woken when the connection breaks
                pass
        except (aiomqtt.MqttError, OSError) as why:
            raise BrokerError(_lost_words(self._broker, why)) from None
        finally:
            try:
                async with asyncio.timeout(GOODBYE_S):
                    await client.__aexit__(None, None, None)
            except (aiomqtt.MqttError, OSError):  # a timeout is an OSError, too
                client.abandon()

    def _client(self) -> _Ear:
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.MaximumPacketSize = PACKET_MAX
        client = _Ear(
            self._broker.host,
            self._broker.port,
            username=self._broker.user,
            password=self._broker.password,
            tls_context=self._broker.tls,
            identifier=self._name,
            protocol=aiomqtt.ProtocolVersion.V5,
            clean_start=True,
            properties=properties,
            keepalive=self._patience.keepalive_s,
            timeout=self._patience.answer_s,
            logger=_log,
        )
        client.hearer = self._hear
        return client


def _lost_words(broker: Broker, why: BaseException) -> str:
    if "timed out" in str(why) or "eep alive" in str(why.__cause__ or why):
        return f"the broker at {broker.at} has stopped answering"
    return f"the connection to the broker at {broker.at} broke off: the broker or the network is away"
