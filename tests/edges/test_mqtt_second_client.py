"""What the documents promise, read by a client that shares no code with the outlet: ohmqtt, of the registry.

It has an MQTT 5 protocol of its own; the outlet's libraries are aiomqtt and paho.
"""

from __future__ import annotations

import json
import ssl
import time
from pathlib import Path
from typing import Any, Self

import ohmqtt
import pytest
from ohmqtt import MQTTPublishPacket, MQTTPublishProps

from tests.edges.broker import LOOPBACK, WAIT_S, Broker, Certificates, certify, wait_until
from tests.edges.mqtt_bench import TAG, Bench
from tests.edges.test_mqtt_payloads import faults

pytestmark = pytest.mark.broker
USERS = {"bench": "drip drop", "reader": "read all"}


class Reader:
    """Subscribed to everything a bench says."""

    def __init__(self, port: int, tls: ssl.SSLContext | None) -> None:
        self.got: dict[str, list[MQTTPublishPacket]] = {}
        self._client = ohmqtt.Client()
        scheme = "mqtt" if tls is None else "mqtts"
        password = USERS["reader"].encode()
        self._client.start_loop()
        self._client.connect(
            f"{scheme}://{LOOPBACK}:{port}", client_id="second", username="reader", password=password, tls_context=tls
        )
        self._client.subscribe("so2bench/#", self._hear, max_qos=1)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.shutdown()
        self._client.wait_for_shutdown(WAIT_S)

    def _hear(self, _client: object, packet: MQTTPublishPacket) -> None:
        if not packet.topic.endswith("/ask"):
            self.got.setdefault(packet.topic, []).append(packet)

    def said(self, name: str) -> list[dict[str, Any]]:
        """What has come on a topic."""
        return [json.loads(p.payload) for p in self.got.get(f"so2bench/hood-2/{name}", [])]

    def ask(self, said: dict[str, Any]) -> None:
        """Ask for something."""
        expiry = MQTTPublishProps(MessageExpiryInterval=30)
        self._client.publish("so2bench/hood-2/ask", json.dumps(said), qos=1, properties=expiry)


def read_and_ask(reader: Reader) -> None:
    """Read until an alarm has come, acknowledge it, and read on until that is told."""
    wait_until(lambda: any(s["tag"] == TAG for s in reader.said("alarm")), "the alarm")
    wait_until(lambda: len(reader.said("state")) > 2, "states")
    session = reader.said("alarm")[0]["session"]
    said = {"kind": "acknowledge", "who": "Ada", "asked_utc_s": time.time(), "tag": TAG}
    reader.ask({"v": 1, "session": session, "id": "a-1", **said})
    wait_until(lambda: bool(reader.said("answer")), "the answer")
    wait_until(lambda: any(s["cause"] == "acknowledged" for s in reader.said("alarm")), "the change")


@pytest.mark.parametrize("tls", [False, True], ids=["plain", "TLS"])
def test_a_second_library_reads_what_is_promised(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tls: bool) -> None:
    """Every topic, its shape, QoS, expiry and kind of content are as documented; an alarm can be acknowledged."""
    signed: Certificates | None = certify(tmp_path, "ours") if tls else None
    monkeypatch.setenv("BENCH_PASSWORD", USERS["bench"])
    broker = Broker(tmp_path / "b", certificates=signed, users=USERS)
    scheme, more = ("mqtts", [f'ca_file = "{signed.authority}"']) if signed is not None else ("mqtt", [])
    url = f"{scheme}://bench@{LOOPBACK}:{broker.port}"
    more += ['password_env = "BENCH_PASSWORD"', "acknowledge = true"]
    context = ssl.create_default_context(cafile=str(signed.authority)) if signed is not None else None
    with broker, Reader(broker.port, context) as reader, Bench(tmp_path, url, *more) as bench:
        read_and_ask(reader)
        assert [c.who for c in bench.changes() if c.cause == "acknowledged"] == ["Ada, by MQTT"]
    assert set(reader.got) == {f"so2bench/hood-2/{n}" for n in ("watched", "state", "alarm", "standing", "answer")}
    expiry_max_s = {"watched": 30, "state": 10, "standing": 30, "answer": 30, "alarm": None}
    for topic, packets in reader.got.items():
        name = topic.rpartition("/")[2]
        for packet in packets:
            said, properties = json.loads(packet.payload), packet.properties
            assert faults(name, said) == []
            assert packet.qos.value == (0 if name == "state" else 1)
            assert (properties.ContentType, properties.PayloadFormatIndicator) == ("application/json", 1)
            most_s, expiry_s = expiry_max_s[name], properties.MessageExpiryInterval
            if most_s is None or not said.get("watched", True):
                assert expiry_s is None
            else:
                assert expiry_s is not None
                assert 0 < expiry_s <= most_s
    (answer,) = reader.said("answer")
    assert (answer["id"], answer["accepted"]) == ("a-1", True)
