"""The demonstration: one invented bench, run and story, as files in this package and as the values made of them.

INVENTED throughout: a workshop recovers 12 g of selenium from a spent liquor with sulfur dioxide from 80 g of sodium
metabisulfite and 30 % hydrochloric acid, or with the gas of another route. The drip story takes about 20 minutes
until it drips steadily, ends that after 35 and then closes down, air drawn through the flask; the others end after an
hour. Each then repeats a small disturbance every quarter of an hour for as long as anybody watches.
"""

from __future__ import annotations

from datetime import date, timedelta
from importlib.resources import files
from typing import Final

from monitor.rig.timeline import Scenario, parse_timeline
from monitor.terms import Meter, Route

REPEAT_S: Final = 900.0
SEED: Final = 20
CALIBRATED_DAYS_AGO: Final = 4

# What the person at the bench asks of the monitor in the story: second, kind of request, its arguments.
Asking = tuple[float, str, dict[str, str | bool | float]]
_CHECKED: Final[tuple[Asking, ...]] = tuple(  # what only a person can see of the check before a run
    (at_s, "check", {"item": item, "outcome": "passed", "reason": ""})
    for at_s, item in ((1.0, "hood"), (2.0, "tube"), (3.0, "protection"), (4.0, "someone"))
)
REQUESTS: Final[tuple[Asking, ...]] = (
    *_CHECKED,
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
    (2300.0, "weighing", {"what": "flask loss", "grams": 24.3, "u_g": 0.2}),
    (2320.0, "permit", {"on": False}),
    (2330.0, "phase", {"phase": "closing down"}),
    (2340.0, "clearing", {"air_l_per_min": 0.3, "liquor_c": 22.0}),
)
HOT_REQUESTS: Final[tuple[Asking, ...]] = (
    *_CHECKED,
    (5.0, "permit", {"on": True}),
    (20.0, "phase", {"phase": "generating"}),
    (60.0, "acknowledge", {"tag": "*"}),
    (2000.0, "weighing", {"what": "flask loss", "grams": 12.8, "u_g": 0.1}),
    (3950.0, "phase", {"phase": "running out"}),
    (3960.0, "acknowledge", {"tag": "*"}),
    (4300.0, "weighing", {"what": "flask loss", "grams": 25.7, "u_g": 0.1}),
)
BURNER_REQUESTS: Final[tuple[Asking, ...]] = (
    *_CHECKED,
    (5.0, "permit", {"on": True}),
    (50.0, "phase", {"phase": "generating"}),
    (1450.0, "weighing", {"what": "sulfur loss", "grams": 6.1, "u_g": 0.1}),
    (2700.0, "weighing", {"what": "sulfur loss", "grams": 10.3, "u_g": 0.1}),
    (3320.0, "phase", {"phase": "running out"}),
    (3400.0, "weighing", {"what": "receiver gain", "grams": 25.8, "u_g": 0.2}),
    (4300.0, "acknowledge", {"tag": "*"}),
)
_STORIES: Final[dict[Route, tuple[str, float, tuple[Asking, ...]]]] = {  # files' ending, where it repeats, requests
    "acid-drip": ("", 2700.0, REQUESTS),
    "acid-on-sulfur": ("-acid-on-sulfur", 5400.0, HOT_REQUESTS),
    "burner": ("-burner", 5400.0, BURNER_REQUESTS),
}
_BUBBLE_ON_DRIP: Final = "1.5 +/- 0.03 mL"
_PRINTED_DAY: Final = "calibrated = 2026-11-20"  # in the demonstration's files


def bench_toml(port: str, today: date, route: Route = "acid-drip") -> str:
    """The bench file with its port, its calibrations a few days before `today`, so that none is overdue."""
    text = _text("bench.toml")
    if route != "acid-drip":  # the plate is hot on purpose
        for cool, hot in (('"95 degC"', '"320 degC"'), ('"110 degC"', '"340 degC"')):
            text = text.replace(cool, hot)
    escaped = port.replace("\\", "\\\\").replace('"', '\\"')
    for printed, wanted in (
        ('path = "demo-port"', f'path = "{escaped}"'),
        (_PRINTED_DAY, _dated(today)),
        ("bump_tested = 2026-11-24", f"bump_tested = {today.isoformat()}"),
    ):
        text = text.replace(printed, wanted)
    return text


def run_toml(route: Route = "acid-drip", meter: Meter | None = None, today: date | None = None) -> str:
    """The run file of a route, with another meter than the story's if one is named.

    A bubble's volume is dated as the bench's calibrations are, on a day that the file names or some before `today`.
    """
    text = _text(f"run{_STORIES[route][0]}.toml")
    if meter is not None:
        lines = [line for line in text.splitlines() if not line.startswith("bubble_") or meter == "bubbles"]
        at = next(number for number, line in enumerate(lines) if line.startswith("meter ="))
        lines[at] = f'meter = "{meter}"'
        if meter == "bubbles" and "bubble_volume" not in text:
            lines[at + 1 : at + 1] = [f'bubble_volume = "{_BUBBLE_ON_DRIP}"', f"bubble_{_PRINTED_DAY}"]
        text = "\n".join([*lines, ""])
    return text if today is None else text.replace(_PRINTED_DAY, _dated(today))


def requests(route: Route) -> tuple[Asking, ...]:
    """What the story's operator asks on a route."""
    return _STORIES[route][2]


def timeline(route: Route = "acid-drip") -> Scenario:
    """What happens on the bench."""
    ending, repeat_from_s, _ = _STORIES[route]
    return parse_timeline(_text(f"timeline{ending}.txt"), repeat_from_s, REPEAT_S)


def _dated(today: date) -> str:
    return f"calibrated = {(today - timedelta(days=CALIBRATED_DAYS_AGO)).isoformat()}"


def _text(name: str) -> str:
    return files("monitor.rig").joinpath("demo", name).read_text(encoding="utf-8")
