"""The simulated bench: plant, board, faults and a timeline of actions behind one serial line.

Promises that the same settings, seed and timeline give the same bytes, however the time is cut, so long as the host's
bytes come at the same simulated times. Time is stepped from outside; nothing here reads a clock, and nothing here is
the code under test: settings come in as plain terms, the physics and the protocol are the rig's own.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from monitor.rig import wire
from monitor.rig.board import Board, Senses
from monitor.rig.faults import Faults
from monitor.rig.plant import Plant, Truth
from monitor.rig.plantactions import do_to_plant
from monitor.rig.reality import Reality
from monitor.rig.thermocouple import converter_word
from monitor.rig.timeline import Action, Scenario, parse_action, timed
from monitor.terms import BenchTerms, RunTerms

TICK_MS: Final = 25
TICK_S: Final = TICK_MS * 1e-3
TICKS_PER_SAMPLE: Final = wire.SAMPLE_MS // TICK_MS


class SimulatedBench:
    """One bench under one run. `write` is the host's end of the line, `step` returns what the board sent."""

    def __init__(
        self,
        bench: BenchTerms,
        run: RunTerms,
        seed: int = 0,
        scenario: Scenario | None = None,
        reality: Reality | None = None,
        boot: int = 1,
    ) -> None:
        self._reality = reality or Reality()
        plant_seed, fault_seed = np.random.SeedSequence(seed).spawn(2)
        self.plant = Plant(bench, run, self._reality, plant_seed)
        self.faults = Faults(np.random.default_rng(fault_seed))
        self.board = Board(boot, clock_ratio=self._reality.clock_ratio)
        self.plugged = True
        self.contact = False  # of the permit relay
        self._relay_due_ms: float | None = None
        self._script = timed(scenario or Scenario())
        self._next_step = next(self._script, None)
        self._ticks = 0
        self._target_s = 0.0
        self._senses = Senses(0, 0, 0)
        self._sense()
        self._sent = self._line(self.board.advance(0.0, self._senses))

    @property
    def time_s(self) -> float:
        """Simulated seconds since the bench was made."""
        return self._ticks * TICK_MS * 1e-3

    def truth(self) -> Truth:
        """What is really so now."""
        return self.plant.truth()

    def write(self, data: bytes) -> None:
        """The host's bytes reach the board now, if the cable is in."""
        if self.plugged:
            self.board.receive(self.faults.to_board(data))

    def step(self, dt_s: float) -> bytes:
        """Go on by `dt_s`, in whole ticks, what is left over kept for the next; return what reached the host."""
        self._target_s += dt_s
        last = int(self._target_s * 1e3 / TICK_MS + 1e-6)
        sent = [self._sent]
        self._sent = b""
        while self._ticks < last:
            self._ticks += 1
            sent.append(self._tick(self._ticks * TICK_MS))
        return b"".join(sent)

    def do(self, action: Action | str) -> None:
        """Do an action now; words are parsed first, and ValueError says what is wrong with them."""
        if isinstance(action, str):
            action = parse_action(action)
        if do_to_plant(self.plant, action):
            return
        match action.word:
            case "unplug" | "plug":
                self.plugged = action.word == "plug"
            case "fault":
                self.faults.start(action.fault, action.number, self.time_s)
            case "mend":
                self.faults.mend(action.fault)
            case _:
                self._do_to_board(action.word, int(action.number or 0.0))

    def _do_to_board(self, word: str, number: int) -> None:
        now_ms = self._ticks * TICK_MS
        match word:
            case "power-off":
                self.board.power_off()
            case "power-on":
                self.board.restart(now_ms, wire.POWER_ON)
            case "reset" if self.board.powered:
                self.board.restart(now_ms)
            case "hang":
                self.board.hang(now_ms)
            case "swap":
                self.board = Board(number, at_ms=now_ms, clock_ratio=self._reality.clock_ratio)

    def _tick(self, now_ms: int) -> bytes:
        while self._next_step is not None and self._next_step[0] * 1e3 <= now_ms:
            self.do(self._next_step[1])
            self._next_step = next(self._script, None)
        faults, senses, board = self.faults.standing, self._senses, self.board
        if faults or board.permit != self.contact or self._relay_due_ms is not None:
            self._throw_relay(now_ms)
        contact = self.contact
        drip = contact or "valve-leaks" in faults or not self._reality.permit_cuts_drip
        edges_s = self.plant.step(TICK_S, heat=contact, drip=drip)
        if edges_s:
            senses.edges_ms = self.faults.edges([edge_s * 1e3 for edge_s in edges_s], board.dead_ms)
        if self._ticks % TICKS_PER_SAMPLE == 0:
            self._sense()
        senses.contact = contact
        senses.gate_dark = "gate-blocked" in faults
        sent = board.advance(now_ms, senses)
        if edges_s:
            senses.edges_ms = ()
        return self._line(sent) if sent else b""

    def _throw_relay(self, now_ms: int) -> None:
        faults = self.faults.standing
        wanted = ("relay-welded" in faults) or (self.board.permit and "relay-stuck" not in faults)
        if wanted == self.contact:
            self._relay_due_ms = None
        elif self._relay_due_ms is None:
            self._relay_due_ms = now_ms + self._reality.relay_s * 1e3
        elif now_ms >= self._relay_due_ms:
            self.contact = wanted
            self._relay_due_ms = None

    def _sense(self) -> None:
        plant, faults = self.plant, self.faults
        plant.plate.off_plate = "tc-off-plate" in faults
        plant.gas.quiet = faults.standing.get("gas-quiet", 1.0)
        plant.gas.extra_ppm = faults.zero_shift_ppm(self.time_s)
        self._senses.tc_word = faults.converter(converter_word(*plant.plate.reading_c()))
        self._senses.gas_sum, self._senses.gas_span = faults.gas(*plant.gas.sample())

    def _line(self, sent: bytes) -> bytes:
        return self.faults.to_host(sent) if self.plugged else b""
