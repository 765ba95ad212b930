"""The run log as what there is to show: words and parts of bars, ready to be drawn.

Promise: nothing old is shown as though it were now. When the run has said nothing for 3 s, or the board has not,
every reading is unknown and says why; amounts that only grow stay, with the moment at which they stood.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from dashboards import amounts, readings, ready
from dashboards.alarms import Card, cards, headline_of, route_of, steps_of
from dashboards.freshness import Freshness
from dashboards.minding import mind
from dashboards.source import Sheet, overview_from, sheet_of
from dashboards.steps import in_order, next_step, when_nobody_watches
from dashboards.words import clock, count
from monitor.core.events import CheckLine, Closing, Overview, Phase, Priority, Reading
from monitor.core.spans import duration
from monitor.core.stopping import STOP
from monitor.edges.inbox import inbox_path
from monitor.edges.logreader import Header, LogReader, written_utc_s
from monitor.errors import LogError
from monitor.terms import Meter

STALE_S = 3.0  # the link counts as lost after this, too (alarm LINK-LOST)
READINGS_OF: dict[Meter, str] = {
    "drops": "Air, heat and drip",
    "bubbles": "Air, heat and bubbles",
    "weighings": "Air and heat",
}
GONE_S = 10.0  # a monitor that is merely busy comes back before this


class Head(NamedTuple):
    """The state in words.

    `level` is high, medium, low, over (a high alarm that is held), calm, unknown or closed; `word` names an alarm's
    priority; `warning` says when data are old.
    """

    level: str
    sign: str
    word: str
    text: str
    steps: tuple[str, ...]
    warning: str


class View(NamedTuple):
    """Everything the upper part of the page shows. `now_s` is the newest run second."""

    sheet: Sheet
    head: Head
    age: str
    cards: tuple[Card, ...]
    set_aside: tuple[Card, ...]
    amounts: amounts.Amounts
    readings: tuple[readings.Line, ...]
    readings_of: str
    line_words: str
    phase: Phase
    permit_on: bool
    vessel: str
    permit_for: str
    permit_words: str
    watched: bool
    checks: tuple[CheckLine, ...]
    closing: Closing | None
    mind: str
    advice: tuple[str, ...]


def look(log: Path, fresh: Freshness, now_mono_s: float, now_utc_s: float) -> View:
    """Read what the log says now.

    Raises:
        LogError: no log, no run log, another format, or a run that has said nothing yet.
    """
    reader = LogReader(log)
    header, newest = reader.header(), reader.overview()
    sheet = sheet_of(header.bench_toml, header.run_toml)
    if newest is None:
        raise LogError("The run has just begun and has said nothing yet")
    run = overview_from(newest)
    age_s = fresh.age_s(run.t_s, written_utc_s(log), now_mono_s, now_utc_s)
    return view_of(run, sheet, header, age_s, inbox_path(log).exists(), now_utc_s)


def view_of(run: Overview, sheet: Sheet, header: Header, age_s: float, inbox: bool, now_utc_s: float) -> View:
    """What there is to show of an overview that is `age_s` old."""
    watched = not header.closed and age_s <= STALE_S
    silent = _why_silent(header.closed, watched, run)
    standing, aside = cards(run, answerable=not header.closed)
    as_of = "" if watched else clock(now_utc_s - age_s)
    # What an alarm asks for at once must not be contradicted beside it: "shut the tap", and "keep the drip steady".
    calm = all(alarm.priority is not Priority.HIGH for alarm in run.alarms)
    return View(
        sheet=sheet,
        head=_head(run, header.closed, watched, standing, _warning(run, header.closed, age_s, inbox, now_utc_s)),
        age=_age_words(run, header.closed, watched, age_s),
        cards=standing,
        set_aside=aside,
        amounts=amounts.amounts_of(run, silent, as_of),
        readings=readings.lines_of(run, sheet.limits, silent, watched),
        readings_of=READINGS_OF[run.metering.meter if run.metering else "drops"],
        line_words=_line_words(run),
        phase=Phase.CLOSED if header.closed else run.phase,
        permit_on=run.permit_on and not header.closed,
        vessel=STOP[route_of(run)].vessel,
        permit_for=STOP[route_of(run)].permit,
        permit_words=_permit_words(run, header.closed, watched),
        watched=watched,
        checks=run.checks if watched else (),
        closing=run.closing if watched else None,
        mind=mind(run.phase, route_of(run)) if watched and calm else "",
        advice=run.advice if watched else (),
    )


def _why_silent(closed: bool, watched: bool, run: Overview) -> str:
    """Why no reading can be had now; empty when they can."""
    if closed:
        return "the run is closed"
    if not watched:
        return "no word from the monitor"
    if run.sample_age_s is None:
        return "nothing received from the board yet"
    return "no word from the board" if run.sample_age_s > STALE_S else ""


def _warning(run: Overview, closed: bool, age_s: float, inbox: bool, now_utc_s: float) -> str:
    if closed:
        return ""
    if age_s > STALE_S:
        if inbox and age_s <= GONE_S:
            return f"NO WORD FROM THE MONITOR FOR {duration(age_s)}. Do not trust these numbers."
        return (
            f"NOBODY IS WATCHING: the monitor stopped at {clock(now_utc_s - age_s)}, {duration(age_s)} ago. "
            "Do not trust these numbers."
        )
    if run.sample_age_s is None:
        return "NO DATA YET: nothing has been heard from the board."
    if run.sample_age_s > STALE_S:
        return f"NO DATA FOR {duration(run.sample_age_s + age_s)}. Do not trust these numbers."
    return ""


def _head(run: Overview, closed: bool, watched: bool, standing: tuple[Card, ...], warning: str) -> Head:
    step = next_step(Phase.CLOSED if closed else run.phase, run.permit_on, run.forecast, run.metering, run.closing)
    if closed:
        return Head("closed", "–", "", "Run closed", (step,), warning)
    if not watched:
        return Head("unknown", "?", "", "Not known", in_order(when_nobody_watches(route_of(run))), warning)
    if standing:
        return Head(*headline_of(standing), steps_of(standing[0]), warning)
    if warning:
        return Head("unknown", "?", "", "Not known", ("Check the cable and the board's power.",), warning)
    checking = run.phase is Phase.GETTING_READY and not run.permit_on
    step = (ready.step(run.checks) if checking else "") or step
    unknown = tuple(
        (name, got.why) for name, got in (("Air", run.gas), ("Plate", run.plate)) if not _is_known(got)
    )  # its alarm is taken out of service, or about to come
    if unknown:
        steps = tuple(f"{name} not known: {why or 'no reason given'}." for name, why in unknown)
        return Head("unknown", "?", "", f"{unknown[0][0]} not known", (*steps, step), warning)
    return Head("calm", "○", "", "No alarms", (step,), warning)


def _is_known(got: Reading) -> bool:
    return got.value is not None or got.at_least is not None


def _age_words(run: Overview, closed: bool, watched: bool, age_s: float) -> str:
    if closed or not watched:
        return ""
    if run.sample_age_s is None:
        return "no sample yet"
    return f"newest sample {run.sample_age_s + age_s:.1f} s old"


def _permit_words(run: Overview, closed: bool, watched: bool) -> str:
    if closed:
        return "Off: the run is closed."
    if not watched:
        return "Unknown: no word from the monitor. The board takes the permit away by itself after 3 s of silence."
    return f"{'On' if run.permit_on else 'Off'}: {run.permit_why}."


def _line_words(run: Overview) -> str:
    words = f"{run.frames_accepted} samples, {run.frames_lost} lost, {run.frames_rejected} lines rejected"
    return words + (f", board restarted {count(run.restarts, 'time')}" if run.restarts else "")
