"""The outlet to people: keeps the messenger's process beside the run and tells it, each second, which alarms stand.

Promise: nothing that a message service does can hold up the bench or end the run. The messenger lives in a process
of its own, so that it can tell when the monitor is gone; one that dies or hangs is started anew, and that messages
do not go out is told. What is sent is always the newest that is so, so nothing has to be kept.
"""

from __future__ import annotations

import contextlib
import subprocess
import sys
import threading
import time
from collections.abc import Callable

from monitor.core.events import Event, Overview
from monitor.errors import RefusalError
from monitor.messenger import wire
from monitor.terms import NotifyTerms, Route

START_S = 20.0  # for the messenger to say that it understands its URLs
HUNG_S = 30.0  # it says that it is there every 5 s
RESTART_S = 5.0
GOODBYE_S = 3.0  # for the last message; the messenger goes on trying by itself


class Notify:
    """An outlet of the service. `on_trouble(failing, text)` is called in threads of this outlet's own."""

    def __init__(
        self, bench: str, title: str, route: Route, terms: NotifyTerms, on_trouble: Callable[[bool, str], None]
    ) -> None:
        """Start the messenger and wait until it understands its URLs.

        Raises:
            RefusalError: Apprise is not installed, the URLs are missing or not understood, or it does not start.
        """
        self._command = [sys.executable, "-m", "monitor.messenger", bench, title, route]
        self._command += [terms.urls_env, terms.lowest, repr(terms.repeat_s)]
        self._on_trouble = on_trouble
        self._newest: Overview | None = None
        self._news = threading.Event()
        self._ended: str | None = None
        self._closing = False
        self._failing = ""  # the trouble that was told last
        self._process = self._start()
        self._writer = threading.Thread(target=self._write, name="to the messenger", daemon=True)
        self._writer.start()

    def __call__(self, events: list[Event]) -> None:
        """Take events, in the bench's thread; never waits."""
        for e in events:
            if isinstance(e, Overview):
                self._newest = e
                self._news.set()
                if time.monotonic() - self._alive_s > HUNG_S:
                    self._process.kill()  # the writer sees it die, even if it waits for it now

    def goodbye(self, text: str) -> None:
        """Have it told that a person ended the watching; without this, `close` is an end that nobody wanted."""
        self._ended = text

    def close(self) -> None:
        """Let the messenger go; it says what is left to say by itself."""
        self._closing = True
        self._news.set()
        self._writer.join(GOODBYE_S)
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(GOODBYE_S)

    def _start(self) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(
            self._command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=True,  # a Ctrl-C is for the run, which says goodbye itself
        )
        self._alive_s = time.monotonic() + START_S
        ready = threading.Event()
        refusal: list[str] = []
        threading.Thread(
            target=self._read, args=(process, ready, refusal), name="from the messenger", daemon=True
        ).start()
        if not ready.wait(START_S) or refusal:
            process.kill()
            assert process.stdin is not None
            process.stdin.close()
            process.wait()
            raise RefusalError(refusal[0] if refusal else f"the messenger did not start within {START_S:g} s")
        return process

    def _read(self, process: subprocess.Popen[bytes], ready: threading.Event, refusal: list[str]) -> None:
        assert process.stdout is not None
        with process.stdout as lines:
            for line in lines:
                said = wire.parse(line)
                if not ready.is_set():
                    if "failing" in said:
                        refusal.append(str(said["text"]))
                    ready.set()
                elif "failing" in said:
                    self._tell(str(said["text"]) if said["failing"] else "", str(said["text"]))
                self._alive_s = time.monotonic()
        if not ready.is_set():
            refusal.append("the messenger ended as it started")
            ready.set()

    def _write(self) -> None:
        while True:
            self._news.wait()
            self._news.clear()
            pipe, newest = self._process.stdin, self._newest
            assert pipe is not None
            try:
                if newest is not None:
                    pipe.write(wire.scene_line(newest))
                if self._closing and self._ended is not None:
                    pipe.write(wire.ended_line(self._ended))
                pipe.flush()
                if self._closing:
                    pipe.close()
                    return
            except OSError:
                with contextlib.suppress(OSError):
                    pipe.close()
                if self._closing:
                    return
                self._process.wait()
                self._start_anew()

    def _start_anew(self) -> None:
        self._tell("the messenger ended", "the messenger ended and is started anew")
        while not self._closing:
            try:
                self._process = self._start()
            except (RefusalError, OSError) as why:
                self._tell(str(why), f"the messenger cannot be started: {why}")
                time.sleep(RESTART_S)
            else:
                self._tell("", "the messenger was started anew")
                return

    def _tell(self, trouble: str, text: str) -> None:
        if trouble != self._failing:
            self._failing = trouble
            self._on_trouble(bool(trouble), text)
