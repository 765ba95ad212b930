"""How soon missed drops are told, and how often falsely: `python -m tests.benchmarks.bench_drip --draws N --hours N`.

Simulated taps at 10 to 120 drops a minute. Blind: from one moment on 20 to 40 % of the drops pass unseen, the tap's
intervals scatter by 3 to 10 %. Wandering: every drop is counted, while the rate wanders (an Ornstein-Uhlenbeck
process in its logarithm) and the intervals scatter. Handled: every drop is counted, while the tap is turned 12 times
an hour, one turn in three to just the half or the double, stops for 3 to 60 s 4 times an hour and hiccups 6 times an
hour; harsher than a bench. All of it invented.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from math import exp, sqrt

import numpy as np

from monitor.core.dripcheck import MISSED_SPAN_S, DripCheck
from monitor.core.frames import SampleFrame

RATES = (10.0, 15.0, 20.0, 30.0, 45.0, 60.0, 90.0, 120.0)  # a minute
ONSET_S, END_S = 150.0, 750.0
SCATTERS = (0.03, 0.06, 0.1)
WANDERS = ((0.0, 60.0), (0.15, 60.0), (0.3, 120.0), (0.3, 30.0), (0.5, 300.0))  # of the log rate, and its time in s
UNSTEADY = (0.2, 0.3)


def tap(rng: np.random.Generator, scatter: float, until_s: float, per_min: Callable[[float], float]) -> list[float]:
    """The seconds at which drops fall."""
    out, t_s = [], 0.0
    while t_s < until_s:
        t_s += 60.0 / per_min(t_s) * max(0.2, 1.0 + scatter * rng.normal())
        out.append(t_s)
    return out


def wandering(
    rng: np.random.Generator, per_min: float, wander: float, tau_s: float, until_s: float
) -> Callable[[float], float]:
    """A rate that wanders, as a function of time."""
    kept, x = exp(-1.0 / tau_s), wander * rng.normal()
    rates = []
    for push in rng.normal(size=int(until_s) + 1):
        rates.append(per_min * exp(x))
        x = kept * x + wander * sqrt(1.0 - kept * kept) * push
    return lambda t_s: rates[min(int(t_s), len(rates) - 1)]


def handled(rng: np.random.Generator, scatter: float, until_s: float, per_min: float) -> list[float]:
    """Drops of a tap that somebody goes on turning."""
    wander = wandering(rng, 1.0, 0.1, 120.0, until_s)
    out, t_s, rate, turn_s = [], 0.0, per_min, rng.exponential(300.0)
    while t_s < until_s:
        if t_s > turn_s:
            half_or_double = rng.random() < 0.3
            rate = rate * (2.0 if rate < 50.0 else 0.5) if half_or_double else per_min * exp(0.7 * rng.normal())
            rate = min(130.0, max(8.0, rate))
            turn_s = t_s + (rng.exponential(300.0) if rng.random() < 0.7 else rng.uniform(3.0, 40.0))
        wait_s = 60.0 / (rate * wander(t_s)) * max(0.2, 1.0 + scatter * rng.normal())
        if rng.random() < wait_s / 600.0:
            wait_s *= rng.uniform(1.3, 4.0)
        if rng.random() < wait_s / 900.0:
            wait_s += rng.uniform(3.0, 60.0)
        t_s += wait_s
        out.append(t_s)
    return out


def told(drops_s: Sequence[float]) -> list[float]:
    """The seconds at which the counting is called wrong, each time anew."""
    check, out, wrong = DripCheck(), [], False
    for n, at_s in enumerate(drops_s, start=1):
        if wrong and check.words(at_s - 0.01) is None:
            wrong = False
        check.feed(at_s, SampleFrame(7, n, int(at_s * 1000), n, int(at_s * 1000), 0, 0, 0, 5, 8), 1, 0)
        if not wrong and check.words(at_s) is not None:
            wrong = True
            out.append(at_s)
    return out


def delays(per_min: float, scatter: float, draws: int) -> list[float]:
    """Seconds from the beginning of each fault until it is told; infinite if it never is."""
    out = []
    for seed in range(draws):
        rng = np.random.default_rng(seed)
        share = rng.uniform(0.2, 0.4)
        drops_s = [s for s in tap(rng, scatter, END_S, lambda _: per_min) if s <= ONSET_S or rng.random() >= share]
        first_s = [s for s in told(drops_s) if s > ONSET_S]
        out.append(first_s[0] - ONSET_S if first_s else float("inf"))
    return out


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draws", type=int, default=200, help="faults in each cell")
    parser.add_argument("--hours", type=int, default=10, help="of each tap without a fault")
    args = parser.parse_args()
    print(f"missed drops, {args.draws} draws each: median, worst, and share told later than {MISSED_SPAN_S:g} s")
    for per_min in RATES:
        cells = []
        for scatter in SCATTERS:
            found = delays(per_min, scatter, args.draws)
            late = sum(s > MISSED_SPAN_S for s in found) / len(found)
            cells.append(f"{100 * scatter:3.0f} %: {np.median(found):4.0f} s {max(found):4.0f} s {100 * late:4.1f} %")
        print(f"{per_min:4.0f} a minute   " + "   ".join(cells), flush=True)
    until_s = 3600.0 * args.hours
    print("false alarms, every drop counted, by the scatter of intervals")
    for scatter in SCATTERS + UNSTEADY:
        wander = turned = 0
        for n, per_min in enumerate(RATES):
            for m, (sd, tau_s) in enumerate(WANDERS):
                rng = np.random.default_rng([n, m])
                wander += len(told(tap(rng, scatter, until_s, wandering(rng, per_min, sd, tau_s, until_s))))
            turned += len(told(handled(np.random.default_rng(n), scatter, until_s, per_min)))
        print(
            f"{100 * scatter:3.0f} %: {wander} in {args.hours * len(RATES) * len(WANDERS)} h of wandering taps, "
            f"{turned} in {args.hours * len(RATES)} h of a tap that is handled without end",
            flush=True,
        )


if __name__ == "__main__":
    main()
