"""bench.toml and run.toml to validated, frozen terms; units by pint, here and at display, nowhere between.

A mistake is refused before anything starts, naming file, key, what was found and what is wanted; several mistakes
are reported together. The texts themselves are kept for the record.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache
from math import isfinite
from pathlib import Path
from typing import Any, cast, get_args

import pint

from monitor.chemistry import acids, bases, receivers
from monitor.chemistry.prices import dripped_kg_per_l, sulfuric_kg_per_l
from monitor.errors import SettingsError
from monitor.terms import (
    Acid,
    AcidOnSulfurTerms,
    BenchTerms,
    BurnerTerms,
    DripTerms,
    DropTerms,
    GasTerms,
    LearnedTerms,
    LimitTerms,
    Measured,
    Meter,
    MqttTerms,
    NotifyTerms,
    PlanTerms,
    PortTerms,
    PriceTerms,
    ReceiverTerms,
    RoomTerms,
    Route,
    RunTerms,
    Salt,
    ScrubberTerms,
    ThermocoupleTerms,
    Told,
)

LEAST_RUNS = 3  # fewer teach nothing: see `monitor.learning`
MAX_FILE = 256 * 1024  # bytes; a settings file is a page, not a book
BASE_MAX_MOL_PER_L = 20.0  # 50 % caustic soda is 19.1 mol/L; stronger is sold solid

# Defaults of the limits, each with its source. They are settings: local rules come first.
DEFAULT_LIMITS = {
    "gas_high": "2 ppm",  # NIOSH REL, 10-hour TWA; checked 2026-11 against the NIOSH IDLH page 7446-09-5
    "gas_high_high": "5 ppm",  # OSHA PEL (8 h TWA) and NIOSH STEL 5 ppm, taken here as a ceiling
    "gas_stel": "0.25 ppm",  # ACGIH TLV-STEL, 2009; from memory
    "gas_twa": "0.5 ppm",  # Directive (EU) 2017/164, 8 h
    "plate_high": "320 degC",  # below the decomposition of hot sulfuric acid, over 300 °C; common practice, no source
    "plate_high_high": "340 degC",  # sulfuric acid boils at 337 to 338 °C (98.3 % azeotrope)
    "drip_fast": "90 / minute",  # one and a half drops a second; common practice, no source
    "drip_stalled": "60 s",  # common practice, no source
    "gas_fast": "0.5 L/minute",  # by a tube of some 6 mm under a liquid, or it throws; common practice, no source
    # Half of Directive (EU) 2017/164, 8 h: a zero that crept down by as much then hides no more than that limit.
    "open_below": "0.25 ppm",
    "open_hold": "600 s",  # twenty times a usual sensor's T90; common practice, no source
    "open_plate": "45 degC",  # under the burn threshold of 48 °C for 10 min, ISO 13732-1:2006; from memory
}


# Pairs of route and meter that make no sense, and what is wanted instead.
SENSELESS_METERS: dict[tuple[Route, Meter], str] = {
    ("acid-on-sulfur", "drops"): '"bubbles" or "weighings", for no acid drips',
    ("burner", "drops"): '"weighings", for no acid drips',
    ("burner", "bubbles"): '"weighings", for the gas is mostly air',
}


@cache
def _units() -> pint.UnitRegistry[Any]:
    ureg: pint.UnitRegistry[Any] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    ureg.define("ppb = 1e-9")  # it knows ppm only
    return ureg


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
    example = f'a text like "{_EXAMPLES.get(unit, "1 " + unit)}"'
    found = _QUANTITY.match(text) if isinstance(text, str) else None
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


_SPREAD = "an uncertainty smaller than the value"
_EXAMPLES = {
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
    "mole / liter": "9.5 mol/L",
    "liter / minute": "4 L/minute",
    "liter": "1 L",
    "mole": "0.3 mol",
}


@dataclass
class _Table:
    """One TOML table under reading: takes keys out one by one, collects what is wrong."""

    file: str
    path: str
    data: dict[str, Any]
    wrong: list[str]
    seen: set[str] = field(default_factory=set)

    def say(self, key: str, found: str, wanted: str) -> None:
        shown = key if key.isprintable() else repr(key)  # each mistake stays one line
        name = f"{self.path}.{shown}" if self.path else shown
        self.wrong.append(f"{self.file}: {name}: found {found}, wanted {wanted}")

    def raw(self, key: str, default: Any = None, wanted: str = "a value") -> Any:
        self.seen.add(key)
        if key in self.data:
            return self.data[key]
        if default is None:
            self.say(key, "nothing", wanted)
        return default

    def has(self, key: str) -> bool:
        self.seen.add(key)
        return key in self.data

    def table(self, key: str, *, required: bool) -> _Table | None:
        self.seen.add(key)
        got = self.data.get(key)
        name = f"{self.path}.{key}" if self.path else key
        if got is None:
            if required:
                self.wrong.append(f"{self.file}: [{name}]: found nothing, wanted this table")
            return None
        if not isinstance(got, dict):
            self.say(key, repr(got)[:60], f"a table [{name}]")
            return None
        return _Table(self.file, name, got, self.wrong)

    def measured(
        self,
        key: str,
        unit: str,
        *,
        low: float | None = None,
        high: float | None = None,
        above: float | None = None,
        default: str | None = None,
        bounds: str = "",
    ) -> Measured:
        """A physical value inside its bounds (`low` and `high` inclusive, `above` exclusive)."""
        example = f'a text like "{_EXAMPLES.get(unit, unit)}"'
        raw = self.raw(key, default, example)
        if raw is None:
            return Measured(1.0)
        try:
            got = parse_quantity(raw, unit)
        except ValueError as why:
            self.say(key, repr(raw)[:60], str(why))
            return Measured(1.0)
        ok = (
            (low is None or got.value >= low)
            and (high is None or got.value <= high)
            and (above is None or got.value > above)
        )
        if not ok:
            self.say(key, repr(raw)[:60], bounds or _bounds_words(low, high, above, unit))
        elif (above is not None or (low is not None and low > 0.0)) and got.u >= got.value:
            self.say(key, repr(raw)[:60], _SPREAD)
        return got

    def value(self, key: str, unit: str, **bounds: Any) -> float:
        return self.measured(key, unit, **bounds).value

    def text(self, key: str, pattern: str, wanted: str, default: str | None = None) -> str:
        raw = self.raw(key, default, wanted)
        if raw is None:
            return ""
        if not isinstance(raw, str) or re.fullmatch(pattern, raw) is None:
            self.say(key, repr(raw)[:60], wanted)
            return ""
        return raw

    def switch(self, key: str, *, default: bool) -> bool:
        raw = self.raw(key, default)
        if not isinstance(raw, bool):
            self.say(key, repr(raw)[:60], "true or false")
            return default
        return raw

    def choice(self, key: str, options: tuple[str, ...], default: str | None = None) -> str:
        wanted = "one of " + ", ".join(options)
        raw = self.raw(key, default, wanted)
        if raw is not None and raw not in options:
            self.say(key, repr(raw)[:60], wanted)
        return raw if raw in options else options[0]

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        wanted = f"a number from {low:g} to {high:g}"
        raw = self.raw(key, default, wanted)
        if raw is None:
            return low
        if isinstance(raw, bool) or not isinstance(raw, (int, float)) or not low <= raw <= high:
            self.say(key, repr(raw)[:60], wanted)
            return low
        return float(raw)

    def day(self, key: str) -> date | None:
        self.seen.add(key)
        raw = self.data.get(key)
        if raw is None or (isinstance(raw, date) and type(raw) is date):
            return raw
        self.say(key, repr(raw)[:60], "a date like 2026-11-20, without quotes")
        return None

    def finish(self) -> None:
        """Every key that was never asked for is unknown."""
        for key in self.data:
            if key not in self.seen:
                known = ", ".join(sorted(self.seen))
                self.say(key, "this key", f"one of {known}")


def _bounds_words(low: float | None, high: float | None, above: float | None, unit: str) -> str:
    words = []
    if above is not None:
        words.append(f"more than {above:g}")
    if low is not None:
        words.append(f"at least {low:g}")
    if high is not None:
        words.append(f"at most {high:g}")
    return " and ".join(words) + f" {unit}"


def _read(path: Path) -> tuple[str, dict[str, Any]]:
    try:
        if path.stat().st_size > MAX_FILE:
            raise SettingsError(f"{path}: found {path.stat().st_size} bytes, wanted at most {MAX_FILE}")
        text = path.read_text("utf-8")
    except OSError as why:
        raise SettingsError(f"{path}: cannot be read: {why.strerror or why}") from why
    except UnicodeDecodeError as why:
        raise SettingsError(f"{path}: found bytes that are not UTF-8 text, wanted a TOML file") from why
    return text, parse_toml(text, str(path))


def parse_toml(text: str, name: str) -> dict[str, Any]:
    """The TOML document in `text`.

    Raises:
        SettingsError: not TOML; names `name` and the place.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as why:
        raise SettingsError(f"{name}: not TOML: {why}") from why


