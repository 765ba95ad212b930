"""The check that the first permit waits for, from when the shell wants one until it has been passed.

Promise: a permit that is given has its check in the record, with what was waived; later permits of the run wait for
none. What the items are and when one is passed is in `ready`.
"""

from __future__ import annotations

from monitor.core.alarms import RefusedError
from monitor.core.events import CheckLine, Event, Noted, Reading, Request
from monitor.core.ready import NoSuchMarkError, ReadyList, Seen
from monitor.terms import BenchTerms, RunTerms


class FirstCheck:
    """Of one run. None is wanted until a request of kind "checklist" says so."""

    def __init__(self, bench: BenchTerms, run: RunTerms) -> None:
        self._bench, self._run = bench, run
        self._list: ReadyList | None = None

    def hear(self, gas: Reading) -> None:
        """Take a sample's gas reading."""
        if self._list is not None:
            self._list.hear(gas)

    @property
    def wanted(self) -> bool:
        """Whether the permit waits for it."""
        return self._list is not None

    def lines(self, seen: Seen) -> tuple[CheckLine, ...]:
        """The whole list as it stands; empty when none is wanted."""
        return () if self._list is None else self._list.lines(seen)

    def obey(self, r: Request, t_s: float, out: list[Event]) -> str:
        """Take a request of kind "checklist", "seen" or "check"; give the answer in words.

        Raises:
            RefusedError: no check is wanted, or no such mark can be made.
        """
        if r.kind == "checklist":
            self._list = ReadyList(self._bench, self._run)
            out.append(Noted(t_s, "check", "the permit waits for the check before the run"))
            return "heard"
        if self._list is None:
            if r.kind == "seen":
                return "heard"
            raise RefusedError("there is no check to make: none is wanted, or it is done")
        item = str(r.arg("item"))
        if r.kind == "seen":
            self._list.tell(item, bool(r.arg("ok")), str(r.arg("text")))
            return "heard"
        try:
            words = self._list.mark(item, str(r.arg("outcome")), str(r.arg("reason")), r.who)
        except NoSuchMarkError as why:
            raise RefusedError(str(why)) from why
        out.append(Noted(t_s, "check", f"{r.who}: {words}"))
        return words

    def pass_it(self, seen: Seen, t_s: float, out: list[Event]) -> None:
        """Let the permit by.

        Raises:
            RefusedError: something is neither passed nor waived.
        """
        if self._list is None:
            return
        missing = self._list.missing(seen)
        if missing:
            raise RefusedError(f"permit stays off: the check before the run lacks {'; '.join(missing)}")
        waived = ", ".join(line.item for line in self._list.lines(seen) if line.outcome == "waived")
        out.append(Noted(t_s, "check", f"done; waived: {waived}" if waived else "done, nothing waived"))
        self._list = None
