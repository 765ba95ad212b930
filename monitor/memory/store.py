"""The folder of the memory: one Parquet file a table, bench and month, and the way in which they change.

Promise: a change is there whole or not at all, however it is cut short. What is new is written aside under
`.work/next`; renaming that folder to `.work/commit` makes it count; its files are then moved to their places, and
where that was cut short, whoever comes next moves the rest. One writer at a time, by a lock.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from heapq import merge
from pathlib import Path
from typing import Any, Final, NamedTuple

import pyarrow
from pyarrow import parquet

from monitor.edges.lock import FileLock
from monitor.errors import LogError, RefusalError
from monitor.memory.tables import FORMAT, GROUP_ROWS, TABLES, Row, packing_of, schema_of

FILE: Final = "runs.parquet"
MARK: Final = "memory.json"
_NEXT, _COMMIT = Path(".work", "next"), Path(".work", "commit")


class MemoryRefusedError(RefusalError):
    """A memory that cannot be opened, read or written."""


class Shelf(NamedTuple):
    """What one file of each table holds: the runs that a bench began in a month (UTC, like 2026-11)."""

    bench: str
    month: str

    def file(self, table: str) -> Path:
        """The place of a table's file in the memory."""
        return Path(table, f"bench={self.bench}", f"month={self.month}", FILE)

    def aside(self, table: str) -> str:
        """Its name before it is in its place; none of the three parts has a comma."""
        return f"{table},{self.bench},{self.month}.parquet"


