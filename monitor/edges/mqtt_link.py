"""The connection to a broker: MQTT 5, TLS and sign-in, and every trouble with it in one plain sentence.

Promise: whatever the library, the system or a strange broker makes of it, trouble shows as `BrokerError`; no
sentence holds a password; a connection given up leaves nothing open, and the broker says the last will.
It is the only module that knows the MQTT library. It knows nothing of benches.
"""

from __future__ import annotations

import asyncio
import logging
import socket
import ssl
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Any

import aiomqtt
from paho.mqtt.client import MQTTMessage
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from monitor.edges.mqtt_broker import PORTS, Broker
from monitor.edges.mqtt_payloads import Message
from monitor.edges.mqtt_requests import Arrived

INCOMING_MAX_BYTES = 4096  # of a packet: the broker must keep longer ones to itself (MQTT 5, 3.1.2.11.4)
# MQTT 5, 3.2.2.2 and 3.14.2.1
_NO_MQTT_5, _TAKEN_OVER, _WITH_WILL = (0x01, 0x84), 0x8E, "Disconnect with will message"
_NOT_LET_IN = (0x86, 0x87, 0x8A, 0x8C)  # bad user name or password, not authorized, banned, bad method

_log = logging.getLogger(__name__)
_log.addHandler(logging.NullHandler())  # trouble is told in sentences; the library's own lines are for who asks


class BrokerError(Exception):
    """The broker cannot be reached, or the connection is of no more use; `str()` is the sentence for a person."""


class Client(aiomqtt.Client):
    """The library's client, with four gaps closed.

    It ignores refusals of a message, leaks half-open connections, takes in a message more slowly than they come, and
    has the loop wait for a socket that may be closed by then, its number another's.
    """

    refusal: str | None = None  # why the newest message was refused
    heard: Callable[[Arrived], None] | None = None  # what arrives goes here at once: nothing piles up

    def _on_message(self, client: Any, userdata: Any, message: MQTTMessage) -> None:  # noqa: ARG002 - the library's
        if self.heard is not None:
            expiry_s = getattr(message.properties, "MessageExpiryInterval", None)
            self.heard(Arrived(bytes(message.payload), message.retain, expiry_s))

    def _on_publish(
        self, client: Any, userdata: Any, mid: int, reason_code: ReasonCode, properties: Properties
    ) -> None:
        if reason_code.is_failure:
            self.refusal = str(reason_code)
        super()._on_publish(client, userdata, mid, reason_code, properties)

    def _on_socket_register_write(self, client: Any, userdata: Any, sock: Any) -> None:  # noqa: ARG002 - the library's
        def write() -> None:
            try:
                client.loop_write()
            except Exception as why:  # noqa: BLE001 - as the library: whatever it is, the connection is of no more use
                if not self._disconnected.done():
                    self._disconnected.set_exception(why)

        def wait_for_room() -> None:
            if sock.fileno() >= 0:
                self._loop.add_writer(sock.fileno(), write)

        self._loop.call_soon_threadsafe(wait_for_room)

    def abandon(self) -> None:
        """Let go without waiting, and leave the last will with the broker; good in every state, also half open."""
        mqtt = self._client
        if self._connected.cancelled():
            self._connected = asyncio.get_running_loop().create_future()  # else the library trips over it
        if mqtt.socket() is None:
            # A connecting thread may still be at it: what it opens is shut at once and does not come into this loop.
            mqtt.on_socket_open, mqtt.on_socket_close = _shut, None
            mqtt.on_disconnect = None
            mqtt.on_socket_register_write = mqtt.on_socket_unregister_write = None
        else:
            mqtt.disconnect(ReasonCode(PacketTypes.DISCONNECT, _WITH_WILL))


def _shut(_client: Any, _userdata: Any, sock: Any) -> None:
    sock.close()


