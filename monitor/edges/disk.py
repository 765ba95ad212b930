"""Whether the disk has room for a run's record."""

from __future__ import annotations

import shutil
from pathlib import Path

LEAST_FREE_BYTES = 1_000_000_000  # a day's log and room to spare; common practice, no source


def room_for_record(log: Path) -> tuple[bool, str]:
    """Whether there is room beside `log`, and what was found in words. What cannot be asked is no room."""
    try:
        free = shutil.disk_usage(log.resolve().parent).free
    except OSError as why:
        return False, f"the disk cannot be asked: {why.strerror or why}"
    words = f"{free / 1e9:.1f} GB free"
    return free >= LEAST_FREE_BYTES, words if free >= LEAST_FREE_BYTES else f"{words}, wanted at least 1 GB"
