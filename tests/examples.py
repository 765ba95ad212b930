"""How many examples a slow property test tries: few as a rule, fifty times as many in a campaign."""

from __future__ import annotations

import os

from hypothesis import Phase, settings

CAMPAIGN = os.environ.get("SO2BENCH_CAMPAIGN") == "1"


def examples(few: int) -> settings:
    """The setting of a property test whose single example takes long: no search for a smaller one when it fails."""
    return settings(max_examples=few * 50 if CAMPAIGN else few, phases=(Phase.explicit, Phase.generate))
