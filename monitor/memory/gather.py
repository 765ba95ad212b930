"""Run logs into a memory, as often as one likes.

Promise: a run is in the memory once, as the log that is furthest has it, whatever the order in which logs came; a
log that cannot be read is refused in one sentence and the rest goes on; what was cut short is as if it had not begun.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import groupby
from pathlib import Path
from typing import Literal, NamedTuple

from monitor.edges.logreader import ENDING
from monitor.errors import LogError
from monitor.memory.source import Seen, Version, look, read
from monitor.memory.store import Store

What = Literal["new", "grown", "as before", "older", "refused"]


class Outcome(NamedTuple):
    """What became of a log; `text` says why it was refused."""

    log: Path
    what: What
    text: str = ""


def gather(logs: Iterable[Path], folder: Path, progress: Callable[[float], None] = lambda _: None) -> list[Outcome]:
    """Take logs, and the logs of folders and of the folders in them, into the memory at `folder`.

    Raises:
        RefusalError: the memory cannot be opened or written; what was put in before that stays.
    """
    outcomes: list[Outcome] = []
    seen: list[Seen] = []
    for log in _files(logs):
        try:
            seen.append(look(log))
        except LogError as why:
            outcomes.append(Outcome(log, "refused", str(why)))
    with Store(folder) as store:
        done = 0
        for _, on_shelf in groupby(sorted(seen, key=lambda s: (s.shelf, s.run, s.far)), key=lambda s: s.shelf):
            outcomes += _shelve(store, batch := list(on_shelf))
            done += len(batch)
            progress(done / len(seen))
    return outcomes


def _files(logs: Iterable[Path]) -> Iterator[Path]:
    known: set[Path] = set()
    for named in logs:
        for log in sorted(named.rglob(ENDING)) if named.is_dir() else [named]:
            if log.resolve() not in known:
                known.add(log.resolve())
                yield log


def _shelve(store: Store, logs: list[Seen]) -> Iterator[Outcome]:
    """The logs of one shelf, each run's from the shortest to the longest."""
    shelf = logs[0].shelf
    kept = store.runs(shelf)
    far = {run: (row["inputs"], row["last_mono_s"], row["closed"]) for run, row in kept.items()}
    version = {run: Version(row["inputs"], row["sha256"]) for run, row in kept.items()}
    aside: dict[str, Path] = {}
    for number, seen in enumerate(logs):
        run = seen.run
        if run in far and seen.far <= far[run]:
            yield Outcome(seen.log, "as before" if seen.far == far[run] else "older")
            continue
        into = store.aside(f"{run}-{number}")
        try:
            new = read(seen, into, version.get(run))
        except LogError as why:
            yield Outcome(seen.log, "refused", str(why))
            continue
        yield Outcome(seen.log, "grown" if run in far else "new")
        version[run], aside[run] = new, into
        far[run] = (new.inputs, *seen.far[1:])  # a run that goes on may be further than at the glance
    if aside:
        store.put(shelf, aside)
