"""Three drawings over the same time: gas and plate with their limits, and what has gone over with the need.

A drawing's description is made once for a window and its limits; from refresh to refresh only the points change, so
that the browser moves what it has instead of drawing anew. For that, time is counted back from now.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import lru_cache
from math import ceil
from typing import Any, NamedTuple

import altair as alt
import pandas as pd  # type: ignore[import-untyped]

from dashboards.traces import Seen
from dashboards.words import plain
from monitor.core.spans import duration

BLUE, ORANGE, GREEN, VERMILLION = "#0072B2", "#E69F00", "#009E73", "#D55E00"  # Okabe and Ito's palette
INK = "#1A1A1A"
HEIGHT = 180
POINTS = "points"  # the name under which a description finds its points
MINUTE_S, HOUR_S = 60.0, 3600.0
HOURS_FROM_S = 3.0 * HOUR_S  # longer spans are counted in hours
WHOLE_RUN_STEP_S = 600.0  # the axis of a whole run grows in such steps

Limits = tuple[tuple[str, float, str], ...]  # words, value, colour


class Drawn(NamedTuple):
    """A drawing, the name under which it is kept from refresh to refresh, and the same in one sentence."""

    key: str
    spec: dict[str, Any]
    said: str


def all_of(seen: Seen) -> tuple[Drawn, Drawn, Drawn]:
    """Gas, plate and what has gone over. A band is from the least to the greatest of each moment, a line the mean."""
    t, limits = seen.trace, seen.sheet.limits
    gas = (
        (f"alarm at {limits.gas_high_ppm:g}", limits.gas_high_ppm, ORANGE),
        (f"leave at {limits.gas_high_high_ppm:g}", limits.gas_high_high_ppm, VERMILLION),
    )
    plate = (
        (f"alarm at {limits.plate_high_c:g}", limits.plate_high_c, ORANGE),
        (f"heat off at {limits.plate_high_high_c:g}", limits.plate_high_high_c, VERMILLION),
    )
    need = () if seen.need_mol is None else ((f"need {plain(seen.need_mol)}", seen.need_mol, GREEN),)
    return (
        Drawn(
            "trace-gas",
            _drawing(seen, "SO2 at the sensor, ppm", {"mean": t.gas, "low": t.gas_lo, "high": t.gas_hi}, gas),
            described(seen, "SO2 at the sensor", t.gas, "ppm", gas),
        ),
        Drawn(
            "trace-plate",
            _drawing(seen, "Plate, °C", {"mean": t.plate, "low": t.plate_lo, "high": t.plate_hi}, plate, zero=False),
            described(seen, "Plate", t.plate, "°C", plate),
        ),
        Drawn(
            "trace-delivered",
            _drawing(seen, "Gone over, mol", {"mean": t.delivered_mol}, need),
            described(seen, "Gone over", t.delivered_mol, "mol", need),
        ),
    )


def described(seen: Seen, name: str, values: Sequence[float | None], unit: str, limits: Limits) -> str:
    """The drawing in one sentence, for those who do not see it."""
    newest = next((v for v in reversed(values) if v is not None), None)
    now = "nothing measured" if newest is None else f"newest {plain(newest)} {unit}"
    lines = "".join(f"; {words}" for words, _, _ in limits)
    return f"{name}, the last {duration(seen.span_s)}: {now}{lines}."


def _drawing(
    seen: Seen, title: str, columns: dict[str, list[float | None]], limits: Limits, *, zero: bool = True
) -> dict[str, Any]:
    span_s = seen.span_s if seen.whole_window else WHOLE_RUN_STEP_S * ceil(seen.span_s / WHOLE_RUN_STEP_S)
    per_s = HOUR_S if span_s > HOURS_FROM_S else MINUTE_S
    spec: dict[str, Any] = json.loads(_description(title, "low" in columns, span_s, limits, zero))
    ago = [(t_s - seen.to_s) / per_s for t_s in seen.trace.t_s]
    spec.setdefault("datasets", {})[POINTS] = pd.DataFrame({"ago": ago, **columns}, dtype="float64")
    return spec


@lru_cache(maxsize=64)
def _description(title: str, band: bool, span_s: float, limits: Limits, zero: bool) -> str:
    """A drawing without its points, as JSON."""
    per_s, unit = (HOUR_S, "hours ago") if span_s > HOURS_FROM_S else (MINUTE_S, "minutes ago")
    x = alt.X(
        "ago:Q",
        scale=alt.Scale(domain=[-span_s / per_s, 0.0], nice=False),
        axis=alt.Axis(title=unit, tickCount=5, labelExpr="format(abs(datum.value), '~g')"),
    )
    scale, axis = alt.Scale(zero=zero), alt.Axis(tickCount=4, title=None)
    base = alt.Chart(alt.NamedData(name=POINTS))
    layers: list[alt.Chart] = []
    if band:
        low = alt.Y("low:Q", scale=scale, axis=axis)
        layers.append(base.mark_area(color=BLUE, opacity=0.25, clip=True).encode(x=x, y=low, y2="high:Q"))
    mean = alt.Y("mean:Q", scale=scale, axis=axis)
    layers.append(base.mark_line(color=BLUE, strokeWidth=1.8, clip=True).encode(x=x, y=mean))
    if limits:
        layers += _limit_layers(limits)
    return json.dumps(alt.layer(*layers, title=title).properties(height=HEIGHT).configure(**_CONFIG).to_dict())


def _limit_layers(limits: Limits) -> list[alt.Chart]:
    marks = [{"value": value, "words": words, "colour": colour} for words, value, colour in limits]
    colour = alt.Color("colour:N", scale=None, legend=None)
    base = alt.Chart(alt.InlineData(values=marks))
    rule = base.mark_rule(strokeWidth=1.8, strokeDash=[6, 3]).encode(y="value:Q", color=colour)
    above = base.mark_text(align="left", baseline="bottom", dx=3, dy=-2, color=INK, fontSize=12)
    below = base.mark_text(align="left", baseline="top", dx=3, dy=3, color=INK, fontSize=12)
    highest = max(value for _, value, _ in limits)
    placed = [
        # Two limits may lie close: the lower one's words hang under its line, clear of the other's.
        words.transform_filter(which).encode(x=alt.value(0), y="value:Q", text="words:N")
        for words, which in ((above, alt.datum.value >= highest), (below, alt.datum.value < highest))
    ]
    return [rule, *placed]


_CONFIG: dict[str, Any] = {
    "background": "transparent",
    "font": "Source Sans, sans-serif",
    "axis": {"labelColor": INK, "titleColor": INK, "gridColor": "#DAD5C5", "domainColor": INK, "labelFontSize": 12},
    "title": {"anchor": "start", "color": INK, "fontSize": 14, "fontWeight": 600},
    "view": {"stroke": "#8C8777"},
}
