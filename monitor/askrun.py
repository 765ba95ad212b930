"""`so2bench ask`: asks something of a run that another process watches, at a terminal, as the page does.

For a bench without a page, or seen over a plain line: `so2bench ask acknowledge GAS-HIGH --log RUN --who NAME`. The
request goes into the run's inbox, and counts only when the record has answered it.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Mapping
from pathlib import Path

from monitor.core.requests import ASKED_BY_PEOPLE, KINDS, OPTIONAL, BadRequestError, make_request
from monitor.edges.inbox import put
from monitor.edges.logreader import LogReader
from monitor.errors import RefusalError

WAIT_S = 10.0  # the monitor looks every 0.2 s
POLL_S = 0.1
SWITCH = {"on": True, "off": False}


class Asker:
    """Somebody at a terminal, asking things of the run in a log."""

    def __init__(self, log: Path, who: str) -> None:
        self._log, self._who, self._reader = log, who, LogReader(log)

    def ask(self, kind: str, args: Mapping[str, object]) -> tuple[bool, str]:
        """Ask the run for something; gives whether it was accepted, and the words. Waits for the record's answer.

        Raises:
            RefusalError: nothing watches that log.
        """
        request_id = put(self._log, kind, self._who, args, time.time())
        deadline_s = time.monotonic() + WAIT_S
        while (got := self._reader.answer(request_id)) is None:
            if time.monotonic() > deadline_s:
                raise RefusalError(f"no answer for {WAIT_S:g} s: does anything watch {self._log}?")
            time.sleep(POLL_S)
        return got


def add_ask(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `ask` to the command line."""
    p = commands.add_parser(
        "ask",
        help="ask something of a run that is being watched, without its page: acknowledge, permit, phase, weighing …",
        description="What may be asked, with its values in this order: "
        + "; ".join(_usage(kind) for kind in sorted(ASKED_BY_PEOPLE))
        + ". The tag * acknowledges every alarm that waits.",
    )
    p.add_argument("kind", choices=sorted(ASKED_BY_PEOPLE), metavar="WHAT", help="what is asked")
    p.add_argument("values", nargs="*", metavar="VALUE", help="its values, in their order")
    p.add_argument("--log", type=Path, required=True, help="the run's log")
    p.add_argument("--who", required=True, help="your name, for the record")
    p.set_defaults(do=_ask)


def _usage(kind: str) -> str:
    parts = [*KINDS[kind], *(f"[{name}]" for name in OPTIONAL.get(kind, {}))]
    return " ".join([kind, *(part.upper() for part in parts)])


def _ask(a: argparse.Namespace) -> None:
    args = arguments(a.kind, a.values)
    try:
        make_request(a.kind, a.who, args)
    except BadRequestError as why:
        raise RefusalError(str(why)) from None
    accepted, words = Asker(a.log, a.who).ask(a.kind, args)
    if not accepted:
        raise RefusalError(f"refused: {words}")
    print(words)


def arguments(kind: str, values: list[str]) -> dict[str, str | float | bool]:
    """The parts of a request from words in their order.

    Raises:
        RefusalError: too few or too many, a number that is none, or a switch that is neither on nor off.
    """
    forms = {**KINDS[kind], **OPTIONAL.get(kind, {})}
    if not len(KINDS[kind]) <= len(values) <= len(forms):
        raise RefusalError(f"{kind}: found {len(values)} of its values, wanted: {_usage(kind)}")
    out: dict[str, str | float | bool] = {}
    for (name, form), value in zip(forms.items(), values, strict=False):
        if form == "number":
            try:
                out[name] = float(value)
            except ValueError:
                raise RefusalError(f"{name}: found '{value}', wanted a number") from None
        elif form == "switch":
            if value not in SWITCH:
                raise RefusalError(f"{name}: found '{value}', wanted on or off")
            out[name] = SWITCH[value]
        else:
            out[name] = value
    return out
