"""What the documents promise, read by a client that shares no code with the outlet: gmqtt, of the registry.

It has an MQTT 5 protocol of its own; the outlet's libraries are aiomqtt and paho.
"""

from __future__ import annotations

import asyncio
import json
import ssl
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import gmqtt
import pytest

from tests.edges.broker import LOOPBACK, WAIT_S, Broker, Certificates, certify
from tests.edges.mqtt_bench import TAG, Bench
from tests.edges.test_mqtt_payloads import faults

pytestmark = pytest.mark.broker
USERS = {"bench": "drip drop", "reader": "read all"}


class Reader:
    """Subscribed to everything a bench says."""

    def __init__(self) -> None:
        self.got: dict[str, list[tuple[dict[str, Any], int, dict[str, Any]]]] = {}
        self._client = gmqtt.Client("second")
        self._client.on_message = self._hear

    def _hear(self, _client: object, topic: str, payload: bytes, qos: int, properties: dict[str, Any]) -> int:
        if not topic.endswith("/ask"):
            self.got.setdefault(topic, []).append((json.loads(payload), qos, properties))
        return 0

    async def connect(self, port: int, tls: ssl.SSLContext | None) -> None:
        self._client.set_auth_credentials("reader", USERS["reader"])
        await self._client.connect(LOOPBACK, port, ssl=tls or False, version=5)
        self._client.subscribe("so2bench/#", qos=1)

    def publish(self, topic: str, said: dict[str, Any]) -> None:
        self._client.publish(topic, json.dumps(said), qos=1, message_expiry_interval=30)

    async def end(self) -> None:
        await self._client.disconnect()

    async def until(self, true: Callable[[], bool], what: str) -> None:
        """Wait for another program."""
        end_s = time.monotonic() + WAIT_S
        while not true():
            assert time.monotonic() < end_s, f"not within {WAIT_S:g} s: {what}"
            await asyncio.sleep(0.01)


async def read_and_ask(port: int, tls: ssl.SSLContext | None) -> dict[str, list[tuple[dict[str, Any], int, Any]]]:
    """Read until an alarm has come, acknowledge it, and read on until that is told."""
    reader, base = Reader(), "so2bench/hood-2"
    alarm, answer = f"{base}/alarm", f"{base}/answer"
    await reader.connect(port, tls)
    await reader.until(lambda: any(s["tag"] == TAG for s, _, _ in reader.got.get(alarm, [])), "the alarm")
    await reader.until(lambda: len(reader.got.get(f"{base}/state", [])) > 2, "states")
    said = {"kind": "acknowledge", "who": "Ada", "asked_utc_s": time.time(), "tag": TAG}
    reader.publish(f"{base}/ask", {"v": 1, "session": reader.got[alarm][0][0]["session"], "id": "a-1", **said})
    await reader.until(lambda: answer in reader.got, "the answer")
    await reader.until(lambda: reader.got[alarm][-1][0]["cause"] == "acknowledged", "the change")
    await reader.end()
    return reader.got


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
    with broker, Bench(tmp_path, url, *more) as bench:
        got = asyncio.run(read_and_ask(broker.port, context))
    assert set(got) == {f"so2bench/hood-2/{n}" for n in ("watched", "state", "alarm", "standing", "answer")}
    expiry_max_s = {"watched": 30, "state": 10, "standing": 30, "answer": 30, "alarm": None}
    for topic, messages in got.items():
        name = topic.rpartition("/")[2]
        for said, qos, properties in messages:
            assert faults(name, said) == []
            assert qos == (0 if name == "state" else 1)
            assert (properties["content_type"], properties["payload_format_id"]) == (["application/json"], [1])
            (expiry_s,) = properties.get("message_expiry_interval", [None])
            most_s = expiry_max_s[name]
            assert (expiry_s is None) if most_s is None else (0 < expiry_s <= most_s)
    said, _, _ = got["so2bench/hood-2/answer"][0]
    assert (said["id"], said["accepted"]) == ("a-1", True)
    assert bench.changes()[-1].who == "Ada, by MQTT"
