"""The kinds of trouble that the campaign injects: one row of the alarm table each, and what a fault imitates.

What a fault must raise and by when is the alarm table's; the 0.6 s beside a bound is the grid of half a second on
which slow rules run, and the sample that a fault falls between.
"""

from __future__ import annotations

from dataclasses import dataclass

GRID = 0.6  # s


@dataclass(frozen=True)
class Kind:
    """One kind of trouble: what starts it, what it must raise, by when, and when the permit must be gone.

    `also` are others that it may raise, because they are true: the board's own trip is one. A draw goes on
    for `settle_s` after all that must happen has happened, to see what else the trouble raises.
    """

    start: str
    tag: str
    within_s: float
    permit_s: float | None = None  # after the alarm
    also: frozenset[str] = frozenset()
    part: str = ""  # of the bench: two troubles together are of two parts
    amounts: tuple[float, float] | None = None
    counts: bool = True  # the board goes on counting drops rightly
    ask: tuple[tuple[str, str, str | bool], ...] = ()  # asked of the monitor as the trouble begins
    onset_s: tuple[float, float] = (150.0, 190.0)  # the channel's own noise is learned by then, and a plate is warm
    settle_s: float = 15.0
    look_s: float = 1.0  # how often it is looked whether the draw is over
    zero_off_ppm: tuple[float, float] | None = None  # the gas zero is off by so much from the start
    off_ppm: float | None = None  # the time counts from when the zero is off by this for good
    from_start: bool = False  # it is there before the run begins; its time counts from what is asked
    hot_acid: bool = False  # on the route acid on sulfur
    host_hangs_s: tuple[float, float] | None = None  # for so long, drawn; it is the board that must notice


_TRIP = frozenset({"TRIP-LATCHED"})
_GAS = frozenset({"GAS-HIGH", "GAS-HIGH-HIGH", "GAS-LEAK", "GAS-RISING"})
_FAST = frozenset({"DRIP-FAST"})  # drops seem to fall fast until it is told that they are counted twice
_FAULT_S = 10.0 + GRID  # alarm table: off after 10 s

