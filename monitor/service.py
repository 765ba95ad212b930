"""One live run, wired together: the only module that knows every part.

The bench runs in a thread of its own that does nothing but read the line, call the bench and answer the line: no
broker, disk or page can delay the permit. A task group holds that thread and the outlets; a bug anywhere ends them
all, and the board, hearing no keep-alive, takes the permit away.
"""

from __future__ import annotations

import asyncio
import queue
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Coroutine
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from monitor import __version__, replay
from monitor.core.bench import Bench
from monitor.core.events import Event, Instant, Request, Send
from monitor.core.requests import ASKED_BY_PEOPLE, BadRequestError, make_request
from monitor.edges import runlog
from monitor.edges.disk import room_for_record
from monitor.edges.inbox import STALE_S, Inbox
from monitor.edges.logreader import LogReader
from monitor.edges.mqtt import Mqtt
from monitor.edges.mqtt_broker import Broker
from monitor.edges.mqtt_requests import Ask
from monitor.edges.notify import Notify
from monitor.edges.port import Port
from monitor.errors import LogError, PortError, RefusalError
from monitor.terms import BenchTerms, RunTerms

READ_S = 0.1  # the longest wait for bytes; time passes in the bench at least this often
REOPEN_S = 0.5  # between tries to open a line that is gone
INBOX_S = 0.2
REQUESTS_MAX = 200  # waiting for the bench; more are refused, since nobody asks so much so fast
SHELL_MAX = 50  # more beside these for the shell's own word, which must not be lost for people's requests
TURNED_AWAY_MAX = 200  # of those that found no room, so many are answered one by one; the rest are counted
AWAY_MAX_S = 3 * 86_400.0  # all time away passes in the run; a clock set wrong by years must not be waited through
MISSED_PIECE_S = 60.0
RUN_ENDED = "The run was ended by a person."
WATCHING_ENDED = "The watching was ended by a person, or with the computer. The run is open; nobody watches."
SWITCH_S = 0.0005  # threads hand over this fast, so that a busy log writer cannot hold up the permit

Opener = Callable[[], Port]
Outlet = Callable[[list[Event]], None]
Task = Callable[[], Coroutine[Any, Any, None]]


class Clock:
    """The shell's clock: run seconds and UTC. `speed` makes both run faster, for a simulated bench."""

    def __init__(self, start_mono_s: float = 0.0, speed: float = 1.0) -> None:
        self._start_s, self._speed = start_mono_s, speed
        self.begin()

    def begin(self) -> None:
        """Let the run's time begin to pass now: what was made ready before does not count."""
        self._zero_s, self._utc_s = time.monotonic(), time.time()

    def now(self) -> Instant:
        """This moment."""
        passed_s = (time.monotonic() - self._zero_s) * self._speed
        utc_s = time.time() if self._speed == 1.0 else self._utc_s + passed_s
        return Instant(self._start_s + passed_s, utc_s)


class Run:
    """A run log and its bench, new or taken up again; `inputs` is how many were in the log when it was."""

    def __init__(self, path: Path, bench: Bench, clock: Clock, taken_up: bool, inputs: int = 0) -> None:
        self.path, self.bench, self.clock, self.taken_up, self.inputs = path, bench, clock, taken_up, inputs


def begin(path: Path, bench: BenchTerms, bench_toml: str, run: RunTerms, run_toml: str, speed: float = 1.0) -> Run:
    """Begin a run in a new log, or take up the unfinished one that is there.

    Raises:
        LogError: the log is of another run, is closed, or cannot be made or read.
    """
    if path.exists():
        return _take_up(path, bench, bench_toml, run, run_toml, speed)
    clock = Clock(speed=speed)
    start = clock.now()._replace(mono_s=0.0)
    header = {
        "bench_toml": bench_toml,
        "run_toml": run_toml,
        "bench_name": bench.name,
        "title": run.title,
        "made_by": f"so2bench {__version__}",
        "start_mono_s": repr(start.mono_s),
        "start_utc_s": repr(start.utc_s),
    }
    runlog.create(path, header)
    return Run(path, Bench(bench, run, start), clock, False)


def _take_up(path: Path, bench: BenchTerms, bench_toml: str, run: RunTerms, run_toml: str, speed: float) -> Run:
    reader = LogReader(path)
    inputs, header = reader.count_inputs(), reader.header()
    if header.closed:
        raise LogError(f"{path} holds a run that is closed: choose a new name")
    if (header.bench_toml, header.run_toml) != (bench_toml, run_toml):
        raise LogError(
            f"{path} holds a run with other settings: choose a new name, or give the files that it was begun with"
        )
    live, _ = replay.replay_log(path, bench, run)
    away_s = max(0.0, time.time() - header.last.utc_s) if speed == 1.0 else 0.0
    if away_s > AWAY_MAX_S:
        raise LogError(
            f"{path} holds a run last watched {away_s / 86_400.0:.1f} days ago by this computer's clock: "
            "is the clock right? If it is, choose a new name"
        )
    return Run(path, live, Clock(header.last.mono_s + away_s, speed), True, inputs)


