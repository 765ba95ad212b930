"""The page's server answers this machine and nobody else."""

from __future__ import annotations

import http.client
from pathlib import Path

import psutil
import pytest

from monitor.edges.page import Page
from tests.dashboards.live import a_port
from tests.live import wait_until

HANDSHAKE = {
    "Upgrade": "websocket",
    "Connection": "Upgrade",
    "Sec-WebSocket-Version": "13",
    "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",  # the example of RFC 6455
}


@pytest.mark.timeout(180)
def test_the_server_is_for_this_machine_alone(tmp_path: Path) -> None:
    """It listens on the loopback address alone, calls nobody, and speaks to no page under another host's name."""
    server = Page(tmp_path / "a.so2log", a_port())
    try:

        def status(host: str) -> int:
            """Of the handshake for the one channel by which the page and its server speak (RFC 6455, 4.1)."""
            connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30.0)
            connection.request("GET", "/_stcore/stream", headers={"Host": host, **HANDSHAKE})
            got = connection.getresponse().status
            connection.close()
            return got

        def answers() -> bool:
            try:
                return status(f"127.0.0.1:{server.port}") == 101
            except OSError:
                return False

        wait_until(answers, "the page's server answers")
        assert status("elsewhere.example") >= 400
        lines = psutil.Process(server._process.pid).net_connections("inet")
        assert {line.laddr.ip for line in lines} == {"127.0.0.1"}
        assert [line for line in lines if line.raddr and line.raddr.ip != "127.0.0.1"] == []
    finally:
        server.close()
