"""A stretch of one past run, from the whole of it down to a second, as fine as the record and as thin as is drawn."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from dashboards.pastcharts import Curve
from dashboards.traces import thinned
from dashboards.words import UNKNOWN, plain
from monitor.edges.logreader import LogReader

WINDOWS: dict[str, float | None] = {
    "whole run": None,
    "6 h": 21_600.0,
    "1 h": 3600.0,
    "10 min": 600.0,
    "1 min": 60.0,
    "10 s": 10.0,
    "1 s": 1.0,
}
SAMPLES_TO_S = 60.0  # up to here single samples are drawn, ten a second
MOST_POINTS = 750
MOST_READ = 2 * MOST_POINTS  # so that a day is drawn from its minutes


class Stretch(NamedTuple):
    """The three traces between two run seconds, and how fine they are."""

    span: tuple[float, float]
    gas: Curve
    plate: Curve
    over: Curve
    fineness: str


def length_s(log: Path) -> float:
    """How long a run is, s.

    Raises:
        LogError: the log cannot be read.
    """
    return max(1.0, LogReader(log).header().last.mono_s)


def stretch_of(log: Path, from_s: float, to_s: float) -> Stretch:
    """The traces between two run seconds.

    Raises:
        LogError: the log cannot be read.
    """
    reader = LogReader(log)
    trace = thinned(reader.trace(from_s, to_s, MOST_READ), MOST_POINTS)
    over = Curve("run", trace.t_s, trace.delivered_mol)
    if to_s - from_s <= SAMPLES_TO_S:
        samples = reader.samples(from_s, to_s)
        t_s = [row[0] for row in samples]
        gas, plate = Curve("run", t_s, [row[3] for row in samples]), Curve("run", t_s, [row[2] for row in samples])
        return Stretch((from_s, to_s), gas, plate, over, f"{len(samples)} single samples")
    return Stretch(
        (from_s, to_s),
        Curve("run", trace.t_s, trace.gas, trace.gas_lo, trace.gas_hi),
        Curve("run", trace.t_s, trace.plate, trace.plate_lo, trace.plate_hi),
        over,
        f"means of {trace.level_s} s in a band from least to greatest",
    )


def said(name: str, curve: Curve, unit: str) -> str:
    """A curve in one sentence, for those who do not see it."""
    lows = [v for v in curve.least or curve.middle if v is not None]
    highs = [v for v in curve.greatest or curve.middle if v is not None]
    if not lows or not highs:
        return f"{name}: {UNKNOWN}."
    return f"{name}: from {plain(min(lows))} to {plain(max(highs))} {unit}."
