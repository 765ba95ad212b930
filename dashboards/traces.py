"""The traces that are drawn, thinned to what a browser bears, and the newest lines of the record."""

from __future__ import annotations

from itertools import groupby
from math import ceil
from pathlib import Path
from typing import NamedTuple

from dashboards.source import Sheet, sheet_of
from monitor.core.catalogue import CATALOGUE, cause_words
from monitor.core.events import AlarmState
from monitor.core.spans import run_clock
from monitor.edges.logreader import LogReader, Trace

MOST_POINTS = 360  # a drawing is some 400 pixels wide, and a browser's memory grows with each point of each refresh
WINDOWS: dict[str, float | None] = {"5 min": 300.0, "30 min": 1800.0, "2 h": 7200.0, "all": None}
RECORD_LINES = 8
ALARM_LINES = 40  # looked at; those that a phase sets aside by design are left out of the few that are shown
SUPPRESSED = AlarmState.SUPPRESSED.value


class Seen(NamedTuple):
    """What the lower part of the page draws: traces of the `span_s` up to run second `to_s`.

    `whole_window` is false when the span is all of the run, however long it is by now.
    """

    sheet: Sheet
    trace: Trace
    span_s: float
    to_s: float
    whole_window: bool
    need_mol: float | None
    record: tuple[tuple[str, str], ...]
    alarms_did: tuple[str, ...] = ()  # so far, beside the published figures


def traces_of(log: Path, window_s: float | None) -> Seen:
    """The traces of the newest `window_s` of a run, or of all of it.

    Raises:
        LogError: the log cannot be read.
    """
    reader = LogReader(log)
    header = reader.header()
    to_s = max(header.last.mono_s, 1.0)
    span_s = to_s if window_s is None else window_s
    trace = thinned(reader.trace(max(0.0, to_s - span_s), to_s, MOST_POINTS), MOST_POINTS)
    newest = reader.overview() or {}
    need_mol = (newest.get("forecast") or {}).get("need_mol")
    sheet = sheet_of(header.bench_toml, header.run_toml)
    did = tuple(newest.get("alarms_did", ()))
    return Seen(sheet, trace, span_s, to_s, window_s is not None, need_mol, record_of(reader), did)


def thinned(trace: Trace, most: int) -> Trace:
    """At most `most` points: neighbours are joined, so that every peak and trough stays and every gap stays a gap."""
    rows = list(zip(trace.t_s, *trace[2:], strict=True))
    gaps = sum(_is_gap(row) for row in rows)
    each = ceil((len(rows) - gaps) / max(1, most - 2 * gaps)) if len(rows) > most else 1
    if each <= 1:
        return trace
    joined: list[tuple[float | None, ...]] = []
    for gap, stretch in groupby(rows, _is_gap):
        run = list(stretch)
        joined += run if gap else [_joined(run[i : i + each]) for i in range(0, len(run), each)]
    columns = [list(column) for column in zip(*joined, strict=True)]
    return Trace(trace.level_s * each, [t for t in columns[0] if t is not None], *columns[1:])


def _is_gap(row: tuple[float | None, ...]) -> bool:
    return all(value is None for value in row[1:])


def _joined(rows: list[tuple[float | None, ...]]) -> tuple[float | None, ...]:
    t_s, plo, phi, plate, glo, ghi, gas, delivered, held = zip(*rows, strict=True)
    return (
        t_s[0],
        _least(plo),
        _greatest(phi),
        _middle(plate),
        _least(glo),
        _greatest(ghi),
        _middle(gas),
        delivered[-1],
        held[-1],
    )


def _least(values: tuple[float | None, ...]) -> float | None:
    return min((v for v in values if v is not None), default=None)


def _greatest(values: tuple[float | None, ...]) -> float | None:
    return max((v for v in values if v is not None), default=None)


def _middle(values: tuple[float | None, ...]) -> float | None:
    """The mean; nothing when a part of it is not known, so that the line breaks there."""
    known = [v for v in values if v is not None]
    return sum(known) / len(known) if len(known) == len(values) else None


def record_of(reader: LogReader, lines: int = RECORD_LINES) -> tuple[tuple[str, str], ...]:
    """The newest lines of the record, newest first: run time, and what happened."""
    found = [(t_s, f"{what}: {text}") for t_s, what, text in reader.notes(lines)]
    for t_s, _, tag, _, before, after, cause, who, detail in reader.alarms(ALARM_LINES):
        if SUPPRESSED in (before, after):
            continue
        title = CATALOGUE[tag].title if tag in CATALOGUE else tag
        by = f" by {who}" if who else ""
        seen = f" ({detail})" if detail else ""
        found.append((t_s, f"{tag}, {title}: {cause_words(cause)}{by}{seen}; now {after}"))
    found.sort(key=lambda line: -line[0])
    return tuple((run_clock(t_s), text) for t_s, text in found[:lines])
