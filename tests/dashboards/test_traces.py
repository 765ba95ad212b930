"""Traces bear thinning: peaks stay, gaps stay gaps, and no browser gets more than it bears."""

from __future__ import annotations

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from dashboards import sheet
from dashboards.traces import MOST_POINTS, thinned, traces_of
from monitor.core.events import AlarmChanged, AlarmState, Noted, Priority
from monitor.edges.logreader import Trace
from tests.dashboards.runs import FORECAST, QUIET, UTC_S, sampled, write_log


def trace_of(values: list[float | None]) -> Trace:
    """A gas trace of one bucket a second; None is a gap."""
    low = [None if v is None else v - 0.5 for v in values]
    high = [None if v is None else v + 0.5 for v in values]
    none: list[float | None] = [None] * len(values)
    return Trace(1, [i + 0.5 for i in range(len(values))], none, none, none, low, high, values, none, none)


@given(
    stretches=st.lists(st.lists(st.floats(-5.0, 50.0), min_size=1, max_size=300), min_size=1, max_size=6),
    most=st.integers(20, 750),
)
def test_thinning_keeps_extremes_and_gaps(stretches: list[list[float]], most: int) -> None:
    """The greatest and the least are still there, and between two stretches there is still nothing."""
    values: list[float | None] = []
    for stretch in stretches:
        values += [*stretch, None]
    values.pop()
    got = thinned(trace_of(values), most)
    known = [v for v in values if v is not None]
    assert len(got.t_s) <= most
    assert max(v for v in got.gas_hi if v is not None) == max(known) + 0.5
    assert min(v for v in got.gas_lo if v is not None) == min(known) - 0.5
    assert got.gas.count(None) == len(stretches) - 1
    assert got.t_s == sorted(got.t_s)


def test_a_day_is_drawn_with_few_points_and_its_spike(tmp_path: Path) -> None:
    """One sample a minute for a day and one spike: no more points than are drawn, the spike among them."""
    events = [sampled(60.0 * i + 1.0, 4.4 if i == 777 else 0.1) for i in range(1440)]
    log = write_log(tmp_path / "day.so2log", [*events, QUIET])
    seen = traces_of(log, None)
    assert 100 < len(seen.trace.t_s) <= MOST_POINTS
    assert max(v for v in seen.trace.gas_hi if v is not None) == 4.4


def test_silence_in_the_log_is_a_gap_in_the_trace(tmp_path: Path) -> None:
    """Twenty seconds without a sample are not joined by a line."""
    events = [sampled(0.1 * i) for i in range(1000) if not 300 <= i < 500]
    seen = traces_of(write_log(tmp_path / "a.so2log", [*events, QUIET]), 300.0)
    at = seen.trace.gas.index(None)
    assert seen.trace.t_s[at - 1] < 30.0 < seen.trace.t_s[at] < 50.0 < seen.trace.t_s[at + 1]
    assert seen.need_mol == FORECAST.need_mol


def test_the_record_says_who_and_leaves_out_what_a_phase_sets_aside(tmp_path: Path) -> None:
    """Newest first: acknowledgements by name; alarms suppressed by design are no news."""
    high = Priority.HIGH
    unacknowledged, acknowledged, suppressed = (
        AlarmState.UNACKNOWLEDGED,
        AlarmState.ACKNOWLEDGED,
        AlarmState.SUPPRESSED,
    )
    changes = [
        AlarmChanged(
            1.0, UTC_S, "SUCK-BACK", high, AlarmState.NORMAL, suppressed, "suppressed", "", "phase getting ready"
        ),
        AlarmChanged(
            50.0, UTC_S, "GAS-HIGH", high, AlarmState.NORMAL, unacknowledged, "condition true", "", "2.6 ppm"
        ),
        AlarmChanged(
            60.0, UTC_S, "GAS-HIGH", high, unacknowledged, acknowledged, "acknowledged", "bench-2", "2.6 ppm"
        ),
    ]
    log = write_log(tmp_path / "a.so2log", [*changes, Noted(55.0, "note", "bench-2: joint was loose"), QUIET])
    record = traces_of(log, 300.0).record
    assert [at for at, _ in record] == ["0:01:00", "0:00:55", "0:00:50"]
    assert record[0][1] == "GAS-HIGH, SO2 in the air: acknowledged by bench-2 (2.6 ppm); now acknowledged"
    assert record[1][1] == "note: bench-2: joint was loose"
    assert record[2][1] == "GAS-HIGH, SO2 in the air: it is so (2.6 ppm); now unacknowledged"


def test_how_the_alarms_did_is_under_the_record(tmp_path: Path) -> None:
    """The lines that the run keeps of its alarms are drawn as they are."""
    lines = ("3 alarms, 0.50 in 10 minutes on average", "chattering <three times in a minute>: DRIP-FAST")
    seen = traces_of(write_log(tmp_path / "a.so2log", [QUIET._replace(alarms_did=lines)]), 300.0)
    assert seen.alarms_did == lines
    drawn = sheet.alarms_did(seen.alarms_did)
    assert "How the alarms did so far" in drawn
    assert "0.50 in 10 minutes" in drawn
    assert "&lt;three" in drawn
