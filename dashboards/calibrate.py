"""The calibration page: how the bench's calibrations stand, steps and fields for each, its result, and then the file.

At /calibrate, one of the pages of `bench`; `so2bench calibrate --page` names the files in SO2BENCH_BENCH and
SO2BENCH_RUN. Nothing is written before the result with its budget was shown and the box was ticked.
"""

from __future__ import annotations

import os
import time
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

import streamlit as st

from dashboards import calfields, calsheet, sheet
from dashboards.source import LOG_ENV
from monitor.calfile import write
from monitor.calibrated import Outcome
from monitor.errors import RefusalError
from monitor.settings import load_bench, load_run
from monitor.standing import TITLES, standing
from monitor.terms import BenchTerms, RunTerms

BENCH_ENV, RUN_ENV = "SO2BENCH_BENCH", "SO2BENCH_RUN"


def _path(name: str) -> Path | None:
    named = os.environ.get(name, "")
    return Path(named) if named else None


def _page() -> None:
    st.html(sheet.style())
    st.html(f"<style>{(files('dashboards') / 'plan.css').read_text('utf-8')}</style>")
    st.html('<h1 class="title">Calibrate a bench</h1>')
    st.html(f'<p class="caution">{sheet.CAUTION}</p>')
    bench_path, run_path = _path(BENCH_ENV), _path(RUN_ENV)
    if bench_path is None:
        st.html(calsheet.refusal_html("Nothing to calibrate here", calsheet.no_bench(bool(os.environ.get(LOG_ENV)))))
        return
    try:
        bench = load_bench(bench_path)[0]
        run = None if run_path is None else load_run(run_path)[0]
    except RefusalError as why:
        st.html(calsheet.refusal_html("The settings cannot be read", str(why)))
        return
    rows = standing(bench, run, time.time())
    st.html(calsheet.standing_html(rows))
    if written := st.session_state.pop("written", ""):
        st.html(calsheet.said_html(f"Written. {written}"))
    kinds = [kind for kind in TITLES if kind != "bubbles" or (run is not None and run.meter == "bubbles")]
    worst = "gas-zero" if rows[0].kind == "gas" else rows[0].kind
    first = kinds.index(worst)
    kind = st.radio("Calibrate", kinds, first, format_func=lambda k: TITLES[k], horizontal=True, key="kind")
    left, right = st.columns([1, 1.6], gap="medium")
    left.html(calsheet.steps_html(kind, bench.gas.t90_s))
    with right:
        path = run_path if kind == "bubbles" and run_path is not None else bench_path
        _work(kind, bench, run, path)


def _work(kind: str, bench: BenchTerms, run: RunTerms | None, path: Path) -> None:
    today = datetime.now(UTC).date()
    try:
        found = calfields.outcome(kind, bench, run, today)
    except RefusalError as why:
        st.html(calsheet.refusal_html("This cannot be right, and nothing is written", str(why)))
        return
    if found is None:
        return
    st.html(calsheet.outcome_html(found))
    sure = st.checkbox(f"This is right for {path.name}; the old file is kept", key=f"sure-{kind}")
    st.button("Write it", type="primary", disabled=not sure, key="write", on_click=_write, args=(kind, path, found))
    if refused := st.session_state.pop("refused-write", ""):
        st.html(calsheet.refusal_html("Not written", refused))


def _write(kind: str, path: Path, found: Outcome) -> None:
    try:
        st.session_state["written"] = write(path, found, datetime.now(UTC))
    except RefusalError as why:
        st.session_state["refused-write"] = str(why)
        return
    calfields.forget(kind)
    st.session_state[f"sure-{kind}"] = False


_page()
