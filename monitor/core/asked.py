"""What people ask of one part of a run: a weighing, air led through the flask, a bump test, an end before the time.

Promise: each is done and noted with who asked, or refused in one sentence and nothing has changed. The permit, the
phases and the alarms' own requests are the bench's.
"""

from __future__ import annotations

from typing import Final

from monitor.core.account import Account, Weighing, WeighingRefusedError
from monitor.core.alarms import LATCHED, STANDING, AlarmBook, Input, RefusedError
from monitor.core.bumptest import FIRST_TO_BE_CLEAR, SET_ASIDE, BumpTest
from monitor.core.corrections import correction_words
from monitor.core.events import Closing, Event, Instant, Noted, Phase, Request

MOST_AIR_L_PER_MIN: Final = 100.0
LIQUOR_C: Final = (0.0, 110.0)  # a watery liquor boils


def weigh(account: Account, r: Request, t_s: float, out: list[Event]) -> str:
    """Take a weighing into the account, or take one back; gives what it corrected."""
    try:
        if r.kind == "undo-weighing":
            corrected = account.undo_weighing(t_s, r.who)
        else:
            weighing = Weighing(str(r.arg("what")), float(r.arg("grams")), float(r.arg("u_g")))
            corrected = account.weigh(t_s, r.who, weighing)
    except WeighingRefusedError as why:
        raise RefusedError(str(why)) from why
    out.extend((corrected, account.state(t_s)))
    return correction_words(corrected, account.counts)


def clear(account: Account, phase: Phase, r: Request, t_s: float, out: list[Event]) -> str:
    """Air is led through the flask from now on, or no more; gives it in words."""
    air_l_per_min, liquor_c = float(r.arg("air_l_per_min")), float(r.arg("liquor_c"))
    if phase not in (Phase.RUNNING_OUT, Phase.CLOSING_DOWN):
        raise RefusedError("a flask is cleared when no gas is being made: begin running out or closing down first")
    if not 0.0 <= air_l_per_min <= MOST_AIR_L_PER_MIN:
        raise RefusedError(f"found {air_l_per_min:g} L of air a minute, wanted 0 to {MOST_AIR_L_PER_MIN:g}")
    if not LIQUOR_C[0] <= liquor_c <= LIQUOR_C[1]:
        raise RefusedError(f"found a liquor at {liquor_c:g} °C, wanted {LIQUOR_C[0]:g} to {LIQUOR_C[1]:g} °C")
    account.clear(t_s, air_l_per_min, liquor_c)
    words = f"{air_l_per_min:g} L of air a minute, liquor at {liquor_c:g} °C"
    out.extend((Noted(t_s, "clearing", f"{r.who}: {words}"), account.state(t_s)))
    return words


def bump_test(
    bump: BumpTest, alarms: AlarmBook, r: Request, at: Instant, out: list[Event], *, permit_on: bool
) -> str:
    """Announce a bump test, or end it with 0 minutes; gives it in words."""
    minutes = float(r.arg("minutes"))
    if minutes == 0.0:
        if not bump.on:
            raise RefusedError("no bump test is announced")
        end_bump_test(bump, alarms, f"ended by {r.who}", r.who, at, out)
        return "bump test ended: a leak is told of again"
    if permit_on:
        raise RefusedError("a bump test is made with the permit off: take it back first")
    raised = [t for t in FIRST_TO_BE_CLEAR if alarms.state(t) in STANDING | LATCHED]
    if raised:
        raise RefusedError(f"no bump test now: {', '.join(raised)} first has to be dealt with")
    try:
        bump.begin(at.mono_s, minutes)
    except ValueError as why:
        raise RefusedError(str(why)) from why
    words = f"bump test announced for {minutes:g} min"
    out.append(Noted(at.mono_s, "bump test", f"{r.who}: {words}; the fixed limits stay"))
    for tag in SET_ASIDE:
        out.extend(alarms.ask(at, tag, Input.SUPPRESS, r.who, words))
    return f"{words}: {' and '.join(SET_ASIDE)} are set aside, the permit stays off"


def end_bump_test(bump: BumpTest, alarms: AlarmBook, why: str, who: str, at: Instant, out: list[Event]) -> None:
    """Hear the leak alarms again; `who` is empty when its time was up."""
    bump.end()
    out.append(Noted(at.mono_s, "bump test", why))
    for tag in SET_ASIDE:
        out.extend(alarms.ask(at, tag, Input.UNSUPPRESS, who, ""))


def end_before_safe(closing: Closing | None, phase: Phase, r: Request, t_s: float, out: list[Event]) -> None:
    """A run that may have made gas ends when its flask may be opened, or with a reason."""
    if closing is not None and closing.safe:
        return
    lacks = "; ".join(closing.missing) if closing is not None else f"the run is {phase.value}"
    reason = str(r.arg("reason")).strip()
    if not reason:
        raise RefusedError(f"the flask is not known to be safe to open: {lacks}; to end the run now, say why")
    out.append(Noted(t_s, "opening", f"ended by {r.who} before it was safe to open: {reason}; {lacks}"))
