"""`so2bench check --log`: the check before a run at a terminal, in the record of the run that is being watched.

For a bench that is watched without a page. Each mark is put into the run's inbox under the person's name, as the page
does it, and counts only when the record has answered it.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Mapping
from pathlib import Path

from monitor.check import ask_the_person, show
from monitor.core.events import CheckLine
from monitor.core.ready import PASSED, WAIVED
from monitor.edges.inbox import put
from monitor.edges.logreader import LogReader
from monitor.errors import RefusalError

WAIT_S = 10.0  # the monitor looks every 0.2 s
POLL_S = 0.1


def check_live(a: argparse.Namespace) -> None:
    """Go through the watched run's list with the person, then offer to ask for the permit.

    Raises:
        RefusalError: nothing watches that log, it asks for no check, or something is left failed or undone.
    """
    run = _Watched(a.log, a.who)
    for line in run.lines():
        if not line.by_person:
            show(line)
    try:
        ask_the_person(run, input)
        left = [line.item for line in run.lines() if line.outcome not in (PASSED, WAIVED)]
        if left:
            raise RefusalError(f"not ready: {', '.join(left)}; what was said stands in the record")
        print("Ready, and so it stands in the record.")
        said = input("Ask for the permit for heat and drip now? 'yes' to ask: ")
    except EOFError as why:
        raise RefusalError("nobody answers: the check needs a person at the terminal") from why
    if said.strip().lower() == "yes":
        accepted, words = run.ask("permit", {"on": True})
        if not accepted:
            raise RefusalError(f"the permit was refused: {words}")
        print(f"permit: {words}")


class _Watched:
    """The list of a run that another process watches."""

    def __init__(self, log: Path, who: str) -> None:
        self._log, self._who, self._reader = log, who, LogReader(log)

    def lines(self) -> tuple[CheckLine, ...]:
        """The list as the record has it now."""
        overview = self._reader.overview()
        checks = () if overview is None else tuple(CheckLine(**line) for line in overview.get("checks", ()))
        if not checks:
            raise RefusalError(f"{self._log}: this run waits for no check: its permit was given, or it is closed")
        return checks

    def mark(self, item: str, outcome: str, reason: str) -> str:
        """The person's mark; gives what is wrong with it, or nothing once the list shows it."""
        accepted, words = self.ask("check", {"item": item, "outcome": outcome, "reason": reason})
        if not accepted:
            return words
        deadline_s = time.monotonic() + WAIT_S
        while not any(line.item == item and line.outcome == outcome for line in self.lines()):
            if time.monotonic() > deadline_s:
                raise RefusalError(f"{item}: answered, but the record's list does not show it")
            time.sleep(POLL_S)
        return ""

    def ask(self, kind: str, args: Mapping[str, object]) -> tuple[bool, str]:
        """Ask the run for something; gives whether it was accepted, and the words. Waits for the record's answer."""
        request_id = put(self._log, kind, self._who, args, time.time())
        deadline_s = time.monotonic() + WAIT_S
        while (got := self._reader.answer(request_id)) is None:
            if time.monotonic() > deadline_s:
                raise RefusalError(f"no answer for {WAIT_S:g} s: does anything watch {self._log}?")
            time.sleep(POLL_S)
        return got
