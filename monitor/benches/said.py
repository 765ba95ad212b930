"""Topic and payload to what a bench said, or to the reason why it is none of a bench's words.

Promise: whatever bytes come, the answer is a value of the shapes in `edges/mqtt.schema.json` or `NotOursError` with a
cause; nothing is guessed, every number is finite, every text is short and printable. Keys that are not known are left
alone, since a newer so2bench may add some.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import NamedTuple, cast, get_args

from monitor.benches.keys import PAYLOAD_MAX, Cause, Keys, NotOursError
from monitor.core.events import Accounted, AlarmState, Exposed, Forecast, Phase, Priority, Reading
from monitor.terms import Meter, Route

ROOT = "so2bench"
VERSION = 1
ALARMS_MAX = 100  # standing at one bench; the catalogue has half as many
_NAME = re.compile(r"[A-Za-z0-9-]{1,40}")  # as `name` in bench.toml
_SESSION = re.compile(r"[0-9a-f]{8}")


class Watched(NamedTuple):
    """Whether the bench is watched."""

    session: str
    watched: bool
    why: str  # watching, ended, stalled, lost
    heard_utc_s: float | None


class Metered(NamedTuple):
    """By what the bench's account is kept."""

    route: Route
    meter: Meter
    weighings: int


class LeakSaid(NamedTuple):
    """What the bench says of a leak that it hears; what it does not know yet is None."""

    since_s: float
    ppm_over: float | None
    mg_per_min: float | None
    u_mg_per_min: float | None


class State(NamedTuple):
    """The run at one moment, by the bench's own clocks."""

    session: str
    number: int
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
    frames_accepted: int
    frames_rejected: int
    frames_lost: int
    restarts: int
    metered: Metered | None = None  # these two are not sent by every monitor
    leak: LeakSaid | None = None


class Alarm(NamedTuple):
    """An alarm that is not normal. `since_s` is in the bench's run seconds."""

    tag: str
    priority: Priority
    state: AlarmState
    since_s: float
    detail: str
    title: str


class Standing(NamedTuple):
    """All the alarms of a bench that are not normal, as of its run second `t_s`."""

    session: str
    seq: int
    t_s: float
    utc_s: float
    alarms: tuple[Alarm, ...]


class Changed(NamedTuple):
    """One change of one alarm, with the bench's own words on what to do."""

    session: str
    seq: int
    t_s: float
    utc_s: float
    tag: str
    priority: Priority
    before: AlarmState
    after: AlarmState
    cause: str
    who: str
    detail: str
    title: str
    response: str
    time_to_respond: str


Word = Watched | State | Standing | Changed


def understood(topic: str, payload: bytes) -> tuple[str, Word]:
    """The bench and what it said.

    Raises:
        NotOursError: it is none of a bench's words.
    """
    bench, name = bench_and_name(topic)
    return bench, word_of(bench, name, payload)


def bench_and_name(topic: str) -> tuple[str, str]:
    """The bench and the last part of a topic.

    Raises:
        NotOursError: it is not `so2bench/<bench>/<name>` with a name that is read here.
    """
    parts = topic.split("/")
    if len(parts) != 3 or parts[0] != ROOT or parts[2] not in _WORDS:
        raise NotOursError(Cause.TOPIC)
    if _NAME.fullmatch(parts[1]) is None:
        raise NotOursError(Cause.NAME)
    return parts[1], parts[2]


