"""The lines between the monitor and its messenger: one JSON object a line, each way.

To the messenger: `{"scene": …, "start_utc_s": …}` each second, with the alarms that stand; `{"ended": TEXT}` once,
when a person ends the watching. Back: `{"alive": true}` every few seconds, `{"failing": BOOL, "text": TEXT}` when
that changes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from monitor.core.events import AlarmState, Overview, Priority
from monitor.messenger.letters import Standing

ALIVE_S = 5.0  # how often the messenger says that it is there


def scene_line(overview: Overview) -> bytes:
    """An overview as the messenger hears it."""
    alarms = [[a.tag, a.priority.value, a.state.value, a.since_s, a.detail] for a in overview.alarms]
    return _line({"scene": alarms, "start_utc_s": overview.utc_s - overview.t_s})


def ended_line(text: str) -> bytes:
    """That a person has ended the watching."""
    return _line({"ended": text})


def alive_line() -> bytes:
    """That the messenger is there."""
    return _line({"alive": True})


def failing_line(failing: bool, text: str) -> bytes:
    """Whether messages fail to go out, and what is so."""
    return _line({"failing": failing, "text": text})


def _line(said: Mapping[str, object]) -> bytes:
    return json.dumps(said, ensure_ascii=True).encode() + b"\n"


def parse(line: bytes) -> dict[str, Any]:
    """Read a line; one that was torn by a process that died is nothing."""
    try:
        got = json.loads(line)
    except ValueError:
        return {}
    return got if isinstance(got, dict) else {}


def standing(alarms: list[list[Any]]) -> tuple[Standing, ...]:
    """The alarms of a scene."""
    return tuple(
        Standing(tag, Priority(priority), AlarmState(state), since_s, detail)
        for tag, priority, state, since_s, detail in alarms
    )
