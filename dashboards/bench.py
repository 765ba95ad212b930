"""The page of one run, for somebody two metres away: is all well, how much has gone over, what is to be done now.

Started by `monitor.edges.page` with the run log's path in SO2BENCH_LOG. The upper part is drawn anew each second, the
traces every two; both read the log afresh each time, so a log that comes back is shown again by itself.
"""

from __future__ import annotations

import gc
import os
import time
from pathlib import Path
from typing import Final, Literal

import streamlit as st

from dashboards import charts, closing, ready, sheet, sound, stopped
from dashboards.asking import Asked, ask, follow
from dashboards.door import admitted
from dashboards.freshness import Freshness
from dashboards.source import LOG_ENV, route_in
from dashboards.steps import PHASE_WORDS
from dashboards.traces import WINDOWS, traces_of
from dashboards.view import View, look
from dashboards.words import clock
from monitor.core.bumptest import MAX_MIN
from monitor.core.events import Phase
from monitor.core.ready import ITEMS
from monitor.core.requests import MAX_TEXT, WEIGHED_ON
from monitor.core.stopping import STOP
from monitor.edges.logreader import LogReader
from monitor.errors import LogError
from monitor.terms import Route

NOW_EVERY_S: Final = 1.0
TRACES_EVERY_S: Final = 2.0
NO_TRACES: Final = "none"
WHO_MAX: Final = 80


@st.cache_resource
def _settled() -> bool:
    """After every refresh the whole heap would be searched for garbage; most of it is modules, which stay anyway."""
    gc.collect()
    gc.freeze()
    return True


@st.cache_resource
def _freshness(log: str) -> Freshness:  # noqa: ARG001 - the key under which it is kept
    return Freshness()


def _log() -> Path | None:
    named = os.environ.get(LOG_ENV, "")
    return Path(named) if named else None


def _asked() -> list[Asked]:
    got: list[Asked] = st.session_state.setdefault("asked", [])
    return got


def _ask(log: Path, kind: str, args: dict[str, object], words: str) -> None:
    who = str(st.session_state.get("who", ""))
    _asked().append(ask(log, kind, who, args, words, time.monotonic(), time.time()))


def _ask_note(log: Path) -> None:
    _ask(log, "note", {"text": str(st.session_state["note"])}, "Note")
    st.session_state["note"] = ""


def _ask_weighing(log: Path) -> None:
    what, grams, u_g = (st.session_state[key] for key in ("weigh_what", "weigh_grams", "weigh_u_g"))
    _ask(log, "weighing", {"what": str(what), "grams": float(grams), "u_g": float(u_g)}, f"Weighing, {what}")


def _ask_clearing(log: Path) -> None:
    air, liquor = float(st.session_state["clear_air"]), float(st.session_state["clear_c"])
    _ask(log, "clearing", {"air_l_per_min": air, "liquor_c": liquor}, "Clearing the flask")


def _ask_shelve(log: Path) -> None:
    tag = str(st.session_state["shelve_which"])
    minutes, reason = float(st.session_state["shelve_minutes"]), str(st.session_state["shelve_reason"])
    _ask(log, "shelve", {"tag": tag, "minutes": minutes, "reason": reason}, f"Set {tag} aside")
    st.session_state["shelve_reason"] = ""


def _ask_bump_test(log: Path) -> None:
    _ask(log, "bump-test", {"minutes": float(st.session_state["bump_minutes"])}, "Bump test")


def _ask_waive(log: Path) -> None:
    item, reason = str(st.session_state["waive_which"]), str(st.session_state["waive_reason"])
    _ask(log, "check", {"item": item, "outcome": "waived", "reason": reason}, f"Waive {item}")
    st.session_state["waive_reason"] = ""


def _ask_end(log: Path) -> None:
    _ask(log, "stop", {"reason": str(st.session_state["end_reason"])}, "End the run")
    st.session_state["end_sure"] = False


# --- the upper part: drawn anew each second -----------------------------------------------------------------------


