"""Closing down, on the page: may the flask be opened, what was seen for how long, and what is still missing."""

from __future__ import annotations

from html import escape

from monitor.core.events import Closing
from monitor.core.opening import CAUTION
from monitor.core.spans import duration
from monitor.core.stopping import STOP
from monitor.terms import Route


def section(closing: Closing, vessel: str) -> str:
    """The section: the verdict, what is missing, then what was seen."""
    verdict = "Not yet: leave it shut"
    if closing.safe:
        verdict = "Yes, by what was seen" if closing.little else "Under the hood alone: it still holds gas"
    rows = [("○", "Still missing", words) for words in closing.missing]
    rows += [("✓", "Seen", words) for words in closing.seen]
    listed = "".join(
        f'<li><span class="sign">{sign}</span> <span class="what">{what}:</span> {escape(words)}</li>'
        for sign, what, words in rows
    )
    anew = f"<p>The time was {escape(closing.begun_anew)}.</p>" if closing.begun_anew else ""
    return (
        f'<section class="opening {_look(closing)}" role="status">'
        f'<h2>May the {vessel} be opened?</h2><p class="verdict">{verdict}</p>{_bar(closing)}<ul>{listed}</ul>{anew}'
        f'<p class="left">{escape(closing.held)}</p><p class="fine">{escape(CAUTION)}</p></section>'
    )


def _look(closing: Closing) -> str:
    return "yet" if not closing.safe else "safe" if closing.little else "safe holds"


def _bar(closing: Closing) -> str:
    part = 100.0 * min(1.0, closing.under_s / closing.hold_s)
    said = f"{duration(min(closing.under_s, closing.hold_s))} of {duration(closing.hold_s)} of clean air"
    return f'<div class="waited" role="img" aria-label="{said}"><span style="width:{part:.1f}%"></span></div>'


def next_step(closing: Closing | None, route: Route | None) -> str:
    """What to do in this phase."""
    shut, vessel = STOP[route].over, STOP[route].vessel
    if closing is None:
        return f"{shut}, tube out of the liquid. Leave the {vessel} shut under the hood."
    if not closing.safe:
        return f"{shut}, tube out of the liquid. Leave the {vessel} shut until the page says that it is safe."
    return f"Open the {vessel} under the hood. Make what is left in it safe, then end the run."
