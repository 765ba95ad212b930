"""`so2bench calibrate --page`: the calibration page by itself, without a run."""

from __future__ import annotations

from pathlib import Path

from monitor.edges.page import Page
from monitor.settings import load_bench, load_run


def serve(bench: Path, run: Path | None) -> None:
    """Show the page until Ctrl-C.

    Raises:
        RefusalError: a file is not in order, or the page cannot be started.
    """
    load_bench(bench)
    if run is not None:
        load_run(run)
    Page(None, bench=bench, run=run).serve("/calibrate")