def load_bench(path: Path) -> tuple[BenchTerms, str]:
    """The apparatus and its text. A certificate file is looked for from the folder of bench.toml.

    Raises:
        SettingsError: with every mistake in the file.
    """
    text, data = _read(path)
    bench = bench_from(data, path.name)
    if bench.mqtt is not None and bench.mqtt.ca_file is not None:
        beside = str(path.absolute().parent / bench.mqtt.ca_file)  # an absolute one stays as it is
        bench = replace(bench, mqtt=replace(bench.mqtt, ca_file=beside))
    return bench, text


def load_run(path: Path) -> tuple[RunTerms, str]:
    """One generation and its text.

    Raises:
        SettingsError: with every mistake in the file.
    """
    text, data = _read(path)
    return run_from(data, path.name), text


def _refuse(wrong: list[str]) -> None:
    if wrong:
        raise SettingsError("\n".join(wrong))


def bench_from(data: dict[str, Any], file: str) -> BenchTerms:
    """Validate the contents of bench.toml.

    Raises:
        SettingsError: with every mistake.
    """
    wrong: list[str] = []
    top = _Table(file, "", data, wrong)
    name = top.text("name", r"[A-Za-z0-9-]{1,40}", "1 to 40 letters, digits or dashes")
    tables: list[_Table] = [top]

    def section(key: str, *, required: bool = True) -> _Table:
        got = top.table(key, required=required) or _Table(file, key, {}, [])
        tables.append(got)
        return got

    t = section("port")
    port = PortTerms(
        t.text("path", r".{1,400}", "a device path or a URL"), int(t.number("baud", 1200, 2_000_000, 115200))
    )
    t = section("drops")
    drops = DropTerms(
        t.measured("volume", "microliter", low=1.0, high=500.0, bounds="from 1 to 500 uL"), t.day("calibrated")
    )
    t = section("thermocouple", required=False)
    couple = ThermocoupleTerms(
        t.measured("offset", "delta_degC", low=-50.0, high=50.0, default="0 +/- 2.2 delta_degC"), t.day("calibrated")
    )
    t = section("gas")
    before = len(wrong)
    gas = GasTerms(
        zero_sum=t.number("zero_sum", 1, 65471),
        ppm_per_sum=t.number("ppm_per_sum", 1e-6, 10.0),
        range_ppm=t.value("range", "ppm", above=0.0, high=10000.0),
        relative_u=t.value("relative_uncertainty", "dimensionless", low=0.0, high=1.0, default="5 %"),
        t90_s=t.value("response_t90", "second", low=0.1, high=600.0, default="30 s"),
        noise_ppm=t.value("noise", "ppm", above=0.0, high=10.0, default="0.05 ppm"),
        calibrated=t.day("calibrated"),
        bump_tested=t.day("bump_tested"),
    )
    range_ppm = gas.range_ppm if len(wrong) == before else None
    t = section("room")
    room = RoomTerms(
        t.value("volume", "meter ** 3", above=0.0, high=1e6),
        t.value("ventilation", "meter ** 3 / hour", low=0.0, high=1e7),
    )
    t = section("limits", required=False)
    limits = _limits(t, range_ppm)
    mqtt = notify = None
    if "mqtt" in data:
        t = section("mqtt")
        mqtt = MqttTerms(
            t.text("url", r"mqtts?://[^\s]{1,300}", 'a URL like "mqtts://bench@broker.lab:8883", without a password'),
            t.text("password_env", r"[A-Za-z_][A-Za-z0-9_]*", "the name of an environment variable")
            if t.has("password_env")
            else None,
            t.text("ca_file", r".{1,400}", "the path of a PEM file") if t.has("ca_file") else None,
            t.switch("acknowledge", default=False),
        )
        if re.match(r"mqtts?://[^/@]*:[^/@]*@", mqtt.url):
            t.say("url", "a password in it", "the password in the environment variable that password_env names")
    if "notify" in data:
        t = section("notify")
        notify = NotifyTerms(
            t.text("urls_env", r"[A-Za-z_][A-Za-z0-9_]*", "the name of an environment variable"),
            cast(Told, t.choice("lowest", get_args(Told), "medium")),
            t.value("repeat", "second", low=30.0, high=86_400.0, default="5 minute"),
        )
    top.seen |= {"mqtt", "notify"}
    for table in tables:
        table.finish()
    _refuse(wrong)
    return BenchTerms(name, port, drops, couple, gas, room, limits, mqtt, notify)


