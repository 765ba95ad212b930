"""A new file, whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path


def write_new(path: Path, data: bytes) -> None:
    """Write a file that was not there and bring it to the disk; one that was cut short is taken away again.

    Raises:
        FileExistsError: there is one already, which stays as it is.
        OSError: it cannot be written.
    """
    with path.open("xb") as file:
        try:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        except BaseException:
            path.unlink()
            raise
