"""How often ± two standard uncertainties hold the truth after a weighing.

Run as `python -m tests.benchmarks.bench_weighings`.
A hundred benches whose truth is drawn from what their settings state, each weighed once between half and nine tenths
of its acid. 95 of 100 are wanted by the coverage factor (JCGM 100:2008, 6.3), 93 allow for the model's own error.
"""

from __future__ import annotations

from statistics import fmean

from tests.weighings import weighed_case

CASES = 100
WANTED = 93


def main() -> None:
    """Print the counts; fail when the interval after the weighing covers too few."""
    cases = [weighed_case(seed) for seed in range(CASES)]
    covered = {
        "before the weighing": sum(abs(c.before_off) <= 2.0 for c in cases),
        "after the weighing": sum(abs(c.after_off) <= 2.0 for c in cases),
        "at the end of the run": sum(abs(c.later_off) <= 2.0 for c in cases),
        "the drop volume": sum(abs(c.drop_off) <= 2.0 for c in cases),
    }
    for what, count in covered.items():
        print(f"{what:<24} {count} of {CASES}")
    print(f"uncertainty after over before, mean {fmean(c.u_after_mol / c.u_before_mol for c in cases):.2f}")
    if covered["after the weighing"] < WANTED:
        raise SystemExit(f"wanted at least {WANTED}")


if __name__ == "__main__":
    main()