class Service:
    """Runs one run until it is stopped.

    `outlets` hear every list of events, in the bench's thread, and must not wait.
    """

    def __init__(
        self,
        run: Run,
        opener: Opener,
        outlets: tuple[Outlet, ...] = (),
        port: Port | None = None,
        broker: Broker | None = None,
        *,
        needs_check: bool = False,
    ) -> None:
        """Make ready; `port` is the line if it is open already, `broker` where state and alarms go.

        With `needs_check` a new run's first permit waits for the check before the run.

        Raises:
            RefusalError: another so2bench holds the log or has only now let go of it, its inbox cannot be made, or
                messages to people are wanted and cannot be sent.
        """
        self._run, self._opener = run, opener
        self._mqtt = None if broker is None else self._broker_outlet(run.bench, broker)
        self._bench, self._clock = run.bench, run.clock
        self._port = port
        self._needs_check = needs_check
        self._requests: queue.Queue[Request] = queue.Queue(REQUESTS_MAX + SHELL_MAX)
        self._turned_away: deque[str] = deque(maxlen=TURNED_AWAY_MAX)
        self._turned_away_all = self._turned_away_told = 0
        self._log = runlog.LogWriter(run.path, self._log_trouble)
        try:
            if LogReader(run.path).count_inputs() != run.inputs:
                raise LogError(f"{run.path} was still written to while it was read again: that has ended, start anew")
            self._inbox = Inbox(run.path)
        except LogError:
            self._log.close()
            raise
        try:
            self._notify = self._messages()
        except RefusalError:
            self._inbox.close()
            self._log.close()
            raise
        self._outlets: tuple[Outlet, ...] = (*outlets, *(o for o in (self._mqtt, self._notify) if o is not None))
        self._stop = threading.Event()
        self._said = ""  # the newest word about the port, so that each is said once
        self._next_open_s = 0.0

    def _broker_outlet(self, live: Bench, broker: Broker) -> Mqtt:
        bench, route = live.bench, live.run.route
        on_ask = self._admit_from_afar if bench.mqtt is not None and bench.mqtt.acknowledge else None
        return Mqtt(bench.name, route, broker, self._broker_trouble, on_ask=on_ask)

    def _messages(self) -> Notify | None:
        bench, run = self._bench.bench, self._bench.run
        if bench.notify is None:
            return None
        return Notify(bench.name, run.title, run.route, bench.notify, self._messages_trouble)

    def stop(self) -> None:
        """End watching soon; the run stays open and can be taken up again. Safe from any thread or signal."""
        self._stop.set()
        self._log.wait_no_longer()

    @property
    def now(self) -> Instant:
        """This moment by the run's clock."""
        return self._clock.now()

    def ask(self, request: Request) -> bool:
        """Put a request before the bench; False when too many are waiting."""
        try:
            self._requests.put_nowait(request)
        except queue.Full:
            return False
        return True

    async def watch(self, *tasks: Task) -> None:
        """Watch until stopped. A failure of any part ends all of them and is raised."""
        sys.setswitchinterval(SWITCH_S)
        try:
            async with asyncio.TaskGroup() as group:
                others = [group.create_task(self._drain_inbox(), name="inbox")]
                if self._mqtt is not None:
                    others.append(group.create_task(self._mqtt.run(), name="mqtt"))
                others += [group.create_task(task()) for task in tasks]
                try:
                    await asyncio.to_thread(self._bench_loop)
                    if self._notify is not None:
                        self._notify.goodbye(RUN_ENDED if self._bench.stopped else WATCHING_ENDED)
                finally:
                    self.stop()
                    for other in others:
                        other.cancel()
        finally:
            self.stop()
            with ExitStack() as last:  # each is closed, whatever becomes of the one before it
                if self._notify is not None:
                    last.callback(self._notify.close)
                last.callback(self._log.close)
                last.callback(self._inbox.close)

    async def _drain_inbox(self) -> None:
        while True:
            await asyncio.sleep(INBOX_S)
            for asked in self._inbox.take():
                self._admit(asked.request_id, asked.asked_utc_s, asked.kind, asked.who, dict(asked.args))

    def _admit(self, request_id: str, asked_utc_s: float, kind: str, who: str, args: dict[str, object]) -> None:
        """Let a request from outside in, or have the record say why not."""
        try:
            if kind not in ASKED_BY_PEOPLE:
                raise BadRequestError(f"request '{kind[:40]}' is not one that may be asked")
            if not abs(time.time() - asked_utc_s) <= STALE_S:
                raise BadRequestError(f"request '{kind}' is older than {STALE_S:g} s and was not carried out")
            request = make_request(kind, who, args, request_id)
        except BadRequestError as why:
            request = make_request("refuse", "so2bench", {"text": str(why)[:500]}, request_id)
        if self._requests.qsize() >= REQUESTS_MAX or not self.ask(request):
            self._turned_away.append(request_id)
            self._turned_away_all += 1

    def _admit_from_afar(self, ask: Ask) -> None:
        self._admit(ask.request_id, ask.asked_utc_s, ask.kind, ask.who, ask.args)

    def _log_trouble(self, failing: bool, text: str) -> None:
        self.ask(make_request("log", "so2bench", {"failing": failing, "text": text[:500]}))

    def _broker_trouble(self, failing: bool, text: str) -> None:
        self.ask(make_request("outlet", "so2bench", {"tag": "BROKER-LOST", "failing": failing, "text": text[:500]}))

    def _messages_trouble(self, failing: bool, text: str) -> None:
        self.ask(make_request("outlet", "so2bench", {"tag": "NOTIFY-FAILED", "failing": failing, "text": text[:500]}))

    # --- in the bench's thread --------------------------------------------------------------------------------

    def _bench_loop(self) -> None:
        bench, clock = self._bench, self._clock
        if not self._run.taken_up:
            clock.begin()
        try:
            if self._run.taken_up:
                self._let_pass_what_was_missed()
                self._tell("note", text="watching was taken up again")
            elif self._needs_check:
                self._tell("checklist")
            if self._needs_check:
                ok, words = room_for_record(self._run.path)
                self._tell("seen", item="disk", ok=ok, text=words)
            if self._port is not None:
                self._tell("port", open=True, text="the line to the board is open")
            while not (self._stop.is_set() or bench.stopped):
                data = self._read()
                at = clock.now()
                self._dispatch(bench.receive(data, at) if data else bench.tick(at))
                while not self._requests.empty():
                    self._dispatch(bench.command(self._requests.get_nowait(), clock.now()))
                self._refuse_the_turned_away()
            if not bench.stopped:
                self._tell("permit", on=False)
                self._tell("note", text="watching ended; the run is still open")
        finally:
            if self._port is not None:
                self._port.close()

    def _let_pass_what_was_missed(self) -> None:
        """Hours may have gone by unwatched: let them pass in pieces, so that their events are never all in memory."""
        while not self._stop.is_set() and self._clock.now().mono_s - self._bench.now.mono_s > MISSED_PIECE_S:
            at = self._bench.now
            self._dispatch(self._bench.tick(Instant(at.mono_s + MISSED_PIECE_S, at.utc_s + MISSED_PIECE_S)))

    def _refuse_the_turned_away(self) -> None:
        """Answer the requests that found no room, now that there is some."""
        turned_away = self._turned_away_all  # before those that may come meanwhile
        while self._turned_away:
            text = f"{REQUESTS_MAX} requests were waiting already: ask again"
            request = make_request("refuse", "so2bench", {"text": text}, self._turned_away.popleft())
            self._dispatch(self._bench.command(request, self._clock.now()))
            self._turned_away_told += 1
        unanswered = turned_away - self._turned_away_told
        if unanswered > 0:
            self._turned_away_told += unanswered
            self._tell("note", text=f"{unanswered} more requests found no room and were not carried out")

    def _tell(self, kind: str, **args: object) -> None:
        self._dispatch(self._bench.command(make_request(kind, "so2bench", args), self._clock.now()))

    def _read(self) -> bytes:
        if self._port is None:
            now_s = time.monotonic()
            if now_s < self._next_open_s:
                time.sleep(READ_S)
                return b""
            self._next_open_s = now_s + REOPEN_S
            try:
                self._port = self._opener()
            except PortError as why:
                self._port_lost(why)
                return b""
            self._said = ""
            self._tell("port", open=True, text="the line to the board is open")
        try:
            return self._port.read(READ_S)
        except PortError as why:
            self._port_lost(why)
            return b""

    def _port_lost(self, why: PortError) -> None:
        if self._port is not None:
            self._port.close()
            self._port = None
        if str(why) != self._said:
            self._said = str(why)
            self._tell("port", open=False, text=str(why)[:500])

    def _dispatch(self, events: list[Event]) -> None:
        """Answer the board first, then tell everybody else, who never wait, then record."""
        if not events:
            return
        sends = b"".join([e.data for e in events if isinstance(e, Send)])
        lost: PortError | None = None
        if sends and self._port is not None:
            try:
                self._port.write(sends)
            except PortError as why:
                lost = why
        try:
            for outlet in self._outlets:
                outlet(events)
        finally:
            # Last, since waking the log's writer makes it vie with those who have to tell people; lost it is never.
            self._log.write(events, self._bench.now)
        if lost is not None:
            self._port_lost(lost)
