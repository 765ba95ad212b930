"""Readings, exposure and drip as lines of a table: a name, a value in words, and its limit or the reason why not."""

from __future__ import annotations

from typing import NamedTuple

from dashboards.words import UNKNOWN, plain, with_uncertainty
from monitor.core.events import Overview, Reading
from monitor.core.spans import duration
from monitor.terms import LimitTerms


class Line(NamedTuple):
    """One line; `known` is false when the value is not to be believed, and `note` then says why."""

    name: str
    value: str
    note: str
    known: bool


def lines_of(run: Overview, limits: LimitTerms, silent: str, watched: bool) -> tuple[Line, ...]:
    """The lines; with `silent` not empty no reading can be had, and that is why."""
    return (
        _reading("SO2 at the sensor", run.gas, "ppm", f"alarm at {limits.gas_high_ppm:g} ppm", silent),
        _exposure(run, limits, watched, silent),
        _eight_hours(run, limits, watched, silent),
        _reading("Plate", run.plate, "°C", f"alarm at {limits.plate_high_c:g} °C", silent),
        _drip(run, limits, silent),
    )


def _reading(name: str, got: Reading, unit: str, limit: str, silent: str) -> Line:
    if silent:
        return Line(name, UNKNOWN, silent, known=False)
    if got.value is not None:
        return Line(name, with_uncertainty(got.value, got.u, unit), limit, known=True)
    why = got.why or "no reason given"
    if got.at_least is not None:
        return Line(name, f"over {plain(got.at_least)} {unit}", why, known=False)
    return Line(name, UNKNOWN, why, known=False)


def _exposure(run: Overview, limits: LimitTerms, watched: bool, silent: str) -> Line:
    name, e = "SO2, 15-minute average", run.exposure
    if not watched:
        return Line(name, UNKNOWN, silent, known=False)
    note = _against(e.stel_ppm, limits.gas_stel_ppm)
    if e.stel_unknown_s >= 1.0:
        note += f"; {duration(e.stel_unknown_s)} of it unknown"
    return Line(name, f"{e.stel_ppm:.2f} ppm", note, known=True)


def _eight_hours(run: Overview, limits: LimitTerms, watched: bool, silent: str) -> Line:
    name, e = "SO2, 8-hour average", run.exposure
    if not watched:
        return Line(name, UNKNOWN, silent, known=False)
    note = _against(e.twa_ppm, limits.gas_twa_ppm)
    if e.unknown_s >= 1.0:
        note += f"; {duration(e.unknown_s)} of the run unknown"
    return Line(name, f"{e.twa_ppm:.2f} ppm", note, known=True)


def _against(average_ppm: float, limit_ppm: float) -> str:
    return f"{'AT or OVER its limit of' if average_ppm >= limit_ppm else 'limit'} {limit_ppm:g} ppm"


def _drip(run: Overview, limits: LimitTerms, silent: str) -> Line:
    meter = run.metering.meter if run.metering is not None else "drops"
    if meter == "weighings":
        return Line("Count", "none", "this run is weighed", known=True)
    name = "Drip" if meter == "drops" else "Bubbles"
    if silent:
        return Line(name, UNKNOWN, silent, known=False)
    if run.forecast is None:
        return Line(name, UNKNOWN, "not counted on this route", known=False)
    if meter == "bubbles":
        note = f"on the wash bottle; alarm at {limits.gas_fast_l_per_min:g} L of gas a minute"
        return Line(name, f"{run.forecast.drip_per_min:.0f} a minute", note, known=True)
    note = f"alarm at {limits.drip_fast_per_min:g} a minute"
    return Line(name, f"{run.forecast.drip_per_min:.0f} drops/min", note, known=True)
