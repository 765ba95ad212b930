"""What a weighing did to the account, in words: the old figure, the new one, and whether it is now better known."""

from __future__ import annotations

from math import floor, hypot, log10

from monitor.core.events import Corrected
from monitor.terms import COVERAGE


def correction_words(c: Corrected, counts: str) -> str:
    """A correction in one or two sentences; every ± is two standard uncertainties."""
    parts = [
        f"{c.what} {c.grams:g} g is {_pm(c.weighed_mol, c.u_weighed_mol)} mol; gone over "
        f"{_pm(c.delivered_before_mol, c.u_before_mol)} → {_pm(c.delivered_after_mol, c.u_after_mol)} mol"
    ]
    if c.volume_before_ul is not None and c.volume_after_ul is not None:
        before = _pm(c.volume_before_ul, c.u_volume_before_ul or 0.0)
        parts.append(f"a {counts} {before} → {_pm(c.volume_after_ul, c.u_volume_after_ul or 0.0)} µL")
        if not c.what.startswith("undo"):
            better = c.u_after_mol < c.u_before_mol
            parts.append("the account is now better known" if better else "the account is no better known by it")
            if c.u_weighed_mol > 0.0 and _apart(c) > COVERAGE:
                parts.append("count and weighing disagree beyond what was stated: look for a leak or a wrong tare")
    return "; ".join(parts)


def _apart(c: Corrected) -> float:
    """By how many standard uncertainties of their difference count and weighing were apart."""
    return abs(c.weighed_mol - c.delivered_before_mol) / hypot(c.u_before_mol, c.u_weighed_mol)


def _pm(value: float, u: float) -> str:
    expanded = COVERAGE * u
    if expanded <= 1e-6:
        return f"{value:.4g}"
    decimals = min(6, max(0, 1 - floor(log10(expanded))))
    return f"{value:.{decimals}f} ± {expanded:.{decimals}f}"
