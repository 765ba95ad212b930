"""The signals that tell a program to end: Ctrl-C, a supervisor's word, and a terminal that goes away."""

from __future__ import annotations

import signal


def ending_signals() -> tuple[signal.Signals, ...]:
    """Those to heed; not a terminal's going, where whoever started the program kept that from it, as nohup does."""
    hang_up = getattr(signal, "SIGHUP", None)  # not on Windows
    if hang_up is None or signal.getsignal(hang_up) is signal.SIG_IGN:
        return signal.SIGINT, signal.SIGTERM
    return signal.SIGINT, signal.SIGTERM, hang_up
