"""One bench of the list in words: what a row of the page or of the terminal's table says.

Promise: nothing old stands as though it were now. Numbers of a bench that is not heard from, or whose newest state is
older than its life, are unknown; a value that the bench itself does not believe is unknown too, or "over" a bound.
"""

from __future__ import annotations

from typing import NamedTuple

from monitor.benches.judging import STATE_S, Judged
from monitor.benches.levels import WAITING, WORDS, Level, alarm_key, calls
from monitor.benches.picture import Row
from monitor.benches.said import Alarm, Standing, State
from monitor.core.events import Reading
from monitor.core.spans import duration
from monitor.report.words import number

UNKNOWN = "unknown"
BOARD_SILENT_S = 3.0  # as for the alarm LINK-LOST
SIGNS = {
    Level.NOT_HEARD: "?",
    Level.HIGH_WAITING: "!!!",
    Level.HIGH: "!!!",
    Level.MEDIUM_WAITING: "!!",
    Level.MEDIUM: "!!",
    Level.LOW_WAITING: "!",
    Level.LOW: "!",
    Level.QUIET: "○",
    Level.ENDED: "–",
}


class Cells(NamedTuple):
    """A row. `since_utc_s` is by the bench's clock, for the alarm; None where no alarm calls."""

    name: str
    level: Level
    sign: str
    word: str
    what: str
    since: str
    since_utc_s: float | None
    phase: str
    gas: str
    plate: str
    rate: str
    over: str
    known: bool


def cells_of(row: Row, now_s: float) -> Cells:
    """The row at that monotonic second."""
    judged, alarms = row.judged, calling(row)
    state = current_state(row, now_s)
    alarm = alarms[0] if alarms and judged.level not in (Level.NOT_HEARD, Level.ENDED) else None
    what, since, since_utc_s = judged.why, _silence(judged, now_s), None
    if alarm is not None and row.standing is not None:
        what = alarm.title + _more(alarms[1:])
        since = f"for {duration(stood_s(alarm, row, now_s))}"
        since_utc_s = began_utc_s(alarm, row.standing)
    elif judged.level is Level.QUIET:
        what = _air(state)
    return Cells(
        name=judged.name,
        level=judged.level,
        sign=SIGNS[judged.level],
        word=WORDS[judged.level],
        what=what,
        since=since,
        since_utc_s=since_utc_s,
        phase=_phase(row.state, known=state is not None),
        gas=_reading(believed(state.gas, state), "ppm") if state is not None else UNKNOWN,
        plate=_reading(believed(state.plate, state), "°C") if state is not None else UNKNOWN,
        rate=_rate(state),
        over=_over(state),
        known=state is not None,
    )


def calling(row: Row) -> list[Alarm]:
    """The alarms that want somebody, worst first."""
    return sorted(filter(calls, row.standing.alarms), key=alarm_key) if row.standing is not None else []


def current_state(row: Row, now_s: float) -> State | None:
    """The state, if it may be shown as though it were now."""
    judged = row.judged
    if judged.level in (Level.NOT_HEARD, Level.ENDED) or judged.state_s is None:
        return None
    return row.state if now_s - judged.state_s <= STATE_S else None


def silent_board(state: State) -> str:
    """Why the bench's board says nothing now; empty while it does."""
    if state.sample_age_s is None:
        return "nothing received from the board yet"
    return "no word from the board" if state.sample_age_s > BOARD_SILENT_S else ""


def believed(got: Reading, state: State) -> Reading:
    """A reading of that state, as far as it may be taken for one of now."""
    why = silent_board(state)
    return Reading(None, why=why) if why else got


def stood_s(alarm: Alarm, row: Row, now_s: float) -> float:
    """For how long an alarm has stood: by the bench's own run time, and since then by this machine's."""
    if row.standing is None or row.judged.standing_s is None:
        return 0.0
    return max(0.0, row.standing.t_s - alarm.since_s) + max(0.0, now_s - row.judged.standing_s)


def began_utc_s(alarm: Alarm, standing: Standing) -> float:
    """When an alarm began, by the bench's clock."""
    return max(0.0, standing.utc_s - max(0.0, standing.t_s - alarm.since_s))


def _more(others: list[Alarm]) -> str:
    if not others:
        return ""
    waiting = sum(alarm.state in WAITING for alarm in others)
    return f" (+{len(others)} more{f', {waiting} not acknowledged' if waiting else ''})"


def _air(state: State | None) -> str:
    """What is missing where no alarm stands: a quiet row must not pass for known air."""
    if state is None:
        return "no alarm, but no word on how it stands"
    air = believed(state.gas, state)
    known = air.value is not None or air.at_least is not None
    return "" if known else f"air not known: {air.why or 'no reason given'}"


def _silence(judged: Judged, now_s: float) -> str:
    if judged.level not in (Level.NOT_HEARD, Level.ENDED):
        return ""
    if judged.heard_s is None:
        return "not once since this began to listen"
    return f"last heard {duration(now_s - judged.heard_s)} ago"


def _phase(state: State | None, *, known: bool) -> str:
    if state is None:
        return UNKNOWN
    return state.phase.value if known else f"was {state.phase.value}"


def _reading(got: Reading, unit: str) -> str:
    if got.value is not None:
        return f"{got.value:.2f} {unit}" if unit == "ppm" else f"{got.value:.0f} {unit}"
    return UNKNOWN if got.at_least is None else f"over {number(got.at_least)} {unit}"


def _rate(state: State | None) -> str:
    if state is None:
        return UNKNOWN
    if state.metered is not None and state.metered.meter == "weighings":
        return "weighed"
    if silent_board(state):
        return UNKNOWN
    return "not counted" if state.forecast is None else f"{state.forecast.drip_per_min:.0f}/min"


def _over(state: State | None) -> str:
    if state is None:
        return UNKNOWN
    if state.account is None:
        return "not counted"
    need = state.forecast.need_mol if state.forecast is not None else None
    of = f" of {need:.3f} mol" if need is not None else " mol"
    if state.metered is not None and state.metered.meter == "weighings" and not state.metered.weighings:
        return f"not weighed{'' if need is None else of}"
    return f"{max(0.0, state.account.delivered_mol):.3f}{of}"
