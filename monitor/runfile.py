"""The contents of a run.toml as its text: what is written opens again as the same run.

Only what such a file holds is written: texts, whole numbers, dates, lists of texts, and tables of these, one deep.
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

from monitor.edges.newfile import write_new
from monitor.errors import RefusalError

Contents = dict[str, Any]


def run_toml(contents: Contents, head: str = "") -> str:
    """The file's text; `head` becomes its first lines, as comment."""
    lines = [f"# {line}" for line in head.splitlines()]
    lines += [f"{key} = {_value(value)}" for key, value in contents.items() if not isinstance(value, dict)]
    for name, table in contents.items():
        if isinstance(table, dict):
            lines += ["", f"[{name}]", *(f"{key} = {_value(value)}" for key, value in table.items())]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    if isinstance(value, date):
        return value.isoformat()
    # A basic TOML string is written as a JSON string, but for the delete character (TOML 1.0).
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def save_run(path: Path, text: str) -> None:
    """Write a new file.

    Raises:
        RefusalError: there is one already, or it cannot be written.
    """
    try:
        write_new(path, text.encode())
    except FileExistsError as why:
        raise RefusalError(f"{path}: found a file of that name, wanted a new one") from why
    except OSError as why:
        raise RefusalError(f"{path}: cannot be written: {why.strerror or why}") from why
