"""A real Mosquitto for tests, on this machine's loopback only, with what it takes to listen, cut and deafen it.

Everything here is started and stopped by the test that uses it: `with Broker(folder) as broker: ...`.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple, Self

import pytest

LOOPBACK = "127.0.0.1"
WAIT_S = 20.0  # for what must come; a test that waits this long has failed
_READY = "test/ready"


def tool(name: str) -> str:
    """Where a program of the Mosquitto packages is; skips the test when it is not installed."""
    found = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if found is None:
        pytest.skip(f"{name} is not installed (mosquitto, mosquitto-clients)")
    return found


def free_port() -> int:
    with socket.socket() as s:
        s.bind((LOOPBACK, 0))
        port: int = s.getsockname()[1]
        return port


def wait_until(true: Callable[[], bool], what: str, within_s: float = WAIT_S) -> None:
    """Wait for other processes and threads, for which no clock can be passed."""
    end_s = time.monotonic() + within_s
    while not true():
        if time.monotonic() > end_s:
            raise AssertionError(f"not within {within_s:g} s: {what}")
        time.sleep(0.005)


class Certificates(NamedTuple):
    """An authority and what it signed; all of two days' life."""

    authority: Path
    certificate: Path
    key: Path


def certify(folder: Path, name: str, host: str = LOOPBACK) -> Certificates:
    """Make an authority of its own for `name`, and a broker's certificate for `host` signed by it."""
    authority, authority_key = folder / f"{name}-authority.pem", folder / f"{name}-authority.key"
    certificate, key = folder / f"{name}.pem", folder / f"{name}.key"
    kind = "IP" if host[0].isdigit() else "DNS"
    new = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2"]
    root = ["-subj", f"/CN={name} authority", "-addext", "keyUsage=critical,keyCertSign,cRLSign"]
    leaf = ["-subj", "/CN=broker", "-addext", f"subjectAltName={kind}:{host}"]
    leaf += ["-addext", "basicConstraints=critical,CA:FALSE", "-CA", str(authority), "-CAkey", str(authority_key)]
    for more, out, out_key in ((root, authority, authority_key), (leaf, certificate, key)):
        subprocess.run([*new, *more, "-out", str(out), "-keyout", str(out_key)], check=True, capture_output=True)
    return Certificates(authority, certificate, key)


class Broker:
    """Mosquitto on a free port. `users` need passwords; `rules` is the text of an access list.

    With `keeps` it writes what it holds to its folder at every change. `more` are further lines of its settings, and
    with `certificates` they are read when it starts.
    """

    def __init__(
        self,
        folder: Path,
        *,
        certificates: Certificates | None = None,
        users: dict[str, str] | None = None,
        rules: str | None = None,
        keeps: bool = False,
    ) -> None:
        self.port = free_port()
        self.certificates = certificates
        self.more: list[str] = []
        self._folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self._lines = ["user root"]
        if keeps:
            self._lines += ["persistence true", f"persistence_location {folder}/", "autosave_interval 1"]
            self._lines.append("autosave_on_changes true")
        else:
            self._lines.append("persistence false")
        if users:
            (folder / "passwords").touch(mode=0o600)
            for user, password in users.items():
                self.set_password(user, password)
            self._lines += ["allow_anonymous false", f"password_file {folder / 'passwords'}"]
        else:
            self._lines.append("allow_anonymous true")
        if rules is not None:
            (folder / "rules").write_text(rules)
            self._lines.append(f"acl_file {folder / 'rules'}")
        self.process: subprocess.Popen[bytes] | None = None

    def set_password(self, user: str, password: str) -> None:
        """What this user must show from the broker's next start on."""
        command = [tool("mosquitto_passwd"), "-b", str(self._folder / "passwords"), user, password]
        subprocess.run(command, check=True)

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()

    @property
    def url(self) -> str:
        return f"mqtt://{LOOPBACK}:{self.port}"

    def start(self) -> None:
        tls = []
        if self.certificates is not None:
            tls = [f"certfile {self.certificates.certificate}", f"keyfile {self.certificates.key}"]
        lines = [f"listener {self.port} {LOOPBACK}", *tls, *self._lines, *self.more]
        (self._folder / "broker.conf").write_text("\n".join(lines) + "\n")
        command = [tool("mosquitto"), "-c", str(self._folder / "broker.conf")]
        with (self._folder / "broker.log").open("ab") as log:
            # It ignores the signal that a write beyond a limit sends, as this process does: a write then just fails.
            self.process = subprocess.Popen(command, stdout=log, stderr=log, restore_signals=False)
        wait_until(self._answers, "Mosquitto listens")

    def _answers(self) -> bool:
        assert self.process is not None
        assert self.process.poll() is None, (self._folder / "broker.log").read_text()
        with socket.socket() as s:
            return s.connect_ex((LOOPBACK, self.port)) == 0

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None

    def stop(self) -> None:
        """End it in good order."""
        if self.process is not None:
            self.process.terminate()
            self.process.wait()
            self.process = None

    def fill_disk(self, *, full: bool) -> None:
        """Let it write nothing more to any file, as on a full disk; or let it write again."""
        assert self.process is not None
        bytes_max = 0 if full else resource.RLIM_INFINITY
        resource.prlimit(self.process.pid, resource.RLIMIT_FSIZE, (bytes_max, resource.RLIM_INFINITY))

    def freeze(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGCONT)

    def allow(self, rules: str) -> None:
        """Change the access list while it runs (it reads it again on SIGHUP)."""
        (self._folder / "rules").write_text(rules)
        assert self.process is not None
        self.process.send_signal(signal.SIGHUP)

    @property
    def log(self) -> str:
        return (self._folder / "broker.log").read_text()


