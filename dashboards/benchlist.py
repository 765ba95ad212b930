"""The list of benches as the page shows it: what was read, whether it is fresh, and one bench in words.

Promise: when the program that listens has stopped, no bench is shown as though it were heard.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from dashboards.alarms import STATE_WORDS
from dashboards.words import UNKNOWN, clock, count, plain, with_uncertainty
from monitor.benches.cells import (
    Cells,
    began_utc_s,
    believed,
    calling,
    cells_of,
    current_state,
    silent_board,
    stood_s,
)
from monitor.benches.levels import Level
from monitor.benches.picture import LIST_NAME, Picture, Row, Whole, decoded
from monitor.benches.said import Alarm, State
from monitor.benches.table import away_words, refused_lines
from monitor.core.catalogue import CATALOGUE
from monitor.core.events import Priority, Reading
from monitor.core.spans import duration
from monitor.terms import Route

STALE_S = 5.0  # the list is written every second
DRAWN = 60  # benches at first, and with each wish for more
STOPPED = "the program that listens has stopped"
NOT_KNOWN_HERE = "This program does not know this alarm: go to the bench, with care, and read it there."


class Alarmed(NamedTuple):
    """A standing alarm as its card says it."""

    priority: Priority
    title: str
    tag: str
    state_words: str
    since: str
    detail: str
    consequence: str
    response: str
    time_to_respond: str
    stands: bool


class One(NamedTuple):
    """One bench: its row, its alarms, its numbers by name, what came lately, and what is known of the hearing."""

    cells: Cells
    alarms: tuple[Alarmed, ...]
    numbers: tuple[tuple[str, str], ...]
    lately: tuple[str, ...]
    hearing: tuple[str, ...]


def read(folder: Path) -> Picture:
    """The newest list.

    Raises:
        OSError: there is none.
        ValueError: it is not one.
    """
    return decoded((folder / LIST_NAME).read_bytes())


def stopped(whole: Whole, now_s: float) -> bool:
    """Whether nobody renews the list any more."""
    return not 0.0 <= now_s - whole.now_s <= STALE_S


def warnings(whole: Whole, now_s: float) -> Iterator[str]:
    """What must be said before anything else."""
    if stopped(whole, now_s):
        yield (
            f"NOBODY LISTENS: {STOPPED}, last word at {clock(whole.utc_s)}. Start so2bench benches again; until then "
            "take no bench as watched."
        )
    elif whole.broker is not None and not whole.broker.connected:
        yield away_words(whole.broker, now_s, clock(whole.broker.since_utc_s))


def left_out(whole: Whole) -> tuple[str, ...]:
    """What was not taken for a bench's word, by cause."""
    return tuple(refused_lines(whole.refused, whole.benches_max))


def counts(whole: Whole, now_s: float) -> dict[Level, int]:
    """How many benches there are of each kind."""
    if not stopped(whole, now_s):
        return dict(whole.counts)
    return {level: sum(whole.counts.values()) if level is Level.NOT_HEARD else 0 for level in Level}


def drawn_rows(picture: Picture, count: int, now_s: float) -> list[Cells]:
    """The worst so many, as rows."""
    return [cells_of(_true(row, picture.whole, now_s), now_s) for row in picture.rows(0, count)]


def _true(row: Row, whole: Whole, now_s: float) -> Row:
    if not stopped(whole, now_s):
        return row
    return row._replace(judged=row.judged._replace(level=Level.NOT_HEARD, why=STOPPED))


# --- one bench ----------------------------------------------------------------------------------------------------


def one(picture: Picture, name: str, now_s: float) -> One | None:
    """The bench of that name in full; None if it is not on the list."""
    row = picture.one(name)
    if row is None:
        return None
    row = _true(row, picture.whole, now_s)
    state = current_state(row, now_s)
    return One(
        cells=cells_of(row, now_s),
        alarms=tuple(_alarmed(alarm, row, now_s) for alarm in calling(row)),
        numbers=() if state is None else tuple(_numbers(state)),
        lately=tuple(_lately(row)),
        hearing=tuple(_hearing(row, now_s)),
    )


