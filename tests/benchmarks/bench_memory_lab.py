"""A laboratory's memory: size on disk, and a year's questions against the same over the plain run logs.

    python -m tests.benchmarks.bench_memory_lab [--benches 30] [--runs 40] [--times 5]

First the size a sample of one run at the full ten samples a second, by the rig: in the memory, in the log, as CSV,
as raw frames. Then a coarse year (`tests.labyear`): exposure, alarms, account and weighings in full, a sample in ten
seconds. Each question is asked of the memory and of the logs in turn, the answers are compared, and the ratio of the
times is printed; the logs were read just before, so their pages are in the system's memory. At last the memory is
laid several times beside itself, under other benches' names: by default the 6000 runs of a year of thirty benches, in
five times its files. Aim: the year answers in seconds.
"""

from __future__ import annotations

import argparse
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from monitor.export import export
from monitor.memory.ask import Answer, Question, ask
from monitor.memory.gather import gather
from tests import plainmemory
from tests.labyear import make_logs
from tests.memory.same import differences
from tests.recorded import record_run

QUESTIONS: tuple[Question, ...] = ("exposure", "yields", "alarms")
ROUNDS = 3
RIG_S = 3600.0


def size(folder: Path) -> None:
    """Bytes a sample, of a run by the rig."""
    (folder / "logs").mkdir(parents=True)
    log = record_run(folder / "logs" / "a.so2log", RIG_S)
    gather([log], folder / "memory")
    with closing(sqlite3.connect(log)) as db:
        samples = db.execute("SELECT count(*) FROM sample").fetchone()[0]
        raw = db.execute("SELECT sum(length(data)) FROM input WHERE kind = 'bytes'").fetchone()[0]
    tables = export(log, "csv", folder / "csv")
    sample_csv = next(path for path in tables if path.stem == "sample")
    kept = {path.relative_to(folder / "memory").parts[0]: path for path in (folder / "memory").rglob("*.parquet")}
    whole = sum(path.stat().st_size for path in kept.values())
    print(f"one run by the rig, {RIG_S:.0f} s, {samples} samples; bytes a sample:")
    for what, count in (
        ("table sample, Parquet", kept["sample"].stat().st_size),
        ("table sample, CSV", sample_csv.stat().st_size),
        ("raw frames", raw),
        ("whole memory", whole),
        ("all tables, CSV", sum(path.stat().st_size for path in tables)),
        ("the run log", log.stat().st_size),
    ):
        print(f"  {what:24} {count / samples:7.1f}   {count / whole:6.1f} times the whole memory")


def year(folder: Path, benches: int, runs: int, times: int) -> None:
    """The three questions."""
    (folder / "logs").mkdir()
    began_s = time.perf_counter()
    logs = list(make_logs(folder / "logs", benches, runs))
    made_s = time.perf_counter() - began_s
    mega = sum(path.stat().st_size for path in logs) / 1e6
    print(f"{benches} benches, {runs} runs each of 2.5 h: {len(logs)} logs, {mega:.0f} MB, made in {made_s:.0f} s")
    began_s = time.perf_counter()
    outcomes = gather([folder / "logs"], folder / "memory")
    gathered_s = time.perf_counter() - began_s
    assert [o for o in outcomes if o.what != "new"] == []
    began_s = time.perf_counter()
    gather([folder / "logs"], folder / "memory")
    again_s = time.perf_counter() - began_s
    mega = sum(path.stat().st_size for path in (folder / "memory").rglob("*.parquet")) / 1e6
    print(f"gathered in {gathered_s:.0f} s to {mega:.0f} MB; again, nothing new: {again_s / gathered_s:.3f} of that")
    for question in QUESTIONS:
        plain: Callable[[list[Path]], plainmemory.Rows] = getattr(plainmemory, question)
        plain_s, answer_s = [], []
        for _ in range(ROUNDS):
            began_s = time.perf_counter()
            wanted = plain(logs)
            plain_s.append(time.perf_counter() - began_s)
            began_s = time.perf_counter()
            answer: Answer = ask(folder / "memory", question, by=frozenset({"bench", "month"}))
            answer_s.append(time.perf_counter() - began_s)
        wrong = differences(question, answer, wanted)
        slow, quick = sorted(plain_s)[ROUNDS // 2], sorted(answer_s)[ROUNDS // 2]
        print(
            f"{question:9} {len(wanted):5} rows: memory {quick:6.2f} s, plain logs {slow:6.1f} s: "
            f"{slow / quick:6.0f} times; answers {'the same' if not wrong else f'DIFFER: {wrong[:3]}'}",
            flush=True,
        )
    lay_beside(folder / "memory", times)
    slowest = 0.0
    for question in QUESTIONS:
        began_s = time.perf_counter()
        answer = ask(folder / "memory", question, by=frozenset({"bench", "month"}))
        took_s = time.perf_counter() - began_s
        slowest = max(slowest, took_s)
        print(f"{question:9} over {times} times as much, {answer.runs} runs: memory {took_s:6.2f} s", flush=True)
    print(f"a year in seconds: {'reached' if slowest < 10.0 else 'NOT reached'} ({slowest:.1f} s the slowest)")


def lay_beside(memory: Path, times: int) -> None:
    """Copy every bench's files under other names, so that there are so many times as many runs and files."""
    for bench in list(memory.glob("*/bench=*")):
        for copy in range(1, times):
            shutil.copytree(bench, bench.with_name(f"{bench.name}-copy-{copy}"))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--benches", type=int, default=30)
    parser.add_argument("--runs", type=int, default=40)
    parser.add_argument("--times", type=int, default=5)
    a = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        size(Path(folder) / "rig")
        year(Path(folder), a.benches, a.runs, a.times)


if __name__ == "__main__":
    main()
