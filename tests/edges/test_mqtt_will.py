"""What listeners are told when the monitor's whole process is gone or hangs."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.edges.broker import Broker, Listener

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
