"""The list of benches as plain lines for a terminal: how many of each kind, then a table, worst first."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from monitor.benches.cells import SIGNS, Cells, cells_of
from monitor.benches.keys import Cause
from monitor.benches.levels import WORDS, Level
from monitor.benches.picture import BrokerSeen, Picture
from monitor.core.spans import duration

HEAD = ("", "bench", "state", "what", "since", "phase", "SO2", "plate", "rate", "gone over")
INVENTED = "INVENTED DATA: none of these benches exists."
NONE_HEARD = "No bench has said anything yet."


def table_lines(picture: Picture, now_s: float, clock: str, most: int | None = None) -> Iterator[str]:
    """All benches, or at most the worst so many. `clock` is this moment as a person reads it."""
    whole = picture.whole
    if whole.invented:
        yield INVENTED
    if whole.broker is not None and not whole.broker.connected:
        yield away_words(whole.broker, now_s)
    yield f"{clock}  {counts_words(whole.counts)}"
    yield from refused_lines(whole.refused, whole.benches_max)
    if not picture.lines:
        yield NONE_HEARD
        return
    total = len(picture.lines)
    shown = total if most is None else min(most, total)
    yield from _columns([HEAD, *(_row(cells_of(row, now_s)) for row in picture.rows(0, shown))])
    if shown < total:
        yield f"and {total - shown} more, none of them louder"


def away_words(broker: BrokerSeen, now_s: float, since: str = "") -> str:
    """That the broker is away, for how long, and why. `since` is when that began, as a person reads it."""
    begun = f" since {since}" if since else ""
    return (
        f"THE BROKER IS AWAY{begun}, for {duration(now_s - broker.since_s)}. Until it is back no bench can be heard: "
        f"{broker.text}"
    )


def counts_words(counts: Mapping[Level, int]) -> str:
    """How many benches there are of each kind, loudest first."""
    total = sum(counts.values())
    said = [f"{count} {SIGNS[level]} {WORDS[level]}" for level, count in counts.items() if count]
    return f"{total} bench{'' if total == 1 else 'es'}" + (": " + " · ".join(said) if said else "")


def refused_lines(refused: Mapping[Cause, int], benches_max: int) -> Iterator[str]:
    """What was left out, by cause."""
    if full := refused.get(Cause.FULL, 0):
        yield f"THE LIST IS FULL: it holds {benches_max} benches; {full} messages of others were not taken."
    rest = [f"{count} {cause.value}" for cause, count in refused.items() if count and cause is not Cause.FULL]
    if rest:
        yield f"Messages that are none of a bench's: {'; '.join(rest)}."


def _row(c: Cells) -> tuple[str, ...]:
    return c.sign, c.name, c.word, c.what, c.since, c.phase, c.gas, c.plate, c.rate, c.over


def _columns(rows: list[tuple[str, ...]]) -> Iterator[str]:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
