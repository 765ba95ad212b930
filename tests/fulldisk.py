"""A disk that takes so much of a file and no more: the system's own limit on a file's size stands in for it."""

from __future__ import annotations

import resource
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def full_disk(after_bytes: int) -> Iterator[None]:
    """Within it, no file of this process grows beyond so many bytes; writing more is refused half way."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (after_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
