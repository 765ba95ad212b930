"""The check before a run: what the tool sees by itself, what only the person can see, and what is still missing.

Promise: every item is passed, failed or waived with a reason, or is missing; the tool's own are judged at the
moment they are asked about, never remembered. It stops nothing by itself: the bench asks it before it first gives the
permit.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import NamedTuple

from monitor.chemistry.planning import plan, scrubber_capacity_mol
from monitor.core.events import CheckLine, Reading, Sampled
from monitor.core.frames import IO_CONTACT, IO_GATE_DARK, IO_PERMIT, PROTOCOL
from monitor.core.upkeep import Scrubber, overdue
from monitor.terms import BenchTerms, DripTerms, RunTerms

PASSED, FAILED, WAIVED = "passed", "failed", "waived"
ROOM_C = (5.0, 40.0)  # where people work; common practice, no source
PLATE_APART_C = 10.0  # a cold plate and the board stand in the same room; common practice, no source
GAS_NEAR_ZERO_PPM = 0.5  # Directive (EU) 2017/164, 8 h: more than that before there is gas is drift, or gas
GAS_SAMPLES = 20  # 2 s, heard before their mean is judged
GAS_SHARE = 0.1  # of a sample in the running mean: about 1 s
FIRST_DAY = date(2026, 1, 1)  # this tool is younger than that

ITEMS: tuple[tuple[str, str, bool], ...] = (  # name, what is to be so, whether only a person can see it
    ("board", "the board answers and speaks this protocol", False),
    ("plate", "the plate reads room temperature", False),
    ("gas", "the gas sensor is alive and near zero", False),
    ("gate", "the drop gate's beam is clear", False),
    ("relay", "the permit relay is open while the permit is off", False),
    ("disk", "there is room for the record", False),
    ("clock", "the clock is right", False),
    ("calibrations", "calibrations and bump test are in date", False),
    ("scrubber", "the scrubber takes all that can come", False),
    ("hood", "the hood is on and draws: a strip of paper is pulled in", True),
    ("tube", "the tube is clear, and its end is not in the liquid yet", True),
    ("protection", "goggles, gloves and apron are on", True),
    ("someone", "somebody knows of this run and what to do", True),
)
_BY_PERSON = {name: by_person for name, _, by_person in ITEMS}


class NoSuchMarkError(ValueError):
    """A mark that cannot be made; the message says why."""


class Seen(NamedTuple):
    """What the bench knows at the moment of asking."""

    utc_s: float
    silent: bool
    protocol: int | None
    sample: Sampled | None
    most_mol: float  # what goes over by the end at most, as the account foretells it


class _Mark(NamedTuple):
    outcome: str
    reason: str
    who: str


class ReadyList:
    """The check before one run."""

    def __init__(self, bench: BenchTerms, run: RunTerms) -> None:
        self._bench, self._run = bench, run
        self._marks: dict[str, _Mark] = {}
        self._told: dict[str, tuple[bool, str]] = {}
        self._gas_ppm, self._gas_heard = 0.0, 0
        # On the drip route the account's forecast says it, and a plan would hold the bench up for a second.
        self._most_mol = None if isinstance(run.charge, DripTerms) else plan(run, bench).most_so2_mol

    def hear(self, gas: Reading) -> None:
        """Take a sample's gas reading into the running mean; one that is not to be believed begins it anew."""
        if gas.value is None:
            self._gas_heard = 0
            return
        share = GAS_SHARE if self._gas_heard else 1.0
        self._gas_ppm += share * (gas.value - self._gas_ppm)
        self._gas_heard += 1

    def tell(self, item: str, ok: bool, text: str) -> None:
        """Take what the shell alone can see (the disk)."""
        self._told[item] = (ok, text)

    def mark(self, item: str, outcome: str, reason: str, who: str) -> str:
        """A person passes, fails or waives an item; gives it in words.

        Raises:
            NoSuchMarkError: unknown, not a person's to pass, or waived without a reason.
        """
        if item not in _BY_PERSON:
            raise NoSuchMarkError(f"item '{item[:40]}' is not known; known are {', '.join(_BY_PERSON)}")
        if outcome not in (PASSED, FAILED, WAIVED):
            raise NoSuchMarkError(f"outcome '{outcome[:40]}' is not known; known are {PASSED}, {FAILED}, {WAIVED}")
        if outcome == WAIVED and not reason.strip():
            raise NoSuchMarkError(f"{item} can be waived only with a reason")
        if not _BY_PERSON[item] and outcome != WAIVED:
            raise NoSuchMarkError(
                f"{item} is judged by the tool itself: it can be waived with a reason, not {outcome}"
            )
        self._marks[item] = _Mark(outcome, reason.strip(), who)
        return f"{item} {outcome}" + (f": {reason.strip()}" if reason.strip() else "")

    def lines(self, seen: Seen) -> tuple[CheckLine, ...]:
        """The whole list as it stands now."""
        out = []
        for name, words, by_person in ITEMS:
            mark = self._marks.get(name)
            if mark is None:
                outcome, reason = ("", "") if by_person else self._judge(name, seen)
                mark = _Mark(outcome, reason, "")
            out.append(CheckLine(name, words, by_person, *mark))
        return tuple(out)

    def missing(self, seen: Seen) -> list[str]:
        """What is neither passed nor waived, each with what was found."""
        return [
            f"{line.item} ({line.reason or line.outcome or 'not looked at'})"
            for line in self.lines(seen)
            if line.outcome not in (PASSED, WAIVED)
        ]

    def _judge(self, name: str, seen: Seen) -> tuple[str, str]:
        if name in self._told:
            ok, text = self._told[name]
            return (PASSED if ok else FAILED), text
        if name == "clock":
            return _clock(self._bench, seen.utc_s)
        if name == "calibrations":
            late = overdue(self._bench, self._run, seen.utc_s)
            return (PASSED, "all in date") if late is None else (FAILED, late)
        if name == "scrubber":
            return _scrubber(self._run, seen.most_mol if self._most_mol is None else self._most_mol)
        if name == "board":
            return _board(seen)
        if name == "disk" or seen.sample is None or seen.silent:
            return "", "not known yet"
        if name == "plate":
            return _plate(seen.sample)
        if name == "gas":
            return self._gas(seen.sample)
        if name == "gate":
            dark = seen.sample.io & IO_GATE_DARK
            return (FAILED, "the beam is dark: something is in the gate") if dark else (PASSED, "the beam is clear")
        closed = seen.sample.io & IO_CONTACT and not seen.sample.io & IO_PERMIT
        if closed:
            return FAILED, "its contact is closed though the permit is off: welded, or wired wrongly"
        return PASSED, "open; that it closes shows when the permit is first given"

    def _gas(self, sample: Sampled) -> tuple[str, str]:
        if sample.gas.value is None:
            return FAILED, str(sample.gas.why)
        if self._gas_heard < GAS_SAMPLES:
            return "", "listening"
        words = f"{self._gas_ppm:.2f} ppm"
        if abs(self._gas_ppm) <= GAS_NEAR_ZERO_PPM:
            return PASSED, words
        return FAILED, f"{words}, wanted within {GAS_NEAR_ZERO_PPM:g} ppm of zero: gas in the air, or the zero is off"


