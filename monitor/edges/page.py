"""Starts the dashboard beside the run, as a process of its own: if the page falls over, the run goes on."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path

from monitor.errors import RefusalError

FIRST_PORT, PORTS = 8501, 50
LOG_ENV = "SO2BENCH_LOG"


def free_port() -> int:
    """A TCP port of this machine that nobody listens on."""
    for port in range(FIRST_PORT, FIRST_PORT + PORTS):
        with socket.socket() as s:
            s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                s.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise RefusalError(f"no free port from {FIRST_PORT} to {FIRST_PORT + PORTS - 1} for the page")


class Page:
    """The dashboard's process, looking at one run log."""

    def __init__(self, log: Path | None, port: int | None = None) -> None:
        """Start it; without a log it has only the plan page to show, at /plan.

        Raises:
            RefusalError: the dashboard's packages are not installed, or no port is free.
        """
        if find_spec("streamlit") is None or find_spec("altair") is None:
            raise RefusalError(
                "the page needs streamlit and altair: pip install 'so2bench[dashboard]', or --no-dashboard"
            )
        self.port = port if port is not None else free_port()
        script = str(files("dashboards") / "bench.py")
        # Everything else about the server stands in dashboards/.streamlit/config.toml.
        command = [sys.executable, "-m", "streamlit", "run", script, f"--server.port={self.port}"]
        environment = {**os.environ, LOG_ENV: "" if log is None else str(log.resolve())}
        self._process = subprocess.Popen(
            command,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,  # a Ctrl-C is for the run, which ends the page itself
        )

    @property
    def url(self) -> str:
        """Where the page is."""
        return f"http://127.0.0.1:{self.port}"

    def close(self) -> None:
        """End it."""
        self._process.terminate()
        try:
            self._process.wait(5.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
