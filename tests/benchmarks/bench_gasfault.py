"""How often the gas channel is falsely called faulty under each stress, and how soon a collapse of its noise is told.

Run as `python -m tests.benchmarks.bench_gasfault`; seeds are fixed, figures are of run time. Arrays of watches stand
for the real one (`tests.benchmarks.gas_fleet`, shown equal). GAS-FAULT's other reasons are stated here from the
thresholds of `monitor.core.sensing` and `trust`: three readings in a row at an end of the converter or under zero, or
on the far side of a jump. A reading that goes low belongs to the leak detector and stands in `bench_leak`; frozen and
railed need a spread of nothing, which no noise gives.
"""

from __future__ import annotations

import sys
from functools import partial
from math import sqrt
from multiprocessing import Pool

import numpy as np
from numpy.typing import NDArray

from monitor.core.sensing import SUM_MAX, SURE_SAMPLES, UNDER_RANGE
from monitor.core.trust import GAS_FALL_RANGES, GAS_JUMP_SAMPLES
from tests.benchmarks.bench_leak import RUN_S, SAMPLE, STEP_S, STRESS, Noise, ar1, drifting, heavy, white
from tests.benchmarks.gas_fleet import NoiseFleet
from tests.benchmarks.leak_fleet import Bools, Floats

ZERO_SUM, PPM_PER_SUM, RANGE_PPM = 8410.0, 0.00412, 20.0  # a channel of the protocol's converter
PARTS, RUNS = 2, 500  # runs of each kind in each part
REASONS = ("quiet", "out of range", "jumped")
DRAWS, BEFORE_S, LEFT = 2000, 150.0, (0.1, 0.4)  # of a collapse; the share that is left, as the campaign draws it
WORST_S = 60.0  # looked for so long
COLLAPSE_S = 10.0  # alarm table
FALLS_H, FALL_TO, FALL_RUNS = (1.0, 4.0, 16.0), 0.1, 50


def heavier(rng: np.random.Generator, _t_s: float, state: Floats) -> Floats:
    """Student's t of 3 degrees, as wide as the white noise; no stress of the alarm table, and beside it."""
    return SAMPLE / sqrt(3.0) * rng.standard_t(3.0, len(state))


KINDS: dict[str, tuple[Noise, float]] = STRESS | {"t(3), beside the table": (heavier, 1.0)}
COLLAPSING: dict[str, Noise] = {"white": white, "AR(1), ρ 0.9": ar1, "t(4)": heavy, "t(3)": heavier}


class OtherReasons:
    """GAS-FAULT's reasons in a reading's value; a rise that gas could make counts as a jump, too."""

    def __init__(self, size: int) -> None:
        self._bad: NDArray[np.int_] = np.zeros(size, dtype=int)
        self._far: NDArray[np.int_] = np.zeros(size, dtype=int)
        self._last = np.zeros(size)

    def feed(self, gas_sum: Floats, ppm: Floats) -> tuple[Bools, Bools]:
        """Take one sample of each channel; give where it is out of range, and where it jumped."""
        bad = (gas_sum <= 0.0) | (gas_sum >= SUM_MAX) | (ppm < -UNDER_RANGE * RANGE_PPM)
        self._bad = (self._bad + 1) * bad
        far = np.abs(ppm - self._last) >= GAS_FALL_RANGES * RANGE_PPM
        self._far = (self._far + 1) * far
        self._last = np.where(far | bad, self._last, ppm)
        return self._bad >= SURE_SAMPLES, self._far >= GAS_JUMP_SAMPLES


