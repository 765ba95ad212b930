"""Requests from the page: put into the run's inbox, and followed until the log holds the answer."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from monitor.edges.inbox import put
from monitor.edges.logreader import LogReader
from monitor.errors import LogError

SHOWN_S = 30.0  # an answer stays in sight so long
WAIT_S = 10.0  # the monitor looks every 0.2 s; silence beyond this is said
FORGET_S = 120.0  # without an answer; the monitor refuses what is older than 30 s anyway
MOST = 4  # followed at once; the oldest is let go


class Asked(NamedTuple):
    """One request. `outcome` is None until it is known; `mono_s` is when it was asked, or answered."""

    request_id: str
    words: str
    mono_s: float
    outcome: str | None
    refused: bool


def ask(
    log: Path, kind: str, who: str, args: Mapping[str, object], words: str, now_mono_s: float, now_utc_s: float
) -> Asked:
    """Ask the run for something. `words` name it on the page. A blank name acts as the bench."""
    try:
        request_id = put(log, kind, who.strip() or "bench", args, now_utc_s)
    except LogError as why:
        return Asked("", words, now_mono_s, f"not asked: {why}", refused=True)
    return Asked(request_id, words, now_mono_s, None, refused=False)


def follow(log: Path, asked: list[Asked], now_mono_s: float) -> list[Asked]:
    """The requests that are still worth showing, with the answers that have come."""
    return [_looked_up(log, a, now_mono_s) for a in asked[-MOST:] if now_mono_s - a.mono_s < _kept_s(a)]


def _kept_s(a: Asked) -> float:
    return FORGET_S if a.outcome is None else SHOWN_S


def _looked_up(log: Path, a: Asked, now_mono_s: float) -> Asked:
    if a.outcome is not None:
        return a
    try:
        answer = LogReader(log).answer(a.request_id)
    except LogError:
        return a
    if answer is None:
        return a
    accepted, text = answer
    return a._replace(mono_s=now_mono_s, outcome=f"{'done' if accepted else 'refused'}: {text}", refused=not accepted)


def outcome_words(a: Asked, now_mono_s: float) -> str:
    """What has become of a request, in one line."""
    if a.outcome is not None:
        return f"{a.words} – {a.outcome}"
    waited_s = now_mono_s - a.mono_s
    if waited_s > WAIT_S:
        return f"{a.words} – no answer for {waited_s:.0f} s: do not count on it"
    return f"{a.words} – asked, waiting for the answer"
