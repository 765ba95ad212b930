"""The same computation from a recording: a run log, or text lines `SECONDS FRAME`.

Promise: replaying a run's own log gives the account and the alarms of the live run, to the last digit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

from monitor.core.alarms import CALLING, STANDING
from monitor.core.bench import Bench
from monitor.core.events import AlarmChanged, AlarmState, Event, Instant, Noted, Request, Sampled
from monitor.edges.logreader import LogReader, folder_words
from monitor.errors import RecordingError, SettingsError
from monitor.settings import bench_from, parse_toml, run_from
from monitor.terms import BenchTerms, PortTerms, RunTerms

MAX_LINE = 4096  # bytes of a text recording's line that are looked at
AHEAD_MAX_S = 86_400.0  # a time further ahead of the line before is none: the run would wait through all of it
SQLITE = b"SQLite format 3\x00"

Inputs = Iterator[tuple[Instant, bytes | Request]]


class Occurrence(NamedTuple):
    """One time that an alarm was raised; seconds since the run began, None while it has not happened.

    An alarm that is set aside, on a shelf or by a phase, no longer stands: that counts as its return.
    """

    tag: str
    priority: str
    raised_s: float
    returned_s: float | None
    acknowledged_s: float | None
    acknowledged_by: str


class Tally:
    """Keeps what a summary needs while events pass by."""

    def __init__(self) -> None:
        self.occurrences: list[Occurrence] = []
        self._open: dict[str, int] = {}  # tag -> the newest occurrence
        self.plate_last_c: float | None = None
        self.plate_max_c: float | None = None
        self.gas_last_ppm: float | None = None
        self.gas_max_ppm: float | None = None
        self.opening: list[tuple[float, str]] = []  # what was said of whether the flask may be opened

    def add(self, events: list[Event]) -> None:
        """Look at events as they come."""
        for e in events:
            if isinstance(e, Sampled):
                self.plate_last_c, self.gas_last_ppm = e.plate.value, e.gas.value
                if e.plate.value is not None and (self.plate_max_c is None or e.plate.value > self.plate_max_c):
                    self.plate_max_c = e.plate.value
                if e.gas.value is not None and (self.gas_max_ppm is None or e.gas.value > self.gas_max_ppm):
                    self.gas_max_ppm = e.gas.value
            elif isinstance(e, AlarmChanged):
                self._alarm(e)
            elif isinstance(e, Noted) and e.what == "opening":
                self.opening.append((e.t_s, e.text))

    def _alarm(self, e: AlarmChanged) -> None:
        if e.after is AlarmState.UNACKNOWLEDGED:
            self._open[e.tag] = len(self.occurrences)
            self.occurrences.append(Occurrence(e.tag, e.priority.value, e.t_s, None, None, ""))
            return
        at = self._open.get(e.tag)
        if at is None:
            return
        now = self.occurrences[at]
        if e.before in CALLING and e.cause == "acknowledged" and now.acknowledged_s is None:
            now = now._replace(acknowledged_s=e.t_s, acknowledged_by=e.who)
        if e.before in STANDING and e.after not in STANDING:  # returned, or set aside
            now = now._replace(returned_s=e.t_s)
        self.occurrences[at] = now


def is_run_log(path: Path) -> bool:
    """Whether a file is a database, going by its first bytes.

    Raises:
        RecordingError: no such file, a folder, or it cannot be read.
    """
    if path.is_dir():
        raise RecordingError(folder_words(path))
    try:
        with path.open("rb") as file:
            return file.read(len(SQLITE)) == SQLITE
    except OSError as why:
        raise RecordingError(f"{path}: cannot be read: {why.strerror or why}") from why


def replay_log(
    path: Path, bench: BenchTerms, run: RunTerms, progress: Callable[[float], None] = lambda _: None
) -> tuple[Bench, Tally]:
    """Replay a run log. `progress` hears the part done, 0 to 1."""
    reader = LogReader(path)
    header = reader.header()
    live = Bench(bench, run, header.start)
    tally = Tally()
    total = max(1, reader.count_inputs())
    for number, (at, data) in enumerate(reader.inputs()):
        tally.add(live.receive(data, at) if isinstance(data, bytes) else live.command(data, at))
        if number % 5000 == 0:
            progress(number / total)
    tally.add(live.tick(header.last))
    progress(1.0)
    return live, tally


def other_settings(path: Path, bench: BenchTerms, run: RunTerms) -> str:
    """What to say where a run log was kept under other settings than these, by which it is reckoned now; else empty.

    Raises:
        LogError: the log cannot be read.
    """
    header = LogReader(path).header()
    try:
        bench_then = bench_from(parse_toml(header.bench_toml, "bench.toml"), "bench.toml")
        run_then = run_from(parse_toml(header.run_toml, "run.toml"), "run.toml")
    except SettingsError:
        return f"{path}: the settings in this log are not understood any more; it is reckoned by the files given"
    if _reckoned(bench_then, run_then) == _reckoned(bench, run):
        return ""
    then, now = (f"{r.route}, metered by {r.meter}" for r in (run_then, run))
    differ = f"{then}; given is {now}" if then != now else "the same route and meter, but other values"
    return (
        f"{path}: this run was kept under other settings ({differ}); it is reckoned here by the files given, and its "
        "figures may differ from the run's own"
    )


def _reckoned(bench: BenchTerms, run: RunTerms) -> tuple[BenchTerms, RunTerms]:
    """The settings without what no figure hangs on."""
    return replace(bench, port=PortTerms(""), mqtt=None, notify=None), replace(run, title="")


class Skipped(NamedTuple):
    """Lines of a text recording that carry no time to be believed: how many, and the number of the first."""

    lines: int
    first: int


def replay_text(path: Path, bench: BenchTerms, run: RunTerms) -> tuple[Bench, Tally, Skipped]:
    """Replay a text recording. Times count from its first line.

    Raises:
        RecordingError: it cannot be read, or no line of it is `SECONDS FRAME`.
    """
    tally = Tally()
    live: Bench | None = None
    zero_s = last_s = 0.0
    skipped, first_skipped = 0, 0
    try:
        with path.open("rb") as file:
            for number, line in enumerate(iter(lambda: file.readline(MAX_LINE), b""), start=1):
                if not line.strip() or line.startswith(b"#"):
                    continue
                seconds, _, frame = line.strip(b"\r\n").partition(b" ")
                t_s = _seconds(seconds)
                if t_s is None or (live is not None and t_s - zero_s - last_s > AHEAD_MAX_S):
                    skipped, first_skipped = skipped + 1, first_skipped or number
                    continue
                if live is None:
                    zero_s = t_s
                    live = Bench(bench, run, Instant(0.0, zero_s), recording=True)
                last_s = max(last_s, t_s - zero_s)
                tally.add(live.receive(frame + b"\n", Instant(last_s, zero_s + last_s)))
    except OSError as why:
        raise RecordingError(f"{path}: cannot be read: {why.strerror or why}") from why
    if live is None:
        found = "an empty file" if not skipped else f"{skipped} line{'' if skipped == 1 else 's'} without a time"
        raise RecordingError(f'{path}: found {found}, wanted a run log or text lines like "12.3 S,7,…*CA33"')
    tally.add(live.tick(Instant(last_s, zero_s + last_s)))
    return live, tally, Skipped(skipped, first_skipped)


def _seconds(text: bytes) -> float | None:
    if not text or len(text) > 30 or text.strip(b"0123456789.+-eE"):
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if abs(value) < 1e12 else None


def summary(live: Bench, tally: Tally) -> dict[str, Any]:
    """What `replay --json` prints."""
    counts = live.counts
    now_s = live.now.mono_s
    account = live.account.state(now_s)
    exposure = live.exposure_now()
    return {
        "frames": {"accepted": counts.accepted, "rejected": counts.rejected, "lost": counts.lost},
        "restarts": counts.restarts,
        "drops": live.drops,
        "duration_s": now_s,
        "account": {
            "generated_mol": account.generated_mol,
            "held_mol": account.held_mol,
            "delivered_mol": account.delivered_mol,
            "locked_mol": account.locked_mol,
            "delivered_expanded_uncertainty_mol": 2.0 * account.u_delivered_mol,
        },
        "exposure": {
            "stel_max_ppm": exposure.stel_max_ppm,
            "twa_ppm": exposure.twa_ppm,
            "unknown_s": exposure.unknown_s,
        },
        "plate": {"last_c": tally.plate_last_c, "max_c": tally.plate_max_c},
        "gas": {"last_ppm": tally.gas_last_ppm, "max_ppm": tally.gas_max_ppm},
        "alarms": [o._asdict() for o in tally.occurrences],
        "opening": [{"t_s": t_s, "text": text} for t_s, text in tally.opening],
        "alarm_performance": live.alarm_figures()._asdict(),
    }
