"""A laboratory's memory: size on disk, and a year's questions against the same over the plain run logs.

    python -m tests.benchmarks.bench_memory_lab [--benches 30] [--runs 10] [--times 20]

First the size a sample of one run at the full ten samples a second, by the rig: in the memory, in the log, as CSV,
as raw frames. Then a coarse year (`tests.labyear`): exposure, alarms, account and weighings in full, a sample in ten
seconds. Each question is asked of the memory and of the logs in turn, the answers are compared, and the ratio of the
times is printed; the logs were read just before, so their pages are in the system's memory. At last the files that
the questions read are filled up with as many more runs, each a copy of one at another time of the year: by default to
the 6000 runs of a year of thirty benches, 200 each, in the files that such a year has. What the plain logs would take
is reckoned, not measured: they are read one by one, so as many times as long. Aim: the year answers in seconds.
"""

from __future__ import annotations

import argparse
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pyarrow
from pyarrow import compute, parquet

from monitor.export import export
from monitor.memory.ask import Answer, Question, ask
from monitor.memory.gather import gather
from monitor.memory.tables import GROUP_ROWS, packing_of
from tests import plainmemory
from tests.labyear import YEAR_S, make_logs
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
    plain_took_s: dict[Question, float] = {}
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
        plain_took_s[question] = sorted(plain_s)[ROUNDS // 2]
        slow, quick = plain_took_s[question], sorted(answer_s)[ROUNDS // 2]
        print(
            f"{question:9} {len(wanted):5} rows: memory {quick:6.2f} s, plain logs {slow:6.1f} s: "
            f"{slow / quick:6.0f} times; answers {'the same' if not wrong else f'DIFFER: {wrong[:3]}'}",
            flush=True,
        )
    fill_up(folder / "memory", times, YEAR_S / runs)
    slowest = 0.0
    for question in QUESTIONS:
        took = []
        for _ in range(ROUNDS):
            began_s = time.perf_counter()
            answer = ask(folder / "memory", question, by=frozenset({"bench", "month"}))
            took.append(time.perf_counter() - began_s)
        took_s, reckoned_s = sorted(took)[ROUNDS // 2], times * plain_took_s[question]
        slowest = max(slowest, *took)
        print(
            f"{question:9} over {times} times as much, {answer.runs} runs: memory {took_s:6.2f} s, "
            f"plain logs {reckoned_s:6.1f} s, reckoned: {reckoned_s / took_s:6.0f} times",
            flush=True,
        )
    print(f"a year in seconds: {'reached' if slowest < 10.0 else 'NOT reached'} ({slowest:.1f} s the slowest)")


def fill_up(memory: Path, times: int, apart_s: float) -> None:
    """Put so many times as many runs into the files that the questions read, within `apart_s` of their own."""
    for table, when in (("run", "start_utc_s"), ("exposure", "utc_s"), ("raised", "raised_utc_s")):
        for path in (memory / table).rglob("*.parquet"):
            with path.open("rb") as file:
                whole = parquet.ParquetFile(file).read()
            at = whole.column_names.index(when)
            copies = []
            for copy in range(times):
                name = compute.binary_join_element_wise(whole["run"], pyarrow.scalar(f"{copy}"), "-")
                moved = compute.add(whole[when], copy * apart_s / times)
                copies.append(whole.set_column(0, whole.field(0), name).set_column(at, whole.field(at), moved))
            filled = pyarrow.concat_tables(copies).combine_chunks()
            parquet.write_table(filled, path, row_group_size=GROUP_ROWS, **packing_of(table))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--benches", type=int, default=30)
    parser.add_argument("--runs", type=int, default=10)
    parser.add_argument("--times", type=int, default=20)
    a = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        size(Path(folder) / "rig")
        year(Path(folder), a.benches, a.runs, a.times)


if __name__ == "__main__":
    main()
