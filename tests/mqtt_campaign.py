"""The campaign against a real broker: seeded faults, with and without TLS, on a run of the real service.

`python -m tests.mqtt_campaign --rounds N --seed S` has every fault of `mqtt_faults.py` befall a broker in the middle
of a run whose board trips again and again, and leaves with status 1 if an alarm's change was lost, or came twice with
different words, out of order or with another time than the run log's. The receiver's key is `session` and `seq`, as
documented: the same pair again is the same change sent again, and is counted.

The run's latency is from a frame's last byte on the line to the permit command back on it, in the fault against
before and after it, in the same run. `--only FAULT` runs one; `--trials N` sets how many trips each part has.
"""

from __future__ import annotations

import argparse
import os
import random
import sqlite3
import statistics
import sys
import tempfile
from collections.abc import Iterable
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.core.frames import IO_KEPT_ALIVE
from tests.edges.broker import LOOPBACK, Broker, Certificates, Relay, certify
from tests.mqtt_faults import BENCH, FAULTS, PASSWORDS, RULES, Receiver, Site, wait_until
from tests.ptyboard import Board, Watching

PASSWORD_ENV = "SO2BENCH_CAMPAIGN_PASSWORD"
WITHIN_S = 75.0  # for everything to arrive: the longest wait between two tries to connect is 36 s
TRIALS = 20
WARM_UP = 3  # trips first, whose times do not count
STAY_S = 6.0  # a fault stays for up to so long
TOLD_S = 30.0  # and until the bench has said so: 5 s for an answer that does not come, 10 s before it is an alarm

# As the columns of the log's alarm table and the keys of a message are both called.
_SAME = ("t_s", "utc_s", "tag", "priority", "before", "after", "cause", "who", "detail")


@dataclass(frozen=True)
class Result:
    """What one fault did."""

    fault: str
    tls: bool
    seed: int
    changes: int
    repeats: int  # the same change sent again
    wrong: tuple[str, ...]
    calm_s: tuple[float, ...]  # before and after it
    during_s: tuple[float, ...]


def logged(log: Path) -> list[dict[str, Any]]:
    """Every change of an alarm in the run log, in its order."""
    with closing(sqlite3.connect(f"file:{log}?mode=ro", uri=True)) as db:
        rows = db.execute(f"SELECT {', '.join(_SAME)} FROM alarm ORDER BY rowid").fetchall()
    return [dict(zip(_SAME, row, strict=True)) for row in rows]


def judge(changes: list[dict[str, Any]], got: list[dict[str, Any]]) -> tuple[list[str], int]:
    """What is wrong with what a receiver got against what the log holds, and how many were sent again."""
    wrong: list[str] = []
    kept: dict[tuple[str, int], dict[str, Any]] = {}
    for said in got:
        key = (str(said["session"]), int(said["seq"]))
        if kept.setdefault(key, said) != said:
            wrong.append(f"{key} came twice with different words")
    if list(kept) != sorted(kept, key=lambda k: k[1]):
        wrong.append("out of order")
    plain = [{name: said[name] for name in _SAME} for said in kept.values()]
    if len(plain) < len(changes):
        wrong.append(f"{len(changes) - len(plain)} of {len(changes)} changes lost")
    elif plain != changes:
        wrong.append("what came is not what the log holds")
    return wrong, len(got) - len(kept)


def _alive(watching: Watching) -> None:
    watching.board.send(IO_KEPT_ALIVE)
    watching.board.drain()


def _trials(watching: Watching, n: int) -> tuple[float, ...]:
    times_s = []
    for _ in range(n):
        watching.make_ready()
        times_s.append(watching.permit_gone_s())
    return tuple(times_s)


