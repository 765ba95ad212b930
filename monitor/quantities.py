"""Texts with units to plain numbers: "38.4 +/- 0.6 uL", "12 EUR/kg". Units by pint, here and nowhere between.

Promise: a text is read wholly or refused with an example of what is wanted; the units library, which would evaluate
more than a unit, sees nothing but a product of units with small powers.
"""

from __future__ import annotations

import re
from functools import cache
from math import isfinite
from typing import Any

import pint

from monitor.terms import Measured


@cache
def _units() -> pint.UnitRegistry[Any]:
    ureg: pint.UnitRegistry[Any] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    ureg.define("ppb = 1e-9")  # it knows ppm only
    return ureg


MAX_TEXT = 200  # characters: a value has a few dozen, and the time to look through blanks grows as their square
_QUANTITY = re.compile(
    r"^\s*([-+]?[0-9.]+(?:[eE][-+]?[0-9]+)?)\s*(?:(?:\+/-|±)\s*([0-9.]+(?:[eE][-+]?[0-9]+)?))?\s*(.*?)\s*$"
)
# A product of units with small powers: the units library would read more, up to towers of powers without end.
_FACTOR = r"(?:1|[A-Za-z°µμ_][A-Za-z0-9°_]*)(?:\s*(?:\*\*|\^)\s*-?[1-9]|[⁻¹²³]{1,2})?"
_UNIT = re.compile(rf"(?:/\s*)?{_FACTOR}(?:\s*[*/·]\s*{_FACTOR}|\s+{_FACTOR})*|%?")


def parse_quantity(text: object, unit: str) -> Measured:
    """Read "38.4 +/- 0.6 uL" as a value and its standard uncertainty in `unit`.

    Raises:
        ValueError: not such a text, or of another dimension; the message says what is wanted.
    """
    example = f'a text like "{EXAMPLES.get(unit, "1 " + unit)}"'
    found = _QUANTITY.match(text) if isinstance(text, str) and len(text) <= MAX_TEXT else None
    if found is None:
        raise ValueError(example)
    number, spread, unit_text = found.groups()
    if len(unit_text) > 60 or _UNIT.fullmatch(unit_text) is None:
        raise ValueError(example)
    unit_text = unit_text.replace("%", "percent")
    if unit_text.startswith("/"):
        unit_text = "1 " + unit_text
    q = _units().Quantity
    try:
        value, u = float(number), float(spread or 0.0)
        given = _units().parse_units(unit_text) if not unit_text.startswith("1 ") else q(unit_text).units
        size = float(q(value, given).to(unit).magnitude)
        if unit in ("degC", "degF", "kelvin"):
            per = float(q(1.0, _delta(str(given))).to("delta_degC").magnitude)
        else:
            per = float(q(1.0, given).to(unit).magnitude)
    except (pint.PintError, ValueError, TypeError, AttributeError, AssertionError, KeyError) as why:
        raise ValueError(example) from why
    u = abs(u * per)
    if not (isfinite(size) and isfinite(u)):
        raise ValueError(example)
    return Measured(size, u)


def _delta(unit: str) -> str:
    return {"degree_Celsius": "delta_degC", "degree_Fahrenheit": "delta_degF"}.get(unit, unit)


EXAMPLES = {
    "microliter": "38.4 +/- 0.6 uL",
    "delta_degC": "0.4 +/- 0.8 delta_degC",
    "dimensionless": "30 %",
    "ppm": "2 ppm",
    "second": "60 s",
    "meter ** 3": "60 m^3",
    "meter ** 3 / hour": "600 m^3/hour",
    "degC": "320 degC",
    "1 / minute": "90 / minute",
    "gram": "80 +/- 0.5 g",
    "milliliter": "120 mL",
    "pascal": "1 atm",
    "hectopascal": "1002 +/- 1 hPa",
    "mole / liter": "9.5 mol/L",
    "liter / minute": "4 L/minute",
    "liter": "1 L",
    "mole": "0.3 mol",
}


_PRICE = re.compile(r"\s*([0-9.]+(?:[eE][-+]?[0-9]+)?)\s*([^\W\d_]{1,10}|[€$£¥])\s*(?:/|\bper\b)\s*(.+)")


def parse_price(text: object, kg_per_l: float | None = None) -> tuple[float, str]:
    """Read "12 EUR/kg" or "30 EUR / 25 kg" as the price of a kilogram and the currency.

    With `kg_per_l`, the density of a liquid, it is the price of a litre, whether stated by volume or by mass.

    Raises:
        ValueError: not such a text; the message says what is wanted.
    """
    example = 'a price like "12 EUR/kg"' + ("" if kg_per_l is None else ' or "6.50 EUR/L"')
    found = _PRICE.fullmatch(text) if isinstance(text, str) and len(text) <= MAX_TEXT else None
    if found is None:
        raise ValueError(example)
    number, currency, amount = found.groups()
    amount = amount if amount[0].isdigit() else f"1 {amount}"
    for unit, litres_per in (("kilogram", None if kg_per_l is None else 1.0 / kg_per_l), ("liter", 1.0)):
        try:
            price, size = float(number), parse_quantity(amount, unit).value
        except ValueError:
            continue
        if size <= 0.0 or (unit == "liter" and kg_per_l is None):
            break
        per = price / (size * (litres_per or 1.0))
        if isfinite(per):
            return per, currency
    raise ValueError(example)