KINDS: dict[str, Kind] = {
    "tc-open": Kind("fault tc-open", "PLATE-FAULT", 0.5, _FAULT_S, _TRIP, "plate"),
    "tc-short-ground": Kind("fault tc-short-ground", "PLATE-FAULT", 0.5, _FAULT_S, _TRIP, "plate"),
    "tc-short-supply": Kind("fault tc-short-supply", "PLATE-FAULT", 0.5, _FAULT_S, _TRIP, "plate"),
    "tc-silent": Kind("fault tc-silent", "PLATE-FAULT", 0.5, _FAULT_S, _TRIP, "plate", (0, 1)),
    "tc-jump": Kind("fault tc-jump", "PLATE-FAULT", 1.0, _FAULT_S, _TRIP, "plate", (80.0, 200.0)),
    "tc-frozen": Kind("fault tc-frozen", "PLATE-FAULT", 60.0 + GRID, _FAULT_S, part="plate"),
    "tc-off-plate": Kind("fault tc-off-plate", "PLATE-FAULT", 30.0, _FAULT_S, part="plate"),
    "tc-never-on": Kind(
        "fault tc-off-plate",
        "PLATE-FAULT",
        30.0,
        _FAULT_S,
        part="plate",
        ask=(("phase", "phase", "generating"),),
        from_start=True,
        hot_acid=True,
    ),
    "tc-never-noted": Kind(
        "fault tc-off-plate",
        "PLATE-FAULT",
        30.0,
        _FAULT_S,
        part="plate",
        ask=(("note", "text", "heater on"),),
        from_start=True,
    ),
    "gas-over": Kind("fault gas-over", "GAS-FAULT", 0.5, _FAULT_S, _TRIP, "gas"),
    "gas-under": Kind("fault gas-under", "GAS-FAULT", 0.5, _FAULT_S, part="gas"),
    "gas-frozen": Kind("fault gas-frozen", "GAS-FAULT", 2.1, _FAULT_S, part="gas"),
    "gas-quiet": Kind("fault gas-quiet", "GAS-FAULT", 10.0, _FAULT_S, part="gas", amounts=(0.1, 0.4)),
    "gas-railed": Kind("fault gas-railed", "GAS-FAULT", 2.0, _FAULT_S, _TRIP, "gas", (2.0, 10.0)),
    "gas-interference": Kind("fault gas-interference", "GAS-FAULT", 2.0, _FAULT_S, part="gas", amounts=(-4.0, -1.5)),
    "gate-blocked": Kind("fault gate-blocked", "DRIP-BLOCKED", 3.0, part="gate", counts=False),
    "gate-double": Kind(
        "fault gate-double", "DRIP-BLOCKED", 60.0, also=_FAST, part="gate", amounts=(0.3, 0.8), counts=False
    ),
    "gate-missed": Kind("fault gate-missed", "DRIP-BLOCKED", 120.0, part="gate", amounts=(0.2, 0.4), counts=False),
    "line-lost": Kind("fault line-lost", "LINK-NOISY", 60.0, part="line", amounts=(0.1, 0.4)),
    "line-noise": Kind("fault line-noise", "LINK-NOISY", 60.0, part="line", amounts=(0.0015, 0.004)),
    "unplug": Kind("unplug", "LINK-LOST", 3.0 + GRID, GRID, part="line"),
    "power-off": Kind("power-off", "LINK-LOST", 3.0 + GRID, GRID, part="line", counts=False),
    "hang": Kind("hang", "BOARD-RESTARTED", 3.0, GRID, part="line", counts=False),
    "reset": Kind("reset", "BOARD-RESTARTED", 3.0, GRID, part="line", counts=False),
    "swap": Kind("swap", "BOARD-RESTARTED", 3.0, GRID, part="line", counts=False),
    "relay-stuck": Kind("fault relay-stuck", "PERMIT-REFUSED", 1.0 + GRID, part="relay"),
    "relay-welded": Kind(
        "fault relay-welded", "PERMIT-REFUSED", 1.0 + GRID, part="relay", ask=(("permit", "on", False),)
    ),
    "valve-leaks": Kind(
        "fault valve-leaks",
        "DRIP-UNASKED",
        20.0,
        part="relay",
        ask=(("permit", "on", False), ("phase", "phase", "closing down")),
    ),
    # Half off from the start, for the drift's first hour is like its last; the table gives 10 min from 0.3 ppm on. A
    # zero that drifts several times as fast rises as a slow leak does, and so does one that is 0.2 ppm off from the
    # start: both are taken for a leak, for nothing at the sensor tells them apart.
    "gas-drift": Kind(
        "fault gas-drift",
        "CALIBRATION-OVERDUE",
        600.0,
        part="zero",
        amounts=(0.12, 0.2),
        also=_GAS - {"GAS-LEAK"},
        settle_s=0.0,  # one that drifts on makes the reading err more: that is told, and is no longer this fault
        look_s=10.0,
        zero_off_ppm=(0.12, 0.15),
        off_ppm=0.3,
    ),
    # The board counts three seconds by its own clock, up to 0.5 % off here, and looks 40 times a second; its buzzer
    # sounds with it. When the host goes on it says what the line has kept, and gives no permit back by itself.
    "host-hung": Kind(
        "",
        "LINK-LOST",
        3.0 * 1.005 + 0.025,
        also=frozenset({"PERMIT-REFUSED"}),
        part="line",
        onset_s=(31.0, 600.0),
        host_hangs_s=(3.5, 60.0),
    ),
    "gas-dates": Kind("", "CALIBRATION-OVERDUE", GRID, part="dates"),
    # What the faults imitate: neither may be taken for a fault. 400 mg/min is 2.3 ppm at rest in this room.
    "leak": Kind("leak 400", "GAS-LEAK", 60.0, GRID, _GAS | _TRIP, "air", settle_s=60.0),
    "runaway": Kind(
        "plate 900",
        "PLATE-RISING",
        1500.0,
        also=frozenset({"PLATE-HIGH", "PLATE-HIGH-HIGH"}) | _TRIP,
        part="heat",
        settle_s=60.0,
    ),
}

# Days after which each is overdue (alarm table), by the word for it; never done is overdue, too.
DUE_DAYS = {"drop counter": 30, "thermocouple": 180, "gas sensor": 90, "gas sensor's bump test": 1}

# Not beside another: a lost line or a lost permit leaves no drops or samples to judge by.
PAIRED = [
    name
    for name, kind in KINDS.items()
    if (kind.part in ("plate", "gas") and not kind.from_start) or name == "gate-blocked"
]

# What a fault may be taken for besides any high alarm; a stopped drip truly follows a lost permit, but no blind gate.
FACES = frozenset({"GAS-RISING", "PLATE-RISING", "PLATE-HIGH", "DRIP-FAST", "DRIP-BLOCKED", "DRIP-UNASKED"})
FACES_OF_A_GATE = FACES | {"DRIP-STALLED", "SUCK-BACK"}
