"""The report's tables and marks: text in, HTML out. What comes from a run is escaped here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from monitor.report.words import run_clock


class Html(str):
    """Text that is HTML already."""

    __slots__ = ()


def text(value: object) -> Html:
    """A value as HTML: escaped, unless it is HTML already."""
    return value if isinstance(value, Html) else Html(escape(str(value), quote=True))


def join(parts: Iterable[object], between: str = "") -> Html:
    """Pieces after one another."""
    return Html(between.join(text(part) for part in parts))


def tag(name: str, *inside: object, kind: str = "") -> Html:
    """One element."""
    named = f' class="{kind}"' if kind else ""
    return Html(f"<{name}{named}>{join(inside)}</{name}>")


def table(head: Sequence[object], rows: Iterable[Sequence[object]], kind: str = "") -> Html:
    """A table with a head. Each cell carries its column's name too, for a screen too narrow for columns."""
    names = [escape(str(cell), quote=True) for cell in head]
    body = join(
        tag("tr", *(Html(f'<td data-name="{n}">{text(cell)}</td>') for n, cell in zip(names, row, strict=True)))
        for row in rows
    )
    top = Html(join(Html(f'<th scope="col">{text(cell)}</th>') for cell in head))
    return tag("table", tag("thead", tag("tr", top)), tag("tbody", body), kind=kind)


def pairs(rows: Iterable[tuple[object, object]]) -> Html:
    """Names and values."""
    body = join(tag("tr", Html(f'<th scope="row">{text(name)}</th>'), tag("td", value)) for name, value in rows)
    return tag("table", tag("tbody", body), kind="pairs")


def section(title: str, *inside: object) -> Html:
    """A part of the report under its heading."""
    return tag("section", tag("h2", title), *inside)


def clock(t_s: float) -> Html:
    """Run time, never broken over two lines."""
    return whole(run_clock(t_s))


def whole(words: str) -> Html:
    """Words that are never broken over two lines."""
    return tag("span", words, kind="whole")


def share(part: float) -> Html:
    """A bar for a share from 0 to 1."""
    return Html(f'<span class="bar"><span style="width:{100.0 * min(1.0, max(0.0, part)):.1f}%"></span></span>')
