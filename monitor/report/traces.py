"""The report's drawings: SVG in the page itself, without a plotting library. Pure: points in, text out.

Promise: every peak and every gap of the points is in the drawing, however many they are; each drawing has a title
and a sentence for those who do not see it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from math import floor, isfinite, log10
from typing import NamedTuple

from monitor.report.words import number, run_clock

WIDTH, LEFT, RIGHT, TOP, BOTTOM = 720.0, 46.0, 20.0, 22.0, 20.0
HEIGHT = 124.0
COLUMNS = 480  # drawn side by side; more would be finer than print
INK, SOFT, BLUE, ORANGE, VERMILLION, GREEN = "#1a1a1a", "#c9c4b4", "#0072b2", "#b37400", "#b34700", "#00694f"
TICKS_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400, 21600, 43200, 86400)
PRIORITY_MARK = {"high": (VERMILLION, "solid"), "medium": (ORANGE, "half"), "low": (BLUE, "open")}

Point = tuple[float, float | None, float | None, float | None]  # run second; least, middle, greatest


class Line(NamedTuple):
    """One thing that is drawn: its name, its colour, its points in order of time."""

    name: str
    colour: str
    points: Sequence[Point]


class Mark(NamedTuple):
    """A level across the drawing: a limit or a need."""

    name: str
    value: float
    colour: str


class Bar(NamedTuple):
    """A stretch of time in a row: an alarm that stood."""

    row: str
    priority: str
    from_s: float
    to_s: float


def drawing(
    title: str, unit: str, lines: Sequence[Line], marks: Sequence[Mark], span_s: float, *, zero: bool = True
) -> str:
    """One drawing over the whole run; what is higher than wide is not drawn finer than print."""
    height = HEIGHT
    joined = [line._replace(points=_columns(line.points, span_s)) for line in lines]
    values = [v for line in joined for p in line.points for v in p[1:] if v is not None and isfinite(v)]
    if not values:
        return f'<figure><p class="none">{escape(title)}: nothing was measured.</p></figure>'
    low, high = min(values), max(values)
    near = [m.value for m in marks if low - (high - low) <= m.value <= max(high * 1.6, high + (high - low))]
    low, high = _room(min([low, *near]), max([high, *near]), zero=zero)
    said = "; ".join(
        f"{line.name} from {number(min(v))} to {number(max(v))} {unit}"
        for line in joined
        if (v := [p[2] for p in line.points if p[2] is not None])
    )
    head = _head(title, unit, [(line.name, line.colour) for line in lines] if len(lines) > 1 else [])
    body = [_axes(low, high, span_s, height)]
    for line in joined:
        body += _line(line, low, high, span_s, height)
    drawn = [m for m in marks if low <= m.value <= high]
    for m in drawn:
        y = _y(m.value, low, high, height)
        # Two may lie close: the lower one's words hang under its line, clear of the other's.
        words_y = y - 3 if m.value == max(other.value for other in drawn) else y + 11
        body.append(
            f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}" stroke="{m.colour}" '
            f'stroke-dasharray="6 3"/><text x="{WIDTH - RIGHT - 3}" y="{words_y:.1f}" text-anchor="end" '
            f'fill="{m.colour}">{escape(m.name)}</text>'
        )
    return _figure(title, said, height, head + "".join(body))


def lanes(title: str, bars: Sequence[Bar], phases: Sequence[tuple[float, str]], span_s: float) -> str:
    """Alarms as bars in rows, under the phases of the run."""
    rows = list(dict.fromkeys(bar.row for bar in bars))
    left = 130.0
    height = TOP + BOTTOM + 16.0 + 14.0 * len(rows)

    def x(t_s: float) -> float:
        return left + (WIDTH - RIGHT - left) * min(1.0, max(0.0, t_s / span_s))

    parts = [_head(title, "", [])]
    ends = [t_s for t_s, _ in phases[1:]] + [span_s]
    for (t_s, name), end_s in zip(phases, ends, strict=True):
        wide = x(end_s) - x(t_s)
        parts.append(
            f'<rect x="{x(t_s):.1f}" y="{TOP}" width="{max(0.5, wide):.1f}" height="13" fill="#eeead9" '
            f'stroke="{SOFT}"/>'
        )
        if wide > 6.0 * len(name):
            parts.append(f'<text x="{x(t_s) + 3:.1f}" y="{TOP + 10:.1f}">{escape(name)}</text>')
    for number_, row in enumerate(rows):
        y = TOP + 18.0 + 14.0 * number_
        parts.append(f'<text x="{left - 6}" y="{y + 9:.1f}" text-anchor="end">{escape(row)}</text>')
        parts.append(f'<line x1="{left}" x2="{WIDTH - RIGHT}" y1="{y + 12:.1f}" y2="{y + 12:.1f}" stroke="#e5e1d3"/>')
        for bar in bars:
            if bar.row == row:
                colour, look = PRIORITY_MARK.get(bar.priority, (INK, "open"))
                fill = {"solid": colour, "half": colour, "open": "white"}[look]
                opacity = ' fill-opacity="0.45"' if look == "half" else ""
                wide = max(1.5, x(bar.to_s) - x(bar.from_s))
                parts.append(
                    f'<rect x="{x(bar.from_s):.1f}" y="{y + 1:.1f}" width="{wide:.1f}" height="9" '
                    f'fill="{fill}" stroke="{colour}"{opacity}/>'
                )
    base = height - BOTTOM + 2.0
    parts += [
        f'<text x="{x(t_s):.1f}" y="{base + 12:.1f}" text-anchor="middle">{run_clock(t_s)[:-3]}</text>'
        for t_s in _times(span_s)
    ]
    said = f"alarms that stood, {len(bars)}: {', '.join(rows)}" if bars else "no alarm stood"
    return _figure(title, said, height, "".join(parts))


def _figure(title: str, said: str, height: float, body: str) -> str:
    words = escape(f"{title}: {said}.", quote=True)
    return (
        f'<figure><svg viewBox="0 0 {WIDTH:g} {height:g}" role="img" aria-label="{words}">'
        f"<title>{words}</title>{body}</svg></figure>"
    )


def _head(title: str, unit: str, keys: Iterable[tuple[str, str]]) -> str:
    words = f"{title}, {unit}" if unit else title
    parts = [f'<text x="2" y="13" class="t">{escape(words)}</text>']
    x = 24.0 + 7.0 * len(words)
    for name, colour in keys:
        parts.append(f'<line x1="{x}" x2="{x + 16}" y1="9" y2="9" stroke="{colour}" stroke-width="3"/>')
        parts.append(f'<text x="{x + 20}" y="13">{escape(name)}</text>')
        x += 34.0 + 6.5 * len(name)
    return "".join(parts)


def _y(value: float, low: float, high: float, height: float) -> float:
    return TOP + (height - TOP - BOTTOM) * (1.0 - (value - low) / (high - low))


def _x(t_s: float, span_s: float) -> float:
    return LEFT + (WIDTH - LEFT - RIGHT) * min(1.0, max(0.0, t_s / span_s))


def _line(line: Line, low: float, high: float, span_s: float, height: float) -> list[str]:
    out = []
    for run in _unbroken(line.points):
        xs = [_x(p[0], span_s) for p in run]
        upper = [
            (x, _y(min(high, p[3]), low, high, height)) for x, p in zip(xs, run, strict=True) if p[3] is not None
        ]
        lower = [(x, _y(max(low, p[1]), low, high, height)) for x, p in zip(xs, run, strict=True) if p[1] is not None]
        if len(run) > 1 and len(upper) == len(lower) == len(run):
            shape = " ".join(f"{x:.1f},{y:.1f}" for x, y in [*upper, *reversed(lower)])
            out.append(f'<polygon points="{shape}" fill="{line.colour}" fill-opacity="0.22"/>')
        middle = [(x, _y(p[2], low, high, height)) for x, p in zip(xs, run, strict=True) if p[2] is not None]
        if len(middle) == 1:
            out.append(f'<circle cx="{middle[0][0]:.1f}" cy="{middle[0][1]:.1f}" r="1.5" fill="{line.colour}"/>')
        else:
            path = " ".join(f"{x:.1f},{y:.1f}" for x, y in middle)
            out.append(f'<polyline points="{path}" fill="none" stroke="{line.colour}" stroke-width="1.3"/>')
    return out


def _unbroken(points: Sequence[Point]) -> list[list[Point]]:
    runs: list[list[Point]] = [[]]
    for p in points:
        if p[2] is None:
            runs.append([])
        else:
            runs[-1].append(p)
    return [run for run in runs if run]


def _columns(points: Sequence[Point], span_s: float) -> list[Point]:
    """At most COLUMNS points and as many gaps: neighbours joined, least and greatest kept."""
    if len(points) <= COLUMNS:
        return list(points)
    out: list[Point] = []
    gathered: list[Point] = []
    place = -1
    for p in [*points, None]:
        here = -2 if p is None else int(p[0] / span_s * COLUMNS)
        gap = p is None or p[2] is None
        if gathered and (here != place or gap):
            out.append(_joined(gathered))
            gathered = []
        if p is not None:
            if gap:
                if not out or out[-1][2] is not None:
                    out.append(p)
            else:
                gathered.append(p)
        place = here
    return out


def _joined(points: Sequence[Point]) -> Point:
    lows = [p[1] if p[1] is not None else p[2] for p in points]
    highs = [p[3] if p[3] is not None else p[2] for p in points]
    middles = [p[2] for p in points if p[2] is not None]
    return (
        points[0][0],
        min(v for v in lows if v is not None),
        sum(middles) / len(middles),
        max(v for v in highs if v is not None),
    )


def _room(low: float, high: float, *, zero: bool) -> tuple[float, float]:
    if zero:
        low = min(0.0, low)
    spread = (high - low) or max(abs(high), 1.0)
    return (low if zero and low == 0.0 else low - 0.06 * spread), high + 0.12 * spread


def _axes(low: float, high: float, span_s: float, height: float) -> str:
    base = height - BOTTOM
    parts = []
    for value in _nice(low, high):
        y = _y(value, low, high, height)
        parts.append(f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}" stroke="#e5e1d3"/>')
        parts.append(f'<text x="{LEFT - 4}" y="{y + 4:.1f}" text-anchor="end">{_tick(value)}</text>')
    for t_s in _times(span_s):
        x = _x(t_s, span_s)
        parts.append(f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{base}" y2="{base + 4}" stroke="{INK}"/>')
        words = run_clock(t_s) if span_s < 300.0 else run_clock(t_s)[:-3]
        parts.append(f'<text x="{x:.1f}" y="{base + 15}" text-anchor="middle">{words}</text>')
    frame = f'width="{WIDTH - LEFT - RIGHT}" height="{base - TOP}"'
    parts.append(f'<rect x="{LEFT}" y="{TOP}" {frame} fill="none" stroke="{SOFT}"/>')
    return "".join(parts)


def _tick(value: float) -> str:
    return f"{value:.6g}".replace("-", "\N{MINUS SIGN}")


def _nice(low: float, high: float) -> list[float]:
    """Four or five round values between two."""
    rough = (high - low) / 4.0
    power = 10.0 ** floor(log10(rough))
    step = next(s * power for s in (1.0, 2.0, 2.5, 5.0, 10.0) if s * power >= rough)
    first = floor(low / step) + 1 if low % step else floor(low / step)
    out, n = [], first
    while n * step <= high + 1e-9 * step:
        out.append(round(n * step, 12) + 0.0)
        n += 1
    return out


def _times(span_s: float) -> list[float]:
    step = next((s for s in TICKS_S if span_s / s <= 8), None) or 86400 * (1 + int(span_s / 86400 / 8))
    return [float(t) for t in range(0, int(span_s) + 1, step)]