class Connection:
    """An open connection."""

    def __init__(self, client: Client, broker: Broker) -> None:
        self._client, self._broker = client, broker
        self.goodbye_said = False

    async def publish(self, message: Message) -> None:
        """Send one message; with QoS 1, wait until the broker has it.

        Raises:
            BrokerError: no answer, or refused. The broker may have it all the same, unless it was refused.
        """
        properties = _properties(PacketTypes.PUBLISH, message)
        self._client.refusal = None
        try:
            await self._client.publish(
                message.topic, message.payload, qos=message.qos, retain=message.retain, properties=properties
            )
        except (aiomqtt.MqttError, OSError) as why:
            raise BrokerError(lost_words(self._broker, why)) from None
        if self._client.refusal is not None:
            raise BrokerError(
                f"the broker at {self._broker.at} refuses messages on {message.topic} ({self._client.refusal}): "
                f"{_who(self._broker)} needs the right to write there"
            )

    async def subscribe(self, topic: str, heard: Callable[[Arrived], None]) -> str | None:
        """Hand over what comes on a topic from now on; gives the sentence when the broker will not have it.

        Raises:
            BrokerError: no answer.
        """
        # What is kept there already is not wanted, and what is sent to be kept shall be seen to be so.
        wanted = SubscribeOptions(qos=1, retainAsPublished=True, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
        self._client.heard = heard
        try:
            codes = await self._client.subscribe(topic, options=wanted)
        except (aiomqtt.MqttError, OSError) as why:
            raise BrokerError(lost_words(self._broker, why)) from None
        refused = [str(code) for code in codes if isinstance(code, ReasonCode) and code.is_failure]
        if not refused:
            return None
        return (
            f"the broker at {self._broker.at} refuses requests on {topic} ({refused[0]}): "
            f"{_who(self._broker)} needs the right to read there"
        )

    async def listen(self) -> None:
        """Wait for the connection to break; without a listener that is noticed only when something is sent.

        Raises:
            BrokerError: it broke.
        """
        try:
            async for _ in self._client.messages:
                pass
        except (aiomqtt.MqttError, OSError) as why:
            raise BrokerError(lost_words(self._broker, why)) from None

    async def say_goodbye(self, message: Message) -> None:
        """Send the last message; after it the connection is closed in good order and the last will is not said.

        Raises:
            BrokerError: as `publish`.
        """
        await self.publish(message)
        self.goodbye_said = True


@asynccontextmanager
async def connect(
    broker: Broker, name: str, will: Message, keepalive_s: int, answer_s: float
) -> AsyncIterator[Connection]:
    """Open a connection under `name`; the broker throws out an older one of the same name.

    A frozen broker is noticed within twice `keepalive_s`, or when a message is not answered within `answer_s`.

    Raises:
        BrokerError: it cannot be opened.
    """
    limits = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    limits.MaximumPacketSize = INCOMING_MAX_BYTES
    client = Client(
        broker.host,
        broker.port,
        username=broker.user,
        password=broker.password,
        tls_context=broker.tls,
        identifier=name,
        protocol=aiomqtt.ProtocolVersion.V5,
        clean_start=True,
        will=aiomqtt.Will(
            will.topic, will.payload, will.qos, will.retain, _properties(PacketTypes.WILLMESSAGE, will)
        ),
        keepalive=keepalive_s,
        timeout=answer_s,
        properties=limits,
        logger=_log,
    )
    try:
        await client.__aenter__()
    except (aiomqtt.MqttError, OSError) as why:
        client.abandon()
        raise BrokerError(opening_words(broker, why)) from None
    except asyncio.CancelledError:
        client.abandon()
        raise
    connection = Connection(client, broker)
    try:
        yield connection
    finally:
        if connection.goodbye_said:
            try:
                await client.__aexit__(None, None, None)
            except (aiomqtt.MqttError, OSError):
                client.abandon()
        else:
            client.abandon()


def _properties(packet: int, message: Message) -> Properties:
    properties = Properties(packet)  # type: ignore[no-untyped-call]
    properties.PayloadFormatIndicator = 1  # UTF-8
    properties.ContentType = "application/json"
    if message.expiry_s is not None:
        properties.MessageExpiryInterval = message.expiry_s
    return properties


# --- sentences --------------------------------------------------------------------------------------------------


def opening_words(broker: Broker, why: BaseException) -> str:
    """Why a connection could not be opened."""
    root = why.__context__ or why  # the library keeps the system's error there
    at = f"the broker at {broker.at}"
    if isinstance(why, aiomqtt.MqttCodeError):
        return _refused_words(broker, _code(why), str(why.rc))
    if isinstance(root, ssl.SSLCertVerificationError):
        return (
            f"{at} shows a certificate that is not accepted ({root.verify_message}): is ca_file the right one, and "
            "is the host in the url the one in the certificate?"
        )
    if isinstance(root, ConnectionRefusedError):
        return f"nobody listens at {broker.at}: is the broker running, and are host and port in the url right?"
    if isinstance(root, socket.gaierror):
        return f"the broker's host {broker.host} is not known on this network: is the url right?"
    if broker.tls is not None and isinstance(root, (ssl.SSLError, ConnectionResetError)):
        return (
            f"{at} does not speak TLS there: is the port right (TLS is usually {PORTS['mqtts']})? A plain port needs "
            "a url that begins with mqtt://"
        )
    if "timed out" in str(why):
        hint = "; if that is its TLS port, the url must begin with mqtts://" if broker.tls is None else ""
        return f"{at} does not answer: is it running, and is the port one for MQTT{hint}?"
    return f"{at} cannot be reached: {getattr(root, 'strerror', None) or root}"


def _refused_words(broker: Broker, code: int, said: str) -> str:
    if code in _NOT_LET_IN:
        return f"the broker at {broker.at} does not let {_who(broker)} in ({said}): are user and password right?"
    if code in _NO_MQTT_5:
        return f"the broker at {broker.at} does not speak MQTT 5, which is needed"
    return f"the broker at {broker.at} refused the connection: {said}"


def lost_words(broker: Broker, why: BaseException) -> str:
    """Why an open connection is of no more use."""
    deeper = why.__cause__ if isinstance(why.__cause__, aiomqtt.MqttCodeError) else why
    if _code(deeper) == _TAKEN_OVER:
        return (
            f"the broker at {broker.at} closed the connection because another so2bench signed in for the same bench: "
            "is one name in bench.toml used twice?"
        )
    if "timed out" in str(why) or "eep alive" in str(deeper):
        return f"the broker at {broker.at} has stopped answering"
    # Older brokers do not say that another took over (Mosquitto before 2.0.15): then it looks like a loss.
    return (
        f"the connection to the broker at {broker.at} broke off: the broker or the network is away, or another "
        "so2bench signed in for the same bench"
    )


def _code(why: BaseException) -> int:
    rc = why.rc if isinstance(why, aiomqtt.MqttCodeError) else None
    return rc.value if isinstance(rc, ReasonCode) else int(rc or 0)


def _who(broker: Broker) -> str:
    return f"user '{broker.user}'" if broker.user is not None else "a program without a user name"
