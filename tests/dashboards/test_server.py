"""The page's server answers this machine and nobody else."""

from __future__ import annotations

import http.client
from pathlib import Path

import psutil
import pytest

from monitor.edges.page import PASSWORD_ENV, Page, reach_of
from monitor.errors import RefusalError
from tests.dashboards.live import a_port
from tests.live import wait_until

pytestmark = pytest.mark.live

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


def test_two_pages_never_get_the_same_port(tmp_path: Path) -> None:
    """A page listens only seconds after its start; one that is started meanwhile gets, and says, another port."""
    first, second = Page(tmp_path / "a.so2log"), Page(tmp_path / "b.so2log")
    try:
        assert first.port != second.port
        with pytest.raises(RefusalError, match=f"--page-port: found {first.port}, which is in use"):
            Page(tmp_path / "c.so2log", first.port)
    finally:
        first.close()
        second.close()


@pytest.mark.parametrize("port", [-1, 0, 65536])
def test_a_number_that_is_no_port_is_refused(tmp_path: Path, port: int) -> None:
    """The refusal says what is wanted; nothing is started."""
    with pytest.raises(RefusalError, match=f"found {port}, which is in use or no port for a page, wanted a free one"):
        Page(tmp_path / "a.so2log", port)


@pytest.mark.parametrize(
    ("host", "password", "words"),
    [
        ("127.0.0.2", "", "found nothing in the environment variable SO2BENCH_PAGE_PASSWORD"),
        ("127.0.0.2", "short", "found 5 characters in the environment variable"),
        (
            "nobody.invalid",
            "long enough a word",
            "found 'nobody.invalid', wanted a name or an address of this machine",
        ),
        ("192.0.2.7", "long enough a word", "found '192.0.2.7', wanted"),  # TEST-NET-1, RFC 5737: nobody's
        ("0.0.0.0", "long enough a word", "found every address, wanted one"),
    ],
)
def test_a_page_for_others_needs_a_name_and_a_password(host: str, password: str, words: str) -> None:
    """Without a good password, or under a name that is not this machine's, nothing is opened; the reason is said."""
    with pytest.raises(RefusalError) as told:
        reach_of(host, {PASSWORD_ENV: password})
    assert words in str(told.value)
    assert not password or password not in str(told.value)


@pytest.mark.timeout(180)
def test_a_page_for_others_listens_where_it_is_told_and_knows_no_other_secret(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It listens on the one address, answers to its name alone, and has its own password and no other's."""
    monkeypatch.setenv("BROKER_SECRET", "s3cret-word")
    reach = reach_of("127.0.0.2", {PASSWORD_ENV: "lime-wash-at-seven"})
    assert "lime" not in repr(reach)
    server = Page(tmp_path / "a.so2log", a_port(), ("BROKER_SECRET",), reach)
    try:
        process = psutil.Process(server._process.pid)

        def listens() -> set[str]:
            return {line.laddr.ip for line in process.net_connections("inet") if line.status == "LISTEN"}

        wait_until(listens, "the page's server listens")
        assert listens() == {"127.0.0.2"}
        assert server.url == f"http://127.0.0.2:{server.port}"
        assert "lime" not in " ".join(process.cmdline())
        assert process.environ()[PASSWORD_ENV] == "lime-wash-at-seven"
        assert "BROKER_SECRET" not in process.environ()
        connection = http.client.HTTPConnection("127.0.0.2", server.port, timeout=30.0)
        for host, welcome in (("127.0.0.2", True), ("elsewhere.example", False)):
            connection.request("GET", "/_stcore/stream", headers={"Host": f"{host}:{server.port}", **HANDSHAKE})
            assert (connection.getresponse().status == 101) is welcome
            connection.close()
    finally:
        server.close()
