"""The gaps of the MQTT library that the link closes, where no broker is needed to see it."""

from __future__ import annotations

import asyncio
import socket
from typing import Any

from monitor.edges.mqtt_link import Client


def test_a_socket_closed_meanwhile_is_not_waited_for() -> None:
    """What was to be sent on a socket that closed in the same instant touches nothing that has its number now."""
    complaints: list[dict[str, Any]] = []

    async def close_in_the_same_instant() -> bool:
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(lambda _, context: complaints.append(context))
        client = Client("127.0.0.1")
        gone, peer = socket.socketpair()
        number = gone.fileno()
        client._on_socket_register_write(client._client, None, gone)
        gone.close()
        peer.close()
        ours, other = socket.socketpair()  # gets the number that is free again
        with ours, other:
            assert number in (ours.fileno(), other.fileno())
            await asyncio.sleep(0)
            await asyncio.sleep(0)
            return loop.remove_writer(number)

    assert not asyncio.run(close_in_the_same_instant())
    assert complaints == []
