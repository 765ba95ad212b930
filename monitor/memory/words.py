"""An answer of the memory for a person, as CSV, or as JSON."""

from __future__ import annotations

import csv
import io
import json
import math
from typing import Any, Final, NamedTuple

from monitor.errors import RefusalError
from monitor.export import full
from monitor.memory.ask import Answer, Question

NO_NAME: Final = "(no name)"


class Head(NamedTuple):
    """A column for a person: its head, and how its numbers are written."""

    text: str
    form: str = ""


HEADS: Final[dict[str, Head]] = {
    "person": Head("person"),
    "week": Head("week"),
    "stel_max_ppm": Head("highest 15 min, ppm", ".2f"),
    "twa_max_ppm": Head("highest 8 h, ppm", ".3f"),
    "dose_ppm_h": Head("dose, ppm·h", ".3f"),
    "watched_h": Head("watched, h", ".1f"),
    "unknown_h": Head("of it unknown, h", ".2f"),
    "runs": Head("runs", "d"),
    "bench": Head("bench"),
    "month": Head("month"),
    "not_closed": Head("not closed", "d"),
    "compared": Head("compared", "d"),
    "planned_mol": Head("planned, mol", ".3f"),
    "delivered_mol": Head("delivered, mol", ".3f"),
    "delivered_expanded_uncertainty_mol": Head("± (k = 2)", ".3f"),
    "delivered_per_planned": Head("delivered / planned", ".3f"),
    "weighed": Head("weighed", "d"),
    "weighed_mol": Head("weighed, mol", ".3f"),
    "before_weighing_mol": Head("account before, mol", ".3f"),
    "weighed_per_before": Head("weighed / before", ".3f"),
    "tag": Head("alarm"),
    "priority": Head("priority"),
    "raised": Head("raised", "d"),
    "stood_h": Head("stood, h", ".2f"),
    "longest_min": Head("longest, min", ".1f"),
    "standing_at_end": Head("stood at the end", "d"),
    "mean_to_acknowledge_s": Head("acknowledged after, s", ".0f"),
    "longest_to_acknowledge_s": Head("at most, s", ".0f"),
    "never_acknowledged": Head("never", "d"),
}

MEANING: Final[dict[Question, str]] = {
    "exposure": "At the sensor, not at a nose. A person is the name that last asked for something at the bench.\n"
    f"{NO_NAME}: none was typed; that may be many persons, and the averages are the highest of any one bench.\n"
    "Personal data: local rules say who may read this, and for how long it is kept.",
    "yields": "Closed runs only; compared: those with a plan and an account. Before: the account just before the "
    "weighing.",
    "alarms": "Stood: while its cause did, or to the end of the record. Acknowledged after: the mean over those "
    "that were.",
}


def plain(answer: Answer, question: Question, zone: str) -> str:
    """A table in columns, and what its figures mean."""
    heads = [HEADS[name] for name in answer.columns]
    cells = [
        [_cell(head, name, value) for head, name, value in zip(heads, answer.columns, row, strict=True)]
        for row in answer.rows
    ]
    widths = [max(len(head.text), *(len(row[i]) for row in cells), 0) for i, head in enumerate(heads)]
    lines = []
    for row in [[head.text for head in heads], *cells]:
        padded = (c.rjust(w) if head.form else c.ljust(w) for c, w, head in zip(row, widths, heads, strict=True))
        lines.append("  ".join(padded).rstrip())
    invented = f" ({answer.invented} invented, as they say)" if answer.invented else ""
    told = f"Runs in this memory: {answer.runs}{invented}. Weeks, months and days of {zone}."
    return "\n".join([*lines, "", told, MEANING[question]])


def _cell(head: Head, name: str, value: Any) -> str:
    if value is None or value == "":
        return NO_NAME if name == "person" else "–"
    if head.form:
        return format(value, head.form)
    return "".join(c if c.isprintable() else "?" for c in str(value))  # names come from a log, and may be anything


def as_csv(answer: Answer) -> str:
    """RFC 4180, heads as the columns are called; NULL is an empty cell, and no text is a formula to a spreadsheet."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(answer.columns)
    writer.writerows([full(value) for value in row] for row in answer.rows)
    return text.getvalue()


def as_json(answer: Answer, question: Question, zone: str) -> str:
    """JSON with the rows as objects; NULL is null.

    Raises:
        RefusalError: a figure is infinite, which JSON cannot say.
    """
    rows = [dict(zip(answer.columns, row, strict=True)) for row in answer.rows]
    if any(isinstance(value, float) and not math.isfinite(value) for row in answer.rows for value in row):
        raise RefusalError(f"found an infinite figure among {question}, which JSON cannot say; --csv can")
    whole = {"question": question, "zone": zone, "runs": answer.runs, "invented": answer.invented, "rows": rows}
    return json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False)
