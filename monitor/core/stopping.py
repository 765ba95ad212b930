"""What shuts the gas off on each route, in the words that alarms and steps are made of: common practice, no source.

Promise: nobody is told to shut a tap that their apparatus does not have. On the burner's route the relay feeds the
draught, so an alarm that takes the permit away takes the draught too, and the flame is smothered.
"""

from __future__ import annotations

from typing import NamedTuple

from monitor.terms import Route


class Stop(NamedTuple):
    """Pieces of sentences: orders without their full stop, and `done`, which is what is so after them."""

    order: str
    done: str
    by_hand: str  # past a relay that does not follow, or heat that does not fall
    heat_off: str
    cooler: str
    slower: str
    look_at: str  # where gas that has stopped may be stuck
    begin: str  # what begins the making of gas
    ready: str  # asked before the permit
    run_out: str  # what is so while the last gas comes
    over: str  # what is so while the source is closed down
    permit: str  # what runs through the relay
    vessel: str  # in which the gas is made
    trial: str  # asked before the relay is tried


_SMOTHER = "Smother the burning sulfur with sand or its lid"
STOP: dict[Route | None, Stop] = {
    "acid-drip": Stop(
        order="Shut the tap, heat off",
        done="tap shut, heat off",
        by_hand="Heat off at the wall, tap shut by hand",
        heat_off="Heat off",
        cooler="Turn the heat down",
        slower="Turn the tap back",
        look_at="the tap, the acid and the gas line",
        begin="open the tap",
        ready="Tap shut, hood on, tube and scrubber in place?",
        run_out="Tap shut",
        over="Heat off, tap shut",
        permit="heat and drip",
        vessel="flask",
        trial="Tap shut, plate unplugged?",
    ),
    "acid-on-sulfur": Stop(
        order="Heat off; leave the hot flask where it stands",
        done="heat off",
        by_hand="Heat off at the wall; leave the hot flask where it stands",
        heat_off="Heat off",
        cooler="Turn the heat down",
        slower="Turn the heat down",
        look_at="the heat and the gas line",
        begin="turn the heat on",
        ready="Hood on, tube and scrubber in place?",
        run_out="Heat off",
        over="Heat off",
        permit="the heat",
        vessel="flask",
        trial="Plate unplugged?",
    ),
    "burner": Stop(
        order=_SMOTHER,
        done="flame smothered",
        by_hand=_SMOTHER,
        heat_off=_SMOTHER,
        cooler="Draw less air",
        slower="Draw less air",
        look_at="the flame and the gas line",
        begin="light the sulfur",
        ready="Hood on, tube and scrubber in place, sand at hand?",
        run_out="Draught on until the sulfur is cold",
        over="Draught on until the sulfur is cold",
        permit="the draught",
        vessel="burner",
        trial="Nothing lit, pump unplugged?",
    ),
    None: Stop(  # where the route is not known
        order="Stop the gas: tap shut, heat off, or flame smothered",
        done="tap shut, heat off, or flame smothered",
        by_hand="Stop the gas by hand, heat off at the wall",
        heat_off="Heat off",
        cooler="Turn the heat down",
        slower="Turn the tap or the heat back",
        look_at="what makes the gas, and the gas line",
        begin="begin to make gas",
        ready="Hood on, tube and scrubber in place?",
        run_out="Nothing makes gas any more",
        over="Heat off, nothing makes gas any more",
        permit="what the relay feeds",
        vessel="flask",
        trial="All of it unplugged?",
    ),
}


def fill(words: str, route: Route | None) -> str:
    """A text with the route's own words in the places that are named in braces as in `Stop`."""
    return words.format_map(STOP[route]._asdict())
