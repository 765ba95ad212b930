"""How many examples a slow property test tries: few as a rule, fifty times as many in a campaign."""

from __future__ import annotations

import os

from hypothesis import settings

CAMPAIGN = os.environ.get("SO2BENCH_CAMPAIGN") == "1"


def examples(few: int) -> settings:
    """The setting of a property test whose single example takes long."""
    return settings(max_examples=few * 50 if CAMPAIGN else few)
