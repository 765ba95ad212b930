"""Brokers that do not want us, or are none: one plain sentence each, and never a password in it."""

from __future__ import annotations

import logging
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path

import pytest

from monitor.edges.mqtt_broker import broker_of
from monitor.terms import MqttTerms
from tests.edges.broker import Broker, Certificates, Listener, certify, complete_and_in_order, wait_until
from tests.edges.mqtt_host import Host, changes, overview

pytestmark = pytest.mark.broker

PASSWORD = "sieben-saure-tropfen"
ENVIRONMENT = {"BENCH_PASSWORD": PASSWORD, "WRONG_PASSWORD": "wrong-" + PASSWORD}


@pytest.fixture(autouse=True)
def no_password_anywhere(caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]) -> Iterator[None]:
    """No log line of any level and nothing printed holds a password."""
    caplog.set_level(logging.DEBUG)
    yield
    logged = "\n".join(r.getMessage() for r in caplog.get_records("call"))
    printed = capfd.readouterr()
    assert logged, "nothing was looked at"
    assert PASSWORD not in logged + printed.out + printed.err


def first_trouble(url: str, password_env: str | None = None, ca_file: Path | None = None) -> str:
    """What is told when connecting there; and that it is one sentence and no more."""
    broker = broker_of(MqttTerms(url, password_env, None if ca_file is None else str(ca_file)), ENVIRONMENT)
    with Host(broker) as host:
        wait_until(lambda: host.troubles != [], "trouble is told")
    (text,) = set(host.troubles)
    assert PASSWORD not in text + repr(broker)
    assert "\n" not in text
    return text


@contextmanager
def server(*says: bytes) -> Iterator[int]:
    """A TCP server that is no broker: answers each thing it hears with the next of `says`."""
    listening = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        while True:
            try:
                peer, _ = listening.accept()
            except OSError:
                return
            with peer:
                try:
                    for words in says:
                        peer.recv(4096)
                        peer.sendall(words)
                    while peer.recv(4096):
                        pass
                except OSError:
                    continue

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield listening.getsockname()[1]
    finally:
        listening.shutdown(socket.SHUT_RDWR)
        listening.close()
        thread.join()


def test_wrong_password(tmp_path: Path) -> None:
    """A wrong password, or none, is said to be that."""
    with Broker(tmp_path, users={"bench": PASSWORD}) as broker:
        text = first_trouble(f"mqtt://bench@127.0.0.1:{broker.port}", "WRONG_PASSWORD")
        assert text == (
            f"the broker at 127.0.0.1:{broker.port} does not let user 'bench' in (Not authorized): are user and "
            "password right?"
        )
        assert "a program without a user name" in first_trouble(broker.url)


@pytest.fixture
def ours(tmp_path: Path) -> Certificates:
    return certify(tmp_path, "ours")


# The library leaves the socket of a failed handshake to be closed by the collector.
@pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning")
class TestTls:
    """Certificates and ports that do not fit."""

    def test_unknown_authority(self, tmp_path: Path, ours: Certificates) -> None:
        """A certificate of an authority that is not ours is not accepted; nor is one without ca_file."""
        other = certify(tmp_path, "other")
        with Broker(tmp_path / "b", certificates=ours) as broker:
            url = f"mqtts://127.0.0.1:{broker.port}"
            for ca_file in (other.authority, None):
                text = first_trouble(url, ca_file=ca_file)
                assert "shows a certificate that is not accepted" in text
                assert "is ca_file the right one" in text

    def test_another_host(self, tmp_path: Path) -> None:
        """A certificate for another host is not accepted, though our authority signed it."""
        elsewhere = certify(tmp_path, "elsewhere", "broker.invalid")
        with Broker(tmp_path / "b", certificates=elsewhere) as broker:
            text = first_trouble(f"mqtts://127.0.0.1:{broker.port}", ca_file=elsewhere.authority)
            assert "certificate is not valid for '127.0.0.1'" in text

    def test_tls_to_a_plain_port(self, tmp_path: Path, ours: Certificates) -> None:
        """TLS spoken to a plain port is said to be that."""
        with Broker(tmp_path / "b") as broker:
            text = first_trouble(f"mqtts://127.0.0.1:{broker.port}", ca_file=ours.authority)
            assert "does not speak TLS there" in text
            assert "mqtt://" in text

    def test_plain_to_a_tls_port(self, tmp_path: Path, ours: Certificates) -> None:
        """Plain TCP spoken to a TLS port can only be seen as silence, and the hint is given."""
        with Broker(tmp_path / "b", certificates=ours) as broker:
            text = first_trouble(broker.url)
            assert "does not answer" in text
            assert "if that is its TLS port, the url must begin with mqtts://" in text


