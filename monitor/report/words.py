"""Numbers and times as a report writes them: a true minus sign, ± to the two digits that it is known to."""

from __future__ import annotations

from datetime import UTC, datetime
from math import floor, isfinite, log10

from monitor.core import spans
from monitor.terms import COVERAGE

UNKNOWN = "not known"
_MOST_DECIMALS = 6


def number(value: float | None, digits: int = 3, unit: str = "") -> str:
    """A number to so many significant digits without exponent; None is said in words."""
    if value is None or not isfinite(value):
        return UNKNOWN
    return _fixed(value, _decimals(value, digits)) + (f" {unit}" if unit else "")


def with_u(value: float | None, u: float | None, unit: str) -> str:
    """A value ± two standard uncertainties, both to the place of the latter's second digit (JCGM 100:2008, 7.2.6)."""
    if value is None or u is None or COVERAGE * u < 10.0**-_MOST_DECIMALS:
        return number(value, 3, unit)
    places = _decimals(COVERAGE * u, 2)
    return f"{_fixed(round(value, places), places)} ± {_fixed(round(COVERAGE * u, places), places)} {unit}"


def _decimals(value: float, digits: int) -> int:
    """Decimals that show so many digits, never below nought: a whole number is shown whole."""
    if abs(value) < 10.0**-_MOST_DECIMALS:
        return 0
    return min(_MOST_DECIMALS, max(0, digits - 1 - floor(log10(abs(value)))))


def _fixed(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    if text.startswith("-"):
        return text[1:] if float(text) == 0.0 else "\N{MINUS SIGN}" + text[1:]
    return text


def run_clock(t_s: float | None) -> str:
    """Run time as hours, minutes, seconds; nothing for None."""
    return "" if t_s is None else spans.run_clock(t_s)


def moment(utc_s: float) -> str:
    """A moment in UTC, to the second."""
    try:
        return f"{datetime.fromtimestamp(utc_s, tz=UTC):%Y-%m-%d %H:%M:%S} UTC"
    except (ValueError, OverflowError, OSError):
        return UNKNOWN
