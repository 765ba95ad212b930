"""Whether the memory's answer and the one worked out from the plain logs are the same."""

from __future__ import annotations

from math import isclose
from typing import Any

from monitor.memory.ask import Answer, Question
from tests.plainmemory import Rows


def differences(question: Question, answer: Answer, wanted: Rows) -> list[str]:
    """Where they differ, in words; alarms are asked by bench and month."""
    got = {}
    for values in answer.rows:
        row = dict(zip(answer.columns, values, strict=True))
        key, figures = {"exposure": _exposure, "yields": _yields, "alarms": _alarms}[question](row)
        got[key] = figures
    wrong = [f"{key}: only one has it" for key in sorted(got.keys() ^ wanted.keys())]
    for key in got.keys() & wanted.keys():
        expected = _means(wanted[key]) if question == "alarms" else wanted[key]
        if not all(_same(a, b) for a, b in zip(got[key], expected, strict=True)):
            wrong.append(f"{key}: memory {got[key]}, plain {expected}")
    return wrong


def _exposure(row: dict[str, Any]) -> tuple[tuple[str, ...], tuple[Any, ...]]:
    names = ("stel_max_ppm", "twa_max_ppm", "dose_ppm_h", "watched_h", "unknown_h", "runs")
    return (row["person"], row["week"]), tuple(row[name] for name in names)


def _yields(row: dict[str, Any]) -> tuple[tuple[str, ...], tuple[Any, ...]]:
    names = ("runs", "not_closed", "compared", "planned_mol", "delivered_mol", "delivered_expanded_uncertainty_mol")
    weighed = ("weighed", "weighed_mol", "before_weighing_mol")
    return (row["bench"],), tuple(row[name] or 0.0 for name in (*names, *weighed))


def _alarms(row: dict[str, Any]) -> tuple[tuple[str, ...], tuple[Any, ...]]:
    names = ("raised", "stood_h", "standing_at_end", "mean_to_acknowledge_s", "longest_to_acknowledge_s")
    return (row["tag"], row["bench"], row["month"]), (*(row[name] for name in names), row["never_acknowledged"])


def _means(row: tuple[Any, ...]) -> tuple[Any, ...]:
    raised, stood_h, at_end, waits_s, never = row
    mean_s, longest_s = (sum(waits_s) / len(waits_s), max(waits_s)) if waits_s else (None, None)
    return raised, stood_h, at_end, mean_s, longest_s, never


def _same(a: float | None, b: float | None) -> bool:
    return a is b if a is None or b is None else isclose(a, b, rel_tol=1e-9, abs_tol=1e-9)
