"""`so2bench check`: the check before a run at the terminal, for a bench that is not being watched yet.

The list and its judgement are the live run's own (`monitor.core.ready`), asked of a bench that hears a few seconds of
the board. Nothing is recorded here: the live run asks for the check again, in its record.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from monitor.core.bench import Bench
from monitor.core.events import Answered, CheckLine, Instant
from monitor.core.frames import IO_CONTACT, SampleFrame
from monitor.core.ready import FAILED, PASSED, WAIVED
from monitor.core.requests import make_request
from monitor.core.stopping import STOP
from monitor.edges.disk import room_for_record
from monitor.edges.port import SerialPort
from monitor.errors import PortError, RefusalError
from monitor.heard import seconds_between
from monitor.listening import Listener
from monitor.settings import load_bench, load_run
from monitor.terms import BenchTerms, Route, RunTerms

Ask = Callable[[str], str]
LISTEN_S = 4.0
RELAY_S = 2.0  # a keep-alive goes out every half second, a relay takes a few hundredths
GATE_DROPS = 10


def check(a: argparse.Namespace) -> None:
    """Go through the list with the person; refuse if anything is left failed or undone."""
    bench, _ = load_bench(a.bench)
    run, _ = load_run(a.run)
    found = _Checked(bench, run)
    try:
        try:
            with Listener(SerialPort(a.port or bench.port.path, bench.port.baud)) as board:
                _ask_the_board(board, found, a, input)
        except PortError as why:
            found.tell("board", False, str(why))
        ask_the_person(found, input)
    except EOFError as why:
        raise RefusalError("nobody answers: the check needs a person at the terminal") from why
    left = [line.item for line in found.lines() if line.outcome not in (PASSED, WAIVED)]
    if left:
        raise RefusalError(f"not ready: {', '.join(left)}")
    print("Ready. The live run asks for this check once more, in its record.")


class _Checked:
    """A bench that wants the check, and the bytes that it has heard."""

    def __init__(self, bench: BenchTerms, run: RunTerms) -> None:
        self._began_s, self.terms, self.route = time.monotonic(), bench, run.route
        self._bench = Bench(bench, run, Instant(0.0, time.time()))
        self._ask("checklist", {})
        ok, words = room_for_record(Path.cwd() / "record")
        self.tell("disk", ok, words)

    def hear(self, taken: list[tuple[float, bytes]]) -> None:
        """Take what the board has sent."""
        for mono_s, data in taken:
            self._bench.receive(data, self._at(mono_s))

    def tell(self, item: str, ok: bool, text: str) -> None:
        """What was tried here and not seen in a sample."""
        self._ask("seen", {"item": item, "ok": ok, "text": text[:500]})

    def mark(self, item: str, outcome: str, reason: str) -> str:
        """The person's mark; gives what is wrong with it, or nothing."""
        answer = self._ask("check", {"item": item, "outcome": outcome, "reason": reason[:500]})
        return "" if answer.accepted else answer.text

    def lines(self) -> tuple[CheckLine, ...]:
        """The list now."""
        return self._bench.overview().checks

    def _ask(self, kind: str, args: dict[str, object]) -> Answered:
        got = self._bench.command(make_request(kind, "the person here", args), self._at(time.monotonic()))
        return next(e for e in got if isinstance(e, Answered))

    def _at(self, mono_s: float) -> Instant:
        return Instant(max(0.0, mono_s - self._began_s), time.time())


def _ask_the_board(board: Listener, found: _Checked, a: argparse.Namespace, ask: Ask) -> None:
    try:
        print(f"Listening to the board for {LISTEN_S:g} s.")
        board.stretch(LISTEN_S)
    except PortError:
        raise
    except RefusalError as why:
        found.tell("board", False, str(why))
        return
    found.hear(board.taken())
    if a.relay:
        found.tell("relay", *_try_relay(board, found.terms, found.route, ask))
    if a.gate:
        found.tell("gate", *_try_gate(board, ask))
    found.hear(board.taken())
    for line in found.lines():
        if not line.by_person:
            show(line)


def _try_relay(board: Listener, bench: BenchTerms, route: Route, ask: Ask) -> tuple[bool, str]:
    stop = STOP[route]
    said = ask(f"The relay closes for a moment and feeds {stop.permit}. {stop.trial} 'yes' to try it: ")
    if said.strip().lower() != "yes":
        return False, "not tried"
    if _contact(board.newest()):
        return False, "its contact is closed though the permit is off"
    board.permit(True, bench)
    try:
        closed = _becomes(board, True)
    finally:
        board.permit(False)
    opened = _becomes(board, False)
    if not closed:
        return False, f"its contact did not close within {RELAY_S:g} s"
    return opened, "closed and opened" if opened else f"its contact did not open within {RELAY_S:g} s"


def _becomes(board: Listener, closed: bool) -> bool:
    first = seen = board.newest()
    while seconds_between(first, seen) < RELAY_S:
        seen = board.after(seen)
        if _contact(seen) == closed:
            return True
    return False


def _contact(frame: SampleFrame) -> bool:
    return bool(frame.io & IO_CONTACT)


def _try_gate(board: Listener, ask: Ask) -> tuple[bool, str]:
    before = board.newest()
    ask(f"Let {GATE_DROPS} drops of water fall through the gate from a pipette, into a beaker; then Enter: ")
    after = board.newest()
    seconds_between(before, after)  # refuses a board that started anew
    drops, rejects = after.drops - before.drops, (after.rejects - before.rejects) & 0xFFFF
    words = f"{drops} of {GATE_DROPS} drops seen, {rejects} edges rejected"
    return drops == GATE_DROPS, words


class Checklist(Protocol):
    """A list that a person goes through: asked here, or in the record of a run that is being watched."""

    def lines(self) -> tuple[CheckLine, ...]:
        """The list now."""

    def mark(self, item: str, outcome: str, reason: str) -> str:
        """The person's mark; gives what is wrong with it, or nothing."""


def ask_the_person(found: Checklist, ask: Ask) -> None:
    """Ask for each item that only a person sees, and whether one that the tool failed is waived."""
    for line in found.lines():
        if line.by_person and line.outcome not in (PASSED, WAIVED):
            _ask_one(found, line, "y passes, n fails", {"y": PASSED, "n": FAILED}, ask)
        elif not line.by_person and line.outcome not in (PASSED, WAIVED):
            _ask_one(found, line, "Enter leaves it", {"": ""}, ask)


def _ask_one(found: Checklist, line: CheckLine, choices: str, known: dict[str, str], ask: Ask) -> None:
    show(line)
    while True:
        said = ask(f"  {choices}, 'w REASON' waives: ").strip()
        word, _, reason = said.partition(" ")
        outcome = WAIVED if word == "w" else known.get(word.lower())
        if outcome is None:
            continue
        wrong = found.mark(line.item, outcome, reason) if outcome else ""
        if not wrong:
            return
        print(f"  {wrong}")


def show(line: CheckLine) -> None:
    """One item as it stands."""
    found = f": {line.reason}" if line.reason else ""
    print(f"  {line.outcome or '?':<7} {line.item}: {line.words}{found}")
