"""Where the sulfur is and where the run is heading: lines of words, and the parts of one bar."""

from __future__ import annotations

from typing import NamedTuple

from dashboards.words import UNKNOWN, count, plain, with_uncertainty
from monitor.core.events import Accounted, Forecast, Metering, Overview, Phase
from monitor.core.spans import foretold, run_clock

NOT_WEIGHED = "not weighed yet"
ENOUGH = "nothing: enough has gone over"
OVER = frozenset({Phase.CLOSING_DOWN, Phase.CLOSED})  # nothing more is to be made
LEAST_MOL = 0.001  # less is no use to anybody at the bench
SOURCES = {"acid-drip": "salt", "acid-on-sulfur": "sulfur", "burner": "sulfur"}


class Part(NamedTuple):
    """One part of the bar that is all the sulfur of the charge; `key` is how it is filled in."""

    key: str
    name: str
    where: str
    words: str
    mol: float


class Amounts(NamedTuple):
    """The account in words. `why` is not empty when there is no account; `as_of` when it is not the newest."""

    why: str
    as_of: str
    delivered: str
    need: str
    need_mol: float | None
    parts: tuple[Part, ...]
    ahead: tuple[tuple[str, str], ...]


def amounts_of(run: Overview, silent: str, as_of: str) -> Amounts:
    """The account of an overview. `silent` says why the present rate is not known, if so."""
    a, f = run.account, run.forecast
    if a is None:
        return Amounts("What goes over is not counted on this route.", as_of, UNKNOWN, "", None, (), ())
    need_mol = f.need_mol if f is not None else None
    m = run.metering
    unweighed = m is not None and m.meter == "weighings" and m.weighed_s is None
    return Amounts(
        why="",
        as_of=as_of,
        delivered=NOT_WEIGHED if unweighed else _mol(a.delivered_mol, a.u_delivered_mol),
        need="the run's file names no need" if need_mol is None else f"of {plain(need_mol)} mol wanted",
        need_mol=need_mol,
        parts=_parts(a, m, unweighed=unweighed),
        ahead=() if f is None else _ahead(f, a, m, silent, over=run.phase in OVER, unweighed=unweighed),
    )


def _mol(mol: float, u_mol: float = 0.0) -> str:
    return with_uncertainty(mol, u_mol, "mol") if mol >= LEAST_MOL else f"under {LEAST_MOL:g} mol"


def _parts(a: Accounted, m: Metering | None, *, unweighed: bool) -> tuple[Part, ...]:
    """Before the first weighing of a run that is weighed alone, all that is known is how much there is at most."""
    over = NOT_WEIGHED if unweighed else _mol(a.delivered_mol, a.u_delivered_mol)
    held = NOT_WEIGHED if unweighed else _mol(a.held_mol, a.u_held_mol)
    locked = f"at most {_mol(a.locked_mol)}" if unweighed else _mol(a.locked_mol, a.u_locked_mol)
    kept = Part("held", "Held", "in the flask, as gas and dissolved", held, a.held_mol)
    return (
        Part("gone", "Gone over", "to the receiver", over, a.delivered_mol),
        *(() if m is not None and m.route == "burner" else (kept,)),
        Part("locked", "Locked", f"in the {SOURCES[m.route] if m else 'charge'}, not yet gas", locked, a.locked_mol),
    )


def _ahead(
    f: Forecast, a: Accounted, m: Metering | None, silent: str, *, over: bool, unweighed: bool
) -> tuple[tuple[str, str], ...]:
    """What is made and left; with `over` nothing more is to be made, and no forecast of it is given."""
    lines = [("Made so far", NOT_WEIGHED if unweighed else _mol(a.generated_mol, a.u_generated_mol))]
    if f.need_mol is not None:
        lines.append(("Left to the need", _left(f, a, m, silent, over=over)))
    coming = UNKNOWN if silent else _mol(f.still_to_come_mol)
    if m is None or m.meter == "drops":
        if not over:
            lines.append(("Still comes if shut now", coming))
            lines.append(("In the end, all acid in", f"{plain(f.final_delivered_mol)} mol"))
        lines.append(("Acid left", f"{plain(f.acid_left_ml)} mL ({count(a.drops, 'drop')} fallen)"))
    else:
        if not over:
            lines.append(("At most, all of it used up", f"{plain(f.final_delivered_mol)} mol"))
        if m.meter == "bubbles":
            if not over:
                lines.append(("Still comes if ended now", coming))
            lines.append(("Counted", count(a.drops, "bubble")))
    return tuple(lines) + (() if m is None else _weighed(m))


def _weighed(m: Metering) -> tuple[tuple[str, str], ...]:
    """By which weighing the figures stand, and what it made of the drop or bubble."""
    if m.weighed_s is None:
        return ()
    since = "; what went over since is not in it" if m.meter == "weighings" else ""
    lines = [("Last weighed", f"at {run_clock(m.weighed_s)}{since}")]
    if m.volume_ul is not None and m.stated_volume_ul is not None:
        now = with_uncertainty(m.volume_ul, m.u_volume_ul, "µL")
        stated = with_uncertainty(m.stated_volume_ul, m.u_stated_volume_ul, "µL")
        lines.append((f"A {m.meter[:-1]}, stated → now", f"{stated} → {now}"))
    return tuple(lines)


def _left(f: Forecast, a: Accounted, m: Metering | None, silent: str, *, over: bool) -> str:
    if f.need_mol is not None and a.delivered_mol >= f.need_mol:
        return ENOUGH  # also by what was swept or weighed, of which a count to come knows nothing
    if m is not None and m.meter == "weighings" and f.need_mol is not None:
        return _left_by_weighings(f, f.need_mol - a.delivered_mol)
    if over and f.need_mol is not None:
        return f"{plain(f.need_mol - a.delivered_mol)} mol"
    if f.drops_to_need is None:
        return "cannot be reached with this charge"
    if f.drops_to_need == 0:
        return ENOUGH
    drops = count(f.drops_to_need, "drop" if m is None else m.meter[:-1])
    if silent:
        return f"{drops}; time unknown"
    if f.minutes_to_need is None:
        return f"{drops}; nothing comes" if m is not None and m.meter == "bubbles" else f"{drops}; nothing drips"
    return f"{drops}, {foretold(60.0 * f.minutes_to_need)}"


def _left_by_weighings(f: Forecast, left_mol: float) -> str:
    if left_mol <= 0.0:
        return ENOUGH
    if f.minutes_to_need is None:
        return f"{plain(left_mol)} mol when last weighed; time unknown until it is weighed twice"
    return (
        f"{plain(left_mol)} mol when last weighed; {foretold(60.0 * f.minutes_to_need)} at the rate of two weighings"
    )
