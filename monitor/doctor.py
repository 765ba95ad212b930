"""`so2bench doctor`: looks over a set-up from the files to the broker, and says what is wrong and what helps.

Promise: it changes nothing, gives no permit and sends no message to people. What cannot be looked at, because what it
stands on is wrong, is said to be so and not passed over.
"""

from __future__ import annotations

import asyncio
import platform
import sqlite3
import sys
import time
from collections.abc import Callable, Iterator
from enum import Enum
from importlib.util import find_spec
from pathlib import Path
from typing import NamedTuple

from monitor.edges.disk import room_for_record
from monitor.edges.mqtt_broker import Broker, broker_of
from monitor.edges.mqtt_link import BrokerError, connect
from monitor.edges.mqtt_payloads import Message
from monitor.edges.page import free_port
from monitor.edges.port import SerialPort
from monitor.errors import RefusalError
from monitor.heard import seconds_between
from monitor.listening import Listener
from monitor.settings import load_bench, load_run
from monitor.terms import BenchTerms

LISTEN_S = 3.0
RATE_PER_S = (9.0, 11.0)  # ten samples a second (protocol)
ANSWER_S = 5.0
SQLITE_LEAST = (3, 37, 0)  # STRICT tables
CLOCK_LEAST_UTC_S = 1.79e9  # 2026-09-21: no clock that is right shows less
PATHS_ON_A_NETWORK = ("nfs", "nfs4", "cifs", "smb3", "9p", "fuse.sshfs")


class Verdict(Enum):
    """What was found."""

    GOOD = "good"
    WRONG = "WRONG"
    UNSEEN = "not looked at"


class Finding(NamedTuple):
    """One thing that was looked at, and in words what is so and what helps."""

    what: str
    verdict: Verdict
    words: str


def examine(bench_path: Path, run_path: Path | None, port: str | None, folder: Path) -> Iterator[Finding]:
    """Look at everything, in the order in which one stands on the other. `folder` is where run logs go."""
    yield from _program()
    bench = None
    try:
        bench, _ = load_bench(bench_path)
        yield Finding("apparatus", Verdict.GOOD, f"{bench_path} can be read; the bench is called {bench.name}")
    except RefusalError as why:
        yield Finding("apparatus", Verdict.WRONG, str(why))
    if run_path is not None:
        yield _tried("run", lambda: _run(run_path))
    yield from _record(folder)
    yield _clock(time.time())
    for what, look in (("board", _board), ("broker", _broker), ("messages", _messages)):
        if bench is None:
            yield Finding(what, Verdict.UNSEEN, "the apparatus comes first")
        else:
            yield _tried(what, lambda look=look, bench=bench: look(bench, port))  # type: ignore[misc]
    yield _tried("page", _page)


def _tried(what: str, look: Callable[[], str]) -> Finding:
    """Looking gives words, or refuses with what is wrong."""
    try:
        return Finding(what, Verdict.GOOD, look())
    except RefusalError as why:
        return Finding(what, Verdict.WRONG, str(why))


def _program() -> Iterator[Finding]:
    found = f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}"
    good = sqlite3.sqlite_version_info >= SQLITE_LEAST
    wanted = "" if good else "; wanted SQLite 3.37 or newer, which comes with Python"
    yield Finding("program", Verdict.GOOD if good else Verdict.WRONG, found + wanted)


def _run(path: Path) -> str:
    run, _ = load_run(path)
    return f"{path} can be read: {run.route}, metered by {run.meter}"


def _record(folder: Path) -> Iterator[Finding]:
    room, words = room_for_record(folder / "record")
    kind = _file_system(folder)
    if kind in PATHS_ON_A_NETWORK:
        yield Finding(
            "record", Verdict.WRONG, f"{folder} is on a network ({kind}): keep run logs on a disk of this machine"
        )
        return
    try:
        probe = folder / ".so2bench-doctor"
        probe.touch()
        probe.unlink()
    except OSError as why:
        yield Finding("record", Verdict.WRONG, f"nothing can be written in {folder}: {why.strerror or why}")
        return
    yield Finding("record", Verdict.GOOD if room else Verdict.WRONG, f"{folder}: {words}")