class Writer:
    """Writes rows, or tables, to one Parquet file in groups of the same size, however they come.

    With `to_disk` the file has reached the disk when the stack is left.
    """

    def __init__(self, stack: ExitStack, path: Path, table: str, *, to_disk: bool) -> None:
        self._name, self._schema = table, schema_of(table)
        self._file = stack.enter_context(path.open("xb"))
        if to_disk:
            stack.callback(os.fsync, self._file.fileno())
            stack.callback(self._file.flush)
        self._to = parquet.ParquetWriter(self._file, self._schema, **packing_of(table))
        stack.callback(self._to.close)
        stack.push(self._rest)
        self._waiting: list[pyarrow.Table] = []
        self._count = 0

    def rows(self, rows: list[Row]) -> None:
        """Take rows, each a tuple in the order of the columns."""
        if rows:
            columns = zip(zip(*rows, strict=True), self._schema.types, strict=True)
            try:
                arrays = [pyarrow.array(c, t) for c, t in columns]
            except (pyarrow.ArrowException, TypeError, OverflowError) as why:
                raise LogError(f"an entry for table '{self._name}' has a value of the wrong kind: {why}") from why
            self.table(pyarrow.Table.from_arrays(arrays, schema=self._schema))

    def table(self, table: pyarrow.Table) -> None:
        """Take a table."""
        self._waiting.append(table)
        self._count += table.num_rows
        while self._count >= GROUP_ROWS:
            self._write(GROUP_ROWS)

    def _rest(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None and self._count:
            self._write(self._count)

    def _write(self, rows: int) -> None:
        whole = pyarrow.concat_tables(self._waiting)
        self._to.write_table(whole.slice(0, rows).combine_chunks(), row_group_size=GROUP_ROWS)
        self._waiting, self._count = [whole.slice(rows)], whole.num_rows - rows


class Store:
    """A memory, opened for writing and locked. Used as a context; begins a new one where nothing is.

    Raises:
        MemoryRefusedError: the folder holds something else, or a memory of another format, or cannot be written.
        RefusalError: another one is writing to it.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        whole_path(folder)
        if folder.exists() and not folder.is_dir():
            raise MemoryRefusedError(f"{folder}: found a file, wanted a folder for the memory, or none")
        with refusing(folder):
            # What a person was exposed to is nobody's business but theirs and of those whom local rules name.
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            if not (folder / MARK).exists() and any(not p.name.startswith(".") for p in folder.iterdir()):
                raise MemoryRefusedError(f"{folder}: found a folder with other things in it, wanted a memory or none")
        self._lock = FileLock(folder / ".lock", f"the memory {folder}")
        try:
            with refusing(folder):
                finish(folder)
                _clear(folder / ".work")
                if not (folder / MARK).exists():
                    self._mark(folder / ".mark", 0)
                    (folder / ".mark").replace(folder / MARK)
                changes(folder)
        except BaseException:
            self._lock.close()
            raise

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of it."""
        self._lock.close()

    def runs(self, shelf: Shelf) -> dict[str, dict[str, Any]]:
        """What is known of each run on a shelf: its number of inputs, how far it got, and so on."""
        path = self.folder / shelf.file("run")
        if not path.exists():
            return {}
        with refusing(path), path.open("rb") as source, parquet.ParquetFile(source) as file:
            return {
                row["run"]: row for row in file.read(["run", "inputs", "last_mono_s", "closed", "sha256"]).to_pylist()
            }

    def aside(self, run: str) -> Path:
        """A new folder in which a run is written aside, until its shelf is put."""
        path = self.folder / ".work" / "runs" / run
        with refusing(path):
            _clear(path)
            path.mkdir(parents=True)
        return path

    def put(self, shelf: Shelf, runs: dict[str, Path]) -> None:
        """Put runs that were written aside on their shelf, each in the place of its former part, all at once."""
        new = self.folder / _NEXT
        with refusing(self.folder):
            new.mkdir(parents=True)
            for table in TABLES:
                to = new / shelf.aside(table)
                old = self.folder / shelf.file(table)
                kept = (part for part in _parts(old) if part[0] not in runs) if old.exists() else iter(())
                added = (part for run in sorted(runs) for part in _parts(runs[run] / f"{table}.parquet"))
                with ExitStack() as stack:
                    writer = Writer(stack, to, table, to_disk=True)
                    for _, part in merge(kept, added, key=lambda part: part[0]):
                        writer.table(part)
            self._mark(new / MARK, changes(self.folder) + 1)
            new.rename(self.folder / _COMMIT)
            finish(self.folder)
            shutil.rmtree(self.folder / ".work")

    def _mark(self, path: Path, number: int) -> None:
        with path.open("w", encoding="utf-8") as file:
            json.dump({"is": "a memory of so2bench", "format": FORMAT, "changes": number}, file)
            file.flush()
            os.fsync(file.fileno())


def _parts(path: Path) -> Iterator[tuple[str, pyarrow.Table]]:
    """A file in pieces of one run each, in its order, a row group in memory at a time."""
    with path.open("rb") as source, parquet.ParquetFile(source) as file:
        for i in range(file.num_row_groups):
            group, at = file.read_row_group(i), 0
            for count in group["run"].value_counts():  # in the order of their first row; each run's rows lie together
                rows = count["counts"].as_py()
                yield count["values"].as_py(), group.slice(at, rows)
                at += rows


def _clear(path: Path) -> None:
    if path.exists():
        shutil.rmtree(path)


def finish(folder: Path) -> None:
    """Move the rest of a change that counts to its places. OSError if that cannot be."""
    commit = folder / _COMMIT
    if not commit.exists():
        return
    for path in sorted(commit.glob("*,*,*.parquet")):
        table, bench, month = path.stem.split(",")
        to = folder / Shelf(bench, month).file(table)
        to.parent.mkdir(parents=True, exist_ok=True)
        path.replace(to)
    if (commit / MARK).exists():  # last: by then everything is in its place
        (commit / MARK).replace(folder / MARK)
    shutil.rmtree(commit)


def whole_path(folder: Path) -> Path:
    """The absolute path of a memory.

    Raises:
        MemoryRefusedError: it lies where whoever reads its files would take part of the path for a bench or month.
    """
    whole = folder.resolve()
    for part in whole.parts[1:]:
        if part.startswith(("bench=", "month=")) or "\\" in part:
            raise MemoryRefusedError(
                f"{folder}: found a folder {part!r} on the way, wanted none that begins with bench= or month=, "
                "or has a \\ in it"
            )
    return whole


def is_changing(folder: Path) -> bool:
    """Whether a change counts and is not yet whole in its places."""
    return (folder / _COMMIT).exists()


def changes(folder: Path) -> int:
    """How often a memory was changed.

    Raises:
        MemoryRefusedError: the folder is no memory, or one of another format.
    """
    path = folder / MARK
    try:
        mark = json.loads(path.read_text("utf-8"))
        form, number = int(mark["format"]), int(mark["changes"])
    except (FileNotFoundError, NotADirectoryError) as why:
        raise MemoryRefusedError(f"{folder}: there is no memory here; so2bench gather makes one") from why
    except (OSError, ValueError, KeyError, TypeError) as why:
        raise MemoryRefusedError(f"{path}: found no mark of a memory ({why}), wanted one that so2bench made") from why
    if form != FORMAT:
        newer = "a newer" if form > FORMAT else "an older"
        raise MemoryRefusedError(f"{folder}: found memory format {form} ({newer} so2bench made it), wanted {FORMAT}")
    return number


@contextmanager
def refusing(path: Path) -> Iterator[None]:
    """Turns what the system or a file refuses into one sentence."""
    try:
        yield
    except OSError as why:
        raise MemoryRefusedError(f"{why.filename or path}: {why.strerror or why}") from why
    except pyarrow.ArrowException as why:
        raise MemoryRefusedError(f"{path}: a file of the memory cannot be read or written: {why}") from why


def write_aside(folder: Path, tables: Iterable[tuple[str, Callable[[], Iterable[list[Row]]]]]) -> None:
    """Write a run's tables, given in chunks of rows, as files of a folder."""
    for table, chunks in tables:
        with refusing(folder), ExitStack() as stack:
            writer = Writer(stack, folder / f"{table}.parquet", table, to_disk=False)
            for rows in chunks():
                writer.rows(rows)
