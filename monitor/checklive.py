"""`so2bench check --log`: the check before a run at a terminal, in the record of the run that is being watched.

For a bench that is watched without a page. Each mark is put into the run's inbox under the person's name, as the page
does it, and counts only when the record has answered it.
"""

from __future__ import annotations

import argparse
import time

from monitor.askrun import POLL_S, WAIT_S, Asker
from monitor.check import ask_the_person, show
from monitor.core.events import CheckLine
from monitor.core.ready import PASSED, WAIVED
from monitor.errors import RefusalError


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
        said = input("Ask for the permit now? 'yes' to ask: ")
    except EOFError as why:
        raise RefusalError("nobody answers: the check needs a person at the terminal") from why
    if said.strip().lower() == "yes":
        accepted, words = run.ask("permit", {"on": True})
        if not accepted:
            raise RefusalError(f"the permit was refused: {words}")
        print(f"permit: {words}")


class _Watched(Asker):
    """The list of a run that another process watches."""

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
