"""The page of many benches: every bench on a broker at a glance, worst first, and one of them in full.

Started by `monitor.edges.page` with the folder of the list in SO2BENCH_BENCHES. It reads the list anew each second
and knows nothing of brokers; the bench that is looked at stands in the address, so that a reload shows it again.
"""

from __future__ import annotations

import gc
import os
import time
from pathlib import Path
from typing import Final

import streamlit as st

from dashboards import benchlist, benchsheet, sheet, stopped
from dashboards.door import admitted
from dashboards.words import clock
from monitor.benches.picture import Picture
from monitor.uptime import uptime_s

FOLDER_ENV: Final = "SO2BENCH_BENCHES"
NOW_EVERY_S: Final = 1.0
NONE_HEARD: Final = (
    "No bench has said anything yet. If some are watched: does their [mqtt] name this broker, and may this program's "
    "user read so2bench/# there?"
)


@st.cache_resource
def _settled() -> bool:
    """After every refresh the whole heap would be searched for garbage; most of it is modules, which stay anyway."""
    gc.collect()
    gc.freeze()
    return True


def _look_at(name: str) -> None:
    st.query_params["bench"] = name


def _look_at_all() -> None:
    st.query_params.clear()


def _more(count: int) -> None:
    st.session_state["drawn"] = count


@st.fragment(run_every=NOW_EVERY_S)
def _now(folder: Path) -> None:
    began_s, now_s, now = time.perf_counter(), uptime_s(), clock(time.time())
    stopped.draw(stopped.MANY_BENCHES, now_s)
    try:
        picture = benchlist.read(folder)
    except (OSError, ValueError):
        st.html(sheet.pulse(None, now))
        st.html(sheet.warning("NO LIST TO SHOW. so2bench benches has not begun to listen, or has ended."))
        return
    chosen = st.query_params.get("bench")
    left, middle, right = st.columns([3, 1.6, 1.6], vertical_alignment="center")
    left.html(benchsheet.title(len(picture.lines), invented=picture.whole.invented))
    with middle:
        wanted = "" if chosen is not None else _wanted()
    right.html(sheet.pulse(None, now))
    st.html("".join(map(sheet.warning, benchlist.warnings(picture.whole, now_s))) or sheet.warning(""))
    st.html(benchsheet.tally(benchlist.counts(picture.whole, now_s)))
    with st.container(key="body"):
        if chosen is not None:
            _one(picture, chosen, now_s)
        else:
            _all(picture, wanted, now_s)
    took_ms = 1e3 * (time.perf_counter() - began_s)
    st.html(benchsheet.foot(benchlist.left_out(picture.whole), took_ms))


def _wanted() -> str:
    """A part of the names that are looked for."""
    words = "Find a bench by its name"
    got = st.text_input(words, key="find", max_chars=40, label_visibility="collapsed", placeholder=words)
    return str(got).strip()


def _all(picture: Picture, wanted: str, now_s: float) -> None:
    """The worst so many, each with a button that leads to it."""
    if wanted:
        picture = picture.named(wanted)
    count = int(st.session_state.get("drawn", benchlist.DRAWN))
    rows = benchlist.drawn_rows(picture, count, now_s)
    if not rows:
        st.html(f"<p>{'No bench is called so.' if wanted else NONE_HEARD}</p>")
        return
    with st.container(key="benches"):
        st.html("<span></span>")
        st.html(benchsheet.heads())
        for cells in rows:
            st.button(cells.name, key=f"see-{cells.name}", on_click=_look_at, args=(cells.name,), width="stretch")
            st.html(benchsheet.row(cells))
    rest = len(picture.lines) - len(rows)
    if rest > 0:
        more = min(rest, benchlist.DRAWN)
        st.button(f"Show {more} more of the {rest} not drawn", key="more", on_click=_more, args=(count + more,))


def _one(picture: Picture, name: str, now_s: float) -> None:
    """One bench in full."""
    st.button("Back to all benches", key="back", on_click=_look_at_all)
    seen = benchlist.one(picture, name, now_s)
    if seen is None:
        st.html(sheet.warning("NO SUCH BENCH on the list. It may have been taken off, or has not said anything yet."))
        return
    st.html(benchsheet.one_head(seen.cells))
    left, right = st.columns([1.3, 1], gap="medium")
    left.html(benchsheet.one_alarms(seen))
    right.html(benchsheet.one_numbers(seen))
    left.html(benchsheet.one_rest(seen))


def _main() -> None:
    st.set_page_config(page_title="so2bench: all benches", layout="wide")
    _settled()
    if not admitted():
        return
    st.html(sheet.style())
    st.html(benchsheet.style())
    _now(Path(os.environ.get(FOLDER_ENV, "")))
    st.html(f'<p class="caution">{benchsheet.CAUTION}</p>')


_main()
