"""Drawings of runs that are looked at again: a stretch of one, or two over each other."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor
from typing import Any, NamedTuple

import altair as alt
import pandas as pd  # type: ignore[import-untyped]

from dashboards.charts import BLUE, INK, VERMILLION

HEIGHT = 190
COLOURS, DASHES = (BLUE, VERMILLION), ([1, 0], [6, 3])  # told apart without colour too
CLOCK = (  # run seconds as hours, minutes and seconds
    "floor(datum.value / 3600) + ':' + format(floor(datum.value / 60) % 60, '02') + ':' + "
    "format(datum.value % 60, '{}')"
)
MOST_TICKS = 8
STEPS_S = (
    *(0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0),
    *(3600.0, 7200.0, 14_400.0, 21_600.0, 43_200.0, 86_400.0),
)
FINE_S = 10.0  # shorter stretches show tenths of a second

Values = Sequence[float | None]


class Curve(NamedTuple):
    """One run's values over time: the middle, and where they were summed up the least and the greatest."""

    name: str
    t_s: Sequence[float]
    middle: Values
    least: Values | None = None
    greatest: Values | None = None


def drawn(title: str, curves: Sequence[Curve], span: tuple[float, float], *, zero: bool = True) -> dict[str, Any]:
    """A drawing between two moments, as a description with its points."""
    frame = pd.concat([_frame(curve) for curve in curves], ignore_index=True)
    names = [curve.name for curve in curves]
    base = alt.Chart(frame)
    seconds = "04.1f" if span[1] - span[0] <= FINE_S else "02.0f"
    x = alt.X(
        "t:Q",
        scale=alt.Scale(domain=list(span), nice=False),
        axis=alt.Axis(title=None, values=ticks(span), labelExpr=CLOCK.format(seconds), labelOverlap="greedy"),
    )
    legend = alt.Legend(title=None, orient="top", labelLimit=400) if len(curves) > 1 else None
    colour = alt.Color("run:N", scale=alt.Scale(domain=names, range=list(COLOURS[: len(names)])), legend=legend)
    dash = alt.StrokeDash("run:N", scale=alt.Scale(domain=names, range=list(DASHES[: len(names)])), legend=legend)
    scale, axis = alt.Scale(zero=zero), alt.Axis(tickCount=4, title=None)
    layers: list[alt.Chart] = []
    if any(curve.least is not None for curve in curves):
        low = alt.Y("low:Q", scale=scale, axis=axis)
        layers.append(base.mark_area(opacity=0.22, clip=True).encode(x=x, y=low, y2="high:Q", color=colour))
    middle = alt.Y("middle:Q", scale=scale, axis=axis)
    layers.append(base.mark_line(strokeWidth=1.6, clip=True).encode(x=x, y=middle, color=colour, strokeDash=dash))
    made = alt.layer(*layers, title=title).properties(height=HEIGHT)
    spec: dict[str, Any] = made.configure(
        background="transparent",
        font="Source Sans, sans-serif",
        axis={"labelColor": INK, "gridColor": "#DAD5C5", "domainColor": INK, "labelFontSize": 12},
        title={"anchor": "start", "color": INK, "fontSize": 14, "fontWeight": 600},
        view={"stroke": "#8C8777"},
    ).to_dict()
    return spec


def ticks(span: tuple[float, float]) -> list[float]:
    """At most eight moments between two that are whole on a clock, or tenths of a second."""
    length_s = span[1] - span[0]
    step = next(
        (s for s in STEPS_S if length_s / s <= MOST_TICKS), STEPS_S[-1] * ceil(length_s / STEPS_S[-1] / MOST_TICKS)
    )
    first = ceil(span[0] / step - 1e-9)
    return [round(n * step, 1) for n in range(first, floor(span[1] / step + 1e-9) + 1)]


def _frame(curve: Curve) -> pd.DataFrame:
    columns: dict[str, Any] = {"t": curve.t_s, "middle": curve.middle}
    if curve.least is not None and curve.greatest is not None:
        columns |= {"low": curve.least, "high": curve.greatest}
    return pd.DataFrame(columns, dtype="float64").assign(run=curve.name)
