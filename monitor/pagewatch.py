"""Looks after the page's process beside a run: says when it has ended by itself or hangs, and starts it again.

Promise: the run goes on whatever the page does; each end of the page is said, until it ends so often that saying it
again would serve nobody; a page that is gone is tried again for as long as the run is watched. One that leaves some
questions in a row unanswered is ended, and is gone then. Questions are counted and not seconds: a monitor that was
itself held up has asked nothing meanwhile. A browser says much sooner that its page stands still.
"""

from __future__ import annotations

import asyncio
import signal
import time
from collections.abc import Callable
from typing import Protocol

LOOK_S = 1.0
WAITS_S = (0.0, 5.0, 20.0, 60.0)  # before it is started again, by how often it has ended in a row
WELL_S = 120.0  # a page that lived so long has got over it
ASK_S = 5.0  # between two questions whether it answers
ANSWER_S = 5.0  # a page takes milliseconds
UNANSWERED, UNANSWERED_AT_START = 3, 15  # in a row: it hangs; a small computer takes half a minute to start it


class Server(Protocol):
    """A page's process; see `monitor.edges.page.PageServer`."""

    @property
    def url(self) -> str:
        """Where the page is."""

    def ended(self) -> int | None:
        """The exit status of a process that has ended, negative for a signal; None while it lives."""

    def start_again(self) -> None:
        """Start it anew where it was. Raises OSError."""

    async def answers(self, within_s: float) -> bool:
        """Whether it answers within so many seconds."""

    def kill(self) -> None:
        """End a process that hangs."""


class PageWatch:
    """The state of looking after one page."""

    def __init__(self, page: Server) -> None:
        self._page = page
        self._ends = 0  # in a row
        self._again_s: float | None = None  # when to start it, once it has ended
        self._began_s = 0.0
        self._unanswered_left = UNANSWERED_AT_START  # before it counts as hung
        self._hung = False

    def hear(self, *, answered: bool) -> None:
        """Take what became of a question; end a page that hangs."""
        self._unanswered_left = UNANSWERED if answered else self._unanswered_left - 1
        if self._unanswered_left <= 0 and self._page.ended() is None:
            self._hung = True
            self._page.kill()

    def look(self, now_s: float) -> str | None:
        """Look at the page at a moment of any steady clock; gives what there is to be said of it."""
        status = self._page.ended()
        if status is None:
            if now_s - self._began_s >= WELL_S:
                self._ends = 0
            return None
        words = None
        if self._again_s is None:
            wait_s = WAITS_S[min(self._ends, len(WAITS_S) - 1)]
            self._ends += 1
            self._again_s = now_s + wait_s
            words = self._words(status, wait_s)
        if now_s >= self._again_s:
            self._again_s, self._began_s = None, now_s
            self._unanswered_left, self._hung = UNANSWERED_AT_START, False
            try:
                self._page.start_again()
            except OSError as why:  # it counts as ended again at the next look
                words = words or f"the page cannot be started: {why.strerror or why}"
        return words

    def _words(self, status: int, wait_s: float) -> str | None:
        if self._ends > len(WAITS_S):
            return None
        when = f" in {wait_s:g} s" if wait_s else ""
        last = ", and so on each time without another word" if self._ends == len(WAITS_S) else ""
        by_itself = f"ended by itself ({status_words(status)})"
        how = "hung (it answered no more) and was ended" if self._hung else by_itself
        return f"the page {how}; it is started again{when} at {self._page.url}{last}"


def status_words(status: int) -> str:
    """An exit status in words."""
    if status >= 0:
        return f"exit status {status}"
    try:
        return f"killed by {signal.Signals(-status).name}"
    except ValueError:
        return f"killed by signal {-status}"


async def keep_page(page: Server, tell: Callable[[str], object]) -> None:
    """Look after the page until cancelled; `tell` hears what there is to be said."""
    watch, asked_s = PageWatch(page), time.monotonic()
    while True:
        words = watch.look(time.monotonic())
        if words is not None:
            tell(words)
        await asyncio.sleep(LOOK_S)
        if time.monotonic() - asked_s >= ASK_S:
            asked_s = time.monotonic()
            watch.hear(answered=await page.answers(ANSWER_S))
