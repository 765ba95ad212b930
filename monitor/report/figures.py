"""The drawings of a report: gas over, drip, air, plate and alarms, over the same time. Pure."""

from __future__ import annotations

from monitor.report.facts import Facts
from monitor.report.pieces import Html
from monitor.report.traces import BLUE, GREEN, ORANGE, VERMILLION, Bar, Line, Mark, Point, drawing, lanes
from monitor.report.words import number
from monitor.terms import COVERAGE

RATE_BINS = 240  # of the run; a bin is at least LEAST_BIN_S
LEAST_BIN_S = 20.0  # as the account counts the drip rate


def figures(f: Facts) -> Html:
    """All drawings, one under another."""
    span_s = max(1.0, f.header.last.mono_s)
    limits, need = f.bench.limits, f.plan.need_mol
    t = f.trace
    over: list[Point] = [
        (t_s, max(0.0, d - COVERAGE * u), d, d + COVERAGE * u) for t_s, _, d, u, _, _ in f.account_rows
    ]
    held: list[Point] = [(t_s, None, h, None) for t_s, _, _, _, h, _ in f.account_rows]
    if f.account_rows:
        first, last = f.account_rows[0], f.account_rows[-1]
        over = [(0.0, 0.0, 0.0, 0.0), (first[0], 0.0, 0.0, 0.0), *over, (span_s, *over[-1][1:])]
        held = [(0.0, None, 0.0, None), (first[0], None, 0.0, None), *held, (span_s, None, last[4], None)]
    plate = list(zip(t.t_s, t.plate_lo, t.plate, t.plate_hi, strict=True))
    gas = list(zip(t.t_s, t.gas_lo, t.gas, t.gas_hi, strict=True))
    bars = [
        Bar(
            s.occurrence.tag,
            s.occurrence.priority,
            s.occurrence.raised_s,
            span_s if s.occurrence.returned_s is None else s.occurrence.returned_s,
        )
        for s in f.stood
    ]
    return Html(
        drawing(
            "SO2 gone over (band: ±, k = 2) and held",
            "mol",
            [Line("gone over", BLUE, over), Line("held", ORANGE, held)],
            [] if need is None else [Mark(f"wanted {number(need)}", need, GREEN)],
            span_s,
        )
        + _counted(f, span_s)
        + drawing(
            "SO2 at the sensor",
            "ppm",
            [Line("SO2", BLUE, gas)],
            [
                Mark(f"alarm at {limits.gas_high_ppm:g}", limits.gas_high_ppm, ORANGE),
                Mark(f"leave at {limits.gas_high_high_ppm:g}", limits.gas_high_high_ppm, VERMILLION),
            ],
            span_s,
        )
        + drawing(
            "Plate",
            "°C",
            [Line("plate", BLUE, plate)],
            [
                Mark(f"alarm at {limits.plate_high_c:g}", limits.plate_high_c, ORANGE),
                Mark(f"heat off at {limits.plate_high_high_c:g}", limits.plate_high_high_c, VERMILLION),
            ],
            span_s,
            zero=False,
        )
        + lanes(
            "Phases, and alarms while they stood (filled: high, half: medium, open: low)",
            bars,
            [(t_s, name) for t_s, name, _ in f.phases] or [(0.0, "not known")],
            span_s,
        )
    )


def _counted(f: Facts, span_s: float) -> str:
    """What the meter counts; nothing where all is weighed. A limit of the drip is none of bubbles."""
    if f.run.meter == "weighings":
        return ""
    fast_per_min = f.bench.limits.drip_fast_per_min
    marks = [Mark(f"fast at {fast_per_min:g}", fast_per_min, ORANGE)] if f.run.meter == "drops" else []
    lines = [Line(f.run.meter, BLUE, _drip(f, span_s))]
    return drawing(f.run.meter.capitalize(), "per minute", lines, marks, span_s)


def _drip(f: Facts, span_s: float) -> list[Point]:
    """Counts a minute in bins of equal length."""
    width_s = max(LEAST_BIN_S, span_s / RATE_BINS)
    bins = [0.0] * (int(span_s / width_s) + 1)
    before = 0
    for t_s, drops, *_ in f.account_rows:
        bins[min(len(bins) - 1, int(max(0.0, t_s) / width_s))] += drops - before
        before = drops
    return [((i + 0.5) * width_s, None, n * 60.0 / width_s, None) for i, n in enumerate(bins)] if before else []
