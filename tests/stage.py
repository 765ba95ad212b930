"""The stage on which the campaign plays: a monitor and a simulated bench joined, under one seed.

Promises that what the bench sends reaches the monitor each tenth of a second, that what the monitor sends reaches the
bench at once, and that the changes of alarms and permit are kept in their order. The monitor can hang: then it says
nothing, and what is sent to it waits. It is a module of its own so that a long campaign can have it compiled.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

from monitor.core.bench import Bench
from monitor.core.events import AlarmChanged, AlarmState, Answered, Event, Instant, PermitChanged, Send
from monitor.core.requests import make_request
from monitor.rig.bench import TICK_S, SimulatedBench
from monitor.rig.reality import Reality
from monitor.terms import BenchTerms, RunTerms
from tests.rig.terms import BENCH, drip_run

UTC_ZERO_S = 1.8e9  # 2027-01-15, 08:00
DAY_ZERO_S = UTC_ZERO_S - 8 * 3600.0
WAITING_MAX = 4096  # bytes that a line keeps for a reader that hangs, newer ones are lost (Linux, N_TTY_BUF_SIZE)
DAY = date(2027, 1, 15)
TERMS: BenchTerms = replace(
    BENCH,
    drops=replace(BENCH.drops, calibrated=DAY),
    thermocouple=replace(BENCH.thermocouple, calibrated=DAY),
    gas=replace(BENCH.gas, calibrated=DAY, bump_tested=DAY),
)
RUN = drip_run()


class Stage:
    """A monitor and a simulated bench joined, under one seed."""

    def __init__(
        self,
        seed: int,
        reality: Reality,
        run: RunTerms = RUN,
        zero_off_ppm: float = 0.0,
        terms: BenchTerms = TERMS,
        utc_zero_s: float = UTC_ZERO_S,
    ) -> None:
        gas = terms.gas
        zero_sum = gas.zero_sum + zero_off_ppm / gas.ppm_per_sum
        self._zero_off_ppm = zero_off_ppm  # of the true sensor, against its calibration
        self.sim = SimulatedBench(replace(terms, gas=replace(gas, zero_sum=zero_sum)), run, seed, reality=reality)
        self._utc_zero_s = utc_zero_s
        self.bench = Bench(terms, run, Instant(0.0, utc_zero_s))
        self._kept_alive_s = 0.0  # when the monitor last spoke for the permit
        self.let_go_after_s: float | None = None  # so long after that, the board took the permit of a host that hung
        self.changes: list[AlarmChanged | PermitChanged] = []

    @property
    def at(self) -> Instant:
        t_s = self.sim.time_s
        return Instant(t_s, self._utc_zero_s + t_s)

    @property
    def zero_ppm(self) -> float:
        """How far the gas sensor's zero is off its calibration."""
        gas = self.sim.plant.gas
        return self._zero_off_ppm + gas.drift_ppm + gas.extra_ppm

    def _hear(self, events: list[Event]) -> None:
        for e in events:
            if isinstance(e, Send):
                self.sim.write(e.data)
                if e.data.startswith(b"K,"):
                    self._kept_alive_s = self.sim.time_s
            elif isinstance(e, (AlarmChanged, PermitChanged)):
                self.changes.append(e)

    def run_to(self, until_s: float) -> None:
        """Let simulated time pass."""
        sim, bench = self.sim, self.bench
        while sim.time_s < until_s - 1e-9:
            data = sim.step(0.1)
            self._hear(bench.receive(data, self.at) if data else bench.tick(self.at))

    def hang(self, for_s: float) -> None:
        """Let simulated time pass while the monitor stands still; then it hears what has waited, and goes on."""
        sim, waiting, until_s = self.sim, b"", self.sim.time_s + for_s
        while sim.time_s < until_s - 1e-9:
            waiting += sim.step(TICK_S)
            if self.let_go_after_s is None and not sim.board.permit and sim.board.buzzer:
                self.let_go_after_s = sim.time_s - self._kept_alive_s
        self._hear(self.bench.receive(waiting[:WAITING_MAX], self.at))

    def ask(self, kind: str, name: str, value: str | bool) -> None:
        """Ask the monitor for something."""
        events = self.bench.command(make_request(kind, "Ada", {name: value}), self.at)
        self._hear(events)
        refused = [e.text for e in events if isinstance(e, Answered) and not e.accepted]
        if refused:
            raise RuntimeError(f"{kind} {value}: {refused[0]}")

    def begin(self, plate_c: float, per_min: float) -> None:
        """Permit on, plate to its setpoint, acid dripping from the half minute on, on the route that has a tap."""
        self.sim.do(f"plate {plate_c:.0f}")
        self.run_to(2.0)
        self.ask("permit", "on", True)
        self.run_to(30.0)
        if self.sim.plant.tap is None:
            return
        self.ask("phase", "phase", "generating")
        self.sim.do(f"tap {per_min:.0f}")

    def raised(self, since_s: float = 0.0) -> Iterator[AlarmChanged]:
        """The alarms raised since then."""
        for c in self.changes:
            if isinstance(c, AlarmChanged) and c.after is AlarmState.UNACKNOWLEDGED and c.t_s >= since_s:
                yield c
