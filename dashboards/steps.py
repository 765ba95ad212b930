"""What to do now, when no alarm says it: one or two sentences for each place in a run."""

from __future__ import annotations

import re

from dashboards.closing import next_step as next_step_of_closing
from dashboards.words import count, plain
from monitor.core.events import Closing, Forecast, Metering, Phase
from monitor.core.spans import foretold
from monitor.core.stopping import STOP, Stop
from monitor.terms import Meter, Route

PHASE_WORDS = {
    Phase.GETTING_READY: "Getting ready",
    Phase.GENERATING: "Generating",
    Phase.RUNNING_OUT: "Running out",
    Phase.CLOSING_DOWN: "Closing down",
    Phase.CLOSED: "Closed",
}


def when_nobody_watches(route: Route | None) -> str:
    """What to do when the monitor has gone."""
    return (
        f"{STOP[route].order}; hood on. "
        "Start the monitor again with the same log: it takes the run up where it stood."
    )


def next_step(
    phase: Phase,
    permit_on: bool,
    forecast: Forecast | None,
    metering: Metering | None = None,
    closing: Closing | None = None,
) -> str:
    """The next thing to do in a run in which nothing is wrong."""
    meter: Meter = "drops" if metering is None else metering.meter
    route = None if metering is None else metering.route
    stop = STOP[route]
    if phase is Phase.GETTING_READY:
        if permit_on:
            return f"Permit is on. When you {stop.begin}, choose 'Generating'."
        return f"{stop.ready} Then ask for the permit."
    if phase is Phase.GENERATING:
        return _generating(permit_on, forecast, meter, stop)
    if phase is Phase.RUNNING_OUT:
        return f"{stop.run_out}. Lift the tube out of the liquid before anything cools; wait until no more gas comes."
    if phase is Phase.CLOSING_DOWN:
        return next_step_of_closing(closing, route)
    return "The run is closed. Nobody watches this bench now."


def _generating(permit_on: bool, forecast: Forecast | None, meter: Meter, stop: Stop) -> str:
    if not permit_on:
        return f"Permit is off: {stop.done}. Find out why, then ask for it again."
    if forecast is None:
        return "Go on. What goes over is not counted on this route: judge by the receiver."
    if forecast.need_mol is None:
        return "Go on. The run's file names no need, so the page cannot say when it is enough."
    if meter == "weighings":
        return _until_weighed(forecast)
    if forecast.drops_to_need is None:
        everything = "all the acid" if meter == "drops" else "the whole charge"
        return (
            f"The need will not be reached: {everything} brings {plain(forecast.final_delivered_mol)} mol over, "
            f"wanted is {plain(forecast.need_mol)} mol."
        )
    if forecast.drops_to_need == 0:
        return f"The need has gone over. {stop.order}; then lift the tube out of the liquid before anything cools."
    to_go = f"{count(forecast.drops_to_need, meter[:-1])} to go"
    if forecast.minutes_to_need is None:
        return f"Nothing {'drips' if meter == 'drops' else 'comes'}. {to_go}."
    return f"Go on. {to_go}, {foretold(60.0 * forecast.minutes_to_need)} at this rate."


def _until_weighed(forecast: Forecast) -> str:
    if forecast.minutes_to_need is None:
        return "Go on. Weigh from time to time and enter it below: nothing else tells what has gone over."
    if forecast.minutes_to_need == 0.0:
        return "By the rate of the weighings the need has gone over. Weigh again to be sure, then end it."
    left = foretold(60.0 * forecast.minutes_to_need)
    return f"Go on. The need is {left} away at the rate of two weighings; weigh again."


def in_order(response: str) -> tuple[str, ...]:
    """A response text as its steps, one sentence each."""
    return tuple(s for s in re.split(r"(?<=\.)\s+", response.strip()) if s)
