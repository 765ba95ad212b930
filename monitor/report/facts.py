"""From a run log to what a report has to say. Reads the record and computes no result anew but the plan and the
budget of the account, both from the settings that the log carries.

For next time it looks at the finished runs of the same bench in the log's folder, up to this one, and says so.

Promise: a log that is being written can be read; what the record does not hold is None or empty, never made up.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from monitor import __version__
from monitor.chemistry.planning import Plan, plan
from monitor.core.account import Weighing, WeighingRefusedError
from monitor.core.balance import course_of
from monitor.core.bubbleaccount import BubbleAccount
from monitor.core.catalogue import cause_words
from monitor.core.events import Accounted, AlarmChanged, AlarmState, Corrected, Exposed, Priority, Request
from monitor.core.requests import ASKED_BY_PEOPLE
from monitor.core.weighedaccount import WeighedAccount
from monitor.edges.logreader import Header, LogReader, Trace
from monitor.errors import LogError
from monitor.nexttime import NextTime
from monitor.pastresults import learned_from
from monitor.replay import Occurrence, Tally
from monitor.settings import bench_from, parse_toml, run_from
from monitor.terms import BenchTerms, DripTerms, RunTerms

MOST_BUCKETS = 3000  # two days by their minutes
KNOWN_META = frozenset(
    {"bench_toml", "run_toml", "bench_name", "title", "made_by", "start_mono_s", "start_utc_s"}
    | {"last_mono_s", "last_utc_s"}
)
OPENING_NOTE = "opening: "
CHECK_NOTES = frozenset({"check", "checks", "waiver"})
SUPPRESSED = AlarmState.SUPPRESSED.value


class Stood(NamedTuple):
    """One time that an alarm stood, with what was seen when it was raised."""

    occurrence: Occurrence
    detail: str


class Told(NamedTuple):
    """One line of what happened; `who` is empty for the bench itself."""

    t_s: float
    who: str
    text: str


class Fingerprint(NamedTuple):
    """SHA-256 over the raw inputs in order (see edges/SCHEMA.md), and how many there are."""

    sha256: str
    inputs: int


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything that the report says, for one run."""

    file: str
    file_bytes: int
    reported_by: str
    header: Header
    bench: BenchTerms
    run: RunTerms
    invented: bool
    plan: Plan
    overview: dict[str, Any] | None
    account: Accounted | None
    account_rows: tuple[tuple[float, int, float, float, float, float], ...]  # t, drops, delivered, u, held, u
    budget: tuple[tuple[str, float], ...]
    need_reached_s: float | None
    corrections: tuple[Corrected, ...]
    phases: tuple[tuple[float, str, str], ...]
    stood: tuple[Stood, ...]
    told: tuple[Told, ...]
    checks: tuple[Told, ...]
    opening: tuple[Told, ...]  # what was said of whether the flask may be opened
    exposure: Exposed | None
    rejected: dict[str, int]
    trace: Trace
    fingerprint: Fingerprint
    other_meta: tuple[tuple[str, str], ...]
    next_time: NextTime


def gather(path: Path, progress: Callable[[float], None] = lambda _: None) -> Facts:
    """Read a log. `progress` hears the part done, 0 to 1.

    Raises:
        RefusalError: the log cannot be read, or its settings are not understood.
    """
    reader = LogReader(path)
    header = reader.header()
    bench = bench_from(parse_toml(header.bench_toml, "bench.toml in the log"), "bench.toml in the log")
    run = run_from(parse_toml(header.run_toml, "run.toml in the log"), "run.toml in the log")
    fingerprint, requests = _inputs(reader, progress)
    rows = tuple(reader.rows("account"))
    account = Accounted(*rows[-1][1:]) if rows else None
    notes = [Told(t_s, "", f"{what}: {text}") for _, t_s, what, text in reader.rows("note")]
    overview = reader.overview()
    phases = tuple((t_s, phase, who) for _, t_s, phase, who in reader.rows("phase"))
    changes = [row[1:] for row in reader.rows("alarm")]
    need = run.receiver.need_mol if run.receiver is not None else None
    corrections = tuple(reversed(reader.corrections(1000)))
    exposures = [Exposed(*row) for row in reader.rows("exposure")]
    exposure = Exposed(**overview["exposure"]) if overview is not None else exposures[-1] if exposures else None
    return Facts(
        file=path.name,
        file_bytes=path.stat().st_size,
        reported_by=f"so2bench {__version__}",
        header=header,
        bench=bench,
        run=run,
        invented=is_invented(header),
        plan=plan(run, bench),
        overview=overview,
        account=account,
        account_rows=tuple((r[1], r[2], r[6], r[10], r[5], r[9]) for r in rows),
        budget=_budget(bench, run, account, corrections),
        need_reached_s=next((r[1] for r in rows if need is not None and r[6] >= need), None),
        corrections=corrections,
        phases=phases,
        stood=stood(changes),
        told=_told(reader, requests, notes, changes, phases),
        checks=tuple(n for n in notes if n.text.partition(":")[0] in CHECK_NOTES),
        opening=tuple(
            n._replace(text=n.text.removeprefix(OPENING_NOTE)) for n in notes if n.text.startswith(OPENING_NOTE)
        ),
        exposure=exposure,
        rejected=dict(Counter(row[2] for row in reader.rows("rejected"))),
        trace=reader.trace(0.0, max(1.0, header.last.mono_s), MOST_BUCKETS),
        fingerprint=fingerprint,
        other_meta=tuple((k, v) for k, v in reader.rows("meta") if k not in KNOWN_META),
        next_time=learned_from(
            path.parent,
            bench,
            run.route,
            datetime.fromtimestamp(header.start.utc_s, tz=UTC).date(),
            header.start.utc_s,
        ),
    )