class Got(NamedTuple):
    """A message as a listener got it. `name` is the last part of the topic."""

    name: str
    said: dict[str, Any]
    qos: int
    retain: bool
    expiry_s: int | None
    content_type: str | None


def complete_and_in_order(alarms: list[Got], n: int) -> bool:
    """Whether the changes 1 to n are all there and none came before an earlier one; doubles are allowed."""
    seqs = [g.said["seq"] for g in alarms]
    return seqs == sorted(seqs) and set(seqs) == set(range(1, n + 1))


class Listener:
    """`mosquitto_sub` on every topic of the benches; ready when made, and reconnecting when its broker comes back."""

    def __init__(
        self,
        broker: Broker,
        user: str | None = None,
        password: str | None = None,
        authority: Path | None = None,
    ) -> None:
        sign_in = [] if user is None else ["-u", user, "-P", password or ""]
        tls = [] if authority is None else ["--cafile", str(authority)]
        where = ["-V", "5", "-h", LOOPBACK, "-p", str(broker.port), *sign_in, *tls]
        subprocess.run([tool("mosquitto_pub"), *where, "-t", _READY, "-r", "-m", "{}"], check=True)
        command = [tool("mosquitto_sub"), *where, "-q", "1", "-t", "so2bench/#", "-t", _READY, "-F", "%J"]
        command += ["-T", "so2bench/+/ask"]  # not said by a bench but to it, and possibly no JSON
        self._process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        self._got: list[Got] = []
        self._topics: set[str] = set()
        self._thread = threading.Thread(target=self._read, name="listener")
        self._thread.start()
        wait_until(lambda: _READY in self._topics, "the listener is subscribed")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.kill()
        self._process.wait()
        self._thread.join()
        assert self._process.stdout is not None
        self._process.stdout.close()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            m = json.loads(line)
            said = m["payload"] if isinstance(m["payload"], dict) else json.loads(m["payload"])
            extra = m.get("properties", {})
            if m["topic"] != _READY:
                name = m["topic"].rpartition("/")[2]
                expiry_s, kind = extra.get("message-expiry-interval"), extra.get("content-type")
                self._got.append(Got(name, said, m["qos"], bool(m["retain"]), expiry_s, kind))
            self._topics.add(m["topic"])

    @property
    def topics(self) -> set[str]:
        return self._topics - {_READY}

    def all(self, name: str) -> list[Got]:
        return [g for g in self._got if g.name == name]

    def wait(self, name: str, at_least: int = 1, within_s: float = WAIT_S) -> list[Got]:
        """Wait for that many messages on a topic."""
        wait_until(lambda: len(self.all(name)) >= at_least, f"{at_least} on {name}", within_s)
        return self.all(name)

    def wait_watched(self, why: str, within_s: float = WAIT_S) -> Got:
        """Wait until the newest word on whether the bench is watched is this one."""
        wait_until(
            lambda: bool(self.all("watched")) and self.all("watched")[-1].said["why"] == why,
            f"watched says {why}",
            within_s,
        )
        return self.all("watched")[-1]


class Relay:
    """Stands between a client and the broker. Cut, it drops and refuses; deaf, it loses the broker's answers.

    With `bytes_per_s` it lets no more through, each way.
    """

    def __init__(self, broker: Broker) -> None:
        self._broker = broker
        self.port = free_port()
        self.deaf = False
        self.bytes_per_s: float | None = None
        self._server: socket.socket | None = None
        self._pairs: list[socket.socket] = []
        self._threads: list[threading.Thread] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.cut()

    @property
    def url(self) -> str:
        return f"mqtt://{LOOPBACK}:{self.port}"

    def join(self) -> None:
        """Let connections through."""
        server = socket.socket()
        server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        server.bind((LOOPBACK, self.port))
        server.listen()
        self._server = server
        self._start(self._accept, server)

    def cut(self) -> None:
        """Drop every connection, and refuse new ones."""
        if self._server is not None:
            self._server.shutdown(socket.SHUT_RDWR)
            self._server.close()
            self._server = None
        for s in self._pairs:
            try:
                s.shutdown(socket.SHUT_RDWR)
            except OSError:
                continue
        for thread in self._threads:
            thread.join()
        for s in self._pairs:
            s.close()
        self._pairs, self._threads = [], []

    def _start(self, work: Callable[..., None], *args: object) -> None:
        thread = threading.Thread(target=work, args=args, name="relay")
        self._threads.append(thread)
        thread.start()

    def _accept(self, server: socket.socket) -> None:
        while True:
            try:
                near, _ = server.accept()
            except OSError:
                return
            try:
                far = socket.create_connection((LOOPBACK, self._broker.port))
            except OSError:
                near.close()
                continue
            self._pairs += [near, far]
            self._start(self._carry, near, far, False)
            self._start(self._carry, far, near, True)

    def _carry(self, source: socket.socket, sink: socket.socket, answers: bool) -> None:
        try:
            while data := source.recv(65536 if self.bytes_per_s is None else 64):
                if self.bytes_per_s is not None:
                    time.sleep(len(data) / self.bytes_per_s)
                if not (answers and self.deaf):
                    sink.sendall(data)
        except OSError:
            pass
        for s in (source, sink):
            try:
                s.shutdown(socket.SHUT_RDWR)
            except OSError:
                continue