def word_of(bench: str, name: str, payload: bytes) -> Word:
    """What a payload on the topic `name` of a bench says.

    Raises:
        NotOursError: it is none of a bench's words.
    """
    if len(payload) > PAYLOAD_MAX:
        raise NotOursError(Cause.LARGE)
    try:
        got = json.loads(payload.decode("utf-8"), parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise NotOursError(Cause.JSON) from None
    if not isinstance(got, dict):
        raise NotOursError(Cause.JSON)
    if got.get("v") != VERSION or isinstance(got["v"], bool):
        raise NotOursError(Cause.VERSION)
    keys = Keys(got)
    if keys.text("bench") != bench:
        raise NotOursError(Cause.OTHER_BENCH)
    if _SESSION.fullmatch(keys.text("session")) is None:
        raise NotOursError(Cause.SHAPE)
    return _WORDS[name](keys)


def _no_constant(_: str) -> float:
    raise ValueError  # NaN and Infinity are not JSON


def _watched(k: Keys) -> Watched:
    heard_utc_s = None if k.raw("heard_utc_s") is None else k.utc_s("heard_utc_s")
    got = Watched(k.text("session"), k.flag("watched"), k.text("why"), heard_utc_s)
    if got.why not in (("watching",) if got.watched else ("ended", "stalled", "lost")):
        raise NotOursError(Cause.SHAPE)
    return got


def _state(k: Keys) -> State:
    return State(
        session=k.text("session"),
        number=k.whole("number"),
        t_s=k.number("t_s"),
        utc_s=k.utc_s("utc_s"),
        phase=k.choice("phase", Phase),
        permit_on=k.flag("permit_on"),
        permit_why=k.text("permit_why"),
        sample_age_s=k.number_or_none("sample_age_s"),
        plate=k.reading("plate_c"),
        gas=k.reading("gas_ppm"),
        account=None if k.raw("account") is None else _account(k.part("account")),
        forecast=None if k.raw("forecast") is None else _forecast(k.part("forecast")),
        exposure=_exposure(k.part("exposure")),
        frames_accepted=k.whole("frames_accepted"),
        frames_rejected=k.whole("frames_rejected"),
        frames_lost=k.whole("frames_lost"),
        restarts=k.whole("restarts"),
        metered=_metered(k.part("metering")) if k.has("metering") else None,
        leak=_leak(k.part("leak")) if k.has("leak") else None,
    )


def _metered(k: Keys) -> Metered:
    route, meter = k.text("route"), k.text("meter")
    if route not in get_args(Route) or meter not in get_args(Meter):
        raise NotOursError(Cause.SHAPE)
    return Metered(cast(Route, route), cast(Meter, meter), k.whole("weighings"))


def _leak(k: Keys) -> LeakSaid:
    sizes = (k.number_or_none(name) for name in LeakSaid._fields[1:])
    return LeakSaid(k.number("since_s"), *sizes)


def _account(k: Keys) -> Accounted:
    rest = (k.number(name) for name in Accounted._fields[2:])
    return Accounted(k.number("t_s"), k.whole("drops"), *rest)


def _forecast(k: Keys) -> Forecast:
    return Forecast(
        drip_per_min=k.number("drip_per_min"),
        delivery_mol_per_min=k.number("delivery_mol_per_min"),
        final_delivered_mol=k.number("final_delivered_mol"),
        still_to_come_mol=k.number("still_to_come_mol"),
        need_mol=k.number_or_none("need_mol"),
        drops_to_need=k.whole_or_none("drops_to_need"),
        minutes_to_need=k.number_or_none("minutes_to_need"),
        acid_left_ml=k.number("acid_left_ml"),
    )


def _exposure(k: Keys) -> Exposed:
    return Exposed(*(k.number(name) for name in Exposed._fields))


def _standing(k: Keys) -> Standing:
    listed = k.raw("alarms")
    if not isinstance(listed, list) or len(listed) > ALARMS_MAX:
        raise NotOursError(Cause.SHAPE)
    alarms = tuple(_alarm(Keys(one)) for one in listed)
    return Standing(k.text("session"), k.whole("seq"), k.number("t_s"), k.utc_s("utc_s"), alarms)


def _alarm(k: Keys) -> Alarm:
    return Alarm(
        tag=k.text("tag"),
        priority=k.choice("priority", Priority),
        state=k.choice("state", AlarmState),
        since_s=k.number("since_s"),
        detail=k.text("detail"),
        title=k.text("title"),
    )


def _changed(k: Keys) -> Changed:
    return Changed(
        session=k.text("session"),
        seq=k.whole("seq"),
        t_s=k.number("t_s"),
        utc_s=k.utc_s("utc_s"),
        tag=k.text("tag"),
        priority=k.choice("priority", Priority),
        before=k.choice("before", AlarmState),
        after=k.choice("after", AlarmState),
        cause=k.text("cause"),
        who=k.text("who"),
        detail=k.text("detail"),
        title=k.text("title"),
        response=k.text("response"),
        time_to_respond=k.text("time_to_respond"),
    )


_WORDS: dict[str, Callable[[Keys], Word]] = {
    "watched": _watched,
    "state": _state,
    "standing": _standing,
    "alarm": _changed,
}
