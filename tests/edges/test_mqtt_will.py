"""What listeners are told when the monitor's whole process is gone or hangs."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from monitor.core.frames import IO_KEPT_ALIVE
from tests.edges.broker import LOOPBACK, Broker, Listener, certify
from tests.ptyboard import Board
from tests.settings import BENCH_TOML, RUN_TOML

pytestmark = pytest.mark.broker


@contextmanager
def host_process(broker: Broker) -> Iterator[subprocess.Popen[bytes]]:
    process = subprocess.Popen([sys.executable, "-m", "tests.edges.mqtt_host", broker.url])
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def test_killed(tmp_path: Path) -> None:
    """When the monitor is killed, the broker says at once, and to late comers too, that the bench is not watched."""
    with Broker(tmp_path) as broker, Listener(broker) as listener, host_process(broker) as process:
        session = listener.wait_watched("watching").said["session"]
        process.kill()
        will = listener.wait_watched("lost")
        assert (will.said["watched"], will.said["session"], will.qos, will.expiry_s) == (False, session, 1, None)
        with Listener(broker) as late:
            assert late.wait("watched")[0].said["why"] == "lost"


def test_hung(tmp_path: Path) -> None:
    """When the monitor's process hangs, the broker notices by the missing keep-alive and says so."""
    with Broker(tmp_path) as broker, Listener(broker) as listener, host_process(broker) as process:
        listener.wait_watched("watching")
        process.send_signal(signal.SIGSTOP)
        listener.wait_watched("lost")
        process.send_signal(signal.SIGCONT)
        listener.wait_watched("watching")


@pytest.mark.parametrize("tls", [False, True], ids=["plain", "TLS"])
def test_the_whole_monitor_is_killed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tls: bool) -> None:
    """When `so2bench watch` itself is killed in the middle of a run, listeners learn that nobody watches any more."""
    monkeypatch.setenv("BENCH_PASSWORD", "drip drop")
    signed = certify(tmp_path, "ours") if tls else None
    broker = Broker(tmp_path / "b", certificates=signed, users={"bench": "drip drop"})
    url = f"{'mqtts' if tls else 'mqtt'}://bench@{LOOPBACK}:{broker.port}"
    ca = f'ca_file = "{signed.authority.name}"\n' if signed is not None else ""
    (tmp_path / "bench.toml").write_text(
        f'{BENCH_TOML}\n[mqtt]\nurl = "{url}"\npassword_env = "BENCH_PASSWORD"\n{ca}'
    )
    (tmp_path / "run.toml").write_text(RUN_TOML)
    board = Board()
    command = [sys.executable, "-m", "monitor", "watch", "--no-dashboard", "--port", board.path]
    command += ["--bench", str(tmp_path / "bench.toml"), "--run", str(tmp_path / "run.toml")]
    command += ["--log", str(tmp_path / "run.so2log")]
    authority = None if signed is None else signed.authority
    with broker, Listener(broker, "bench", "drip drop", authority) as listener:
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
        try:
            assert board.wait_for(b"K,", 30.0)
            board.send(IO_KEPT_ALIVE)
            session = listener.wait_watched("watching").said["session"]
            process.kill()
            will = listener.wait_watched("lost")
            assert (will.said["watched"], will.said["session"], will.qos) == (False, session, 1)
            with Listener(broker, "bench", "drip drop", authority) as late:
                assert late.wait("watched")[0].said["why"] == "lost"
        finally:
            process.kill()
            process.wait()
