"""The commands for after a run: `report` and `export`. Nothing is loaded for them until one is run."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path


def add_aftercare(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `report` and `export` to the command line."""
    p = commands.add_parser("report", help="one page of a run to read, print and keep; needs nothing to be shown")
    p.add_argument(
        "log", type=Path, metavar="LOG", help="a run log; one that is being written is read as far as it is"
    )
    p.add_argument("--out", type=Path, help="the page's file (default: LOG with .html); never one that is there")
    p.set_defaults(do=_report)

    p = commands.add_parser("export", help="a run's traces and record as tables, CSV or Parquet")
    p.add_argument(
        "log", type=Path, metavar="LOG", help="a run log; one that is being written is read as far as it is"
    )
    p.add_argument("--format", choices=("csv", "parquet"), default="csv", help="default csv")
    p.add_argument("--out", type=Path, help="the folder, made here (default: LOG without its ending, and -csv or so)")
    p.set_defaults(do=_export)


def _report(a: argparse.Namespace) -> None:
    from monitor.report.write import write_report

    print(write_report(a.log, a.out, _progress("reading")))


def _export(a: argparse.Namespace) -> None:
    from monitor.export import export

    for path in export(a.log, a.format, a.out, _progress("exporting")):
        print(path)


def _progress(word: str) -> Callable[[float], None]:
    def show(part: float) -> None:
        if sys.stderr.isatty():
            print(f"\r{word} {part:4.0%}", end="" if part < 1.0 else "\n", file=sys.stderr, flush=True)

    return show