def _board(seen: Seen) -> tuple[str, str]:
    if seen.sample is None or seen.silent:
        return FAILED, "nothing is heard from it"
    if seen.protocol is None:
        return "", "it has not said yet what it is"
    if seen.protocol != PROTOCOL:
        return FAILED, f"it speaks protocol {seen.protocol}, wanted is {PROTOCOL}"
    return PASSED, f"protocol {seen.protocol}"


def _plate(sample: Sampled) -> tuple[str, str]:
    plate_c, cold_c = sample.plate.value, sample.cold_c
    if plate_c is None or cold_c is None:
        return FAILED, str(sample.plate.why or "no reading")
    low_c, high_c = ROOM_C
    words = f"{plate_c:.1f} °C, the board {cold_c:.1f} °C"
    if low_c <= plate_c <= high_c and abs(plate_c - cold_c) <= PLATE_APART_C:
        return PASSED, words
    return FAILED, f"{words}: still warm, or the thermocouple is not right"


def _clock(bench: BenchTerms, utc_s: float) -> tuple[str, str]:
    today = datetime.fromtimestamp(utc_s, UTC).date()
    known = (
        bench.drops.calibrated,
        bench.thermocouple.calibrated,
        bench.gas.calibrated,
        bench.gas.bump_tested,
    )
    newest = max((day for day in known if day is not None), default=FIRST_DAY)
    if today < max(newest, FIRST_DAY):
        return FAILED, f"it says {today}, and bench.toml knows of {max(newest, FIRST_DAY)}"
    return PASSED, f"{today} UTC"


def _scrubber(run: RunTerms, most_mol: float) -> tuple[str, str]:
    if run.scrubber is None:
        return FAILED, "run.toml names none"
    wrong = Scrubber(run).words(0.0, most_mol)
    if wrong is not None:
        return FAILED, wrong
    return PASSED, f"{most_mol:.2f} mol could come, it takes {scrubber_capacity_mol(run.scrubber):.2f} mol"