def stressed(part: int, runs: int = RUNS, run_s: float = RUN_S) -> dict[str, list[int]]:
    """Of so many runs of each kind: those in which each reason was told."""
    rng = np.random.default_rng([6, part])
    size = len(KINDS) * runs
    fleet, others, drift, state = NoiseFleet(size), OtherReasons(size), np.zeros(size), np.zeros(size)
    times = np.repeat([drift_times for _, drift_times in KINDS.values()], runs)
    places = [slice(i * runs, (i + 1) * runs) for i in range(len(KINDS))]
    had = np.zeros((len(REASONS), size), dtype=bool)
    ppm = np.empty(size)
    steps = round(run_s / STEP_S)
    later_s = 0.5 * (RUN_S - run_s)  # so that what comes at half time comes in a short run, too
    for i in range(steps):
        for place, (noise, _) in zip(places, KINDS.values(), strict=True):
            ppm[place] = noise(rng, later_s + i * STEP_S, state[place])
        gas_sum = np.rint(ZERO_SUM + (drifting(rng, drift, times) + ppm) / PPM_PER_SUM)
        fleet.feed(gas_sum)
        out, jumped = others.feed(gas_sum, (gas_sum - ZERO_SUM) * PPM_PER_SUM)
        for row, now in zip(had, (fleet.quiet, out, jumped), strict=True):
            row |= now
        if i % (steps // 4) == 0 and i:
            print(f"stress, part {part + 1}: {100 * i // steps} %", file=sys.stderr, flush=True)
    return {name: had[:, place].sum(axis=1).tolist() for name, place in zip(KINDS, places, strict=True)}


def collapses(seed: int, draws: int = DRAWS, left: tuple[float, float] = LEFT) -> dict[str, list[float]]:
    """Seconds from a collapse until it is told, of each draw; `WORST_S` stands for later."""
    found = {}
    for kind, noise in COLLAPSING.items():
        rng = np.random.default_rng([7, seed])
        fleet, state, share = NoiseFleet(draws), np.zeros(draws), rng.uniform(*left, draws)
        before, after = round(BEFORE_S / STEP_S), round(WORST_S / STEP_S)
        told = np.full(draws, WORST_S)
        for i in range(before + after):
            ppm = noise(rng, 0.0, state) * (share if i >= before else 1.0)
            fleet.feed(np.rint(ZERO_SUM + ppm / PPM_PER_SUM))
            if i >= before:
                told = np.where(fleet.quiet & (told == WORST_S), (i + 1 - before) * STEP_S, told)
                if fleet.quiet.all():
                    break
        found[kind] = told.tolist()
    return found


def fallen(fall_h: float) -> Floats:
    """White noise that falls within so many hours to `FALL_TO`: what is left as it is told, of each run."""
    rng = np.random.default_rng([8, round(fall_h)])
    fleet, told = NoiseFleet(FALL_RUNS), np.zeros(FALL_RUNS)
    before, falling = 6000, round(fall_h * 3600.0 / STEP_S)
    for i in range(before + falling):
        left = FALL_TO ** (max(0, i - before) / falling)
        fleet.feed(np.rint(ZERO_SUM + left * SAMPLE * rng.standard_normal(FALL_RUNS) / PPM_PER_SUM))
        told = np.where(fleet.quiet & (told == 0.0), left, told)
        if (told > 0.0).all():
            break
    return told


def met(is_met: bool) -> str:
    """In words."""
    return "met" if is_met else "NOT met"


def print_stress(parts: list[dict[str, list[int]]]) -> None:
    """False faults under each stress."""
    runs = PARTS * RUNS
    print(f"Runs of {RUN_S / 3600:g} h with a false GAS-FAULT, of {runs} under each")
    print(f"| under | {' | '.join(REASONS)} | any, at most |")
    print("| --- |" + " --- |" * (len(REASONS) + 1))
    most = 0
    for name in KINDS:
        counts = np.array([part[name] for part in parts]).sum(axis=0)
        total = int(counts.sum())
        if name in STRESS:
            most = max(most, total)
        share = f"{100 * total / runs:.1f} ± {100 * sqrt(total) / runs:.1f} %"
        print(f"| {name} | {' | '.join(str(n) for n in counts)} | {share} |")
    print(f"aim, at most 1 run in 100 under each of the table: {met(most <= 0.01 * runs)}")


def print_collapses(drawn: dict[str, list[float]], shallow: dict[str, list[float]]) -> None:
    """How soon a collapse is told."""
    print(f"\nA collapse after {BEFORE_S:g} s of noise, {DRAWS} draws: told after, s")
    drawn_of = f"{LEFT[0]:g} to {LEFT[1]:g}"
    print(f"| noise | {drawn_of} left, median | worst | late | {LEFT[1]:g} left, median | worst | late |")
    print("| --- |" + " --- |" * 6)
    late = 0
    for kind in COLLAPSING:
        cells = []
        for after_s in (np.array(drawn[kind]), np.array(shallow[kind])):
            cells += [f"{np.median(after_s):.1f}", f"{after_s.max():.1f}", str((after_s > COLLAPSE_S).sum())]
        late += sum(s > COLLAPSE_S for s in drawn[kind]) if kind != "t(3)" else 0
        print(f"| {kind} | {' | '.join(cells)} |")
    print(f"aim, each draw of the table's noises within {COLLAPSE_S:g} s: {met(late == 0)}")


def main() -> None:
    """Run all parts on two processes and print the tables."""
    with Pool(2) as pool:
        stress = pool.map_async(stressed, range(PARTS), chunksize=1)
        drawn = pool.map_async(collapses, [0], chunksize=1)
        shallow = pool.map_async(partial(collapses, left=(LEFT[1], LEFT[1])), [1], chunksize=1)
        falls = pool.map_async(fallen, FALLS_H, chunksize=1)
        print_stress(stress.get())
        print_collapses(drawn.get()[0], shallow.get()[0])
        print(f"\nNoise that dies away to {FALL_TO:g}, evenly in the logarithm, {FALL_RUNS} runs: left as it is told")
        for fall_h, left in zip(FALLS_H, falls.get(), strict=True):
            print(f"within {fall_h:g} h: {left.max():.2f} to {left.min():.2f}")


if __name__ == "__main__":
    main()