def _limits(t: _Table, range_ppm: float | None) -> LimitTerms:
    before = len(t.wrong)

    def get(key: str, unit: str, **bounds: float) -> float:
        return t.value(key, unit, default=DEFAULT_LIMITS[key], **bounds)

    limits = LimitTerms(
        gas_high_ppm=get("gas_high", "ppm", above=0.0, high=100.0),
        gas_high_high_ppm=get("gas_high_high", "ppm", above=0.0, high=100.0),
        gas_stel_ppm=get("gas_stel", "ppm", above=0.0, high=100.0),
        gas_twa_ppm=get("gas_twa", "ppm", above=0.0, high=100.0),
        plate_high_c=get("plate_high", "degC", low=0.0, high=1300.0),
        plate_high_high_c=get("plate_high_high", "degC", low=0.0, high=1300.0),
        drip_fast_per_min=get("drip_fast", "1 / minute", above=0.0, high=3000.0),
        drip_stalled_s=get("drip_stalled", "second", low=1.0, high=86400.0),
        open_below_ppm=get("open_below", "ppm", above=0.0, high=100.0),
        open_hold_s=get("open_hold", "second", low=60.0, high=86400.0),
        open_plate_c=get("open_plate", "degC", low=0.0, high=1300.0),
        gas_fast_l_per_min=get("gas_fast", "liter / minute", above=0.0, high=1000.0),
    )
    if len(t.wrong) > before:
        return limits
    if limits.gas_high_high_ppm < limits.gas_high_ppm:
        t.say("gas_high_high", f"{limits.gas_high_high_ppm:g} ppm", f"at least gas_high, {limits.gas_high_ppm:g} ppm")
    if range_ppm is not None and limits.gas_high_high_ppm > range_ppm:
        t.say("gas_high_high", f"{limits.gas_high_high_ppm:g} ppm", f"at most gas.range, {range_ppm:g} ppm")
    if limits.open_below_ppm > limits.gas_high_ppm:
        if t.has("open_below"):
            t.say("open_below", f"{limits.open_below_ppm:g} ppm", f"at most gas_high, {limits.gas_high_ppm:g} ppm")
        limits = replace(limits, open_below_ppm=limits.gas_high_ppm)
    if limits.plate_high_high_c < limits.plate_high_c:
        t.say("plate_high_high", f"{limits.plate_high_high_c:g} degC", f"at least {limits.plate_high_c:g} degC")
    return limits


