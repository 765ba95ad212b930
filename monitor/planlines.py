"""What a plan adds to its amounts, as plain lines for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from monitor.chemistry.design import DripDesign
from monitor.wanted import Designed


def charge_lines(found: Designed) -> Iterator[str]:
    """What to weigh out and measure for a want."""
    yield "To be weighed out and measured"
    for key, value in found.contents["generator"].items():
        yield f"  {key.replace('_', ' '):<34} {' to '.join(value) if isinstance(value, list) else value}"
    for key, value in found.contents["scrubber"].items():
        yield f"  {'scrubber ' + key:<34} {value}"
    design = found.design
    if isinstance(design, DripDesign):
        nominal, spread = design.nominal_salt_g, design.salt_expanded_uncertainty_g
        yield f"  {'salt, were every value exact':<34} {nominal:.3g} ± {spread:.2g} g (k = 2)"
