"""The commands `gather` and `memory`. Nothing is loaded for them until one is run."""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from datetime import date
from pathlib import Path

from monitor.errors import RefusalError

QUESTIONS = ("exposure", "yields", "alarms")
MISSING = "the memory needs pyarrow and duckdb: pip install '.[memory]'"


def add_memory(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `gather` and `memory` to the command line."""
    p = commands.add_parser("gather", help="take run logs into a laboratory's memory; again and again, none twice")
    p.add_argument(
        "logs", type=Path, nargs="+", metavar="LOG", help="run logs, or folders in which they are, at any depth"
    )
    p.add_argument("--into", type=Path, required=True, metavar="FOLDER", help="the memory; made if it is not there")
    p.set_defaults(do=_gather)

    p = commands.add_parser("memory", help="ask a laboratory's memory: exposure by person, yields, alarms by cause")
    p.add_argument("folder", type=Path, metavar="FOLDER", help="what gather made")
    p.add_argument("question", choices=QUESTIONS, metavar="QUESTION", help=", ".join(QUESTIONS))
    p.add_argument("--since", type=_date, metavar="DATE", help="leave out what was before that day, like 2026-11-02")
    p.add_argument("--zone", default="UTC", help="whose days, weeks and months, like Europe/Berlin (default UTC)")
    p.add_argument("--by", action="append", default=[], choices=("bench", "month"), help="alarms: of each; repeat it")
    form = p.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON alone")
    form.add_argument("--csv", action="store_true", help="print CSV alone")
    p.set_defaults(do=lambda a: _memory(a, p))


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as why:
        raise argparse.ArgumentTypeError(f"found {text!r}, wanted a day like 2026-11-02") from why


def _gather(a: argparse.Namespace) -> None:
    try:
        from monitor.memory.gather import gather
    except ImportError as why:
        raise RefusalError(MISSING) from why
    outcomes = gather(a.logs, a.into, _progress)
    counts = Counter(o.what for o in outcomes)
    print(", ".join(f"{counts[what]} {what}" for what in ("new", "grown", "as before", "older", "refused")))
    refused = [o.text for o in outcomes if o.what == "refused"]
    if refused:
        raise RefusalError("\n".join(refused))


def _memory(a: argparse.Namespace, p: argparse.ArgumentParser) -> None:
    if a.by and a.question != "alarms":
        p.error("--by is for alarms")
    try:
        from monitor.memory import words
        from monitor.memory.ask import ask
    except ImportError as why:
        raise RefusalError(MISSING) from why
    answer = ask(a.folder, a.question, a.since, a.zone, frozenset(a.by))
    if a.csv:
        sys.stdout.write(words.as_csv(answer))
    else:
        print(words.as_json(answer, a.question, a.zone) if a.json else words.plain(answer, a.question, a.zone))


def _progress(part: float) -> None:
    if sys.stderr.isatty():
        print(f"\rgathering {part:4.0%}", end="" if part < 1.0 else "\n", file=sys.stderr, flush=True)
