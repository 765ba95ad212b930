"""The drawings hold their limits, break at gaps, and can be read without being seen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from dashboards.charts import POINTS, all_of
from dashboards.traces import Seen, traces_of
from tests.dashboards.runs import FORECAST, QUIET, SHEET, sampled, write_log


def seen(tmp_path: Path, window_s: float | None = 300.0) -> Seen:
    events = [sampled(0.1 * i, gas_ppm=0.1 + 0.001 * i) for i in range(1000) if not 300 <= i < 500]
    return traces_of(write_log(tmp_path / "a.so2log", [*events, QUIET]), window_s)


def marks_of(spec: dict[str, Any], key: str) -> list[Any]:
    return [row[key] for layer in spec["layer"][-3:-2] for row in spec["datasets"][layer["data"]["name"]]]


def test_gas_and_plate_are_drawn_with_both_their_limits(tmp_path: Path) -> None:
    """Each limit is a line at its value with words on it."""
    gas, plate, over = (drawn.spec for drawn in all_of(seen(tmp_path)))
    limits = SHEET.limits
    assert marks_of(gas, "value") == [limits.gas_high_ppm, limits.gas_high_high_ppm]
    assert marks_of(plate, "value") == [limits.plate_high_c, limits.plate_high_high_c]
    assert marks_of(plate, "words") == ["alarm at 95", "heat off at 110"]
    assert marks_of(over, "value") == [FORECAST.need_mol]


def test_the_words_of_two_limits_stand_clear_of_each_other(tmp_path: Path) -> None:
    """The higher limit's words are above its line and the lower one's below, however close the lines lie."""
    above, below = all_of(seen(tmp_path))[1].spec["layer"][-2:]
    highest = SHEET.limits.plate_high_high_c
    assert (above["mark"]["baseline"], above["transform"]) == ("bottom", [{"filter": f"(datum.value >= {highest})"}])
    assert (below["mark"]["baseline"], below["transform"]) == ("top", [{"filter": f"(datum.value < {highest})"}])


def test_a_gap_is_a_row_without_a_value(tmp_path: Path) -> None:
    """The drawing gets the gap, so that it can break there."""
    points = all_of(seen(tmp_path))[0].spec["datasets"][POINTS]
    assert int(points["mean"].isna().sum()) == 1
    assert points["ago"].is_monotonic_increasing


def test_the_newest_point_is_now_and_the_window_is_whole(tmp_path: Path) -> None:
    """Time is counted back from now over the whole window, so that a stopped trace does not look like a full one."""
    gas = all_of(seen(tmp_path))[0].spec
    assert gas["layer"][0]["encoding"]["x"]["scale"]["domain"] == [-5.0, 0.0]
    assert -0.02 < gas["datasets"][POINTS]["ago"].iloc[-1] <= 0.01
    whole = all_of(traces_of(tmp_path / "a.so2log", None))[0].spec
    assert whole["layer"][0]["encoding"]["x"]["scale"]["domain"] == [-10.0, 0.0]


def test_only_the_points_change_from_refresh_to_refresh(tmp_path: Path) -> None:
    """The description stays the same, so that the browser draws in place."""
    now = seen(tmp_path)
    later = now._replace(to_s=now.to_s + 2.0)
    for before, after in zip(all_of(now), all_of(later), strict=True):
        del before.spec["datasets"][POINTS], after.spec["datasets"][POINTS]
        assert before.spec == after.spec


def test_every_drawing_says_in_words_what_it_shows(tmp_path: Path) -> None:
    """Newest value and limits, for those who do not see the picture."""
    said = [drawn.said for drawn in all_of(seen(tmp_path))]
    assert said[0] == "SO2 at the sensor, the last 5 min 00 s: newest 1.09 ppm; alarm at 2; leave at 5."
    assert said[2] == "Gone over, the last 5 min 00 s: nothing measured; need 0.334."
