"""bench.toml and run.toml to validated, frozen terms.

A mistake is refused before anything starts, naming file, key, what was found and what is wanted; several mistakes
are reported together. The texts themselves are kept for the record.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any, cast, get_args

from monitor.settings_run import run_from
from monitor.settings_table import Table, parse_toml, read, refuse, refuse_the_other
from monitor.terms import (
    BenchTerms,
    DropTerms,
    GasTerms,
    LimitTerms,
    MqttTerms,
    NotifyTerms,
    PortTerms,
    RoomTerms,
    RunTerms,
    ThermocoupleTerms,
    Told,
)

__all__ = ["bench_from", "load_bench", "load_run", "parse_toml", "run_from"]

# The tables that each file alone has: by them the one is known when it is given for the other.
BENCH_TABLES = frozenset({"port", "drops", "thermocouple", "gas", "room", "limits", "mqtt", "notify"})
RUN_TABLES = frozenset({"generator", "receiver", "scrubber", "plan", "prices", "learned"})

BROKER_URL = 'a URL like "mqtts://bench@broker.lab:8883", without a password and without blanks'

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


def load_bench(path: Path) -> tuple[BenchTerms, str]:
    """The apparatus and its text. A certificate file is looked for from the folder of bench.toml.

    Raises:
        SettingsError: with every mistake in the file.
    """
    text, data = read(path)
    refuse_the_other(path, data, "the apparatus", BENCH_TABLES, "a generation", RUN_TABLES)
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
    text, data = read(path)
    refuse_the_other(path, data, "a generation", RUN_TABLES, "the apparatus", BENCH_TABLES)
    return run_from(data, path.name), text


def bench_from(data: dict[str, Any], file: str) -> BenchTerms:
    """Validate the contents of bench.toml.

    Raises:
        SettingsError: with every mistake.
    """
    wrong: list[str] = []
    top = Table(file, "", data, wrong)
    name = top.text("name", r"[A-Za-z0-9-]{1,40}", "1 to 40 letters, digits or dashes")
    tables: list[Table] = [top]

    def section(key: str, *, required: bool = True) -> Table:
        got = top.table(key, required=required) or Table(file, key, {}, [])
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
            t.text("url", r"mqtts?://[^\s]{1,300}", BROKER_URL, hidden=True),
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
    refuse(wrong)
    return BenchTerms(name, port, drops, couple, gas, room, limits, mqtt, notify)


def _limits(t: Table, range_ppm: float | None) -> LimitTerms:
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
