"""Settings of the property tests: the same examples every time; others and more of them with SO2BENCH_CAMPAIGN=1."""

from __future__ import annotations

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
