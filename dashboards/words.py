"""Numbers and times as a person reads them. Formatting alone: what a value is, others have settled."""

from __future__ import annotations

from datetime import UTC, datetime
from math import floor, log10

from monitor.terms import COVERAGE

UNKNOWN = "unknown"
_MOST_DECIMALS = 6


def plain(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, without exponent, with a true minus sign."""
    return _fixed(value, max(0, _decimals(value, digits)))


def with_uncertainty(value: float, u: float | None, unit: str) -> str:
    """A value ± two standard uncertainties, both to the two significant digits of the latter (GUM 7.2.6).

    Without an uncertainty only the value is given.
    """
    if u is None or COVERAGE * u < 10.0**-_MOST_DECIMALS:
        return f"{plain(value)} {unit}"
    expanded = COVERAGE * u
    decimals = _decimals(expanded, 2)
    shown = max(0, decimals)
    return f"{_fixed(round(value, decimals), shown)} ± {round(expanded, decimals):.{shown}f} {unit}"


def _decimals(value: float, digits: int) -> int:
    """Decimal places that show `value` to so many significant digits; 9.99 to two is 10, and needs none."""
    if abs(value) < 10.0**-_MOST_DECIMALS:
        return 0
    first = digits - 1 - floor(log10(abs(value)))
    return min(_MOST_DECIMALS, digits - 1 - floor(log10(abs(round(value, first)))))


def _fixed(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    if text.startswith("-"):
        text = text[1:] if float(text) == 0.0 else "\N{MINUS SIGN}" + text[1:]
    return text


def count(number: int, one: str) -> str:
    """So many of a thing that `one` names."""
    return f"{number:,} {one}{'' if number == 1 else 's'}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def clock(utc_s: float) -> str:
    """The time of day on this machine."""
    return f"{datetime.fromtimestamp(utc_s, tz=UTC).astimezone():%H:%M:%S}"
