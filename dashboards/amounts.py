"""Where the sulfur is and where the run is heading: lines of words, and the parts of one bar."""

from __future__ import annotations

from typing import NamedTuple

from dashboards.words import UNKNOWN, count, duration, plain, with_uncertainty
from monitor.core.events import Accounted, Forecast, Overview

LEAST_MOL = 0.001  # less is no use to anybody at the bench


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
    return Amounts(
        why="",
        as_of=as_of,
        delivered=_mol(a.delivered_mol, a.u_delivered_mol),
        need="the run's file names no need" if need_mol is None else f"of {plain(need_mol)} mol wanted",
        need_mol=need_mol,
        parts=_parts(a),
        ahead=() if f is None else _ahead(f, a, silent),
    )


def _mol(mol: float, u_mol: float = 0.0) -> str:
    return with_uncertainty(mol, u_mol, "mol") if mol >= LEAST_MOL else f"under {LEAST_MOL:g} mol"


def _parts(a: Accounted) -> tuple[Part, ...]:
    over = _mol(a.delivered_mol, a.u_delivered_mol)
    held = _mol(a.held_mol, a.u_held_mol)
    locked = _mol(a.locked_mol, a.u_locked_mol)
    return (
        Part("gone", "Gone over", "to the receiver", over, a.delivered_mol),
        Part("held", "Held", "in the flask, as gas and dissolved", held, a.held_mol),
        Part("locked", "Locked", "in the salt, not yet gas", locked, a.locked_mol),
    )


def _ahead(f: Forecast, a: Accounted, silent: str) -> tuple[tuple[str, str], ...]:
    lines = [("Made so far", _mol(a.generated_mol, a.u_generated_mol))]
    if f.need_mol is not None:
        lines.append(("Left to the need", _left(f, silent)))
    coming = f"unknown, {silent}" if silent else _mol(f.still_to_come_mol)
    lines.append(("Still comes if shut now", coming))
    lines.append(("In the end, all acid in", f"{plain(f.final_delivered_mol)} mol"))
    lines.append(("Acid left", f"{plain(f.acid_left_ml)} mL ({count(a.drops, 'drop')} fallen)"))
    return tuple(lines)


def _left(f: Forecast, silent: str) -> str:
    if f.drops_to_need is None:
        return "cannot be reached with this charge"
    if f.drops_to_need == 0:
        return "nothing: enough has gone over"
    drops = count(f.drops_to_need, "drop")
    if silent:
        return f"{drops}; time unknown"
    if f.minutes_to_need is None:
        return f"{drops}; nothing drips"
    return f"{drops}, {duration(60.0 * f.minutes_to_need)}"
