"""What to mind in each phase on each route, in a sentence or two: common practice, no source."""

from __future__ import annotations

from monitor.core.events import Phase
from monitor.terms import Route

MIND: dict[Phase, dict[Route, str]] = {
    Phase.GETTING_READY: {
        "acid-drip": "Acid in the funnel, tap shut. The tube stays out of the liquid until gas comes.",
        "acid-on-sulfur": "Heat slowly: the air of the flask comes over first. The tube stays out of the liquid.",
        "burner": "Draught on before the flame: the scrubber bubbles, the coil is clear.",
    },
    Phase.GENERATING: {
        "acid-drip": "Keep the drip steady. If liquid climbs the tube, lift the tube out.",
        "acid-on-sulfur": "A gentle boil inside the window, never distilling. Watch the line for sulfur that sets.",
        "burner": "The coil's outlet is no more than hand-warm. What the pump blows out goes into the hood.",
    },
    Phase.RUNNING_OUT: {
        "acid-drip": "The liquor goes on giving gas for a while. Tube out of the liquid before anything cools.",
        "acid-on-sulfur": "Heat off. Tube out of the liquid before the flask cools: cooling acid draws it back.",
        "burner": "Let the flame go out by itself. The draught stays on until the sulfur is cold.",
    },
    Phase.CLOSING_DOWN: {
        "acid-drip": "Much stays dissolved. Air drawn through to the scrubber, or gentle warming, takes it out.",
        "acid-on-sulfur": "The acid stays hot far longer than the plate: shield it, let it cool in its own flask.",
        "burner": "The draught stays on until the sulfur is cold; coil and traps hold acid water.",
    },
    Phase.CLOSED: {},
}


def mind(phase: Phase, route: Route | None) -> str:
    """What to mind; empty where there is nothing more to say."""
    return "" if route is None else MIND[phase].get(route, "")
