"""Putting a calibration into a settings file: only the values change, and the old file is kept.

Promise: comments, order and layout stay as the user wrote them; the file as it was is kept whole beside it, under
its name and the time, before anything changes; whoever reads the file meets the old text or the new one, never half
of it. A copy and not a history file: it can be put back with one command, and a run log names the text it ran under.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import date, datetime
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from monitor.edges.newfile import write_new
from monitor.errors import SettingsError

Value = str | int | float | date


def with_values(text: str, table: str, values: Mapping[str, Value]) -> str:
    """The TOML text with the values of one table changed or added.

    Raises:
        SettingsError: no TOML, or the table is none.
    """
    try:
        mark = "\ufeff" if text.startswith("\ufeff") else ""  # some editors put it first; it is no TOML
        document = tomlkit.parse(text.removeprefix(mark))
        if table not in document:
            document[table] = tomlkit.table()
        part = document[table]
        if not isinstance(part, tomlkit.items.Table):
            raise SettingsError(f"found {table} written as one line, wanted a table [{table}]")
        for key, value in values.items():
            part[key] = value
        return mark + tomlkit.dumps(document)
    except TOMLKitError as why:
        raise SettingsError(f"not TOML: {why}") from why


def read_text(path: Path) -> str:
    """The file's text, its line ends as they are.

    Raises:
        SettingsError: it cannot be read, or is not UTF-8.
    """
    try:
        return path.read_bytes().decode("utf-8")
    except OSError as why:
        raise SettingsError(f"{path}: cannot be read: {why.strerror or why}") from why
    except UnicodeDecodeError as why:
        raise SettingsError(f"{path}: found bytes that are not UTF-8 text, wanted a TOML file") from why


def replace_text(path: Path, old: str, new: str, now: datetime, check: Callable[[str], object]) -> Path:
    """Put `new` in place of `old`; gives the path of the copy that is kept. `check` raises if `new` is no good.

    Raises:
        SettingsError: `check` refuses, somebody changed the file meanwhile, or it cannot be written.
    """
    check(new)
    path = path.resolve()  # a link stays a link
    beside = path.with_name(f".{path.name}.new")
    try:
        if path.read_bytes() != old.encode():
            raise SettingsError(f"{path.name}: found a file that changed meanwhile, wanted it untouched: do it again")
        kept = _keep(path, now)
        with beside.open("w", encoding="utf-8", newline="") as file:
            file.write(new)
            file.flush()
            os.fsync(file.fileno())
        shutil.copymode(path, beside)
        beside.replace(path)
    except OSError as why:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        raise SettingsError(f"{path}: cannot be written: {why.strerror or why}") from why
    return kept


def _keep(path: Path, now: datetime) -> Path:
    """Copy the file under its name and the time; never over another copy."""
    stem = f"{path.name}.{now:%Y-%m-%dT%H%M%SZ}"
    number = 1
    while True:
        kept = path.with_name(stem if number == 1 else f"{stem}-{number}")
        try:
            write_new(kept, path.read_bytes())
        except FileExistsError:
            number += 1
            continue
        shutil.copymode(path, kept)
        return kept
