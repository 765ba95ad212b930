"""Starts the dashboard beside the run, as a process of its own: if the page falls over, the run goes on."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from collections.abc import Mapping
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path

from monitor.errors import RefusalError

FIRST_PORT, PORTS = 8501, 50
LOG_ENV = "SO2BENCH_LOG"
BENCHES_ENV = "SO2BENCH_BENCHES"  # the folder in which the list of benches is


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


class PageServer:
    """A page's process: one script of `dashboards`, with what it looks at in its environment."""

    def __init__(self, script: str, environment: Mapping[str, str], port: int | None) -> None:
        if find_spec("streamlit") is None or find_spec("altair") is None:
            raise RefusalError(
                "the page needs streamlit and altair: pip install 'so2bench[dashboard]'; without a page: "
                "--no-dashboard, or --plain for benches"
            )
        self.port = port if port is not None else free_port()
        # Everything else about the server stands in dashboards/.streamlit/config.toml.
        path = str(files("dashboards") / script)
        command = [sys.executable, "-m", "streamlit", "run", path, f"--server.port={self.port}"]
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


class Page(PageServer):
    """The dashboard, looking at one run log."""

    def __init__(self, log: Path | None, port: int | None = None) -> None:
        """Start it; without a log it has only the plan page to show, at /plan.

        Raises:
            RefusalError: the dashboard's packages are not installed, or no port is free.
        """
        super().__init__("bench.py", {**os.environ, LOG_ENV: "" if log is None else str(log.resolve())}, port)


class BenchesPage(PageServer):
    """The page of many benches, looking at the list that is kept in a folder."""

    def __init__(self, folder: Path, port: int | None = None, without: str | None = None) -> None:
        """Start it. The environment variable named `without` holds a password, which is no business of a page.

        Raises:
            RefusalError: the dashboard's packages are not installed, or no port is free.
        """
        environment = {name: value for name, value in os.environ.items() if name != without}
        super().__init__("benches.py", {**environment, BENCHES_ENV: str(folder.resolve())}, port)