def test_nobody_there(tmp_path: Path) -> None:
    """A port that nobody listens on is said to be that."""
    assert first_trouble(Broker(tmp_path).url).startswith("nobody listens at 127.0.0.1:")


@pytest.mark.parametrize(
    ("says", "sentence"),
    [
        # MQTT 5: CONNACK 3.2, DISCONNECT 3.14, their reason codes 3.2.2.2 and 3.14.2.1
        ([b"\x20\x03\x00\x84\x00"], "does not speak MQTT 5"),
        ([b"\x20\x03\x00\x97\x00"], "refused the connection: Quota exceeded"),
        ([b"\x20\x03\x00\x00\x00", b"\xe0\x01\x8e"], "another so2bench signed in for the same bench: is one name"),
        ([b"\x20\x03\x00\x00\x00", b"\xe0\x01\x8b"], "broke off"),
        ([b"HTTP/1.1 400 Bad Request\r\n\r\n"], "does not answer"),
        ([b"SSH-2.0-none\r\n"], "does not answer"),
        ([b"\xff" * 64], "does not answer"),
        ([b"\x20\x03\x00\x00\x00", b"\xff" * 64], "broke off"),
        ([b"\x20\x03\x00\x00\x00", b"\x40\x03\xff"], "stopped answering"),
    ],
)
def test_strange_servers(says: list[bytes], sentence: str) -> None:
    """Whatever a server says, it is trouble in one sentence and never an end of the run."""
    with server(*says) as port:
        host = Host(f"mqtt://127.0.0.1:{port}")
        with host:
            host.hear(next(changes()), overview(1.0))
            wait_until(lambda: host.troubles != [], "trouble is told")
        assert sentence in host.troubles[0]


def test_refused_messages_are_kept(tmp_path: Path) -> None:
    """A broker that lets us in but refuses the alarms is no delivery: it is said, and they come when it relents."""
    reader = "user reader\ntopic read so2bench/#\ntopic readwrite test/#\n"
    bench = "user bench\ntopic write so2bench/hood-2/{}\n"
    users = {"bench": PASSWORD, "reader": "reading"}
    broker = Broker(tmp_path, users=users, rules=reader + bench.format("watched"))
    known = broker_of(MqttTerms(f"mqtt://bench@127.0.0.1:{broker.port}", "BENCH_PASSWORD"), ENVIRONMENT)
    with broker, Host(known) as host:
        host.hear(*islice(changes(), 5), overview(1.0))
        wait_until(lambda: host.troubles != [], "trouble is told")
        assert host.troubles == [
            f"the broker at 127.0.0.1:{broker.port} refuses messages on so2bench/hood-2/alarm (Not authorized): user "
            "'bench' needs the right to write there"
        ]
        broker.allow(reader + bench.format("#"))
        with Listener(broker, "reader", "reading") as listener:
            assert complete_and_in_order(listener.wait("alarm", 5), 5)
            wait_until(lambda: host.in_order, "in order again")


def test_refused_requests_are_told() -> None:
    """A broker that will not hand on requests is said to be so, and stays trouble; the connection is kept."""
    # MQTT 5, 3.9: SUBACK of packet 1 with the reason code 0x87, not authorized
    with server(b"\x20\x03\x00\x00\x00", b"\x90\x04\x00\x01\x00\x87") as port:
        host = Host(f"mqtt://127.0.0.1:{port}", on_ask=lambda _: None)
        with host:
            wait_until(lambda: host.troubles != [], "trouble is told")
            assert host.troubles == [
                f"the broker at 127.0.0.1:{port} refuses requests on so2bench/hood-2/ask (Not authorized): a program "
                "without a user name needs the right to read there"
            ]
            assert not host.in_order
