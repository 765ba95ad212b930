"""Starts the dashboard beside the run, as a process of its own: if the page falls over, the run goes on."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path

from monitor.errors import RefusalError

FIRST_PORT, PORTS = 8501, 50
LAST_PORT = 65535
LOG_ENV = "SO2BENCH_LOG"
BENCH_ENV, RUN_ENV = "SO2BENCH_BENCH", "SO2BENCH_RUN"  # the settings files that the calibration page writes
PAST_ENV = "SO2BENCH_PAST"  # a folder of logs of past runs
BENCHES_ENV = "SO2BENCH_BENCHES"  # the folder in which the list of benches is
PASSWORD_ENV = "SO2BENCH_PAGE_PASSWORD"  # noqa: S105 - its name, not itself
PASSWORD_LEAST = 12  # characters; at five tries a minute a random one is not found (NIST SP 800-63B asks for 8)
LOOPBACK = "127.0.0.1"


@dataclass(frozen=True, slots=True)
class Reach:
    """From where a page can be reached: `address` is what its server listens on, `host` the name it answers to.

    Without a password it is this machine alone.
    """

    host: str = LOOPBACK
    address: str = LOOPBACK
    password: str | None = field(default=None, repr=False)


THIS_MACHINE = Reach()


def reach_of(host: str | None, environ: Mapping[str, str] = os.environ) -> Reach:
    """This machine alone, or others too, by a name or address of this machine, with the password from `environ`.

    Raises:
        RefusalError: the name is none of this machine's, or the password is missing or short.
    """
    if host is None:
        return THIS_MACHINE
    password = environ.get(PASSWORD_ENV, "")
    if len(password) < PASSWORD_LEAST:
        found = f"{len(password)} characters" if password else "nothing"
        raise RefusalError(
            f"a page that other machines can reach needs a password: found {found} in the environment variable "
            f"{PASSWORD_ENV}, wanted at least {PASSWORD_LEAST} characters"
        )
    try:
        address = socket.gethostbyname(host)
        with socket.socket() as s:
            s.bind((address, 0))
    except (OSError, UnicodeError):
        raise RefusalError(
            f"--page-host: found '{host}', wanted a name or an address of this machine, by which others reach it"
        ) from None
    if address == "0.0.0.0":
        raise RefusalError(
            "--page-host: found every address, wanted one, so that the page is where you mean it to be"
        )
    return Reach(host, address, password)


def free_port(address: str = LOOPBACK) -> int:
    """A TCP port of this machine that nobody listens on, and that no page about to listen has taken.

    Raises:
        RefusalError: none is free.
    """
    claim, port = _claimed(address, None)
    claim.close()
    return port


def _claim(address: str, port: int) -> socket.socket | None:
    """The right to a port until it is closed; None if another has it.

    A page listens only seconds after it was started. Without a claim a second one would take the same port meanwhile,
    and its address would show the first one's bench. The claim is a name that dies with its holder; only Linux has
    such, and elsewhere it claims nothing.
    """
    with socket.socket() as s:
        s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            s.bind((address, port))
        except OSError:
            return None
    if sys.platform != "linux":
        return socket.socket()
    claim = socket.socket(socket.AF_UNIX)
    try:
        claim.bind(f"\0so2bench page {port}")
    except OSError:
        claim.close()
        return None
    return claim


def _claimed(address: str, wanted: int | None) -> tuple[socket.socket, int]:
    """A claim, and the port that it is for."""
    if wanted is not None:
        claim = _claim(address, wanted) if 0 < wanted <= LAST_PORT else None
        if claim is None:
            raise RefusalError(
                f"--page-port: found {wanted}, which is in use or no port for a page, wanted a free one up to "
                f"{LAST_PORT}; without this option the first free one from {FIRST_PORT} is taken"
            )
        return claim, wanted
    for port in range(FIRST_PORT, FIRST_PORT + PORTS):
        claim = _claim(address, port)
        if claim is not None:
            return claim, port
    raise RefusalError(f"no free port from {FIRST_PORT} to {FIRST_PORT + PORTS - 1} for the page")


class PageServer:
    """A page's process: one script of `dashboards`, with what it looks at in its environment."""

    def __init__(
        self, script: str, looks_at: Mapping[str, str], port: int | None, without: Collection[str], reach: Reach
    ) -> None:
        if find_spec("streamlit") is None or find_spec("altair") is None:
            raise RefusalError(
                "the page needs streamlit and altair: pip install '.[dashboard]'; without a page: "
                "--no-dashboard, or --plain for benches"
            )
        self._claim, self.port = _claimed(reach.address, port)
        self._host, self._address = reach.host, reach.address
        # Everything else about the server stands in dashboards/.streamlit/config.toml.
        path = str(files("dashboards") / script)
        command = [sys.executable, "-m", "streamlit", "run", path, f"--server.port={self.port}"]
        environment = {name: value for name, value in os.environ.items() if name not in {*without, PASSWORD_ENV}}
        environment.update(looks_at)
        if reach.password is not None:
            command += [f"--server.address={reach.address}"]
            command += [f"--server.allowedHosts={name}" for name in sorted({reach.host, reach.address})]
            environment[PASSWORD_ENV] = reach.password
        self._command, self._environment = command, environment
        self.start_again()

    @property
    def url(self) -> str:
        """Where the page is."""
        return f"http://{self._host}:{self.port}"

    def start_again(self) -> None:
        """Start the process on its port, which stays its own while it is down.

        Raises:
            OSError: the system starts no more processes.
        """
        self._process = subprocess.Popen(
            self._command,
            env=self._environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,  # a Ctrl-C is for the run, which ends the page itself
        )

    def ended(self) -> int | None:
        """The exit status of a process that has ended by itself, negative for a signal; None while it lives."""
        return self._process.poll()

    async def answers(self, within_s: float) -> bool:
        """Whether its server answers a question for its health within so many seconds."""
        try:
            async with asyncio.timeout(within_s):
                reader, writer = await asyncio.open_connection(self._address, self.port)
                try:
                    writer.write(f"GET /_stcore/health HTTP/1.0\r\nHost: {self._host}:{self.port}\r\n\r\n".encode())
                    return b" 200 " in await reader.readline()
                finally:
                    writer.close()
        except (OSError, ValueError):  # a timeout is an OSError; a line without end is a ValueError
            return False

    def kill(self) -> None:
        """End a process that hangs, which no kinder signal reaches; `ended` tells when it has."""
        self._process.kill()

    def serve(self, path: str) -> None:
        """Say where it is and keep it until Ctrl-C, where nothing else is to be done.

        Raises:
            RefusalError: the page has ended by itself.
        """
        before = signal.signal(signal.SIGTERM, signal.default_int_handler)  # told to end, it leaves no page behind
        print(f"page: {self.url}{path}   (this machine only; Ctrl-C ends it)", flush=True)
        try:
            status = self._process.wait()
        except KeyboardInterrupt:
            return
        finally:
            self.close()
            signal.signal(signal.SIGTERM, before)
        raise RefusalError(f"the page ended by itself (status {status}): start it again with the same command")

    def close(self) -> None:
        """End it."""
        self._process.terminate()
        try:
            self._process.wait(5.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._claim.close()


class Page(PageServer):
    """The dashboard, looking at one run log."""

    def __init__(
        self,
        log: Path | None,
        port: int | None = None,
        without: Collection[str] = (),
        reach: Reach = THIS_MACHINE,
        past: Path | None = None,
        bench: Path | None = None,
        run: Path | None = None,
    ) -> None:
        """Start it; without a log it has only the pages before a run to show, at /plan and /calibrate. The first
        looks for past runs in `past`, or else beside the log; the second calibrates `bench`, and `run` for bubbles.

        The environment variables named `without` hold passwords, which are no business of a page.

        Raises:
            RefusalError: the dashboard's packages are not installed, or the port is in use, or none is free.
        """
        looks_at = {LOG_ENV: "" if log is None else str(log.resolve())}
        if past is not None:
            looks_at[PAST_ENV] = str(past.resolve())
        for name, path in ((BENCH_ENV, bench), (RUN_ENV, run)):
            if path is not None:
                looks_at[name] = str(path.resolve())
        super().__init__("bench.py", looks_at, port, without, reach)


class BenchesPage(PageServer):
    """The page of many benches, looking at the list that is kept in a folder."""

    def __init__(
        self,
        folder: Path,
        port: int | None = None,
        without: Collection[str] = (),
        reach: Reach = THIS_MACHINE,
    ) -> None:
        """Start it; `without` as for the dashboard.

        Raises:
            RefusalError: the dashboard's packages are not installed, or the port is in use, or none is free.
        """
        super().__init__("benches.py", {BENCHES_ENV: str(folder.resolve())}, port, without, reach)
