"""A seeded share of the benchmark of random plans: the rest is `tests.benchmarks.bench_plans`."""

from __future__ import annotations

from tests.benchmarks.bench_plans import outcomes


def test_random_plans_end_within_what_they_state() -> None:
    """Of eight random plans at least seven end within their stated k = 2 uncertainty and meet their need."""
    found = outcomes(8, seed=400)
    assert sum(one.within for one in found) >= 7
    assert sum(one.true_mol >= one.need_mol for one in found) >= 7
