"""The drawings hold their limits, break at gaps, and can be read without being seen."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from dashboards.charts import all_of
from dashboards.traces import Seen, traces_of
from tests.dashboards.runs import FORECAST, QUIET, SHEET, sampled, write_log


def seen(tmp_path: Path) -> Seen:
    events = [sampled(0.1 * i, gas_ppm=0.1 + 0.001 * i) for i in range(1000) if not 300 <= i < 500]
    return traces_of(write_log(tmp_path / "a.so2log", [*events, QUIET]), 300.0)


def values_of(spec: dict[str, Any], key: str) -> list[Any]:
    return [row[key] for rows in spec["datasets"].values() for row in rows if key in row]


def test_gas_and_plate_are_drawn_with_both_their_limits(tmp_path: Path) -> None:
    """Each limit is a line at its value with words on it."""
    gas, plate, over = (drawn.chart.to_dict() for drawn in all_of(seen(tmp_path)))
    limits = SHEET.limits
    assert values_of(gas, "value") == [limits.gas_high_ppm, limits.gas_high_high_ppm]
    assert values_of(plate, "value") == [limits.plate_high_c, limits.plate_high_high_c]
    assert values_of(plate, "words") == ["alarm at 95", "heat off at 110"]
    assert values_of(over, "value") == [FORECAST.need_mol]


def test_a_gap_is_a_row_without_a_value(tmp_path: Path) -> None:
    """The drawing gets the gap, so that it can break there."""
    gas = all_of(seen(tmp_path))[0].chart.to_dict()
    assert values_of(gas, "mean").count(None) == 1


def test_the_time_axis_is_the_window_and_nothing_else(tmp_path: Path) -> None:
    """The axis ends at the newest second, so that a stopped trace does not look like a full one."""
    spec = json.dumps(all_of(seen(tmp_path))[0].chart.to_dict())
    assert '"domain": [0.0, 1.66' in spec


def test_every_drawing_says_in_words_what_it_shows(tmp_path: Path) -> None:
    """Newest value and limits, for those who do not see the picture."""
    said = [drawn.said for drawn in all_of(seen(tmp_path))]
    assert said[0] == "SO2 at the sensor over 1 min 40 s: newest 1.09 ppm; alarm at 2; leave at 5."
    assert said[2] == "Gone over over 1 min 40 s: nothing measured; need 0.334."
