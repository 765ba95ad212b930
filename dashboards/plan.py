"""The plan page: what is wanted, in a form; the charge, its figures and its cautions; a run file to save or open.

At /plan, one of the pages of `bench`. The bench is that of the live run, if there is one, or a file opened here.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, date, datetime
from importlib.resources import files
from pathlib import Path

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from dashboards import planning, sheet
from monitor.chemistry.receivers import REACTIONS
from monitor.edges.logreader import LogReader
from monitor.errors import LogError, RefusalError
from monitor.wanted import GAS, HOT_STRENGTH, STRENGTH, Want

LOG_ENV, PAST_ENV = "SO2BENCH_LOG", "SO2BENCH_PAST"
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
    """The form's fields, once the button was pressed. Their texts are run.toml's own."""
    state = st.session_state
    for key, text in planning.FIELDS.items():
        state.setdefault(key, text)  # before the fields are drawn, so that an opened file fills them
    with st.form("wanted", enter_to_submit=True):
        amount, what = st.columns([1, 1.6])
        amount.text_input("How much", key="amount", placeholder="12 g, 0.3 mol; SO2 also 5 L")
        what.selectbox("Of what", tuple(WANTED), format_func=_wanted_words, key="what")
        left, right = st.columns(2)
        left.text_input("Excess of gas", key="excess", placeholder="10 %")
        right.text_input("Temperature", key="temperature", placeholder="22 degC")
        st.selectbox("Route", tuple(ROUTES), format_func=lambda key: f"{ROUTES[key]} ({key})", key="route")
        left, right = st.columns(2)
        left.selectbox("Salt", SALTS, key="salt")
        right.text_input("Purity of the salt", key="purity", placeholder="97 +/- 1 %")
        left, right = st.columns(2)
        left.selectbox("Acid", ("HCl", "H2SO4"), key="acid")
        right.text_input("Acid strength", key="strength", placeholder=f"{STRENGTH}; on sulfur {HOT_STRENGTH}")
        left, right = st.columns(2)
        left.text_input("Flask", key="flask", placeholder="the smallest common one")
        right.text_input("Draw of the burner", key="draw", placeholder="4 L/minute")
        left, right = st.columns(2)
        left.text_input("Drip rate", key="rate", placeholder="the highest sensible one")
        right.text_input("Warmed at the end to", key="warm", placeholder="60 degC")
        st.html('<p class="asof">Your prices, if the routes are to be compared; all in one currency.</p>')
        for row in (("salt", "acid"), ("sulfur", "sulfuric")):
            for column, name in zip(st.columns(2), row, strict=True):
                column.text_input(PRICE_WORDS[name], key=f"price_{name}", placeholder=PRICE_EXAMPLES[name])
        before: Want | None = state.get("before")
        choices = [key for key in planning.RECKONED if key != "file" or (before is not None and before.learned)]
        state.setdefault("reckoned", choices[0])
        st.selectbox("What goes over, reckoned", choices, format_func=planning.RECKONED.__getitem__, key="reckoned")
        pressed = st.form_submit_button("Work it out", type="primary", width="stretch")
    return {key: str(state[key]) for key in planning.FIELDS} if pressed else None


def _fill() -> None:
    """An opened file fills the form, and stands as it is until the button is pressed."""
    state = st.session_state
    state.pop("before", None)
    state["reckoned"] = "model"
    state.pop("worked", None)
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
        state.update(planning.fields_of(before), reckoned="file" if before.learned else "model")


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
        learned = planning.reckoned(state["reckoned"], fields["route"], before, _past_folder(), bench, _today())
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