@st.fragment(run_every=NOW_EVERY_S)
def _now(log: Path) -> None:
    now_mono_s, now_utc_s = time.monotonic(), time.time()
    stopped.draw(stopped.ONE_BENCH, now_mono_s)
    try:
        view = look(log, _freshness(str(log)), now_mono_s, now_utc_s)
    except LogError as why:
        st.html(sheet.pulse(None, clock(now_utc_s)))
        st.html(sheet.warning(f"NO RUN TO SHOW. {why}. Trying again every second."))
        sound.draw(sound.sounding(None), now_mono_s)
        return
    asked = st.session_state["asked"] = follow(log, _asked(), now_mono_s)
    left, right = st.columns([3, 2], vertical_alignment="center")
    left.html(sheet.title(view))
    right.html(sheet.pulse(view, clock(now_utc_s)))
    st.html(f'<p class="caution">{sheet.CAUTION}</p>')
    st.html(sheet.warning(view.head.warning))
    st.html(sheet.head(view.head))
    sound.draw(sound.sounding(view), now_mono_s)
    with st.container(key="alarms"):
        _alarms(log, view)
    if view.advice:
        st.html(sheet.advice(view.advice))
    _checks(log, view)
    if view.closing is not None:
        st.html(closing.section(view.closing, view.vessel))
    st.html(sheet.answers(asked, now_mono_s))
    amounts, readings, doing = st.columns([1.35, 1.15, 0.9], gap="medium")
    amounts.html(sheet.amounts(view.amounts))
    readings.html(sheet.readings(view))
    with doing:
        _permit_and_phase(log, view)


def _alarms(log: Path, view: View) -> None:
    several = sum(card.can_acknowledge for card in view.cards) > 1
    if view.cards and not view.watched:
        st.html("<p><b>The alarms as they were last known:</b></p>")
    leave = view.watched and any(card.tag == sheet.LEAVE and card.stands for card in view.cards)
    for number, card in enumerate(view.cards):
        text, buttons = st.columns([4, 1.6], vertical_alignment="center")
        text.html(sheet.card(card, in_head=number == 0 and view.watched and card.stands, leave=leave))
        with buttons.container(horizontal=True, gap="xsmall"):
            if card.can_acknowledge:
                _button(log, f"Acknowledge {card.tag}", f"ack-{card.tag}", "acknowledge", {"tag": card.tag})
            if card.can_reset:
                _button(log, f"Reset {card.tag}", f"reset-{card.tag}", "reset", {"tag": card.tag})
            if number == 0 and several:
                _button(log, "Acknowledge all", "ack-all", "acknowledge", {"tag": "*"})
    for card in view.set_aside:
        text, buttons = st.columns([4, 1.6], vertical_alignment="center")
        text.html(sheet.aside(card))
        with buttons:
            kind = "unshelve" if card.shelved else "return"
            _button(log, f"Put {card.tag} back", f"back-{card.tag}", kind, {"tag": card.tag})


def _checks(log: Path, view: View) -> None:
    if not view.checks:
        return
    st.html(ready.head(view.checks))
    for line in ready.to_do(view.checks):
        text, buttons = st.columns([4, 1.6], vertical_alignment="center")
        text.html(ready.row(line))
        if not line.by_person:
            continue
        with buttons.container(horizontal=True, gap="xsmall"):
            for words, outcome in (("Yes", "passed"), ("No", "failed")):
                args: dict[str, object] = {"item": line.item, "outcome": outcome, "reason": ""}
                _button(log, f"{words}: {line.item}", f"check-{line.item}-{outcome}", "check", args)
    st.html(ready.done(view.checks))


def _button(
    log: Path,
    words: str,
    key: str,
    kind: str,
    args: dict[str, object],
    *,
    width: Literal["content", "stretch"] = "content",
    disabled: bool = False,
) -> None:
    st.button(words, key=key, width=width, disabled=disabled, on_click=_ask, args=(log, kind, args, words))


def _permit_and_phase(log: Path, view: View) -> None:
    closed = view.phase is Phase.CLOSED
    st.html(sheet.permit(view))
    if not closed:
        on = not view.permit_on
        words = "Ask for the permit" if on else "Take the permit back"
        _button(log, words, "permit", "permit", {"on": on}, width="stretch")
    st.html(sheet.phase(view))
    for phase in Phase:
        if closed or phase is Phase.CLOSED:
            continue
        here = phase is view.phase
        words = f"{PHASE_WORDS[phase]}{' (now)' if here else ''}"
        _button(log, words, f"phase-{phase.value}", "phase", {"phase": phase.value}, width="stretch", disabled=here)


# --- the traces, every two seconds --------------------------------------------------------------------------------


@st.fragment(run_every=TRACES_EVERY_S)
def _traces(log: Path, window_s: float | None) -> None:
    try:
        seen = traces_of(log, window_s)
    except LogError:
        return  # the upper part says why
    for column, drawn in zip(st.columns(3, gap="medium"), charts.all_of(seen), strict=True):
        column.vega_lite_chart(spec=drawn.spec, key=drawn.key, theme=None, width="stretch", alt=drawn.said)
    st.html(sheet.record(seen.record))
    if seen.alarms_did:  # a log of before they were kept has none
        st.html(sheet.alarms_did(seen.alarms_did))


# --- the rest: drawn once, and after each use ---------------------------------------------------------------------


