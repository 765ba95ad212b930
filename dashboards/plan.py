"""The plan page: what is wanted, in a form; the charge, its figures and its cautions; a run file to save or open.

At /plan, one of the pages of `bench`. The bench is that of the live run, if there is one, or a file opened here.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from importlib.resources import files
from pathlib import Path

import streamlit as st
from streamlit.delta_generator import DeltaGenerator
from streamlit.runtime.uploaded_file_manager import UploadedFile

from dashboards import planning, sheet
from dashboards.source import LOG_ENV
from monitor.chemistry.receivers import REACTIONS
from monitor.edges.logreader import LogReader
from monitor.errors import LogError, RefusalError
from monitor.wanted import GAS, HOT_STRENGTH, STRENGTH, Want

PAST_ENV = "SO2BENCH_PAST"
ROUTES = {
    "acid-drip": "acid dripping on a sulfite",
    "acid-on-sulfur": "hot sulfuric acid on sulfur",
    "burner": "sulfur burnt in air",
}
PRICE_WORDS = {
    "salt": "Price of the salt",
    "acid": "of the acid",
    "sulfur": "of sulfur",
    "sulfuric": "of hot sulfuric acid",
}
PRICE_EXAMPLES = {"salt": "12 EUR/kg", "acid": "6.50 EUR/L", "sulfur": "4 EUR/kg", "sulfuric": "9 EUR/L"}
SALTS = ("Na2S2O5", "K2S2O5", "NaHSO3", "Na2SO3", "K2SO3")
WANTED = {GAS: "SO2 itself"} | {name: reaction.words for name, reaction in REACTIONS.items()}


def _run_bench() -> str | None:
    """The bench of the run that the live page shows."""
    log = os.environ.get(LOG_ENV, "")
    try:
        return LogReader(Path(log)).header().bench_toml if log else None
    except LogError:
        return None


def _past_folder() -> Path | None:
    """Where logs of past runs lie: as the command named it, or beside the run that is being watched."""
    named = os.environ.get(PAST_ENV, "")
    log = os.environ.get(LOG_ENV, "")
    return Path(named) if named else Path(log).parent if log else None


def _today() -> date:
    return datetime.now(UTC).date()


@st.cache_data(max_entries=20, show_spinner="Working it out")
def _sheet(text: str, bench: str | None) -> planning.Sheet:
    return planning.sheet_of(text, bench)


def _form() -> dict[str, str] | None:
    """The form's fields, once the button was pressed. Their texts are run.toml's own.

    A form that an opened file fills is a new form: a value pushed into fields that stand in a browser already may
    get lost on the way.
    """
    state = st.session_state
    filled: dict[str, str] = state.get("filled", planning.FIELDS)
    turn = state.get("turn", 0)
    got: dict[str, str] = {}

    def text(place: DeltaGenerator, name: str, label: str, placeholder: str) -> None:
        got[name] = place.text_input(label, filled[name], key=f"{name}-{turn}", placeholder=placeholder)

    def choice(
        place: DeltaGenerator, name: str, label: str, options: Sequence[str], words: Callable[[str], str] = str
    ) -> None:
        index = options.index(filled[name])
        got[name] = place.selectbox(label, options, index, format_func=words, key=f"{name}-{turn}")

    with st.form("wanted", enter_to_submit=True):
        left, right = st.columns([1, 1.6])
        text(left, "amount", "How much", "12 g, 0.3 mol; SO2 also 5 L")
        choice(right, "what", "Of what", tuple(WANTED), _wanted_words)
        left, right = st.columns(2)
        text(left, "excess", "Excess of gas", "10 %")
        text(right, "temperature", "Temperature", "22 degC")
        choice(st.container(), "route", "Route", tuple(ROUTES), lambda key: f"{ROUTES[key]} ({key})")
        left, right = st.columns(2)
        choice(left, "salt", "Salt", SALTS)
        text(right, "purity", "Purity of the salt", "97 +/- 1 %")
        left, right = st.columns(2)
        choice(left, "acid", "Acid", ("HCl", "H2SO4"))
        text(right, "strength", "Acid strength", f"{STRENGTH}; on sulfur {HOT_STRENGTH}")
        left, right = st.columns(2)
        text(left, "flask", "Flask", "the smallest common one")
        text(right, "draw", "Draw of the burner", "4 L/minute")
        left, right = st.columns(2)
        text(left, "rate", "Drip rate", "the highest sensible one")
        text(right, "warm", "Warmed at the end to", "60 degC")
        st.html('<p class="asof">Your prices, if the routes are to be compared; all in one currency.</p>')
        for row in (("salt", "acid"), ("sulfur", "sulfuric")):
            for place, name in zip(st.columns(2), row, strict=True):
                text(place, f"price_{name}", PRICE_WORDS[name], PRICE_EXAMPLES[name])
        opened: Want | None = state.get("before")
        ways = [key for key in planning.RECKONED if key != "file" or (opened is not None and opened.learned)]
        choice(st.container(), "reckoned", "What goes over, reckoned", ways, planning.RECKONED.__getitem__)
        pressed = st.form_submit_button("Work it out", type="primary", width="stretch")
    return got if pressed else None


def _fill() -> None:
    """An opened file fills the form, and stands as it is until the button is pressed."""
    state = st.session_state
    state.pop("before", None)
    state.pop("worked", None)
    state["turn"] = state.get("turn", 0) + 1
    state["filled"] = state.get("filled", planning.FIELDS) | {"reckoned": "model"}
    text = _text_of(state["run-file"])
    if text is None:
        return
    state["worked"] = planning.Worked(text, ("", []))
    try:
        before = planning.opened_want(text)
    except RefusalError:
        return  # the page says it where the plan would stand
    if before is not None:
        state["before"] = before
        state["filled"] = planning.fields_of(before)


def _text_of(got: UploadedFile | None) -> str | None:
    """The text of a file that was opened here; None when there is none, or it is no text."""
    try:
        return None if got is None else bytes(got.getvalue()).decode("utf-8")
    except UnicodeDecodeError:
        return None


def _wanted_words(name: str) -> str:
    return f"{name}: {WANTED[name].split(':')[0]}"


def _file(label: str, key: str, on_change: Callable[[], None] | None = None) -> str | None:
    """The text of a file that is opened here."""
    got = st.file_uploader(label, type="toml", key=key, max_upload_size=1, on_change=on_change)
    text = _text_of(got)
    if got is not None and text is None:
        st.html(planning.refusal_html(f"{got.name}: found bytes that are not UTF-8 text, wanted a TOML file"))
    return text


def _page() -> None:
    """The whole page."""
    st.html(sheet.style())
    st.html(f"<style>{(files('dashboards') / 'plan.css').read_text('utf-8')}</style>")
    left, right = st.columns([1, 1.5], gap="medium")
    with left:
        st.html('<h1 class="title">Plan a run</h1>')
        st.html(f'<p class="caution">{sheet.CAUTION}</p>')
        fields = _form()
        with st.expander("Open a run file, or another bench file"):
            _file("run.toml: shown as it is, and fills the form", "run-file", _fill)
            bench = _file("bench.toml: drop volume, room and limits", "bench-file") or _run_bench()
    with right, st.container(key="result"):
        try:
            _result(fields, bench)
        except RefusalError as why:
            st.html(planning.refusal_html(str(why)))


def _result(fields: dict[str, str] | None, bench: str | None) -> None:
    state = st.session_state
    if fields is not None:
        state.pop("worked", None)  # a want that is refused leaves nothing old standing
        before: Want | None = state.get("before")
        learned = planning.reckoned(fields, before, _past_folder(), bench, _today())
        state["worked"] = planning.work_out(planning.want_from(fields, before, learned), bench)
    worked: planning.Worked | None = state.get("worked")
    if worked is None:
        st.html("<p>Say what is wanted and press the button, or open a run file.</p>")
        return
    shown = _sheet(worked.text, bench)
    st.html(planning.head_html(shown))
    if worked.charge[1]:
        st.html(planning.section_html(worked.charge))
    st.download_button("Save run.toml", worked.text, "run.toml", "application/toml", key="save", on_click="ignore")
    st.html(planning.cautions_html(shown.cautions))
    for section in shown.sections:
        st.html(planning.section_html(section))
    past = planning.past_html(worked.text, _past_folder(), bench, _today())
    if past:
        st.html(past)


_page()