def run_from(data: dict[str, Any], file: str) -> RunTerms:
    """Validate the contents of run.toml.

    Raises:
        SettingsError: with every mistake.
    """
    wrong: list[str] = []
    top = _Table(file, "", data, wrong)
    title = top.text("title", r"[^\n]{1,200}", "a title of 1 to 200 characters")
    g = top.table("generator", required=True)
    if g is None:
        _refuse(wrong)
        raise AssertionError  # _refuse has raised
    route = cast(Route, g.choice("route", get_args(Route)))
    meter = cast(Meter, g.choice("meter", get_args(Meter)))
    if (route, meter) in SENSELESS_METERS:
        g.say("meter", repr(meter), f"{SENSELESS_METERS[route, meter]} on the {route} route")
    bubbles = meter == "bubbles"
    bubble = g.measured("bubble_volume", "microliter", above=0.0, high=10000.0) if bubbles else None
    bubble_day = g.day("bubble_calibrated") if bubbles else None
    for key in ("bubble_volume", "bubble_calibrated"):
        if not bubbles and g.has(key):
            g.say(key, "this key", 'it only beside meter = "bubbles"')
    builders: dict[str, Callable[[_Table], DripTerms | AcidOnSulfurTerms | BurnerTerms]] = {
        "acid-drip": _drip,
        "acid-on-sulfur": _acid_on_sulfur,
        "burner": _burner,
    }
    charge = builders[route](g)
    g.finish()
    receiver = scrubber = None
    t = top.table("receiver", required=False)
    if t is not None:
        receiver = _receiver(t, charge.temperature_c)
        t.finish()
    t = top.table("scrubber", required=False)
    if t is not None:
        scrubber = _scrubber(t)
        t.finish()
    planned, prices, learned = PlanTerms(), PriceTerms(), None
    t = top.table("plan", required=False)
    if t is not None:
        planned = _planned(t)
        t.finish()
    t = top.table("prices", required=False)
    if t is not None:
        prices = _prices(t, charge)
        t.finish()
    t = top.table("learned", required=False)
    if t is not None:
        learned = _learned(t)
        t.finish()
    top.finish()
    _refuse(wrong)
    return RunTerms(title, route, meter, charge, receiver, scrubber, bubble, bubble_day, planned, prices, learned)


