"""The simulated plant wired to the real firmware: what the sensors feel goes in, what the permit pin does comes back.

Promise: the same plant and the same actions as `BenchServer`, with the image of `firmware_notes/board` in the place
of the board in Python. Paced by the wall clock; a POSIX system with the AVR tools.
"""

from __future__ import annotations

import threading
import time
from typing import Final, Self

import numpy as np

from monitor.rig.firmware import Firmware
from monitor.rig.plant import Plant
from monitor.rig.plantactions import do_to_plant
from monitor.rig.reality import Reality
from monitor.rig.thermocouple import converter_word
from monitor.rig.timeline import Action, Scenario, timed
from monitor.terms import BenchTerms, RunTerms

STEP_S: Final = 0.05  # simulated
SENSES_EVERY: Final = 2  # steps: ten a second, as often as the board looks
MAX_BEHIND_S: Final = 1.0  # wall seconds; what a sleeping host missed is not made up in a burst
GARBLED_BYTES: Final = 3  # at a time, while the line is noisy


class FirmwareBench:
    """Runs a plant against the firmware in a thread. A context manager."""

    def __init__(
        self, bench: BenchTerms, run: RunTerms, seed: int, scenario: Scenario, speed: float, board: Firmware
    ) -> None:
        self._plant = Plant(bench, run, Reality(), np.random.SeedSequence(seed))
        self._script = timed(scenario)
        self._next_step = next(self._script, None)
        self._speed, self._board = speed, board
        self._noisy = False
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="plant", daemon=True)
        self._failure: BaseException | None = None

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stopping.set()
        self._thread.join()
        if self._failure is not None:
            raise self._failure

    def _run(self) -> None:
        try:
            self._pace()
        except BaseException as failure:  # noqa: BLE001 - handed to whoever ends the bench
            self._failure = failure

    def _pace(self) -> None:
        last_s, owed_s, count = time.monotonic(), 0.0, 0
        while not self._stopping.wait(STEP_S / self._speed):
            now_s = time.monotonic()
            owed_s += min(now_s - last_s, MAX_BEHIND_S) * self._speed
            last_s = now_s
            while owed_s >= STEP_S:
                owed_s -= STEP_S
                count += 1
                self._step(count)

    def _step(self, count: int) -> None:
        plant, board = self._plant, self._board
        while self._next_step is not None and self._next_step[0] <= plant.time_s:
            self.do(self._next_step[1])
            self._next_step = next(self._script, None)
        on = board.permit_pin()
        for _ in plant.step(STEP_S, heat=on, drip=on):
            board.drop()
        if count % SENSES_EVERY == 0:
            gas_sum, _ = plant.gas.sample()
            board.gas_sum(gas_sum)
            board.tc_word(converter_word(*plant.plate.reading_c()))
            if self._noisy and count % 20 == 0:
                board.garble(GARBLED_BYTES)

    def do(self, action: Action) -> None:
        """Do an action now: to the plant, or noise on the line. ValueError says that there is nothing for it here."""
        if do_to_plant(self._plant, action):
            return
        if action.fault != "line-noise":
            raise ValueError(f"found the action {action.word!r}; the bench with the firmware has nothing for it")
        self._noisy = action.word == "fault"
