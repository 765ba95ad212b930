"""The plan page: what is wanted, in a form; the charge, its figures and its cautions; a run file to save or open.

At /plan, one of the pages of `bench`. The bench is that of the live run, if there is one, or a file opened here.
"""

from __future__ import annotations

import os
from importlib.resources import files
from pathlib import Path

import streamlit as st

from dashboards import planning, sheet
from monitor.chemistry.receivers import REACTIONS
from monitor.edges.logreader import LogReader
from monitor.errors import LogError, RefusalError
from monitor.wanted import GAS, Want

LOG_ENV = "SO2BENCH_LOG"
ROUTES = {
    "acid-drip": "acid dripping on a sulfite",
    "acid-on-sulfur": "hot sulfuric acid on sulfur",
    "burner": "sulfur burnt in air",
}
SALTS = ("Na2S2O5", "K2S2O5", "NaHSO3", "Na2SO3", "K2SO3")
WANTED = {GAS: "SO2 itself"} | {name: reaction.words for name, reaction in REACTIONS.items()}


def _run_bench() -> str | None:
    """The bench of the run that the live page shows."""
    log = os.environ.get(LOG_ENV, "")
    try:
        return LogReader(Path(log)).header().bench_toml if log else None
    except LogError:
        return None


@st.cache_data(max_entries=20, show_spinner="Working it out")
def _sheet(text: str, bench: str | None) -> planning.Sheet:
    return planning.sheet_of(text, bench)


def _form() -> Want | None:
    """What is wanted, once the button was pressed."""
    with st.form("wanted", enter_to_submit=True):
        amount, unit, what = st.columns([1, 0.8, 1.6])
        size = amount.number_input("How much", 0.0, 1e5, 12.0, step=1.0, format="%g")
        unit_name = unit.selectbox("Unit (L: SO2)", ("g", "kg", "mol", "L"))
        name = what.selectbox("Of what", tuple(WANTED), index=list(WANTED).index("Se"), format_func=_wanted_words)
        left, right = st.columns(2)
        excess = left.number_input("Excess of gas, %", 0.0, 1000.0, 10.0, step=1.0, format="%g")
        celsius = right.number_input("Temperature, °C", 0.0, 60.0, 22.0, step=1.0, format="%g")
        route = st.selectbox("Route", tuple(ROUTES), format_func=lambda key: f"{ROUTES[key]} ({key})")
        left, right = st.columns(2)
        salt = left.selectbox("Salt", SALTS)
        purity = right.number_input("Purity of the salt, % (± 1)", 2.0, 100.0, 97.0, step=0.5, format="%g")
        left, right = st.columns(2)
        acid = left.selectbox("Acid", ("HCl", "H2SO4"))
        percent = right.number_input("Acid strength, % by mass (± 0.5)", 1.0, 100.0, 30.0, step=1.0, format="%g")
        left, right = st.columns(2)
        flask = left.number_input("Flask, mL (0: suggest one)", 0.0, 1e5, 0.0, step=50.0, format="%g")
        draw = right.number_input("Draw of the burner, L/min", 0.1, 1000.0, 4.0, step=0.5, format="%g")
        pressed = st.form_submit_button("Work it out", type="primary", width="stretch")
    if not pressed:
        return None
    return Want(
        want=f"{size:g} {unit_name} {name}",
        route=route,
        salt=salt,
        purity=f"{purity:g} +/- 1 %",
        acid=acid,
        strength=f"{percent:g} +/- 0.5 %",
        excess=f"{excess:g} %",
        temperature=f"{celsius:g} degC",
        flask=f"{flask:g} mL" if flask else "",
        draw=f"{draw:g} L/minute",
    )


def _wanted_words(name: str) -> str:
    return f"{name}: {WANTED[name].split(':')[0]}"


def _file(label: str, key: str) -> str | None:
    """The text of a file that was opened here."""
    got = st.file_uploader(label, type="toml", key=key, max_upload_size=1)
    if got is None:
        return None
    try:
        return bytes(got.getvalue()).decode("utf-8")
    except UnicodeDecodeError:
        st.html(planning.refusal_html(f"{got.name}: found bytes that are not UTF-8 text, wanted a TOML file"))
        return None


def _page() -> None:
    """The whole page."""
    st.html(sheet.style())
    st.html(f"<style>{(files('dashboards') / 'plan.css').read_text('utf-8')}</style>")
    left, right = st.columns([1, 1.5], gap="medium")
    with left:
        st.html('<h1 class="title">Plan a run</h1>')
        st.html(f'<p class="caution">{sheet.CAUTION}</p>')
        want = _form()
        with st.expander("Open a run file, or another bench file"):
            opened = _file("run.toml: shown instead of the form", "run-file")
            bench = _file("bench.toml: drop volume, room and limits", "bench-file") or _run_bench()
    with right, st.container(key="result"):
        try:
            _result(want, opened, bench)
        except RefusalError as why:
            st.html(planning.refusal_html(str(why)))


def _result(want: Want | None, opened: str | None, bench: str | None) -> None:
    state = st.session_state
    if opened is not None:
        state["worked"] = planning.Worked(opened, ("", []))
    if want is not None:
        state.pop("worked", None)  # a want that is refused leaves nothing old standing
        state["worked"] = planning.work_out(want, bench)
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


_page()
