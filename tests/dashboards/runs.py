"""Overviews and run logs made by hand for the page's tests; the numbers are invented."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from dashboards.source import Sheet, sheet_of
from monitor.core.events import (
    Accounted,
    AlarmState,
    Event,
    Exposed,
    Forecast,
    Instant,
    Metering,
    Overview,
    Phase,
    Priority,
    Reading,
    Sampled,
    StandingAlarm,
)
from monitor.edges import runlog
from monitor.edges.logreader import Header
from tests.dashboards.live import BENCH_TOML, RUN_TOML

UTC_S = 1_800_000_000.0
SHEET: Sheet = sheet_of(BENCH_TOML, RUN_TOML)
ACCOUNT = Accounted(100.0, 244, 9.37, 0.21, 0.09, 0.12, 0.61, 0.004, 0.003, 0.0021, 0.02)
FORECAST = Forecast(57.0, 0.02, 0.577, 0.0016, 0.334, 412, 7.25, 100.6)
METERING = Metering("acid-drip", "drops", 38.3, 0.4, 38.4, 0.6, 0, None)
QUIET = Overview(
    t_s=100.0,
    utc_s=UTC_S,
    phase=Phase.GENERATING,
    permit_on=True,
    permit_why="asked for by bench",
    sample_age_s=0.2,
    plate=Reading(78.0, 0.8),
    gas=Reading(0.12, 0.16),
    account=ACCOUNT,
    forecast=FORECAST,
    exposure=Exposed(100.0, 0.04, 0.05, 0.0, 0.01, 0.0),
    alarms=(),
    frames_accepted=1000,
    frames_rejected=2,
    frames_lost=1,
    restarts=0,
    metering=METERING,
)
OPEN = Header(
    BENCH_TOML, RUN_TOML, Instant(0.0, UTC_S - 100.0), Instant(100.0, UTC_S), closed=False, made_by="a test"
)
CLOSED = OPEN._replace(closed=True)


def standing(
    tag: str,
    priority: Priority = Priority.HIGH,
    state: AlarmState = AlarmState.UNACKNOWLEDGED,
    since_s: float = 60.0,
    detail: str = "what was seen",
) -> StandingAlarm:
    return StandingAlarm(tag, priority, state, since_s, detail)


def write_log(path: Path, events: Sequence[Event], title_toml: str = RUN_TOML) -> Path:
    """A run log with these events, closed by its writer."""
    header = {
        "bench_toml": BENCH_TOML,
        "run_toml": title_toml,
        "made_by": "a test",
        "start_mono_s": "0.0",
        "start_utc_s": repr(UTC_S - 100.0),
    }
    runlog.create(path, header)
    writer = runlog.LogWriter(path, _trouble)
    newest_s = max((e.t_s for e in events if isinstance(e, (Overview, Sampled))), default=0.0)
    writer.write(list(events), Instant(newest_s, UTC_S))
    writer.close()
    return path


def _trouble(failing: bool, text: str) -> None:
    raise AssertionError(f"the log of a test cannot be written: {failing}, {text}")


def sampled(t_s: float, gas_ppm: float | None = 0.1, plate_c: float | None = 78.0) -> Sampled:
    gas = Reading(gas_ppm, 0.1) if gas_ppm is not None else Reading(None, why="frozen")
    plate = Reading(plate_c, 0.8) if plate_c is not None else Reading(None, why="open")
    return Sampled(t_s, 0, 0, plate, 24.5, gas, 5, 0x0B)
