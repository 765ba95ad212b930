"""Every alarm there is: its tag, priority, what it means, what to do first, and how long there is.

The words are read by somebody worried, at arm's length, with wet gloves: what is so, then what to do, in order.
"""

from __future__ import annotations

from typing import NamedTuple

from monitor.core.events import Phase, Priority
from monitor.core.stopping import fill
from monitor.terms import Route

HIGH, MEDIUM, LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW


class AlarmKind(NamedTuple):
    """One alarm's fixed part. High ones latch and cannot be shelved.

    `on_delay_s` is how long its cause must stand before it counts, `off_delay_s` how long it must be gone before it
    counts as gone (published alarm-management tables give flow 15 s, temperature 60 s; from memory).
    `permit_off_after_s` is None when the permit stays, else how long the cause may stand before the permit goes.
    """

    tag: str
    priority: Priority
    title: str
    consequence: str
    asks: str  # with the route's own words still to be filled in
    time_to_respond: str
    permit_off_after_s: float | None = None
    off_delay_s: float = 0.0
    on_delay_s: float = 0.0

    def response(self, route: Route | None) -> str:
        """What to do first on that route; with None, in words that hold on every one."""
        return fill(self.asks, route)


_GAS_RESPONSE = (
    "{order}. Leave the hood running and its sash down. If you smell it or it stings, leave and close the door. Look "
    "for the leak only when the reading is falling."
)