def run_one(name: str, folder: Path, seed: int, *, tls: bool, trials: int = TRIALS, stays: bool = True) -> Result:
    """One run with one fault in it; one that `stays` must become an alarm, if it is of a sort that does."""
    rng, fault = random.Random(f"{seed} {name} {tls}"), FAULTS[name]
    right: Certificates | None = certify(folder, "ours") if tls else None
    other: Certificates | None = certify(folder, "theirs") if tls else None
    broker = Broker(folder / "broker", certificates=right, users=PASSWORDS, rules=RULES, keeps=True)
    os.environ[PASSWORD_ENV] = PASSWORDS["bench"]
    with ExitStack() as stack:
        stack.enter_context(broker)
        relay = stack.enter_context(Relay(broker))
        relay.join()
        site = Site(folder, broker, relay, right, other, rng)
        stack.callback(site.stop)
        receiver = Receiver(site)
        receiver.wait(WITHIN_S)
        scheme, ca = ("mqtts", f'ca_file = "{right.authority}"\n') if right is not None else ("mqtt", "")
        toml = f'\n[mqtt]\nurl = "{scheme}://bench@{LOOPBACK}:{relay.port}"\npassword_env = "{PASSWORD_ENV}"\n{ca}'
        log = folder / "run.so2log"
        watching = stack.enter_context(Watching(Board(), log, toml + "acknowledge = true\n", name=BENCH))
        assert wait_until(lambda: "watching" in receiver.watched, WITHIN_S, lambda: _alive(watching)), "not connected"
        _trials(watching, WARM_UP)
        calm_s = _trials(watching, trials // 2)
        with fault.begin(site):
            during_s = _trials(watching, trials)
            wait_until(lambda: False, rng.uniform(0.0, STAY_S), lambda: _alive(watching))
            told = not (fault.noticed and stays) or wait_until(
                lambda: _broker_lost(log), TOLD_S, lambda: _alive(watching)
            )

        def complete() -> bool:
            return len({(g["session"], g["seq"]) for g in list(receiver.got)}) >= len(logged(log)) and (
                not _broker_lost(log, now=True)
            )

        wait_until(complete, WITHIN_S, lambda: _alive(watching))
        calm_s += _trials(watching, trials - trials // 2)
        watching.end()
        changes = logged(log)
        wait_until(lambda: len({(g["session"], g["seq"]) for g in list(receiver.got)}) >= len(changes), 5.0, _nothing)
        wrong, repeats = judge(changes, list(receiver.got))
        if not told:
            wrong.append("the bench did not say that its broker is lost")
    return Result(name, tls, seed, len(changes), repeats, tuple(wrong), calm_s, during_s)


def _nothing() -> None:
    pass


def _broker_lost(log: Path, *, now: bool = False) -> bool:
    found = [c["after"] for c in logged(log) if c["tag"] == "BROKER-LOST"]
    if now:
        return bool(found) and found[-1] in ("unacknowledged", "acknowledged")
    return bool(found)


def table(results: Iterable[Result]) -> list[str]:
    """The results in lines, the latency as ratios to the same runs' time before and after the fault."""
    results = list(results)
    lines = [f"{'fault':<20}{'runs':>5}{'changes':>9}{'again':>7}{'wrong':>7}   latency in it: median    p95"]
    for fault in [*dict.fromkeys(r.fault for r in results), "all"]:
        some = [r for r in results if fault in ("all", r.fault)]
        calm = statistics.quantiles([t for r in some for t in r.calm_s], n=20)
        during = statistics.quantiles([t for r in some for t in r.during_s], n=20)
        lines.append(
            f"{fault:<20}{len(some):>5}{sum(r.changes for r in some):>9}{sum(r.repeats for r in some):>7}"
            f"{sum(bool(r.wrong) for r in some):>7}{during[9] / calm[9]:>25.2f}{during[18] / calm[18]:>7.2f}"
        )
    return lines


def main() -> int:
    """Run it, print the table, and give the exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.mqtt_campaign", description=__doc__)
    parser.add_argument("--rounds", type=int, default=1)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--trials", type=int, default=TRIALS)
    parser.add_argument("--only", choices=FAULTS)
    a = parser.parse_args()
    results = []
    for seed in range(a.seed, a.seed + a.rounds):
        for name in [a.only] if a.only else FAULTS:
            for tls in (True,) if FAULTS[name].tls_only else (False, True):
                with tempfile.TemporaryDirectory() as folder:
                    result = run_one(name, Path(folder), seed, tls=tls, trials=a.trials)
                results.append(result)
                if result.wrong:
                    print(f"seed {seed}, {name}, {'TLS' if tls else 'plain'}: {'; '.join(result.wrong)}", flush=True)
    print("\n".join(table(results)))
    return 1 if any(r.wrong for r in results) else 0


if __name__ == "__main__":
    sys.exit(main())
