"""Actions on a simulated bench, as words that a person can type, and timelines of them.

An action is a word with at most two more: `tap 60`, `fault tc-open`. A timeline is lines `SECONDS ACTION`, seconds
of simulated time ascending; what stands after `#` is a comment. A bad one is refused with one sentence.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count
from typing import Final

from monitor.rig.faults import FAULTS


@dataclass(frozen=True, slots=True)
class ActionKind:
    """What an action does; what its number is ("" where it takes none), and the one taken where none is given."""

    does: str
    unit: str = ""
    default: float | None = None
    needs_number: bool = False
    needs_fault: bool = False


def _with(unit: str, does: str) -> ActionKind:
    return ActionKind(does, unit, needs_number=True)


ACTIONS: Final[dict[str, ActionKind]] = {
    "tap": _with("drops a minute", "set the tap; 0 shuts it"),
    "leak": _with("mg SO2 a minute", "let so much into the room, whatever is made; 0 ends it"),
    "leak-share": _with("% of what leaves the flask", "leak a share into the room; 0 ends it"),
    "sweep": _with("L of air a minute", "lead so much air through the flask; 0 ends it"),
    "plate": _with("°C", "set the hotplate's controller; 0 switches it off"),
    "cap": _with("ppm", "put the calibration cap on the gas sensor, with so much SO2 in its gas; 0 is clean air"),
    "cap-off": ActionKind("take the cap off: the sensor is in the room's air again"),
    "dip": _with("°C", "put the thermocouple's junction into a bath"),
    "dip-out": ActionKind("put the junction back onto the plate"),
    "light": ActionKind("light the burner"),
    "put-out": ActionKind("put the burner out"),
    "unplug": ActionKind("take the cable out; the board runs on"),
    "plug": ActionKind("put the cable back"),
    "power-off": ActionKind("take the board's supply away"),
    "power-on": ActionKind("give it back: a new start"),
    "reset": ActionKind("restart the board from outside"),
    "hang": ActionKind("stop the board's loop until its watchdog bites"),
    "swap": ActionKind("put another board in its place", "its boot number", default=300.0),
    "fault": ActionKind("switch a fault on", "its amount", needs_fault=True),
    "mend": ActionKind("switch a fault off", needs_fault=True),
}


@dataclass(frozen=True, slots=True)
class Action:
    """One action: its word, the fault's name where it has one, and its number where it takes one."""

    word: str
    fault: str = ""
    number: float | None = None


@dataclass(frozen=True, slots=True)
class Scenario:
    """Timed actions, seconds ascending. With `repeat_s`, the actions after `repeat_from_s` come again each period."""

    steps: tuple[tuple[float, Action], ...] = ()
    repeat_from_s: float = 0.0
    repeat_s: float = 0.0


def parse_action(text: str) -> Action:
    """An action from its words; ValueError with one sentence if it is none."""
    words = text.split()
    if not words or words[0] not in ACTIONS:
        raise ValueError(f"found the action {text.strip()!r}; wanted one of {', '.join(ACTIONS)}")
    word, *rest = words
    kind = ACTIONS[word]
    fault = ""
    if kind.needs_fault:
        if not rest or rest[0] not in FAULTS:
            raise ValueError(f"found {text.strip()!r}; wanted {word!r} and one of {', '.join(FAULTS)}")
        fault, *rest = rest
    if not rest and not kind.needs_number:
        return Action(word, fault, kind.default)
    if not kind.unit:
        raise ValueError(f"found {text.strip()!r}; wanted nothing after {' '.join((word, fault)).strip()!r}")
    try:
        (number,) = (float(one) for one in rest)
    except ValueError:
        raise ValueError(f"found {text.strip()!r}; wanted {word!r} and one number, {kind.unit}") from None
    return Action(word, fault, number)


def parse_timeline(text: str, repeat_from_s: float = 0.0, repeat_s: float = 0.0) -> Scenario:
    """A scenario from lines `SECONDS ACTION`; ValueError naming the line if one is not."""
    steps: list[tuple[float, Action]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        words = line.partition("#")[0].split(maxsplit=1)
        if not words:
            continue
        try:
            at_s = float(words[0])
            action = parse_action(words[1] if len(words) > 1 else "")
        except ValueError as error:
            raise ValueError(f"line {number} of the timeline: {error}") from None
        if steps and at_s < steps[-1][0]:
            raise ValueError(f"line {number} of the timeline: found {at_s:g} s after {steps[-1][0]:g} s")
        steps.append((at_s, action))
    return Scenario(tuple(steps), repeat_from_s, repeat_s)


def timed(scenario: Scenario) -> Iterator[tuple[float, Action]]:
    """The scenario's actions with their seconds, in order, its repeated part for ever."""
    yield from scenario.steps
    repeated = [step for step in scenario.steps if step[0] >= scenario.repeat_from_s]
    if scenario.repeat_s > 0.0:
        for round_number in count(1):
            for at_s, action in repeated:
                yield at_s + round_number * scenario.repeat_s, action