CATALOGUE: dict[str, AlarmKind] = {
    kind.tag: kind
    for kind in (
        AlarmKind(
            "GAS-HIGH-HIGH",
            HIGH,
            "Too much SO2 in the air",
            "Breathing this harms; more of it can come quickly.",
            "Leave, and warn the others. On the way, and only if it is within reach: {done}. Come back when the air "
            "is clear.",
            "seconds",
            permit_off_after_s=0.0,
            off_delay_s=60.0,
        ),
        AlarmKind(
            "GAS-HIGH",
            HIGH,
            "SO2 in the air",
            "There is a leak, or the receiver or the scrubber lets gas through.",
            _GAS_RESPONSE,
            "a minute",
            permit_off_after_s=0.0,
            off_delay_s=60.0,
        ),
        AlarmKind(
            "GAS-LEAK",
            HIGH,
            "Gas is leaking",
            "The reading has risen as only a leak makes it rise, even if it is low.",
            _GAS_RESPONSE,
            "a few minutes",
            permit_off_after_s=0.0,
            off_delay_s=60.0,
        ),
        AlarmKind(
            "GAS-RISING",
            MEDIUM,
            "SO2 reading creeps up",
            "Something may be leaking a little.",
            "Look at joints, tube and scrubber. Be ready to stop the gas: {done}.",
            "several minutes",
            off_delay_s=60.0,
        ),
        AlarmKind(
            "GAS-STEL",
            MEDIUM,
            "15-minute exposure limit reached",
            "The average of the last 15 minutes at the sensor is at its limit.",
            "Step away from the bench until the average falls; find what leaks.",
            "minutes",
            off_delay_s=60.0,
        ),
        AlarmKind(
            "GAS-TWA",
            MEDIUM,
            "8-hour exposure limit reached",
            "The 8-hour average at the sensor is at its limit.",
            "End the run and leave the room to air; no more of this today.",
            "minutes",
            off_delay_s=60.0,
        ),
        AlarmKind(
            "GAS-FAULT",
            HIGH,
            "Gas sensor not to be believed",
            "Nobody watches the air now: a leak would not be noticed.",
            "Act as if there were gas: {done}, hood on. Check the sensor's plug and wire; bump-test before going on.",
            "10 seconds, then the permit goes",
            permit_off_after_s=10.0,
            off_delay_s=10.0,
        ),
        AlarmKind(
            "PLATE-HIGH-HIGH",
            HIGH,
            "Plate far too hot",
            "What is on it boils over or decomposes; glass may break.",
            "{by_hand}. Move nothing, sash down, keep back.",
            "seconds",
            permit_off_after_s=0.0,
            off_delay_s=60.0,
        ),
        AlarmKind(
            "PLATE-HIGH",
            MEDIUM,
            "Plate too hot",
            "Near the temperature at which the heat is taken away.",
            "{cooler} and watch it fall.",
            "a minute or two",
            off_delay_s=60.0,
            on_delay_s=1.0,
        ),
        AlarmKind(
            "PLATE-RISING",
            MEDIUM,
            "Plate will overheat soon",
            "At this slope the upper limit is near.",
            "{cooler} now.",
            "half a minute",
            off_delay_s=60.0,
        ),
        AlarmKind(
            "PLATE-LOW",
            LOW,
            "Plate below its window",
            "The reaction slows or stops.",
            "Turn the heat up a little, or wait.",
            "minutes",
            off_delay_s=60.0,
            on_delay_s=1.0,
        ),
        AlarmKind(
            "PLATE-FAULT",
            HIGH,
            "Plate thermometer not to be believed",
            "Nobody watches the heat now.",
            "{heat_off}. Check the thermocouple's plug and that its tip sits on the plate.",
            "10 seconds, then the permit goes",
            permit_off_after_s=10.0,
            off_delay_s=10.0,
        ),
        AlarmKind(
            "DRIP-FAST",
            MEDIUM,
            "Drip or bubbles too fast",
            "More gas than the receiver can take; it foams or goes past.",
            "{slower}. Look at the receiver and the scrubber.",
            "a minute",
            off_delay_s=15.0,
        ),
        AlarmKind(
            "DRIP-STALLED",
            LOW,
            "Drip or bubbles have stopped",
            "Gas stops soon, and liquid may be drawn back up the tube.",
            "Look at {look_at}. If you ended it, say so by the phase.",
            "minutes",
            off_delay_s=0.0,
        ),
        AlarmKind(
            "DRIP-BLOCKED",
            MEDIUM,
            "The counter cannot see",
            "Drops or bubbles may pass uncounted, so the account runs low.",
            "Wipe the gate, centre the dropper over it, and check for splashes.",
            "a minute",
            off_delay_s=10.0,
        ),
        AlarmKind(
            "DRIP-UNASKED",
            MEDIUM,
            "Drops or gas though nothing should come",
            "Gas is being made that nobody asked for.",
            "{order}. If gas is to be made, begin the generating phase.",
            "a minute",
            off_delay_s=30.0,
        ),
        AlarmKind(
            "ACID-LOW",
            LOW,
            "Acid nearly out",
            "A tenth of the acid is left.",
            "Decide whether this is enough; do not top up while it drips.",
            "minutes",
        ),
        AlarmKind(
            "CHARGE-SPENT",
            LOW,
            "Charge used up",
            "What is left makes no more gas.",
            "Stop the gas: {done}. What is still held comes off as it runs out.",
            "no hurry",
        ),
        AlarmKind(
            "ENOUGH-DELIVERED",
            LOW,
            "Enough has gone over",
            "The receiver has what it needs.",
            "Stop the gas: {done}. Then lift the tube out of the liquid before anything cools.",
            "a minute",
        ),
        AlarmKind(
            "SCRUBBER-LOW",
            MEDIUM,
            "Scrubber nearly spent",
            "If the receiver stopped taking gas, the scrubber could not hold the rest.",
            "Stop the gas: {done}. Renew the scrubber.",
            "minutes",
        ),
        AlarmKind(
            "SUCK-BACK",
            MEDIUM,
            "Liquid may climb back up the tube",
            "Gas stops or turns back while the tube is in the liquid.",
            "Lift the tube out of the liquid or open the vent, now.",
            "half a minute",
        ),
        AlarmKind(
            "LINK-LOST",
            HIGH,
            "No word from the board",
            "Every reading on this page is old. The board takes the permit away by itself.",
            "Stop the gas: {done}. Check the cable and the board's power.",
            "at once",
            permit_off_after_s=0.0,
        ),
        AlarmKind(
            "LINK-NOISY",
            LOW,
            "Line to the board is noisy",
            "Samples are lost; no drop is, as long as some arrive.",
            "Move the cable away from the heater; try another.",
            "no hurry",
            off_delay_s=60.0,
        ),
        AlarmKind(
            "BOARD-RESTARTED",
            MEDIUM,
            "Board restarted",
            "What the relay feeds has lost its permit.",
            "Look why (power, cable); then ask for the permit again.",
            "a minute",
            permit_off_after_s=0.0,
            off_delay_s=5.0,
        ),
        AlarmKind(
            "PERMIT-REFUSED",
            HIGH,
            "Permit relay does not follow",
            "The relay is on though it should be off, or off though it should be on.",
            "{by_hand}. Do not go on with this relay.",
            "at once",
            off_delay_s=1.0,
        ),
        AlarmKind(
            "TRIP-LATCHED",
            HIGH,
            "Board has tripped",
            "The board itself saw overheat or gas and took the permit away.",
            "Deal with the heat or the gas first. Then reset.",
            "at once",
            permit_off_after_s=0.0,
        ),
        AlarmKind(
            "LOG-FAILING",
            HIGH,
            "The record cannot be written",
            "What happens now is kept in memory only and is lost if the computer stops.",
            "Free disk space, or end the run.",
            "30 seconds, then the permit goes",
            permit_off_after_s=30.0,
        ),
        AlarmKind(
            "CALIBRATION-OVERDUE",
            LOW,
            "A calibration is out of date",
            "Figures may be off by more than is stated.",
            "Calibrate before the next run.",
            "no hurry",
        ),
        AlarmKind(
            "BROKER-LOST",
            LOW,
            "Message broker away",
            "Other rooms do not see this bench; the run itself is not touched.",
            "Check the network when there is time.",
            "no hurry",
            on_delay_s=10.0,
        ),
        AlarmKind(
            "NOTIFY-FAILED",
            LOW,
            "Messages to people do not go out",
            "Nobody is called if something happens.",
            "Stay at the bench; check the network.",
            "no hurry",
        ),
        AlarmKind(
            "CLOCK-STEPPED",
            LOW,
            "Computer's clock jumped",
            "Times of day in the record are off from here; durations are right.",
            "Note it; set the clock after the run.",
            "no hurry",
        ),
    )
}


# Alarms that mean nothing in a phase are suppressed by design while it lasts: a stalled drip is no alarm before
# the tap is opened.
HEARD_ONLY_IN: dict[str, frozenset[Phase]] = {
    "DRIP-STALLED": frozenset({Phase.GENERATING}),
    "PLATE-LOW": frozenset({Phase.GENERATING}),
    "SUCK-BACK": frozenset({Phase.GENERATING, Phase.RUNNING_OUT, Phase.CLOSING_DOWN}),
    "DRIP-UNASKED": frozenset(Phase) - {Phase.GENERATING},
}

_CAUSES: dict[str, str] = {"condition true": "it is so", "condition false": "no longer so"}


def cause_words(cause: str) -> str:
    """Why an alarm changed, for a person; the record has the standard's words (ISA-18.2)."""
    return _CAUSES.get(cause, cause)