def _file_system(folder: Path) -> str:
    """The kind of file system that holds it, where the system tells (Linux); else nothing."""
    try:
        mounts = Path("/proc/self/mounts").read_text("utf-8", "replace").splitlines()
    except OSError:
        return ""
    place, best = str(folder.resolve()), ("", "")
    for line in mounts:
        _, point, kind, *_ = line.split(" ")
        if (place == point or place.startswith(point.rstrip("/") + "/")) and len(point) >= len(best[0]):
            best = (point, kind)
    return best[1]


def _clock(utc_s: float) -> Finding:
    shown = time.strftime("%Y-%m-%d %H:%M:%S UTC", time.gmtime(utc_s))
    if utc_s < CLOCK_LEAST_UTC_S:
        return Finding("clock", Verdict.WRONG, f"it shows {shown}, which is long past: set it")
    return Finding("clock", Verdict.GOOD, f"it shows {shown}: compare it with another")


def _board(bench: BenchTerms, port: str | None) -> str:
    path = port or bench.port.path
    with Listener(SerialPort(path, bench.port.baud)) as board:
        samples = board.stretch(LISTEN_S)
        first, last = samples[0], samples[-1]
    rate = (len(samples) - 1) / max(1e-3, seconds_between(first, last))
    if not RATE_PER_S[0] <= rate <= RATE_PER_S[1]:
        raise RefusalError(
            f"{path}: {rate:.1f} samples a second, wanted 10: lines are lost, or it is another firmware"
        )
    return f"{path} answers, {rate:.1f} samples a second, boot {last.boot}; 'so2bench check' looks at its sensors"


def _broker(bench: BenchTerms, _port: str | None) -> str:
    if bench.mqtt is None:
        return "none is wanted: bench.toml has no [mqtt]"
    broker = broker_of(bench.mqtt)
    try:
        asyncio.run(_write_once(broker, bench.name))
    except BrokerError as why:
        raise RefusalError(str(why)) from None
    return f"{broker.at} lets this bench in and takes its messages"


async def _write_once(broker: Broker, bench: str) -> None:
    """Under a name of its own, so that a monitor that is connected is not thrown out."""
    word = Message(f"so2bench/{bench}/doctor", b"{}", 1, False, 1)
    async with connect(broker, f"so2bench-{bench}-doctor", word, 15, ANSWER_S) as connection:
        await connection.say_goodbye(word)


def _messages(bench: BenchTerms, _port: str | None) -> str:
    if bench.notify is None:
        return "none are wanted: bench.toml has no [notify]"
    from monitor.messenger.targets import targets_of

    targets = targets_of(bench.notify.urls_env)
    names = ", ".join(target.name for target in targets)
    return f"{names}: the URLs are understood; 'so2bench try-message' shows whether messages arrive"


def _page() -> str:
    if find_spec("streamlit") is None or find_spec("altair") is None:
        raise RefusalError("the page's packages are not installed: pip install '.[dashboard]', or --no-dashboard")
    return f"its packages are there, and port {free_port()} is free"


def doctor(bench: Path, run: Path | None, port: str | None, folder: Path) -> None:
    """Look at everything and print what is found.

    Raises:
        RefusalError: something is wrong.
    """
    wrong = []
    for finding in examine(bench, run, port, folder):
        first, *rest = finding.words.splitlines()
        print(f"{finding.verdict.value:<14}{finding.what + ':':<11}{first}", flush=True)
        for line in rest:
            print(f"{'':25}{line}")
        if finding.verdict is not Verdict.GOOD:
            wrong.append(finding.what)
    if wrong:
        raise RefusalError(f"not as it should be: {', '.join(wrong)}")
    print(f"Nothing wrong was found, by {sys.executable}.")
