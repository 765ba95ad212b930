"""A teaching room that is not there: invented benches that say over MQTT what real ones say, each second.

For the demonstration of many benches, and for measuring. The shapes are those of a real bench, since the same code
words them; the course of things is invented and returns after ten minutes.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from monitor.core.catalogue import CATALOGUE
from monitor.core.events import (
    Accounted,
    AlarmChanged,
    AlarmState,
    Exposed,
    Forecast,
    Overview,
    Phase,
    Reading,
    StandingAlarm,
)
from monitor.edges.mqtt_payloads import Message, Voice

ROUND_S = 600  # after which the course of things begins again
RENEW_S = 10  # for "watched" and "standing", as a real bench does
NEED_MOL = 0.334
_S = AlarmState

# What happens where in the round: bench, alarm, from and to which second, when it is acknowledged (0: never).
_STORY: tuple[tuple[int, str, int, int, int, str], ...] = (
    (4, "GAS-HIGH", 20, 150, 60, "2.6 ppm"),
    (7, "DRIP-FAST", 0, 240, 0, "96 drops a minute"),
    (11, "PLATE-HIGH", 90, 300, 130, "325 °C"),
    (13, "CALIBRATION-OVERDUE", 0, ROUND_S, 5, "gas sensor: 97 days"),
    (18, "ENOUGH-DELIVERED", 200, 420, 260, "0.334 mol of 0.334 mol"),
    (22, "SUCK-BACK", 300, 330, 0, "the flask is cooling"),
    (4, "GAS-STEL", 120, 400, 160, "0.31 ppm over 15 minutes"),
    (26, "DRIP-STALLED", 60, 500, 0, "no drop for 64 s"),
)
LOST, LOST_AT_S, BACK_AT_S = 9, 45, 420  # a bench whose monitor dies, and is started again
HUNG, HUNG_AT_S, AWAKE_AT_S = 16, 180, 260  # one that falls silent without a last will
ENDED = (28, 29, 30)  # benches that ended in good order
_CAUSES = {
    _S.UNACKNOWLEDGED: "condition true",
    _S.ACKNOWLEDGED: "acknowledged",
    _S.NORMAL: "condition false",
}
_PHASES = (Phase.GETTING_READY, Phase.GENERATING, Phase.GENERATING, Phase.GENERATING, Phase.RUNNING_OUT)


class InventedBench:
    """Bench `number` of the room, from 1. Give it each second once, from 0 on."""

    def __init__(self, number: int, start_utc_s: float) -> None:
        self.name = f"hood-{number}"
        self._number, self._start_utc_s = number, start_utc_s
        self._session = 0
        self._begin(0)

    def _begin(self, second: int) -> None:
        self._session += 1
        self._voice = Voice(self.name, f"{self._session:04x}{self._number:04x}", "acid-drip")
        self._seq = self._states = 0
        self._standing: dict[str, StandingAlarm] = {}
        self._begun_s = second

    def says(self, second: int) -> Iterator[Message]:
        """What it says in that second."""
        place, n = second % ROUND_S, self._number
        if n in ENDED:
            if second == 0:
                yield self._voice.ended(None)
            return
        if n == LOST and LOST_AT_S <= place < BACK_AT_S:
            if place == LOST_AT_S:
                yield self._voice.lost()
            return
        if n == HUNG and HUNG_AT_S <= place < AWAKE_AT_S:
            return
        if n == LOST and place == BACK_AT_S:
            self._begin(second)
        changes, seen = self.events(second)
        for change in changes:
            self._seq += 1
            yield self._voice.alarm(change, self._seq)
        self._states += 1
        due = (second + n) % RENEW_S == 0 or self._states == 1
        if due:
            yield self._voice.watched(seen)
        if due or changes:
            yield self._voice.standing(seen, self._seq)
        yield self._voice.state(seen, self._states, 0)

    def events(self, second: int) -> tuple[list[AlarmChanged], Overview]:
        """What happens at it in that second, and how it stands then."""
        return list(self._happens(second, second % ROUND_S)), self._overview(second)

    def _happens(self, second: int, place: int) -> Iterator[AlarmChanged]:
        for number, tag, from_s, to_s, ack_s, detail in _STORY:
            if (self._number - 1) % 30 + 1 != number:
                continue
            if not from_s <= place < to_s:
                after = _S.NORMAL
            else:
                after = _S.ACKNOWLEDGED if ack_s and place >= ack_s else _S.UNACKNOWLEDGED
            old = self._standing.get(tag)
            before = old.state if old is not None else _S.NORMAL
            if after is before:
                continue
            t_s, priority = float(second - self._begun_s), CATALOGUE[tag].priority
            if after is _S.NORMAL:
                del self._standing[tag]
            else:
                since_s = old.since_s if old is not None else t_s
                self._standing[tag] = StandingAlarm(tag, priority, after, since_s, detail)
            cause = _CAUSES[after]
            who = "Ada (invented)" if after is _S.ACKNOWLEDGED else ""
            yield AlarmChanged(t_s, self._start_utc_s + second, tag, priority, before, after, cause, who, detail)

    def _overview(self, second: int) -> Overview:
        n, t_s = self._number, float(second - self._begun_s)
        phase = _PHASES[n % len(_PHASES)]
        making = phase is Phase.GENERATING
        part = min(1.1, (t_s + 37.0 * n) % 3600.0 / 2400.0) if making else (1.0 if n % len(_PHASES) == 4 else 0.0)
        over = NEED_MOL * part
        gas = 2.6 if "GAS-HIGH" in self._standing else 0.03 + 0.02 * math.sin(0.1 * t_s + n)
        plate = 325.0 if "PLATE-HIGH" in self._standing else 58.0 + n % 7 + 0.5 * math.sin(0.05 * t_s + n)
        drip = 58.0 if making and "DRIP-STALLED" not in self._standing else 0.0
        drip = 96.0 if "DRIP-FAST" in self._standing else drip
        unknown = Reading(None, why="no change at all: frozen")
        return Overview(
            t_s=t_s,
            utc_s=self._start_utc_s + second + (n % 5 - 2) * 0.4,  # no two clocks are alike
            phase=phase,
            permit_on=making,
            permit_why="asked for by Ada (invented)" if making else "not asked for",
            sample_age_s=0.06,
            plate=Reading(plate, 0.9),
            gas=unknown if n % 30 == 24 else Reading(gas, 0.05),
            account=Accounted(t_s, int(1800 * part), 69.0 * part, 1.2 * over, 0.2 * over, over, 0.0, *(0.004,) * 4),
            forecast=Forecast(drip, 1e-4 * drip, 0.74, 0.74 - over, NEED_MOL, None, None, 110.0 - 69.0 * part),
            exposure=Exposed(t_s, 0.04, 0.06, 4.0, 0.01, 4.0),
            alarms=tuple(sorted(self._standing.values(), key=lambda a: list(CATALOGUE).index(a.tag))),
            frames_accepted=10 * int(t_s),
            frames_rejected=0,
            frames_lost=0,
            restarts=0,
        )


def invented_room(count: int, start_utc_s: float) -> list[InventedBench]:
    """So many invented benches."""
    return [InventedBench(number, start_utc_s) for number in range(1, count + 1)]
