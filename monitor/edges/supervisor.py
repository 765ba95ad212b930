"""Tells the supervisor that started this program (systemd, or another that speaks its protocol) that it is well.

Promise: word goes out each time the bench gives its overview, once a second from the bench's own thread, so a monitor
that hangs falls silent and is started anew; nothing here waits or fails. Without a supervisor nothing happens.
The protocol is that of sd_notify(3): datagrams of lines `KEY=VALUE` to the socket named in NOTIFY_SOCKET.
"""

from __future__ import annotations

import contextlib
import os
import socket
from collections.abc import MutableMapping

from monitor.core.events import Event, Overview

SOCKET_ENV = "NOTIFY_SOCKET"


class Supervisor:
    """An outlet of the service."""

    def __init__(self, environ: MutableMapping[str, str] = os.environ) -> None:
        """Take the socket's name out of the environment, so that no process started from here speaks on it."""
        name = environ.pop(SOCKET_ENV, "")
        self._ready = False
        self._socket: socket.socket | None = None
        if name and hasattr(socket, "AF_UNIX"):
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
            self._socket.setblocking(False)
            try:
                self._socket.connect("\0" + name[1:] if name.startswith("@") else name)
            except OSError:
                self.close()

    def __call__(self, events: list[Event]) -> None:
        """Take events, in the bench's thread; never waits."""
        for e in events:
            if isinstance(e, Overview):
                worst = e.alarms[0].tag if e.alarms else "no alarm"
                first = "" if self._ready else "READY=1\n"
                self._ready = True
                self._say(
                    f"{first}WATCHDOG=1\nSTATUS={e.phase.value}, permit {'on' if e.permit_on else 'off'}, {worst}"
                )

    def close(self) -> None:
        """Say that it ends, and let go."""
        if self._socket is not None:
            self._say("STOPPING=1")
            self._socket.close()
            self._socket = None

    def _say(self, text: str) -> None:
        if self._socket is not None:
            with contextlib.suppress(OSError):  # a supervisor that does not listen is its own trouble
                self._socket.send(text.encode())