def _surroundings(g: _Table) -> tuple[float, float]:
    t_c = g.value("temperature", "degC", low=0.0, high=100.0, default="22 degC", bounds="from 0 to 100 degC")
    p_pa = g.value("pressure", "pascal", low=5e4, high=1.2e5, default="1 atm", bounds="from 0.5 to 1.2 atm")
    return t_c, p_pa


def _strength(g: _Table, key: str, acid: Acid) -> tuple[Measured, Measured]:
    """Strength as mol/L and as mass fraction, whichever of the two was given."""
    example = 'a text like "30 %" or "9.5 mol/L"'
    raw = g.raw(key, None, example)
    nothing = Measured(1.0), Measured(0.1)
    if raw is None:
        return nothing
    by_mass = isinstance(raw, str) and ("%" in raw or "percent" in raw)
    try:
        given = parse_quantity(raw, "dimensionless" if by_mass else "mole / liter")
    except ValueError:
        g.say(key, repr(raw)[:60], example)
        return nothing
    convert = acids.mol_per_l_from_mass_fraction if by_mass else acids.mass_fraction_from_mol_per_l
    try:
        other = _carried(convert, acid, given)
    except ValueError as why:
        g.say(key, repr(raw)[:60], f"a strength that the tables hold: {why}")
        return nothing
    if given.u >= given.value:
        g.say(key, repr(raw)[:60], _SPREAD)
    return (other, given) if by_mass else (given, other)


def _carried(convert: Callable[[Acid, float], float], acid: Acid, given: Measured) -> Measured:
    """A strength converted, its uncertainty with it by the same proportion (the two are nearly proportional)."""
    value = convert(acid, given.value)
    return Measured(value, given.u * value / given.value)


