"""Three drawings over the same time: gas and plate with their limits, and what has gone over with the need."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import altair as alt
import pandas as pd  # type: ignore[import-untyped]

from dashboards.traces import Seen
from dashboards.words import duration, plain

BLUE, ORANGE, GREEN, VERMILLION = "#0072B2", "#E69F00", "#009E73", "#D55E00"  # Okabe and Ito's palette
INK = "#1A1A1A"
HEIGHT = 180
HOURS_FROM_S = 10800.0

Limits = Sequence[tuple[str, float, str]]  # words, value, colour


class Drawn(NamedTuple):
    """A drawing, the name under which it is kept from refresh to refresh, and the same in one sentence."""

    key: str
    chart: alt.LayerChart
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
            _chart(seen, "SO2 at the sensor, ppm", t.gas, t.gas_lo, t.gas_hi, gas, zero=True),
            described(seen, "SO2 at the sensor", t.gas, "ppm", gas),
        ),
        Drawn(
            "trace-plate",
            _chart(seen, "Plate, °C", t.plate, t.plate_lo, t.plate_hi, plate, zero=False),
            described(seen, "Plate", t.plate, "°C", plate),
        ),
        Drawn(
            "trace-delivered",
            _chart(seen, "Gone over, mol", t.delivered_mol, None, None, need, zero=True),
            described(seen, "Gone over", t.delivered_mol, "mol", need),
        ),
    )


def described(seen: Seen, name: str, values: Sequence[float | None], unit: str, limits: Limits) -> str:
    """The drawing in one sentence, for those who do not see it."""
    newest = next((v for v in reversed(values) if v is not None), None)
    now = "nothing measured" if newest is None else f"newest {plain(newest)} {unit}"
    lines = "".join(f"; {words}" for words, _, _ in limits)
    return f"{name} over {duration(seen.to_s - seen.from_s)}: {now}{lines}."


def _chart(
    seen: Seen,
    title: str,
    mean: Sequence[float | None],
    low: Sequence[float | None] | None,
    high: Sequence[float | None] | None,
    limits: Limits,
    *,
    zero: bool,
) -> alt.LayerChart:
    per, unit = (3600.0, "hours") if seen.to_s - seen.from_s > HOURS_FROM_S else (60.0, "minutes")
    domain = [seen.from_s / per, seen.to_s / per]
    frame: dict[str, Any] = {"t": [t / per for t in seen.trace.t_s], "mean": mean}
    if low is not None:
        frame |= {"low": low, "high": high}
    data = pd.DataFrame(frame, dtype="float64")
    x = alt.X("t:Q", title=f"run {unit}", scale=alt.Scale(domain=domain, nice=False), axis=alt.Axis(tickCount=5))
    y_axis = alt.Axis(tickCount=4, title=None)
    y = alt.Y("mean:Q", scale=alt.Scale(zero=zero), axis=y_axis)
    base = alt.Chart(data)
    layers: list[alt.Chart] = []
    if low is not None:
        band = base.mark_area(color=BLUE, opacity=0.25, clip=True)
        layers.append(band.encode(x=x, y=alt.Y("low:Q", scale=alt.Scale(zero=zero), axis=y_axis), y2="high:Q"))
    layers.append(base.mark_line(color=BLUE, strokeWidth=1.8, clip=True).encode(x=x, y=y))
    if limits:
        layers += _limit_layers(limits)
    drawn: alt.LayerChart = alt.layer(*layers, title=title).properties(height=HEIGHT).configure(**_CONFIG)
    return drawn


def _limit_layers(limits: Limits) -> list[alt.Chart]:
    marks = pd.DataFrame([{"value": value, "words": words, "colour": colour} for words, value, colour in limits])
    colour = alt.Color("colour:N", scale=None, legend=None)
    base = alt.Chart(marks)
    rule = base.mark_rule(strokeWidth=1.8, strokeDash=[6, 3]).encode(y="value:Q", color=colour)
    words = base.mark_text(align="left", baseline="bottom", dx=3, dy=-2, color=INK, fontSize=12).encode(
        x=alt.value(0), y="value:Q", text="words:N"
    )
    return [rule, words]


_CONFIG: dict[str, Any] = {
    "background": "transparent",
    "font": "Source Sans, sans-serif",
    "axis": {"labelColor": INK, "titleColor": INK, "gridColor": "#DAD5C5", "domainColor": INK, "labelFontSize": 12},
    "title": {"anchor": "start", "color": INK, "fontSize": 14, "fontWeight": 600},
    "view": {"stroke": "#8C8777"},
}