def is_invented(header: Header) -> bool:
    """Whether a run's own files say that its data are invented."""
    return "invented" in (header.bench_toml + header.run_toml).lower()


def fingerprint_of(path: Path) -> Fingerprint:
    """The fingerprint of a log's raw inputs; two logs of the same inputs have the same one."""
    return _inputs(LogReader(path), lambda _: None)[0]


def add_to_fingerprint(digest: hashlib._Hash, mono_s: float, kind: str, data: bytes) -> None:
    """Take one raw input into a fingerprint."""
    digest.update(f"{mono_s!r} {kind} {len(data)}\n".encode())
    digest.update(data)


def _inputs(reader: LogReader, progress: Callable[[float], None]) -> tuple[Fingerprint, list[tuple[float, Request]]]:
    digest = hashlib.sha256()
    total = max(1, reader.count_inputs())
    count = 0
    for count, (_, mono_s, _, kind, data) in enumerate(reader.rows("input"), start=1):
        add_to_fingerprint(digest, mono_s, kind, data)
        if count % 20_000 == 0:
            progress(min(1.0, count / total))
    requests = [(at.mono_s, what) for at, what in reader.requests()]
    progress(1.0)
    return Fingerprint(digest.hexdigest(), count), requests


def _budget(
    bench: BenchTerms, run: RunTerms, account: Accounted | None, corrections: tuple[Corrected, ...]
) -> tuple[tuple[str, float], ...]:
    """What contributes to the uncertainty of what was delivered: by the count alone, or where nothing is counted by
    the newest weighing that stands; empty where there is neither.
    """
    if run.meter == "weighings":
        return _weighed_budget(run, corrections)
    if account is None:
        return ()
    if run.meter == "bubbles":
        counted = BubbleAccount(run)
        counted.count(account.t_s, account.drops, account.t_s, 0.0)
        return counted.budget()
    if run.meter != "drops" or not isinstance(run.charge, DripTerms):
        return ()
    volume = bench.drops.volume_ul
    return course_of(run.charge).budget(account.drops * volume.value * 1e-3, volume.u / volume.value)


def _weighed_budget(run: RunTerms, corrections: tuple[Corrected, ...]) -> tuple[tuple[str, float], ...]:
    weighed = WeighedAccount(run)
    try:
        for c in corrections:
            if c.what.startswith("undo "):
                weighed.undo_weighing(c.t_s, c.who)
            else:
                weighed.weigh(c.t_s, c.who, Weighing(c.what, c.grams, c.u_g))
    except WeighingRefusedError:  # the record begins before what was read of it
        return ()
    return weighed.budget()


def stood(changes: list[tuple[Any, ...]]) -> tuple[Stood, ...]:
    """Each time that an alarm stood, from the rows of `alarm` without their `id`, in order.

    Raises:
        LogError: a row cannot be understood.
    """
    tally = Tally()
    details: list[str] = []
    for t_s, utc_s, tag, priority, before, after, cause, who, detail in changes:
        try:
            change = AlarmChanged(
                t_s, utc_s, tag, Priority(priority), AlarmState(before), AlarmState(after), cause, who, detail
            )
        except ValueError as why:
            raise LogError(f"an alarm of the log cannot be understood: {why}") from why
        tally.add([change])
        if len(tally.occurrences) > len(details):
            details.append(detail)
    return tuple(Stood(o, d) for o, d in zip(tally.occurrences, details, strict=True))


def _told(
    reader: LogReader,
    requests: list[tuple[float, Request]],
    notes: list[Told],
    changes: list[tuple[Any, ...]],
    phases: tuple[tuple[float, str, str], ...],
) -> tuple[Told, ...]:
    """Notes, requests with their answers, the permit, phases and alarms, in order of time."""
    told = [*notes]
    answers = [(bool(accepted), text) for _, _, _, accepted, text in reader.rows("answer")]
    # Every request gets one answer, in the same transaction and order.
    for (t_s, r), (accepted, text) in zip(requests, answers, strict=False):
        if (r.kind in ASKED_BY_PEOPLE or not accepted) and not (r.kind == "note" and accepted):
            told.append(Told(t_s, r.who, f"{_asked(r)} – {'done' if accepted else 'refused'}: {text}"))
    for _, t_s, is_on, why in reader.rows("permit"):
        told.append(Told(t_s, "", f"permit {'on' if is_on else 'off'}: {why}"))
    told += [Told(t_s, who, f"phase: {phase}") for t_s, phase, who in phases]
    for t_s, _, tag, priority, before, after, cause, who, detail in changes:
        if SUPPRESSED not in (before, after):
            seen = f": {detail}" if detail else ""
            told.append(Told(t_s, who, f"{tag} ({priority}) {cause_words(cause)}, now {after}{seen}"))
    return tuple(sorted(told, key=lambda line: line.t_s))


def _asked(r: Request) -> str:
    args = ", ".join(("on" if value else "off") if isinstance(value, bool) else f"{value}" for _, value in r.args)
    return f"asked: {r.kind}{f' {args}' if args else ''}"