def _drip(g: _Table) -> DripTerms:
    before = len(g.wrong)
    acid = cast(Acid, g.choice("acid", get_args(Acid)))
    molar, mass = _strength(g, "acid_strength", acid)
    t_c, p_pa = _surroundings(g)
    charge = DripTerms(
        salt=cast(Salt, g.choice("salt", get_args(Salt))),
        salt_mass_g=g.measured("salt_mass", "gram", above=0.0, high=1e5),
        salt_purity=g.measured("salt_purity", "dimensionless", above=0.0, high=1.0, default="97 +/- 1 %"),
        water_ml=g.value("water", "milliliter", above=0.0, high=1e6),
        acid=acid,
        acid_mol_per_l=molar,
        acid_mass_fraction=mass,
        acid_volume_ml=g.value("acid_volume", "milliliter", above=0.0, high=1e6),
        flask_volume_ml=g.value("flask_volume", "milliliter", above=0.0, high=1e6),
        temperature_c=t_c,
        pressure_pa=p_pa,
    )
    filled = charge.water_ml + charge.acid_volume_ml
    if len(g.wrong) == before and filled >= charge.flask_volume_ml:
        g.say("flask_volume", f"{charge.flask_volume_ml:g} mL", f"more than water and acid together, {filled:g} mL")
    return charge


def _acid_on_sulfur(g: _Table) -> AcidOnSulfurTerms:
    acid = cast(Acid, g.choice("acid", ("H2SO4",), "H2SO4"))
    molar, mass = _strength(g, "acid_strength", acid)
    t_c, p_pa = _surroundings(g)
    raw = g.raw("window", ["280 degC", "330 degC"])
    low = high = 0.0
    try:
        low, high = (parse_quantity(v, "degC").value for v in raw)
        if not 0.0 <= low < high <= 1300.0:
            raise ValueError
    except (ValueError, TypeError):
        wanted = 'two rising temperatures from 0 to 1300 degC like ["280 degC", "330 degC"]'
        g.say("window", repr(raw)[:60], wanted)
    return AcidOnSulfurTerms(
        sulfur_mass_g=g.measured("sulfur_mass", "gram", above=0.0, high=1e5),
        acid_mol_per_l=molar,
        acid_mass_fraction=mass,
        acid_volume_ml=g.value("acid_volume", "milliliter", above=0.0, high=1e6),
        window_c=(low, high),
        flask_volume_ml=g.value("flask_volume", "milliliter", above=0.0, high=1e6, default="500 mL"),
        temperature_c=t_c,
        pressure_pa=p_pa,
    )


def _burner(g: _Table) -> BurnerTerms:
    t_c, p_pa = _surroundings(g)
    return BurnerTerms(
        sulfur_mass_g=g.measured("sulfur_mass", "gram", above=0.0, high=1e5),
        draw_l_per_min=g.value("draw", "liter / minute", above=0.0, high=1000.0),
        temperature_c=t_c,
        pressure_pa=p_pa,
    )


def _receiver(t: _Table, temperature_c: float) -> ReceiverTerms:
    excess = t.value("excess", "dimensionless", low=0.0, high=10.0, default="0 %")
    if t.has("need"):
        for key in ("reaction", "amount"):
            if t.has(key):
                t.say(key, "this beside need", "either need, or reaction and amount")
        return ReceiverTerms(None, t.value("need", "mole", above=0.0, high=1e4) * (1.0 + excess), excess)
    reaction = t.choice("reaction", tuple(receivers.REACTIONS))
    raw = t.raw("amount", None, 'a text like "12 g" or "0.3 mol"')
    if raw is None:
        return ReceiverTerms(reaction, 1.0, excess)
    for unit, name in (("gram", "amount_g"), ("mole", "amount_mol")):
        try:
            amount = parse_quantity(raw, unit).value
        except ValueError:
            continue
        if 0.0 < amount <= 1e5:
            need = receivers.need_mol(reaction, excess=excess, temperature_c=temperature_c, **{name: amount})
            return ReceiverTerms(reaction, need, excess)
    t.say("amount", repr(raw)[:60], 'a positive amount like "12 g" or "0.3 mol", at most 100000 of either')
    return ReceiverTerms(reaction, 1.0, excess)


