"""What a long run costs the page: the server's work for one refresh on a day's log against a five-minute one.

Run as `python -m tests.benchmarks.bench_page`. Only ratios within one run mean anything: absolute times are the
machine's. Aim: at most 1.2, whatever window is shown. The log is invented: ten samples a second, a drop a second.
"""

from __future__ import annotations

import json
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from dashboards import charts, sheet
from dashboards.freshness import Freshness
from dashboards.traces import WINDOWS, traces_of
from dashboards.view import look
from monitor.core.events import Accounted, Event, Instant, Noted, Reading, Sampled
from monitor.edges import runlog
from tests.dashboards.live import BENCH_TOML, RUN_TOML
from tests.dashboards.runs import QUIET

AIM = 1.2
SHORT_S, LONG_S = 300, 86_400
ROUNDS = 200
BATCH_S = 60  # run seconds handed to the writer at once
START_UTC_S = 1_800_000_000.0


def make_log(path: Path, seconds: int) -> Path:
    """A run log of so many seconds, as the service would have written it."""
    header = {
        "bench_toml": BENCH_TOML,
        "run_toml": RUN_TOML,
        "made_by": "a benchmark",
        "start_mono_s": "0.0",
        "start_utc_s": repr(START_UTC_S),
    }
    runlog.create(path, header)
    writer = runlog.LogWriter(path, _trouble)
    plate, gas = Reading(78.0, 0.8), Reading(0.12, 0.16)
    for start_s in range(0, seconds, BATCH_S):
        events: list[Event] = []
        for second in range(start_s, min(start_s + BATCH_S, seconds)):
            part = second / LONG_S
            events.append(Accounted(second, second, 0.04 * second, part, 0.1, part, 1.0 - part, *(0.002,) * 4))
            events += [Sampled(second + 0.1 * i, second, 0, plate, 24.5, gas, 5, 0x0B) for i in range(10)]
        end_s = float(min(start_s + BATCH_S, seconds))
        events += [Noted(end_s, "note", "a minute has passed"), QUIET._replace(t_s=end_s)]
        writer.write(events, Instant(end_s, START_UTC_S + end_s))
    writer.close()
    return path


def _trouble(failing: bool, text: str) -> None:
    raise OSError(f"the log of the benchmark cannot be written: {failing}, {text}")


def upper(log: Path, fresh: Freshness) -> int:
    """The upper part of the page: read, view, HTML. Gives the characters made."""
    view = look(log, fresh, time.monotonic(), time.time())
    html = [sheet.head(view.head), sheet.amounts(view.amounts), sheet.readings(view)]
    return sum(map(len, html))


def traces(log: Path, window_s: float | None) -> int:
    """The traces: read, thin, drawings as the browser gets them. Gives their points."""
    seen = traces_of(log, window_s)
    for drawn in charts.all_of(seen):
        json.dumps({**drawn.spec, "datasets": None})
        drawn.spec["datasets"][charts.POINTS].to_numpy()
    return len(seen.trace.t_s)


def ratio(short: Callable[[], int], long: Callable[[], int]) -> tuple[float, float, int, int]:
    """Median time of `long` over that of `short`, taken in turns; then the short time in ms and what each made."""
    times: tuple[list[float], list[float]] = ([], [])
    made = (short(), long())
    for _ in range(ROUNDS):
        for work, kept in zip((short, long), times, strict=True):
            began_s = time.perf_counter()
            work()
            kept.append(time.perf_counter() - began_s)
    medians = [statistics.median(kept) for kept in times]
    return medians[1] / medians[0], 1e3 * medians[0], made[0], made[1]


def main() -> None:
    """Make both logs, measure, print."""
    with tempfile.TemporaryDirectory() as folder:
        began_s = time.perf_counter()
        short, long = make_log(Path(folder) / "short.so2log", SHORT_S), make_log(Path(folder) / "long.so2log", LONG_S)
        print(f"logs of {SHORT_S} s and {LONG_S} s made in {time.perf_counter() - began_s:.0f} s")
        print(f"sizes {short.stat().st_size / 1e6:.1f} and {long.stat().st_size / 1e6:.1f} MB")
        fresh = Freshness(), Freshness()
        got = ratio(lambda: upper(short, fresh[0]), lambda: upper(long, fresh[1]))
        _say("upper part", got, "characters")
        ratios = [got[0]]
        for name, window_s in WINDOWS.items():
            got = ratio(lambda w=window_s: traces(short, w), lambda w=window_s: traces(long, w))  # type: ignore[misc]
            _say(f"traces, {name}", got, "points")
            ratios.append(got[0])
        window_s = WINDOWS["5 min"]
        got = ratio(
            lambda: upper(short, fresh[0]) + traces(short, window_s),
            lambda: upper(long, fresh[1]) + traces(long, window_s),
        )
        _say("whole page as it opens", got, "made")
        worst = max(*ratios, got[0])
        print(f"aim {AIM:.1f}: {'reached' if worst <= AIM else 'MISSED'}, the worst is {worst:.2f}")


def _say(what: str, got: tuple[float, float, int, int], unit: str) -> None:
    print(f"{what:24} ratio {got[0]:.2f}   (short {got[1]:.1f} ms; {got[2]} and {got[3]} {unit})")


if __name__ == "__main__":
    main()
