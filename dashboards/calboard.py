"""Live readings for the calibration page: a board held while somebody looks, and one measurement at a time."""

from __future__ import annotations

import time
from typing import Any

import streamlit as st

from dashboards import calsheet, stopped
from monitor import heard
from monitor.calibration import Point
from monitor.errors import RefusalError
from monitor.heard import Rise
from monitor.lease import Lease, since
from monitor.terms import BenchTerms

STRETCH_S = 60.0  # of the board's time
BASELINE_S = 3.0  # before a bump
LOOK_EVERY_S = 1.0


def let_go() -> None:
    """Leave the board to others."""
    lease: Lease | None = st.session_state.pop("lease", None)
    st.session_state.pop("job", None)
    if lease is not None:
        lease.close()


def connected(bench: BenchTerms) -> Lease | None:
    """The board, once somebody asked for it; what it says now stands under it."""
    path = st.text_input("Port of the board", bench.port.path, key="port")
    lease: Lease | None = st.session_state.get("lease")
    if lease is None:
        if lost := st.session_state.pop("lost", ""):
            st.html(calsheet.refusal_html("The board is lost", lost))
        if st.button("Listen to the board", key="listen"):
            try:
                st.session_state["lease"] = Lease(path.strip(), bench.port.baud)
            except RefusalError as why:
                st.html(calsheet.refusal_html("The board cannot be read", str(why)))
                return None
            st.rerun()
        return None
    st.button("Let go of the board", key="let-go", on_click=let_go)
    _end_what_belongs_to_another(lease, bench)
    _now(lease, bench)
    return lease if st.session_state.get("lease") is lease else None


@st.fragment(run_every=LOOK_EVERY_S)
def _now(lease: Lease, bench: BenchTerms) -> None:
    """The board's newest words, each second; ends the measurement that is due."""
    stopped.draw(stopped.ONE_BENCH, time.monotonic())
    try:
        samples = lease.look()
        if not samples:
            st.html(calsheet.said_html("Nothing from the board yet."))
            return
        st.html(calsheet.said_html(heard.words(samples[-1], bench)))
        job: dict[str, Any] | None = st.session_state.get("job")
        if job is None:
            return
        so_far = since(samples, job["begun"])
        words, done = job["step"](so_far)
    except RefusalError as why:
        let_go()
        st.session_state["lost"] = str(why)
        st.rerun()
    st.html(calsheet.said_html(words))
    if done is not None:
        st.session_state.pop("job", None)
        st.session_state[job["key"]] = done
        st.rerun()


def _look(lease: Lease) -> Any:
    """What the board has said, or nothing once it is lost: then that is said in its place."""
    try:
        return lease.look()
    except RefusalError as why:
        let_go()
        st.session_state["lost"] = str(why)
        return ()


def kind() -> str:
    """Which calibration the page shows."""
    return str(st.session_state.get("kind", ""))


def _end_what_belongs_to_another(lease: Lease, bench: BenchTerms) -> None:
    """Who turns to another calibration counts no more, and the permit does not stay on unseen."""
    job = st.session_state.get("job")
    if job is not None and job["kind"] != kind():
        del st.session_state["job"]
        if _look(lease):
            lease.permit(False, bench)


def _begin(lease: Lease, key: str, step: Any) -> None:
    samples = _look(lease)
    if samples:
        st.session_state.pop(key, None)
        st.session_state["job"] = {"begun": samples[-1], "key": key, "step": step, "kind": kind()}


def _stretch(make: Any) -> Any:
    """Wait for a whole stretch, then make something of it."""

    def step(so_far: Any) -> tuple[str, Any]:
        left_s = heard.to_go_s(so_far, STRETCH_S)
        return f"Reading; {left_s:.0f} s to go. Touch nothing.", None if left_s else make(so_far)

    return step


def fixed_point(lease: Lease, name: str) -> Point | None:
    """A point at ice or steam."""
    st.button(f"Read {name} for {STRETCH_S:.0f} s", key=f"read-{name}", on_click=_begin,
              args=(lease, f"got-{name}", _stretch(heard.fixed_point)))  # fmt: skip
    point: Point | None = st.session_state.get(f"got-{name}")
    if point is not None:
        st.html(calsheet.said_html(f"{name}: {point.reading_c:.2f} ± {point.u_c:.2f} °C, without the offset"))
    return point


def sums(lease: Lease, kind: str) -> list[float] | None:
    """A still stretch of the gas channel."""
    st.button(f"Read for {STRETCH_S:.0f} s", key=f"read-{kind}", on_click=_begin,
              args=(lease, f"got-{kind}", _stretch(heard.gas_sums)))  # fmt: skip
    got: list[float] | None = st.session_state.get(f"got-{kind}")
    return got


def bump(lease: Lease, bench: BenchTerms, given_ppm: float) -> Rise | None:
    """The rise after the gas was given."""

    def given() -> None:
        samples = _look(lease)
        if not samples:
            return
        before = heard.newest(samples, BASELINE_S)

        def step(so_far: Any) -> tuple[str, Rise | None]:
            risen = heard.rise(before, so_far, bench, given_ppm)
            return f"Rose by {risen.ppm:.2f} ppm in {risen.after_s:.0f} s", risen if risen.over else None

        _begin(lease, "got-bump", step)

    st.button("Test gas is given: now", key="give", on_click=given)
    got: Rise | None = st.session_state.get("got-bump")
    return got


def count(lease: Lease, bench: BenchTerms, what: str, field: str) -> None:
    """Counting by the gate: begun and ended here, the count put into its field."""
    sure = st.checkbox("Give the permit while counting: plate unplugged, no sulfite under the tip, I stay by it",
                       key="permit-sure")  # fmt: skip

    def begin() -> None:
        def step(so_far: Any) -> tuple[str, None]:
            return f"Counting: {heard.gate(so_far[0], so_far[-1]).words(what)}", None

        _begin(lease, "got-count", step)
        if st.session_state.get("job") is not None:
            lease.permit(sure, bench)

    def end() -> None:
        samples, job = _look(lease), st.session_state.pop("job", None)
        if not samples or job is None:
            return
        lease.permit(False, bench)
        fallen = heard.gate(job["begun"], samples[-1])
        st.session_state[field] = fallen.number
        st.session_state[f"fallen-{what}"] = fallen.words(what)

    if st.session_state.get("job") is None:
        st.button(f"Begin counting {what}s", key="count-begin", on_click=begin)
    else:
        st.button("End counting", key="count-end", on_click=end)
    if words := st.session_state.get(f"fallen-{what}"):
        st.html(calsheet.said_html(words))
