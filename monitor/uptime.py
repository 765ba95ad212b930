"""The clock by which the age of other machines' words is counted: the same for all programs of this machine."""

from __future__ import annotations

import time

_CLOCK = getattr(time, "CLOCK_BOOTTIME", None)


def uptime_s() -> float:
    """Seconds since this machine was started.

    With the time for which it slept, where the system tells that (Linux): what was heard before a lid was closed is
    old when it is opened again, and `time.monotonic` would not know.
    """
    return time.monotonic() if _CLOCK is None else time.clock_gettime(_CLOCK)
