"""What a run log holds, as values: its settings' part in the page, its newest overview, when it was last written."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Any, Final, NamedTuple, cast, get_args

from monitor.core.events import (
    Accounted,
    AlarmState,
    CheckLine,
    Closing,
    Exposed,
    Forecast,
    Leak,
    Metering,
    Overview,
    Phase,
    Priority,
    Reading,
    StandingAlarm,
)
from monitor.errors import LogError, SettingsError
from monitor.settings import bench_from, parse_toml
from monitor.terms import LimitTerms, Route

LOG_ENV: Final = "SO2BENCH_LOG"  # names the log of the run that the pages belong to; whoever starts them sets it


class Sheet(NamedTuple):
    """What a run's settings say of it, for the page's head and the limits in its traces."""

    title: str
    bench: str
    invented: bool
    limits: LimitTerms


@lru_cache(maxsize=4)
def sheet_of(bench_toml: str, run_toml: str) -> Sheet:
    """The settings that a log carries.

    Raises:
        LogError: they cannot be understood.
    """
    try:
        run = parse_toml(run_toml, "run.toml in the log")
        bench = bench_from(parse_toml(bench_toml, "bench.toml in the log"), "bench.toml in the log")
    except SettingsError as why:
        raise LogError(str(why).splitlines()[0]) from why
    title = str(run.get("title", "untitled"))
    invented = "INVENTED" in bench_toml or "invented" in title.lower() or "demo" in title.lower()
    return Sheet(title, bench.name, invented, bench.limits)


def route_in(run_toml: str) -> Route | None:
    """The route of the run whose settings these are; None if they cannot be understood."""
    try:
        route = parse_toml(run_toml, "run.toml in the log")["generator"]["route"]
    except (SettingsError, KeyError, TypeError):
        return None
    return cast(Route, route) if route in get_args(Route) else None


def _closing(got: Mapping[str, Any]) -> Closing:
    return Closing(**{**got, "seen": tuple(got["seen"]), "missing": tuple(got["missing"])})


def overview_from(got: Mapping[str, Any]) -> Overview:
    """The log's newest overview as the value it was.

    Raises:
        LogError: its keys are not the ones wanted.
    """
    try:
        fields = dict(got)
        fields["phase"] = Phase(got["phase"])
        fields["plate"], fields["gas"] = Reading(**got["plate"]), Reading(**got["gas"])
        fields["account"] = None if got["account"] is None else Accounted(**got["account"])
        fields["forecast"] = None if got["forecast"] is None else Forecast(**got["forecast"])
        fields["metering"] = None if got["metering"] is None else Metering(**got["metering"])
        fields["leak"] = None if got.get("leak") is None else Leak(**got["leak"])
        fields["closing"] = None if got.get("closing") is None else _closing(got["closing"])
        fields["advice"] = tuple(got.get("advice", ()))
        fields["alarms_did"] = tuple(got.get("alarms_did", ()))
        fields["checks"] = tuple(CheckLine(**c) for c in got.get("checks", ()))
        fields["exposure"] = Exposed(**got["exposure"])
        fields["alarms"] = tuple(
            StandingAlarm(a["tag"], Priority(a["priority"]), AlarmState(a["state"]), a["since_s"], a["detail"])
            for a in got["alarms"]
        )
        return Overview(**fields)
    except (KeyError, TypeError, ValueError) as why:
        raise LogError(f"the log's newest overview cannot be understood: {why}") from why
