"""The page of past runs: those of the running log's folder in a list, one of them looked at closely, two compared.

What the run that is being watched has to say stays in sight at the top: nobody looks at the past and misses an alarm.
"""

from __future__ import annotations

import os
import time
from html import escape
from pathlib import Path
from typing import Final

import streamlit as st

from dashboards import sheet
from dashboards.freshness import Freshness
from dashboards.pastcharts import Curve, drawn
from dashboards.pastlist import Listed, listed, table_of
from dashboards.source import LOG_ENV
from dashboards.stretch import WINDOWS, length_s, said, stretch_of
from dashboards.view import look
from monitor.core.spans import run_clock
from monitor.errors import LogError, RefusalError
from monitor.past import course

NOW_EVERY_S: Final = 2.0
NOBODY: Final = "no other run"


@st.cache_resource
def _freshness(log: str) -> Freshness:  # noqa: ARG001 - the key under which it is kept
    return Freshness()


@st.fragment(run_every=NOW_EVERY_S)
def _watched(log: Path) -> None:
    """One line on the run that is being watched."""
    try:
        head = look(log, _freshness(str(log)), time.monotonic(), time.time()).head
    except LogError as why:
        st.html(sheet.warning(f"THE RUN BEING WATCHED CANNOT BE READ. {why}."))
        return
    if head.level in ("calm", "closed") and not head.warning:
        st.html(f'<p class="asof">The run being watched: {escape(head.text)}.</p>')
    else:
        words = head.warning or ". ".join(said for said in (head.word, head.text) if said) + "."
        st.html(sheet.warning(f"THE RUN BEING WATCHED: {words} Go to its page.", "?" if head.warning else head.sign))


def _chart(name: str, curves: list[Curve], span: tuple[float, float], unit: str, *, zero: bool = True) -> None:
    words = " ".join(said(f"{name}, {c.name}" if len(curves) > 1 else name, c, unit) for c in curves)
    title = f"{name}, {unit}" if unit else name
    spec = drawn(title, curves, span, zero=zero)
    st.vega_lite_chart(spec=spec, key=f"past-{name}", theme=None, width="stretch", alt=words)


def _one(run: Listed) -> None:
    """A run from the whole of it down to a second."""
    whole_s = length_s(run.path)
    left, right = st.columns([1, 1.4], vertical_alignment="bottom")
    window = left.select_slider(
        "How much of it", [n for n, w in WINDOWS.items() if w is None or w < whole_s], key="span"
    )
    wanted_s = WINDOWS[window]
    from_s = 0.0
    if wanted_s is None:
        wanted_s = whole_s
    else:
        from_s = right.slider(
            "From (seconds since the run began)",
            0.0,
            whole_s - wanted_s,
            key=f"from-{window}",
            step=min(wanted_s / 2, 60.0),
        )
    to_s = from_s + wanted_s
    seen = stretch_of(run.path, from_s, to_s)
    st.caption(f"{run_clock(from_s)} to {run_clock(to_s)}; {seen.fineness}. Empty where nothing was measured.")
    _chart("SO2 at the sensor", [seen.gas], seen.span, "ppm")
    _chart("Plate", [seen.plate], seen.span, "°C", zero=False)
    _chart("Gone over", [seen.over], seen.span, "mol")


def _two(run: Listed, other: Listed) -> None:
    """Two runs over each other, from where their making began."""
    courses = [(r.name, course(r.path)) for r in (run, other)]
    to_s = max([1.0, *(c.t_s[-1] for _, c in courses if c.t_s)])
    st.caption("Times count from where the making began. Gone over is a share of what each run's own plan gives.")
    _chart("Gone over, share of the plan", [Curve(n, c.t_s, c.share_of_plan) for n, c in courses], (0.0, to_s), "")
    _chart("Rate", [Curve(n, c.t_s, c.mmol_per_min) for n, c in courses], (0.0, to_s), "mmol/min")
    _chart("Plate", [Curve(n, c.t_s, c.plate_c) for n, c in courses], (0.0, to_s), "°C", zero=False)


def _page() -> None:
    st.html(sheet.style())
    named = os.environ.get(LOG_ENV, "")
    if not named:
        st.html(sheet.warning(f"NO FOLDER TO SHOW. {LOG_ENV} names no run log."))
        return
    _watched(Path(named))
    st.html("<h1>Past runs</h1>")
    runs, bad = listed(Path(named).parent)
    st.html(table_of(runs, bad))
    if not runs:
        return
    by_name = {run.name: run for run in runs}
    left, right = st.columns(2)
    run = by_name[left.selectbox("Look at", list(by_name), key="run")]
    others = [NOBODY, *(name for name in by_name if name != run.name)]
    other = by_name.get(right.selectbox("and lay over it", others, key="other"))
    try:
        if other is None:
            _one(run)
        else:
            _two(run, other)
    except RefusalError as why:
        st.html(sheet.warning(str(why)))


_page()
