"""The vocabulary of a run: what goes into a bench, and what comes out of it.

Frozen values only, valid by construction; no behaviour. Edges speak in these words and in no others.
Times named `t_s` are seconds since the run began. A reading that must not be believed has the value None and
says why; it is never 0 and never the last good one.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

from monitor.terms import Meter, Route


class Instant(NamedTuple):
    """A moment: seconds since the run began (durations use only this) and UTC as Unix seconds (for the record)."""

    mono_s: float
    utc_s: float


class Reading(NamedTuple):
    """A measured value with its standard uncertainty, or None with the reason.

    `at_least` is set when the value is unknown but is known to be no smaller than this (a sensor over its range).
    """

    value: float | None
    u: float | None = None
    why: str | None = None
    at_least: float | None = None


class Priority(Enum):
    """Alarm priorities, ISA-18.2."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class AlarmState(Enum):
    """The states of an alarm, in the words of ISA-18.2-2016 / IEC 62682."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned to normal, unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched, unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched, acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"


class Phase(Enum):
    """Where a run stands."""

    GETTING_READY = "getting ready"
    GENERATING = "generating"
    RUNNING_OUT = "running out"
    CLOSING_DOWN = "closing down"
    CLOSED = "closed"


# --- what goes in, beside bytes -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Request:
    """Something asked of the run by a person, or told to it by the shell; `args` are JSON scalars by name.

    `kind` is one of `monitor.core.requests.KINDS`; `request_id` ties the answer to the asking and is empty when
    nobody waits for one.
    """

    kind: str
    who: str
    args: tuple[tuple[str, str | float | bool], ...] = ()
    request_id: str = ""

    def arg(self, name: str, default: str | float | bool = "") -> str | float | bool:
        """Give the argument of that name, or the default."""
        for key, value in self.args:
            if key == name:
                return value
        return default


# --- what comes out -------------------------------------------------------------------------------------------


class Taken(NamedTuple):
    """An input as the bench took it, with the instant that counts: replaying these gives the run again."""

    at: Instant
    data: bytes | Request


class Sampled(NamedTuple):
    """One accepted sample of the board, turned into physical values."""

    t_s: float
    drops: int
    rejects: int
    plate: Reading
    cold_c: float | None
    gas: Reading
    gas_span: int
    io: int


class Rejected(NamedTuple):
    """A line that was thrown away, and why."""

    t_s: float
    cause: str
    line: bytes


class Noted(NamedTuple):
    """Something that happened and is worth a line in the record. `what` is a short fixed word."""

    t_s: float
    what: str
    text: str


class Accounted(NamedTuple):
    """The sulfur account. Amounts in mol, `u_` standard uncertainties (k = 1)."""

    t_s: float
    drops: int
    acid_ml: float
    generated_mol: float
    held_mol: float
    delivered_mol: float
    locked_mol: float
    u_generated_mol: float
    u_held_mol: float
    u_delivered_mol: float
    u_locked_mol: float


class Metering(NamedTuple):
    """By what the account is kept: the counted volume now and as stated, µL, and the weighings taken into it."""

    route: Route
    meter: Meter
    volume_ul: float | None  # None where nothing is counted
    u_volume_ul: float | None
    stated_volume_ul: float | None
    u_stated_volume_ul: float | None
    weighings: int
    weighed_s: float | None


class Corrected(NamedTuple):
    """A weighing, or the undoing of one, and the step that the account made by it. Uncertainties with k = 1.

    `weighed_mol` is the SO2 that had gone over by the weighing; volumes are those of a drop or bubble, None where
    none is counted.
    """

    t_s: float
    who: str
    what: str
    grams: float
    u_g: float
    weighed_mol: float
    u_weighed_mol: float
    delivered_before_mol: float
    u_before_mol: float
    delivered_after_mol: float
    u_after_mol: float
    volume_before_ul: float | None
    u_volume_before_ul: float | None
    volume_after_ul: float | None
    u_volume_after_ul: float | None


class Forecast(NamedTuple):
    """Where the run is heading; None where the files or the present rate do not say enough."""

    drip_per_min: float
    delivery_mol_per_min: float
    final_delivered_mol: float
    still_to_come_mol: float
    need_mol: float | None
    drops_to_need: int | None
    minutes_to_need: float | None
    acid_left_ml: float


class Exposed(NamedTuple):
    """Exposure at the sensor: rolling averages in ppm, and the seconds of the run with no valid reading."""

    t_s: float
    stel_ppm: float
    stel_max_ppm: float
    stel_unknown_s: float
    twa_ppm: float
    unknown_s: float


class AlarmChanged(NamedTuple):
    """An alarm went from one state to another. `detail` says what was seen, `who` is empty for the bench itself."""

    t_s: float
    utc_s: float
    tag: str
    priority: Priority
    before: AlarmState
    after: AlarmState
    cause: str
    who: str
    detail: str


class PermitChanged(NamedTuple):
    """The permit that is asked of the board went on or off, and why."""

    t_s: float
    on: bool
    why: str


class PhaseChanged(NamedTuple):
    """The run entered a phase."""

    t_s: float
    phase: Phase
    who: str


class Answered(NamedTuple):
    """What became of a request."""

    t_s: float
    request_id: str
    accepted: bool
    text: str


class Send(NamedTuple):
    """Bytes for the board."""

    data: bytes


class StandingAlarm(NamedTuple):
    """An alarm that is not normal, as an overview shows it."""

    tag: str
    priority: Priority
    state: AlarmState
    since_s: float
    detail: str


class Leak(NamedTuple):
    """What is known of a leak while one is heard. Times in run seconds; what is not known yet is None."""

    since_s: float
    ppm_over: float | None  # the reading over its usual level; None over the sensor's range
    mg_per_min: float | None
    u_mg_per_min: float | None  # doubled standard uncertainty, since a room is no box
    sized_s: float | None  # when the size was last borne out by the trace, if that is a while ago
    follows: bool | None  # whether it goes with what is being made; None when that cannot be told
    share: float | None  # of what is being made, 0 to 1
    correlation: float | None


class CheckLine(NamedTuple):
    """One item of the check before a run. `outcome` is passed, failed, waived, or empty while it is missing."""

    item: str
    words: str
    by_person: bool
    outcome: str
    reason: str
    who: str


class Closing(NamedTuple):
    """Whether a flask that is closed down may be opened, by what has been seen. Words where they are read, not here.

    `missing` is what stands in the way, empty when nothing does; `held` says what is still in the flask. Spans in s.
    """

    since_s: float
    safe: bool
    under_s: float  # for so long the air has been under the limit, without a break
    hold_s: float  # and so long is wanted
    seen: tuple[str, ...]
    missing: tuple[str, ...]
    held: str
    little: bool  # let go at once, it would raise no gas alarm in the bench's room
    held_g: float
    u_held_g: float
    begun_anew: str  # why the time was last begun anew, and when; empty if it was not


class Overview(NamedTuple):
    """The whole of the run at one moment, once a second, for those who only look."""

    t_s: float
    utc_s: float
    phase: Phase
    permit_on: bool
    permit_why: str
    sample_age_s: float | None
    plate: Reading
    gas: Reading
    account: Accounted | None
    forecast: Forecast | None
    exposure: Exposed
    alarms: tuple[StandingAlarm, ...]
    frames_accepted: int
    frames_rejected: int
    frames_lost: int
    restarts: int
    metering: Metering | None = None
    plate_minutes_to_limit: float | None = None  # at the present slope; None when it does not rise, or slowly
    checks: tuple[CheckLine, ...] = ()  # the check before the run; empty when none is wanted, or it is done
    leak: Leak | None = None
    closing: Closing | None = None  # in the phase closing down
    advice: tuple[str, ...] = ()  # what is seen that is no alarm, and what to do about it
    alarms_did: tuple[str, ...] = ()  # how the alarms did so far, beside the published figures


Event = (
    Taken
    | Sampled
    | Rejected
    | Noted
    | Accounted
    | Corrected
    | Exposed
    | AlarmChanged
    | PermitChanged
    | PhaseChanged
    | Answered
    | Send
    | Overview
)