def _more(log: Path) -> None:
    route = _route(log)
    note, weigh, aside, end = st.columns(4, gap="medium")
    with weigh.expander("Enter a weighing"):
        _weighing(log, route)
    if route != "burner":  # which holds no gas
        with weigh.expander("Say how the flask is swept or warmed out"):
            st.number_input("Air led through it, L a minute", 0.0, 100.0, 0.0, 0.1, "%.2f", key="clear_air")
            st.number_input("Liquor, °C, as read", 0.0, 110.0, 22.0, 1.0, "%.1f", key="clear_c")
            st.button("Say it", key="clear-go", on_click=_ask_clearing, args=(log,))
    with note.expander("Write a note into the record"):
        st.text_area("Note", key="note", max_chars=MAX_TEXT, height=80)
        st.button("Write it", key="note-go", on_click=_ask_note, args=(log,))
    with aside.expander("Set a nuisance alarm aside for a while"):
        st.selectbox(
            "Alarm (high ones cannot be)", sheet.SHELVABLE, key="shelve_which", format_func=sheet.shelvable_words
        )
        st.number_input("Minutes", 1, 480, 30, key="shelve_minutes")
        st.text_input("Reason", key="shelve_reason", max_chars=MAX_TEXT)
        st.button("Set aside", key="shelve-go", on_click=_ask_shelve, args=(log,))
    with aside.expander("Announce a bump test of the gas sensor"):
        st.markdown("Only the leak alarms are set aside meanwhile. GAS-HIGH stays, and the permit stays off.")
        st.number_input("Minutes, until the reading is back", 1.0, MAX_MIN, 5.0, step=1.0, key="bump_minutes")
        st.button("Announce it", key="bump-go", on_click=_ask_bump_test, args=(log,))
        _button(log, "End the bump test", "bump-end", "bump-test", {"minutes": 0.0})
    with aside.expander("Waive an item of the check before the run"):
        st.selectbox("Item", [name for name, _, _ in ITEMS], key="waive_which")
        st.text_input("Reason (needed)", key="waive_reason", max_chars=MAX_TEXT)
        st.button("Waive it", key="waive-go", on_click=_ask_waive, args=(log,))
    with end.expander("End the run for good"):
        st.markdown("The permit goes, the record is closed, and nobody watches the bench any more.")
        st.text_input(
            f"Why now, if the {STOP[route].vessel} is not known to be safe to open",
            key="end_reason",
            max_chars=MAX_TEXT,
        )
        sure = st.checkbox("Nothing makes gas any more, the heat is off: end this run", key="end_sure")
        st.button("End the run", key="end-go", disabled=not sure, on_click=_ask_end, args=(log,))


def _route(log: Path) -> Route | None:
    try:
        return route_in(LogReader(log).header().run_toml)
    except LogError:
        return None


def _weighing(log: Path, route: Route | None) -> None:
    if route is None:
        return
    st.selectbox("What was weighed", WEIGHED_ON[route], key="weigh_what")
    st.number_input("Grams since the run began", 0.0, 1e6, 0.0, step=0.1, format="%.2f", key="weigh_grams")
    st.number_input("± grams (one standard uncertainty)", 0.0, 1e4, 0.1, step=0.05, format="%.2f", key="weigh_u_g")
    st.button("Enter it", key="weigh-go", on_click=_ask_weighing, args=(log,))
    _button(log, "Undo the last weighing", "weigh-undo", "undo-weighing", {})


def _page() -> None:
    st.html(sheet.style())
    log = _log()
    if log is None:
        st.html(
            sheet.warning(f"NO RUN TO SHOW. {LOG_ENV} names no run log; 'so2bench watch' and 'so2bench demo' do.")
        )
        return
    _now(log)
    names = [*WINDOWS, NO_TRACES]
    left, right = st.columns([3, 1], vertical_alignment="bottom")
    window = left.radio("Traces of the last", names, key="window", horizontal=True)
    right.text_input("Who acts (goes into the record)", value="bench", key="who", max_chars=WHO_MAX)
    if window != NO_TRACES:
        _traces(log, WINDOWS[window])
    _more(log)


def _main() -> None:
    st.set_page_config(page_title="so2bench", layout="wide")
    _settled()
    if not admitted():
        return
    here = st.Page(_page, title="The run being watched", default=True)
    past = st.Page("past.py", title="Past runs")
    coming = st.Page("plan.py", title="Plan a run")
    calibration = st.Page("calibrate.py", title="Calibrate the bench")
    shown = st.navigation([here, past, coming, calibration], position="hidden")
    if shown != here and _log() is not None:
        st.page_link(here)
    shown.run()
    if shown == here:
        st.page_link(past)
        st.page_link(coming)
        st.page_link(calibration)


_main()
