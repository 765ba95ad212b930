"""Settings of the property tests, and which tests may run side by side.

Property tests: the same examples every time; others and more of them with SO2BENCH_CAMPAIGN=1. Side by side
(`tests/run.sh`): files on any processor, but the tests that run by the clock one after another.
"""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

from tests.examples import CAMPAIGN

settings.register_profile("usual", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile(
    "campaign",
    deadline=None,
    max_examples=5000,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("campaign" if CAMPAIGN else "usual")

BY_THE_CLOCK = ("live", "browser", "broker", "firmware")  # marks of tests that wait for processes, threads or lines


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Group the tests for several processors: those by the clock in one group, the others by their file."""
    for item in items:
        by_the_clock = any(item.get_closest_marker(mark) for mark in BY_THE_CLOCK)
        item.add_marker(pytest.mark.xdist_group("by-the-clock" if by_the_clock else item.nodeid.partition("::")[0]))
