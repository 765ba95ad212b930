"""One owner for one file: a lock that the system lets go when its holder dies."""

from __future__ import annotations

import os
from pathlib import Path

from monitor.errors import RefusalError

try:
    import fcntl
except ImportError:  # not on Windows; there the database's own lock has to do
    fcntl = None  # type: ignore[assignment]


class FileLock:
    """Holds `path` locked until closed.

    Raises:
        RefusalError: somebody else holds it, or it cannot be made.
    """

    def __init__(self, path: Path, what: str) -> None:
        try:
            self._file = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as why:
            raise RefusalError(f"{what} cannot be locked: {path}: {why.strerror}") from why
        if fcntl is not None:
            try:
                fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError as why:
                os.close(self._file)
                raise RefusalError(f"{what} is in use by another so2bench: end that one first") from why

    def close(self) -> None:
        """Let go."""
        os.close(self._file)
