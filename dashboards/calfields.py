"""The fields of each calibration, and what they come to: typed readings, or those that the board gave."""

from __future__ import annotations

from datetime import date
from typing import Any, get_args

import streamlit as st

from dashboards import calboard, calsheet
from monitor import calibrated
from monitor.calibrated import Outcome, Vessel
from monitor.calibration import LEAST_REPEATS, Counted, Point, boiling_point_c
from monitor.errors import RefusalError
from monitor.terms import Acid, BenchTerms, Measured, RunTerms

TYPED, BOARD = "typed in", "by the board"


def outcome(kind: str, bench: BenchTerms, run: RunTerms | None, today: date) -> Outcome | None:
    """Draw the fields; gives the outcome once there is enough to have one. Raises RefusalError."""
    live = st.radio("Readings are", (TYPED, BOARD), horizontal=True, key="how") == BOARD
    board = calboard.connected(bench) if live else None
    if not live:
        calboard.let_go()
    if live and board is None:
        return None
    if kind in ("drops", "bubbles"):
        return _counted(kind, bench, run, board, today)
    if kind == "thermocouple":
        return _thermocouple(bench, board, today)
    if kind == "bump":
        return _bump(bench, board, today)
    return _gas(kind, bench, board, today)


def forget(kind: str) -> None:
    """What was read for a kind is written, and not for another time."""
    for key in (f"repeats-{kind}", f"got-{kind}", "got-ice", "got-steam"):
        st.session_state.pop(key, None)


def _number(
    where: Any, words: str, value: float | None, key: str, step: float = 0.1, form: str = "%g"
) -> float | None:
    got: float | None = where.number_input(words, 0.0, 1e6, value, step=step, format=form, key=key)
    return got


# --- drops and bubbles --------------------------------------------------------------------------------------------


def _vessel(kind: str) -> Vessel:
    weighed = (
        kind == "drops" and st.radio("Into a", ("cylinder", "balance"), horizontal=True, key="into") == "balance"
    )
    unit = "g" if weighed else "mL"
    left, right = st.columns(2)
    step = _number(left, f"Least step that is read, {unit}", 0.001 if weighed else 0.1, f"step-{unit}", form="%.4g")
    own = _number(right, f"Its own tolerance, ± {unit}", 0.0, f"own-{unit}", form="%.4g")
    density = None
    if weighed:
        acid = left.selectbox("Acid", get_args(Acid), key="acid")
        percent = _number(right, "Its strength, % by mass (± 0.5)", 30.0, "percent", 1.0)
        density = calibrated.acid_density(acid, Measured((percent or 0.0) / 100.0, 0.005))
    return Vessel(step or 0.0, own or 0.0, density)


def _take_last(repeats: list[Counted]) -> None:
    repeats.pop()


def _counted(kind: str, bench: BenchTerms, run: RunTerms | None, board: Any, today: date) -> Outcome | None:
    what = kind.removesuffix("s")
    vessel = _vessel(kind)
    repeats: list[Counted] = st.session_state.setdefault(f"repeats-{kind}", [])
    if board is not None:
        calboard.count(board, bench, what, f"count-{kind}")
    with st.form(f"repeat-{kind}", clear_on_submit=True):
        left, right = st.columns(2)
        number = left.number_input(f"Count of {what}s", 0, 100_000, None, step=1, key=f"count-{kind}")
        amount = _number(right, f"What it reads, {vessel.unit}", None, f"amount-{kind}", form="%.4g")
        if st.form_submit_button("Add this repeat", width="stretch"):
            if number and amount:
                repeats.append(Counted(int(number), amount))
            else:
                st.html(calsheet.said_html("A repeat wants a count and an amount, both over 0."))
    if repeats:
        st.html(calsheet.repeats_html(calibrated.repeats_of(repeats, vessel, what)))
        st.button("Take the last repeat away", on_click=_take_last, args=(repeats,), key=f"pop-{kind}")
    if len(repeats) < LEAST_REPEATS:
        st.html(calsheet.said_html(f"{len(repeats)} of at least {LEAST_REPEATS} repeats; five are better."))
        return None
    if kind == "drops":
        return calibrated.drops(bench, repeats, vessel, today)
    assert run is not None
    return calibrated.bubbles(run, repeats, vessel, today)


# --- thermocouple -------------------------------------------------------------------------------------------------


def _thermocouple(bench: BenchTerms, board: Any, today: date) -> Outcome | None:
    left, right = st.columns(2)
    hpa = _number(left, "Pressure of the air here, hPa", None, "hpa", 1.0)
    u_hpa = _number(right, "± hPa (one standard uncertainty)", 1.0, "u-hpa", 0.5)
    if hpa is None:
        st.html(calsheet.said_html("The pressure comes first: water boils by it."))
        return None
    st.html(calsheet.said_html(f"Pure water boils at {boiling_point_c(hpa):.2f} °C here (IAPWS-IF97)."))
    points: list[Point | None] = []
    for name in ("ice", "steam"):
        if board is not None:
            points.append(calboard.fixed_point(board, name))
            continue
        shown = st.number_input(
            f"The plate as so2bench shows it, junction in {name}, °C", -50.0, 150.0, None, 0.1, "%.2f", key=name
        )
        points.append(None if shown is None else calibrated.shown_point(bench, Measured(shown)))
    ice, steam = points
    if ice is None or steam is None:
        return None
    return calibrated.thermocouple(bench, ice, steam, Measured(hpa, u_hpa or 0.0), today)


# --- gas ----------------------------------------------------------------------------------------------------------


def _gas(kind: str, bench: BenchTerms, board: Any, today: date) -> Outcome | None:
    given = None
    if kind == "gas-span":
        left, right = st.columns(2)
        ppm = _number(left, "Test gas, ppm", None, "span-ppm", 0.1)
        u_ppm = _number(right, "± ppm (one standard uncertainty)", 0.0, "u-span-ppm", 0.1)
        given = None if ppm is None else Measured(ppm, u_ppm or 0.0)
    sums = calboard.sums(board, kind) if board is not None else _typed_sums(kind)
    if sums is None:
        return None
    if kind == "gas-zero":
        return calibrated.gas_zero(bench, sums)
    return None if given is None else calibrated.gas_span(bench, sums, given, today)


def _typed_sums(kind: str) -> list[float] | None:
    text = st.text_input("Values of gas_sum, three or more, with spaces between", key=f"sums-{kind}")
    if not text.strip():
        return None
    try:
        return [float(word) for word in text.split()]
    except ValueError as why:
        raise RefusalError(f"gas_sum: found {text[:60]!r}, wanted numbers with spaces between") from why


def _bump(bench: BenchTerms, board: Any, today: date) -> Outcome | None:
    ppm = _number(st, "Test gas, ppm", None, "bump-ppm", 0.1)
    if ppm is None:
        return None
    if board is not None:
        risen = calboard.bump(board, bench, ppm)
        return None if risen is None else calibrated.bump(bench, risen.ppm, risen.after_s, ppm, today)
    left, right = st.columns(2)
    rise = _number(left, "It rose by, ppm", None, "rise", 0.1)
    after = _number(right, "within, s", None, "after", 1.0)
    return None if rise is None or after is None else calibrated.bump(bench, rise, after, ppm, today)
