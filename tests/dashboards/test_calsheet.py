"""The calibration page's words."""

from __future__ import annotations

import pytest

from dashboards.calsheet import no_bench


@pytest.mark.parametrize(("watched", "why"), [(True, "until it ends"), (False, "No bench file was named")])
def test_without_a_bench_file_the_page_says_why_and_what_to_do(watched: bool, why: str) -> None:
    """On a run's page its settings stay as they are; on any page the command that calibrates is named."""
    words = no_bench(watched)
    assert why in words
    assert words.endswith("so2bench calibrate --page --bench bench.toml")
