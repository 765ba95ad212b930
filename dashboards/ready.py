"""The check before a run, on the page: what is still to do, item by item, and what is done in one line."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Final

from monitor.core.events import CheckLine

DONE: Final = ("passed", "waived")
_SIGNS: Final = {"failed": "✗ Failed", "": "? To do"}


def to_do(checks: Sequence[CheckLine]) -> tuple[CheckLine, ...]:
    """What stands between the person and the permit: the failed first, then what nobody has looked at."""
    left = [line for line in checks if line.outcome not in DONE]
    return tuple(sorted(left, key=lambda line: line.outcome != "failed"))


def head(checks: Sequence[CheckLine]) -> str:
    """The section's head, with the number of items left."""
    left = len(to_do(checks))
    if not left:
        return "<h2>Before the run: all is done. Ask for the permit.</h2>"
    return f"<h2>Before the run: {left} of {len(checks)} to do</h2>"


def step(checks: Sequence[CheckLine]) -> str:
    """What to do first, while something stands between the person and the permit; empty when nothing does."""
    left = len(to_do(checks))
    return f"Go through the check below, {left} of {len(checks)} to do. Then ask for the permit." if left else ""


def row(line: CheckLine) -> str:
    """One item that is left: its state in words, what is to be so, what was found."""
    found = f" – {escape(line.reason)}" if line.reason else ""
    return f"<p><b>{_SIGNS[line.outcome]}: {escape(line.item)}.</b> {escape(_sentence(line.words))}{found}</p>"


def done(checks: Sequence[CheckLine]) -> str:
    """What is passed and what is waived, in a line; nothing when nothing is."""
    passed = ", ".join(escape(line.item) for line in checks if line.outcome == "passed")
    waived = "; ".join(f"{escape(c.item)} ({escape(c.reason)})" for c in checks if c.outcome == "waived")
    words = [f"Passed: {passed}."] * bool(passed) + [f"Waived: {waived}."] * bool(waived)
    return f"<p>{' '.join(words)}</p>" if words else ""


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]