def _scrubber(t: _Table) -> ScrubberTerms:
    base = t.choice("base", ("NaOH", "Na2CO3"))
    volume_l = t.value("volume", "liter", above=0.0, high=1e4)
    example = 'a text like "10 %" or "2.8 mol/L"'
    raw = t.raw("strength", None, example)
    molar = 1.0
    if raw is not None:
        by_mass = isinstance(raw, str) and ("%" in raw or "percent" in raw)
        try:
            given = parse_quantity(raw, "dimensionless" if by_mass else "mole / liter").value
        except ValueError:
            t.say("strength", repr(raw)[:60], example)
            return ScrubberTerms(cast(Any, base), molar, volume_l)
        try:
            molar = bases.mol_per_l_from_mass_fraction(base, given) if by_mass else given
        except ValueError as why:
            t.say("strength", repr(raw)[:60], str(why))
        if not 0.0 < molar <= BASE_MAX_MOL_PER_L:
            t.say("strength", repr(raw)[:60], f"more than 0 and at most {BASE_MAX_MOL_PER_L:g} mol/L")
    return ScrubberTerms(cast(Any, base), molar, volume_l)


def _planned(t: _Table) -> PlanTerms:
    rate = t.value("rate", "1 / minute", above=0.0, high=3000.0) if t.has("rate") else None
    return PlanTerms(rate, t.value("warm", "degC", low=0.0, high=100.0, default="60 degC"))


_PRICE = re.compile(r"\s*([0-9.]+(?:[eE][-+]?[0-9]+)?)\s*([^\W\d_]{1,10}|[€$£¥])\s*(?:/|\bper\b)\s*(.+)")


def parse_price(text: object, kg_per_l: float | None = None) -> tuple[float, str]:
    """Read "12 EUR/kg" or "30 EUR / 25 kg" as the price of a kilogram and the currency.

    With `kg_per_l`, the density of a liquid, it is the price of a litre, whether stated by volume or by mass.

    Raises:
        ValueError: not such a text; the message says what is wanted.
    """
    example = 'a price like "12 EUR/kg"' + ("" if kg_per_l is None else ' or "6.50 EUR/L"')
    found = _PRICE.fullmatch(text) if isinstance(text, str) else None
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


def _prices(t: _Table, charge: DripTerms | AcidOnSulfurTerms | BurnerTerms) -> PriceTerms:
    whole = len(t.wrong) == 0  # else the charge may be none, and has no density
    got: dict[str, float] = {}
    currencies: dict[str, str] = {}
    liquids = {
        "acid": dripped_kg_per_l(charge) if whole else 1.0,
        "sulfuric": sulfuric_kg_per_l(charge) if whole else 1.0,
    }
    for key in ("salt", "acid", "sulfuric", "sulfur"):
        if not t.has(key):
            continue
        raw = t.data[key]
        try:
            per, currency = parse_price(raw, liquids.get(key))
        except ValueError as why:
            t.say(key, repr(raw)[:60], str(why))
            continue
        got[f"{key}_per_l" if key in liquids else f"{key}_per_kg"] = per
        currencies.setdefault(currency, key)
        if len(currencies) > 1:
            first = next(iter(currencies))
            t.say(key, f"a price in {currency}", f"one in {first}, as {currencies[first]} is: nothing is converted")
            currencies.pop(currency)
    return PriceTerms(**got, currency=next(iter(currencies), ""))


def _learned(t: _Table) -> LearnedTerms:
    share = t.measured("yield", "dimensionless", low=0.1, high=1.5, bounds="from 10 to 150 %")
    runs = int(t.number("runs", LEAST_RUNS, 10_000))
    days: dict[str, date] = {}
    for key in ("since", "fitted"):
        day = t.day(key)
        if day is None and not t.has(key):
            t.say(key, "nothing", "a date like 2026-11-20, without quotes")
        days[key] = day or date.min
    return LearnedTerms(share, runs, days["since"], days["fitted"])


def problems(why: SettingsError) -> Iterator[str]:
    """The mistakes of a refusal, one by one."""
    yield from str(why).splitlines()
