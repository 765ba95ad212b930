"""A finished run log of the demonstration's story, made in this process and much faster than it would have lasted.

Invented throughout: the rig's bench, the rig's story, and an operator who asks what the story says.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path

from monitor.core.bench import Bench
from monitor.core.events import Instant, Send
from monitor.core.requests import make_request
from monitor.edges import runlog
from monitor.rig import scenario
from monitor.rig.bench import SimulatedBench
from monitor.settings import bench_from, parse_toml, run_from
from monitor.terms import Meter, Route

START_UTC_S = 1_795_600_000.0  # in November 2026
STEP_S = 0.1

Asked = tuple[float, str, Mapping[str, object]]
_SHELL: tuple[Asked, ...] = (
    (0.5, "checklist", {}),
    (0.6, "seen", {"item": "disk", "ok": True, "text": "room enough"}),
)


def record_run(
    log: Path,
    duration_s: float,
    asked: Iterable[Asked] | None = None,
    *,
    title: str | None = None,
    stop: bool = True,
    seed: int = scenario.SEED,
    route: Route = "acid-drip",
    meter: Meter | None = None,
) -> Path:
    """Record the first `duration_s` of a story, asking its own requests or `asked`; with `stop` it is ended."""
    today = datetime.fromtimestamp(START_UTC_S, tz=UTC).date()
    run_toml = scenario.run_toml(route, meter, today)
    run_terms = run_from(parse_toml(run_toml, "run.toml"), "run.toml")
    bench_toml = scenario.bench_toml("board", today, route)
    bench_terms = bench_from(parse_toml(bench_toml, "bench.toml"), "bench.toml")
    if title is not None:
        run_toml = run_toml.replace(run_terms.title, title)
    header = {
        "bench_toml": bench_toml,
        "run_toml": run_toml,
        "bench_name": bench_terms.name,
        "title": title or run_terms.title,
        "made_by": "so2bench of a test",
        "start_mono_s": "0.0",
        "start_utc_s": repr(START_UTC_S),
    }
    runlog.create(log, header)
    writer = runlog.LogWriter(log, _trouble)
    live = Bench(bench_terms, run_terms, Instant(0.0, START_UTC_S))
    simulated = SimulatedBench(bench_terms, run_terms, seed, scenario.timeline(route))
    waiting: list[Asked] = [
        *_SHELL,
        *(request for request in asked or scenario.requests(route) if request[0] < duration_s),
    ]
    if stop:
        waiting.append((duration_s - 1.0, "stop", {"reason": "the story is over"}))
    for step in range(1, round(duration_s / STEP_S) + 1):
        t_s = step * STEP_S
        at = Instant(t_s, START_UTC_S + t_s)
        events = live.receive(simulated.step(STEP_S), at)
        while waiting and waiting[0][0] <= t_s:
            _, kind, args = waiting.pop(0)
            events += live.command(make_request(kind, "the story", args), at)
        simulated.write(b"".join(e.data for e in events if isinstance(e, Send)))
        writer.write(events, at)
    writer.close(give_up_after_s=60.0)
    return log


def _trouble(failing: bool, text: str) -> None:
    raise AssertionError(f"the log of a test cannot be written: {failing}, {text}")
