"""The demonstration: one invented bench, run and story, as files in this package and as the values made of them.

INVENTED throughout: a workshop recovers 12 g of selenium from a spent liquor with sulfur dioxide from 80 g of sodium
metabisulfite and 30 % hydrochloric acid. The story lasts about 20 minutes until it has settled into steady dripping,
ends that after 35, and then repeats a small disturbance every quarter of an hour for as long as anybody watches.
"""

from __future__ import annotations

from datetime import date, timedelta
from importlib.resources import files
from typing import Final

from monitor.rig.timeline import Scenario, parse_timeline

REPEAT_FROM_S: Final = 2700.0
REPEAT_S: Final = 900.0
SEED: Final = 20
CALIBRATED_DAYS_AGO: Final = 4

# What the person at the bench asks of the monitor in the story: second, kind of request, its arguments.
REQUESTS: Final[tuple[tuple[float, str, dict[str, str | bool]], ...]] = (
    (5.0, "permit", {"on": True}),
    (80.0, "phase", {"phase": "generating"}),
    (470.0, "acknowledge", {"tag": "*"}),
    (475.0, "note", {"text": "The joint at the wash bottle was loose; pushed home and clipped."}),
    (800.0, "reset", {"tag": "GAS-LEAK"}),
    (800.0, "reset", {"tag": "GAS-HIGH"}),
    (805.0, "permit", {"on": True}),
    (1060.0, "acknowledge", {"tag": "*"}),
    (1500.0, "acknowledge", {"tag": "*"}),
    (2150.0, "phase", {"phase": "running out"}),
)


def bench_toml(port: str, today: date) -> str:
    """The bench file with its port, its calibrations a few days before `today`, so that none is overdue."""
    text = _text("bench.toml")
    calibrated, bump_tested = today - timedelta(days=CALIBRATED_DAYS_AGO), today
    escaped = port.replace("\\", "\\\\").replace('"', '\\"')
    for printed, wanted in (
        ('path = "demo-port"', f'path = "{escaped}"'),
        ("calibrated = 2026-11-20", f"calibrated = {calibrated.isoformat()}"),
        ("bump_tested = 2026-11-24", f"bump_tested = {bump_tested.isoformat()}"),
    ):
        text = text.replace(printed, wanted)
    return text


def run_toml() -> str:
    """The run file."""
    return _text("run.toml")


def timeline() -> Scenario:
    """What happens on the bench."""
    return parse_timeline(_text("timeline.txt"), REPEAT_FROM_S, REPEAT_S)


def _text(name: str) -> str:
    return files("monitor.rig").joinpath("demo", name).read_text(encoding="utf-8")
