"""The campaign: seeded runs of the whole chain against the simulated bench, side by side on all cores.

`python -m tests.campaign --hours N --draws N --seed S` injects faults drawn at random, singly and some two together,
and then watches quiet benches; it prints one table at the end and leaves with status 1 if a fault was missed, came
late, was taken for another, or a high alarm was false. `--each N` injects every kind of fault N times, singly; with
`--kind NAME` that one alone. A failing seed is printed; `--only SEED`, after `--each` with `--kind NAME`, runs it
alone and tells its story. The alarm table's row of a page that hangs is a browser's to tell: `tests/dashboards`.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import timedelta
from multiprocessing import Pool
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from monitor.core.events import PermitChanged, Priority
from monitor.rig.reality import Reality
from tests import compiled
from tests.faultkinds import DUE_DAYS, FACES, FACES_OF_A_GATE, KINDS, PAIRED
from tests.rig.terms import sulfur_run
from tests.stage import DAY, DAY_ZERO_S, RUN, TERMS, Stage

QUIET_SEEDS = 1_000_000  # seeds from here on are quiet hours
QUIET_S = 3600.0
PAIR_SHARE = 0.25
LONG = frozenset({"gas-drift"})  # what takes an hour to show is drawn by every 40th seed, and by no other
LONG_EACH = 40
DRIFT_MAX_S = 10_800.0
EARLY_PPM = 0.05
DRIFT = 0.02  # ppm/√h, of the zero

Job = tuple[int, tuple[str, ...]]  # a seed, and the trouble if it is not drawn


@dataclass
class Outcome:
    """What became of one seed."""

    seed: int
    kinds: tuple[str, ...] = ()
    after_s: dict[str, float | None] = field(default_factory=dict)  # None: never noticed
    permit: dict[str, bool] = field(default_factory=dict)  # whether it went in time, where it should
    imitated: list[str] = field(default_factory=list)
    false: list[tuple[str, str]] = field(default_factory=list)  # priority and tag, of a quiet bench
    quiet_s: float = 0.0
    drops_lost: int | None = None
    wrong: list[str] = field(default_factory=list)
    story: list[str] = field(default_factory=list)


def _reality(rng: np.random.Generator, drift: float = DRIFT) -> Reality:
    return Reality(
        drop_interval_cv=rng.uniform(0.03, 0.10),
        gas_drift_ppm_per_root_h=drift,
        plate_w=rng.uniform(420.0, 700.0),
        clock_ratio=rng.uniform(0.995, 1.005),
    )


def drawn(seed: int, kinds: tuple[str, ...] = ()) -> Outcome:
    """One draw: a run, and in its midst one trouble or two, drawn unless they are named."""
    named = [list(KINDS).index(name) for name in kinds]
    rng = np.random.default_rng([seed, *named] if named else seed)
    if not kinds:
        long = seed % LONG_EACH == 0
        first = str(rng.choice([name for name in KINDS if (name in LONG) is long]))
        kinds = (first,)
        if rng.random() < PAIR_SHARE:
            others = [k for k in PAIRED if KINDS[k].part != KINDS[first].part]
            if first in PAIRED:
                kinds = (first, str(rng.choice(others)))
    out = Outcome(seed, kinds)
    if kinds == ("gas-dates",):
        return _dated(out, rng)
    kind = KINDS[kinds[0]]
    off_ppm = 0.0 if kind.zero_off_ppm is None else rng.uniform(*kind.zero_off_ppm)
    stage = Stage(seed, _reality(rng), sulfur_run() if kind.hot_acid else RUN, off_ppm)
    if kind.from_start:
        stage.sim.do(kind.start)
    stage.begin(rng.uniform(60.0, 140.0), rng.uniform(30.0, 80.0))
    stage.run_to(rng.uniform(*kind.onset_s))
    start_s = stage.sim.time_s
    if not off_ppm:  # else the quiet before is none: a reading that is off from the start may be gas
        out.false = [(c.priority.value, c.tag) for c in stage.raised()]
        out.quiet_s = start_s
    for name in kinds:
        kind = KINDS[name]
        for asked in kind.ask:
            stage.ask(*asked)
        amount = "" if kind.amounts is None else f" {rng.uniform(*kind.amounts):.4f}"
        if kind.host_hangs_s is not None:
            stage.hang(rng.uniform(*kind.host_hangs_s))
            stage.run_to(stage.sim.time_s + kind.settle_s)
        elif not kind.from_start:
            stage.sim.do(("fault tc-silent " + str(rng.integers(2))) if name == "tc-silent" else kind.start + amount)
    _judge(out, stage, start_s, _play(stage, kinds, start_s))
    if all(KINDS[name].counts for name in kinds):
        if stage.sim.plant.tap is not None:
            stage.sim.do("tap 0")
        if "unplug" in kinds:
            stage.sim.do("plug")
        stage.run_to(stage.sim.time_s + 5.0)
        out.drops_lost = stage.sim.truth().drops - stage.bench.drops
        if out.drops_lost:
            out.wrong.append(f"{out.drops_lost} drops lost")
    out.story = [str(c) for c in stage.changes]
    return out


def _dated(out: Outcome, rng: np.random.Generator) -> Outcome:
    """A run begun at any time of a day, with calibrations of drawn days on either side of their limits.

    What is past its own day is said at once and by name, and nothing else; the permit stays.
    """
    run = RUN if rng.random() < 0.5 else sulfur_run()
    old: dict[str, int | None] = {}
    surely = str(rng.choice(["gas sensor", "gas sensor's bump test"]))  # so that there is something to notice
    for what, days in DUE_DAYS.items():
        late = [days + 1, days + int(rng.integers(1, 400)), None]
        old[what] = (
            late[rng.integers(3)] if what == surely else [days, int(rng.integers(days + 1)), *late][rng.integers(5)]
        )
    drops, plate, gas, bump = (None if age is None else DAY - timedelta(days=age) for age in old.values())
    terms = replace(
        TERMS,
        drops=replace(TERMS.drops, calibrated=drops),
        thermocouple=replace(TERMS.thermocouple, calibrated=plate),
        gas=replace(TERMS.gas, calibrated=gas, bump_tested=bump),
    )
    stage = Stage(out.seed, _reality(rng), run, terms=terms, utc_zero_s=DAY_ZERO_S + rng.uniform(0.0, 86_000.0))
    stage.begin(rng.uniform(60.0, 140.0), rng.uniform(30.0, 80.0))
    stage.run_to(60.0)
    _judge(out, stage, 0.0, 0.0)
    said = next((c.detail for c in stage.raised() if c.tag == "CALIBRATION-OVERDUE"), "")
    for what, days in DUE_DAYS.items():
        age = old[what]
        asked = what != "drop counter" or run.meter == "drops"
        if (f"{what}: " in said) != (asked and (age is None or age > days)):
            out.wrong.append(f"{what} {age} days old, due every {days}: said {said!r}")
    if any(isinstance(c, PermitChanged) and not c.on for c in stage.changes):
        out.wrong.append("gas-dates took the permit")
    out.story = [str(c) for c in stage.changes]
    return out


def _play(stage: Stage, kinds: tuple[str, ...], start_s: float) -> float:
    """Go on until all that must be told is told and has settled; give the second from which its time counts."""
    rows = [KINDS[name] for name in kinds]
    off_ppm = rows[0].off_ppm
    from_s = start_s
    settle_s, look_s = max(row.settle_s for row in rows), min(row.look_s for row in rows)
    end_s = start_s + max(row.within_s + (row.permit_s or 0.0) for row in rows) + settle_s
    if off_ppm is not None:
        end_s += DRIFT_MAX_S
    while stage.sim.time_s < end_s - 1e-6:
        stage.run_to(min(end_s, stage.sim.time_s + look_s))
        if off_ppm is not None and stage.zero_ppm < off_ppm:
            from_s = stage.sim.time_s
        told_s = [next((c.t_s for c in stage.raised(start_s) if c.tag == row.tag), None) for row in rows]
        over_s = [s + (row.permit_s or 0.0) for s, row in zip(told_s, rows, strict=True) if s is not None]
        if len(over_s) == len(rows):
            end_s = min(end_s, max(over_s) + settle_s)
    return from_s


def _judge(out: Outcome, stage: Stage, start_s: float, from_s: float) -> None:
    allowed = frozenset().union(*(KINDS[name].also | {KINDS[name].tag} for name in out.kinds))
    for name in out.kinds:
        kind = KINDS[name]
        first = next((c for c in stage.raised(start_s) if c.tag == kind.tag), None)
        after_s = None if first is None else max(0.0, first.t_s - from_s)
        if kind.host_hangs_s is not None:
            after_s = stage.let_go_after_s
            out.permit[name] = after_s is not None and not stage.sim.board.permit
            if not out.permit[name]:
                out.wrong.append(f"{name}: the board did not take the permit, or gave it back by itself")
        out.after_s[name] = after_s
        if after_s is None:
            out.wrong.append(f"{name} not noticed")
        elif after_s > kind.within_s + 1e-6:
            out.wrong.append(f"{name} noticed after {after_s:.1f} s, at the latest {kind.within_s:g} s")
        if kind.off_ppm is not None and stage.zero_ppm < kind.off_ppm - EARLY_PPM:
            out.wrong.append(f"{name} noticed at {stage.zero_ppm:.2f} ppm, too early")
        if kind.permit_s is not None:
            gone = [c.t_s for c in stage.changes if isinstance(c, PermitChanged) and not c.on and c.t_s >= start_s]
            out.permit[name] = bool(gone) and first is not None and gone[0] <= first.t_s + kind.permit_s + 1e-6
            if not out.permit[name]:
                out.wrong.append(f"{name}: the permit was not taken in time")
    faces = FACES_OF_A_GATE if {KINDS[name].part for name in out.kinds} == {"gate"} else FACES
    for c in stage.raised(start_s):
        if (c.priority is Priority.HIGH or c.tag in faces) and c.tag not in allowed:
            out.imitated.append(c.tag)
            out.wrong.append(f"{'+'.join(out.kinds)} raised {c.tag}: {c.detail}")
    out.wrong += [f"false {tag} before any fault" for priority, tag in out.false if priority == "high"]


# What a quiet hour's own events may truly raise: a tap shut for a refill, and the end of the acid.
TRUE_WHEN_QUIET = frozenset({"DRIP-STALLED", "SUCK-BACK", "ACID-LOW", "CHARGE-SPENT", "ENOUGH-DELIVERED"})


def quiet(seed: int) -> Outcome:
    """An hour in which nothing is wrong: warm-ups, a refill, and either doors or a zero that drifts threefold."""
    rng = np.random.default_rng(seed)
    out = Outcome(seed)
    doors = rng.random() < 0.67
    stage = Stage(seed, _reality(rng, DRIFT if doors else 3.0 * DRIFT))
    per_min = rng.uniform(20.0, 75.0)
    stage.begin(rng.uniform(60.0, 310.0), per_min)
    doings: list[tuple[float, str]] = []
    for door_s in rng.uniform(
        100.0, QUIET_S - 100.0, 3 if doors else 0
    ):  # a door: 0.15 ppm that is gone within the minute
        doings += [(door_s + 6.0 * n, f"fault gas-interference {0.15 * 0.7**n:.4f}") for n in range(12)]
        doings.append((door_s + 72.0, "mend gas-interference"))
    refill_s = rng.uniform(600.0, 3000.0)
    doings += [(refill_s, "tap 0"), (refill_s + rng.uniform(20.0, 120.0), f"tap {per_min:.0f}")]
    doings += [(rng.uniform(900.0, 3300.0), f"tap {rng.uniform(20.0, 75.0):.0f}")]
    doings += [(rng.uniform(900.0, 3300.0), f"plate {rng.uniform(60.0, 310.0):.0f}")]
    for at_s, words in sorted(doings):
        stage.run_to(at_s)
        if words.startswith("tap") and stage.bench.account.charge_spent:
            words = "tap 0"  # nobody drips acid on a charge that is spent: DRIP-UNASKED would be true
        stage.sim.do(words)
    stage.run_to(QUIET_S)
    out.quiet_s = QUIET_S
    out.false = [(c.priority.value, c.tag) for c in stage.raised() if c.tag not in TRUE_WHEN_QUIET]
    out.drops_lost = stage.sim.truth().drops - stage.bench.drops
    out.wrong = [f"false {tag}" for priority, tag in out.false if priority == "high"]
    if out.drops_lost > 1:  # the newest may not have been told of yet
        out.wrong.append(f"{out.drops_lost} drops lost")
    out.story = [str(c) for c in stage.changes]
    return out


def one(job: Job) -> Outcome:
    """The run of a seed, with the trouble that is named, if one is."""
    seed, kinds = job
    return quiet(seed) if seed >= QUIET_SEEDS else drawn(seed, kinds)


def jobs(seed: int, draws: int, each: int, hours: int, kinds: Iterable[str] = KINDS) -> list[Job]:
    """What is to be run: so many draws of any kind or of each of `kinds`, and quiet hours; the longest first."""
    seeds = range(seed, seed + each)
    evenly: list[Job] = [
        (n, (name,)) for name in sorted(kinds, key=lambda name: -KINDS[name].within_s) for n in seeds
    ]
    at_random: list[Job] = [(seed + n, ()) for n in range(0 if each else draws)]
    quiet_hours: list[Job] = [(QUIET_SEEDS + seed + n, ()) for n in range(hours)]
    return quiet_hours + evenly + at_random


def table(outcomes: Iterable[Outcome]) -> str:
    """The table at the end."""
    after: dict[str, list[float | None]] = defaultdict(list)
    permits: dict[str, list[bool]] = defaultdict(list)
    imitated: Counter[str] = Counter()
    false: Counter[tuple[str, str]] = Counter()
    quiet_h, lost, counted, pairs = 0.0, 0, 0, 0
    for o in outcomes:
        pairs += len(o.kinds) > 1
        quiet_h += o.quiet_s / 3600.0
        false.update(o.false)
        if o.drops_lost is not None:
            counted += 1
            lost += max(0, o.drops_lost) if o.seed < QUIET_SEEDS else max(0, o.drops_lost - 1)
        for name in o.kinds:
            after[name].append(o.after_s[name])
            if name in o.permit:
                permits[name].append(o.permit[name])
            imitated[name] += bool(o.imitated)
    lines = [
        f"{'fault':17} {'injected':>8} {'noticed':>8} {'in time':>8} {'median s':>9} {'worst s':>8} "
        f"{'latest s':>8} {'permit':>7} {'taken for another':>18}"
    ]
    for name, kind in KINDS.items():
        if name not in after:
            continue
        seen = [s for s in after[name] if s is not None]
        in_time = sum(s <= kind.within_s + 1e-6 for s in seen)
        median, worst = (f"{statistics.median(seen):.1f}", f"{max(seen):.1f}") if seen else ("–", "–")
        permit = f"{sum(permits[name])}/{len(permits[name])}" if name in permits else "stays"
        lines.append(
            f"{name:17} {len(after[name]):8} {len(seen):8} {in_time:8} {median:>9} {worst:>8} "
            f"{kind.within_s:8.1f} {permit:>7} {imitated[name]:18}"
        )
    injected = sum(len(s) for s in after.values())
    noticed = sum(s is not None for seen in after.values() for s in seen)
    lines += ["", f"{injected} faults injected, {pairs} times two together; {noticed} noticed"]
    for priority in Priority:
        tags = {tag: n for (p, tag), n in sorted(false.items()) if p == priority.value}
        words = ", ".join(f"{tag} {n}" for tag, n in tags.items()) or "none"
        rate = sum(tags.values()) / quiet_h if quiet_h else 0.0
        lines.append(f"false {priority.value} alarms in {quiet_h:.1f} quiet hours: {words} ({rate:.4f} an hour)")
    lines.append(f"drops lost: {lost} in {counted} runs in which the board counted rightly")
    return "\n".join(lines)


def _bar(done: int, total: int, since_s: float) -> None:
    part = done / total
    left_s = (time.monotonic() - since_s) * (1.0 - part) / part
    filled = "#" * round(30 * part)
    print(f"\r[{filled:30}] {done}/{total}, {left_s:.0f} s left ", end="", file=sys.stderr, flush=True)


def _compiled(args: list[str]) -> int:
    with TemporaryDirectory() as folder:
        begun_s = time.monotonic()
        if compiled.lay_out(Path(folder)):
            print(f"compiled in {time.monotonic() - begun_s:.0f} s", file=sys.stderr)
        if not compiled.same_story(Path(folder)):
            print(f"compiled, seed {compiled.CHECK_SEED} tells another story: not run", file=sys.stderr)
            return 1
        return compiled.run(args, Path(folder)).returncode


def main() -> int:
    """Run the campaign."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hours", type=int, default=8, help="quiet hours")
    parser.add_argument("--draws", type=int, default=200, help="runs with faults")
    parser.add_argument("--seed", type=int, default=1, help="of the first run")
    parser.add_argument("--each", type=int, default=0, metavar="N", help="instead of draws: so many of every kind")
    parser.add_argument("--only", type=int, metavar="SEED", help="run this one alone and tell its story")
    parser.add_argument("--kind", choices=KINDS, help="with --each or --only: this trouble alone")
    parser.add_argument("--compiled", action="store_true", help="run a compiled copy: for hundreds of hours")
    args = parser.parse_args()
    if args.compiled:
        return _compiled([word for word in sys.argv[1:] if word != "--compiled"])
    if args.only is not None:
        outcome = one((args.only, (args.kind,) if args.kind else ()))
        print("\n".join(outcome.story))
        print(f"{'+'.join(outcome.kinds) or 'quiet'}: {'; '.join(outcome.wrong) or 'all as it should be'}")
        return bool(outcome.wrong)
    work = jobs(args.seed, args.draws, args.each, args.hours, (args.kind,) if args.kind else KINDS)
    outcomes: list[Outcome] = []
    since_s = time.monotonic()
    with Pool(len(os.sched_getaffinity(0))) as pool:
        for outcome in pool.imap_unordered(one, work):
            outcomes.append(outcome)
            _bar(len(outcomes), len(work), since_s)
    print(file=sys.stderr)
    print(table(outcomes))
    failed = sorted((o for o in outcomes if o.wrong), key=lambda o: o.seed)
    for o in failed:
        alone = f"--only {o.seed}" + (f" --kind {o.kinds[0]}" if args.each and o.kinds else "")
        print(f"{alone} ({'+'.join(o.kinds) or 'quiet'}): {'; '.join(o.wrong)}")
    cpu_s = sum(resource.getrusage(resource.RUSAGE_CHILDREN)[:2])
    print(f"{cpu_s:.0f} s of processor time, {cpu_s / len(work):.2f} s a run")
    print(f"{len(outcomes)} runs in {time.monotonic() - since_s:.0f} s, {len(failed)} failed")
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