def _alarmed(alarm: Alarm, row: Row, now_s: float) -> Alarmed:
    said = next((c for c in reversed(row.changes) if c.tag == alarm.tag), None)
    kind = CATALOGUE.get(alarm.tag)
    response, time = NOT_KNOWN_HERE, UNKNOWN
    if said is not None:
        response, time = said.response, said.time_to_respond
    elif kind is not None:
        response, time = kind.response(_route(row)), kind.time_to_respond
    assert row.standing is not None
    began, stood = clock(began_utc_s(alarm, row.standing)), duration(stood_s(alarm, row, now_s))
    return Alarmed(
        priority=alarm.priority,
        title=alarm.title,
        tag=alarm.tag,
        state_words=STATE_WORDS.get(alarm.state, alarm.state.value),
        since=f"since {began} by its clock, for {stood}",
        detail=alarm.detail,
        consequence="" if kind is None else kind.consequence,
        response=response,
        time_to_respond=time,
        stands=row.judged.level not in (Level.NOT_HEARD, Level.ENDED),
    )


def _route(row: Row) -> Route | None:
    """The route of its run, as far as it says it."""
    return row.state.metered.route if row.state is not None and row.state.metered is not None else None


def _numbers(s: State) -> Iterator[tuple[str, str]]:
    yield "Phase", s.phase.value
    yield "Permit", f"{'on' if s.permit_on else 'off'}: {s.permit_why}"
    yield "SO2 at the sensor", _reading(believed(s.gas, s), "ppm")
    yield "SO2, 15-minute average", f"{s.exposure.stel_ppm:.2f} ppm (most {s.exposure.stel_max_ppm:.2f})"
    yield "SO2, 8-hour average", f"{s.exposure.twa_ppm:.2f} ppm"
    if s.leak is not None:
        yield "Leak", _leak(s)
    yield "Plate", _reading(believed(s.plate, s), "°C")
    if s.account is not None:
        yield "Gone over", with_uncertainty(s.account.delivered_mol, s.account.u_delivered_mol, "mol")
        yield "Held in the flask", with_uncertainty(s.account.held_mol, s.account.u_held_mol, "mol")
        yield "Made", with_uncertainty(s.account.generated_mol, s.account.u_generated_mol, "mol")
    f = s.forecast
    if f is not None:
        yield "Needed", "not named" if f.need_mol is None else f"{plain(f.need_mol)} mol"
        rate = f"{f.drip_per_min:.0f}/min, {plain(1e3 * f.delivery_mol_per_min)} mmol/min going over"
        silent = silent_board(s)
        yield "Rate", f"{UNKNOWN}: {silent}" if silent else rate
        yield "Still to come", f"{plain(f.still_to_come_mol)} mol"
        if f.minutes_to_need is not None:
            yield "Until the need is met", f"{plain(f.minutes_to_need)} min"
        yield "Acid left", f"{plain(f.acid_left_ml)} mL"
    yield "Run time", duration(s.t_s)
    yield "Samples", f"{s.frames_accepted}, {s.frames_lost} lost, {s.frames_rejected} lines rejected"
    yield "Board restarted", count(s.restarts, "time")


def _reading(got: Reading, unit: str) -> str:
    if got.value is not None:
        return with_uncertainty(got.value, got.u, unit)
    over = "" if got.at_least is None else f", over {plain(got.at_least)} {unit}"
    return f"{UNKNOWN}{over}: {got.why}"


def _leak(s: State) -> str:
    assert s.leak is not None
    if s.leak.mg_per_min is None:
        return "heard; its size is not known yet"
    u = s.leak.u_mg_per_min
    return f"{plain(s.leak.mg_per_min)}{'' if u is None else f' ± {plain(u)}'} mg/min"


def _lately(row: Row) -> Iterator[str]:
    for c in reversed(row.changes):
        who = f" by {c.who}" if c.who else ""
        seen = f" ({c.detail})" if c.detail else ""
        yield f"{clock(c.utc_s)}  {c.tag}: {c.title}, {c.after.value}{who}{seen}"


def _hearing(row: Row, now_s: float) -> Iterator[str]:
    judged, state = row.judged, row.state
    if judged.heard_s is not None:
        yield f"Last heard {duration(now_s - judged.heard_s)} ago."
    if state is not None and judged.state_s is not None and judged.clock_ahead_s is not None:
        yield f"Its newest state is {duration(now_s - judged.state_s)} old; its clock said {clock(state.utc_s)} then."
        ahead_s = judged.clock_ahead_s
        if abs(ahead_s) >= 1.0:
            yield f"Its clock is {duration(abs(ahead_s))} {'ahead of' if ahead_s > 0.0 else 'behind'} this machine's."
    missed = judged.states_missed, judged.changes_missed
    yield f"Missed here of this monitor's messages: {missed[0]} states, {missed[1]} alarm changes."
