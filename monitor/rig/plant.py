"""The plant: generator, tap, hotplate, room and sensors of one bench, stepped together.

Promises that a run repeats exactly under its seed, and that the truth (what was really made, held, delivered, leaked)
can be asked at any moment. It does not know the board or the line, and it reads no clock.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from monitor.rig.flask import DripFlask
from monitor.rig.headspace import R_J_PER_MOL_K, Headspace
from monitor.rig.hotplate import Hotplate
from monitor.rig.liquor import water_vapour_pa
from monitor.rig.other_routes import Burner, HotAcid
from monitor.rig.reality import Normals, Reality
from monitor.rig.room import SO2_G_PER_MOL, GasSensor, Room
from monitor.rig.tap import Tap
from monitor.terms import AcidOnSulfurTerms, BenchTerms, BurnerTerms, DripTerms, RunTerms

ZERO_C_K: Final = 273.15
FLAME_W: Final = 300.0  # of burning sulfur into what the thermocouple stands on, invented
ATMOSPHERE_PA: Final = 101325.0
# By so much is a mole of SO2 smaller than an ideal gas's at 1 atm: 21.879 L at 0 °C, 24.052 L at 25 °C, of 22.414 and
# 24.465 [CoolProp 8.0.0, run once].
SMALLER_AT_0_C: Final = 0.02387
SMALLER_PER_C: Final = -2.79e-4
# All but the tap goes on in steps no shorter than this, and a dripped-in flask, whose gas no byte tells of, in longer
# ones: what is faster there, the tube's 0.2 s, is stepped by its exact solution, and the liquor's lag is 5 s. Bubbles
# are made by that flow and dated within the caller's own step.
PHYSICS_S: Final = 0.1
FLASK_S: Final = 0.5


class Source(Protocol):
    """What makes the gas. Amounts in mol."""

    head: Headspace
    charged_mol: float

    @property
    def held_mol(self) -> float: ...  # noqa: D102
    @property
    def locked_mol(self) -> float: ...  # noqa: D102
    @property
    def generated_mol(self) -> float: ...  # noqa: D102
    def step(self, dt_s: float, plate_c: float, permit: bool) -> None: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class Truth:
    """What is so at one moment. `delivered_mol` has left the flask; `leaked_mol` is the part of it that leaked."""

    charged_mol: float
    generated_mol: float
    held_mol: float
    delivered_mol: float
    locked_mol: float
    leaked_mol: float
    drops: int
    acid_left_ml: float
    plate_c: float
    room_ppm: float
    sensor_ppm: float
    pressure_pa: float


class Plant:
    """The physics of one bench and one charge. `seed` fixes every scatter in it."""

    def __init__(self, bench: BenchTerms, run: RunTerms, reality: Reality, seed: np.random.SeedSequence) -> None:
        tap_rng, plate_rng, gas_rng, splash_rng = (np.random.default_rng(s) for s in seed.spawn(4))
        charge = run.charge
        self._room_c = charge.temperature_c
        self.tap: Tap | None = None
        self.source: Source
        match charge:
            case DripTerms():
                self.flask: DripFlask | None = DripFlask(charge, reality)
                self.source = self.flask
                believed_ul = bench.drops.volume_ul.value
                self.tap = Tap(charge.acid_volume_ml * 1e3, believed_ul, reality, Normals(tap_rng))
            case AcidOnSulfurTerms():
                self.flask = None
                self.source = HotAcid(charge, reality)
            case BurnerTerms():
                self.flask = None
                self.source = Burner(charge, reality)
        self._meter = run.meter
        self._physics_s = 0.0 if run.meter == "bubbles" else PHYSICS_S
        self._source_s = FLASK_S if run.meter == "drops" else self._physics_s
        self._due_s = self._source_due_s = 0.0  # not yet gone through
        self._leaked_mol_per_s = 0.0
        self._air_per_mol, self._so2_per_mol = self._bubbles_per_mol(run, reality)
        self._bubbles_due = 1.0
        self._splash_share = reality.splash_share
        self._splash_rng = splash_rng
        # The calibrated offset is added by the host: the thermocouple itself errs the other way.
        error_c = -bench.thermocouple.offset_c.value
        self.plate = Hotplate(reality, self._room_c, Normals(plate_rng), error_c)
        self.room = Room(bench.room, self._room_c, charge.pressure_pa)
        self.gas = GasSensor(bench.gas, reality, gas_rng)
        self.leak_share = 0.0  # of what leaves the flask
        self.leak_mg_per_min = 0.0  # besides, whatever is made
        self.leaked_mol = 0.0
        self.sweep_l_per_min = 0.0  # of air, dry, at the room's temperature and pressure
        self._sweep_mol_per_l = charge.pressure_pa / (R_J_PER_MOL_K * (self._room_c + ZERO_C_K)) * 1e-3
        self.time_s = 0.0

    def step(self, dt_s: float, *, heat: bool, drip: bool) -> list[float]:
        """Go on by `dt_s` with heat and drip permitted or cut; return the meter's edges, s, ascending.

        Drops fall as they fall; what else happens is caught up with each 0.1 s, what the flask does each 0.5 s, under
        the heat of that moment.
        """
        self.time_s += dt_s
        edges_s: list[float] = []
        if self.tap is not None and self.flask is not None and drip:
            for drop in self.tap.step(self.time_s, dt_s, drip):
                self.flask.add_acid(drop.volume_ul)
                if self._meter == "drops":
                    edges_s.append(drop.at_s)
            if edges_s:
                edges_s = self._splashed(edges_s)
        self._due_s += dt_s
        if self._due_s < self._physics_s - 1e-9:
            return edges_s
        dt_s, self._due_s = self._due_s, 0.0
        self.plate.step(dt_s, heat)
        self._source_due_s += dt_s
        if self._source_due_s >= self._source_s - 1e-9:
            edges_s += self._make_gas(self._source_due_s, heat)
            self._source_due_s = 0.0
        self.room.step(dt_s, self._leaked_mol_per_s + self.leak_mg_per_min / 60_000.0 / SO2_G_PER_MOL)
        self.gas.step(dt_s, self.room.ppm)
        return edges_s

    def _make_gas(self, dt_s: float, heat: bool) -> list[float]:
        """Let the source go on by `dt_s`; give the bubbles that its gas makes on its way."""
        head = self.source.head
        before_mol, gas_before_mol = head.delivered_mol, head.delivered_gas_mol
        head.air_mol += self.sweep_l_per_min / 60.0 * dt_s * self._sweep_mol_per_l
        self.source.step(dt_s, self.plate.plate_c, heat)
        so2_mol = head.delivered_mol - before_mol
        if isinstance(self.source, Burner):
            self.plate.flame_w = FLAME_W if so2_mol > 0.0 else 0.0
        leaked_mol = so2_mol * self.leak_share
        self.leaked_mol += leaked_mol
        self._leaked_mol_per_s = leaked_mol / dt_s
        air_mol = head.delivered_gas_mol - gas_before_mol - so2_mol
        kept = 1.0 - self.leak_share
        return self._bubbles(dt_s, kept * (air_mol * self._air_per_mol + so2_mol * self._so2_per_mol))

    def truth(self) -> Truth:
        """What is so now."""
        source = self.source
        return Truth(
            charged_mol=source.charged_mol,
            generated_mol=source.generated_mol,
            held_mol=source.held_mol,
            delivered_mol=source.head.delivered_mol,
            locked_mol=source.locked_mol,
            leaked_mol=self.leaked_mol,
            drops=self.tap.drops if self.tap else 0,
            acid_left_ml=self.tap.left_ul * 1e-3 if self.tap else 0.0,
            plate_c=self.plate.plate_c,
            room_ppm=self.room.ppm,
            sensor_ppm=self.gas.seen_ppm,
            pressure_pa=source.head.pressure_pa,
        )

    def _splashed(self, edges_s: list[float]) -> list[float]:
        if self._splash_rng.random() >= self._splash_share:
            return edges_s
        return sorted([*edges_s, edges_s[-1] + self._splash_rng.uniform(0.003, 0.015)])

    def _bubbles(self, dt_s: float, passed: float) -> list[float]:
        start_s, due = self.time_s - dt_s, self._bubbles_due
        edges_s = []
        while due <= passed:
            edges_s.append(start_s + dt_s * due / passed)
            due += 1.0
        self._bubbles_due = due - passed
        return edges_s

    @staticmethod
    def _bubbles_per_mol(run: RunTerms, reality: Reality) -> tuple[float, float]:
        """Bubbles that a mole of air makes, and a mole of SO2: each bubble is saturated with water vapour."""
        if run.bubble_volume_ul is None:
            return 0.0, 0.0
        t_c, pressure_pa = run.charge.temperature_c, run.charge.pressure_pa
        dry = 1.0 - water_vapour_pa(t_c) / pressure_pa
        true_m3 = run.bubble_volume_ul.value * reality.bubble_volume_ratio * 1e-9
        air_per_mol = R_J_PER_MOL_K * (t_c + ZERO_C_K) / pressure_pa / (true_m3 * dry)
        smaller = (SMALLER_AT_0_C + SMALLER_PER_C * t_c) * pressure_pa / ATMOSPHERE_PA
        return air_per_mol, air_per_mol * (1.0 - smaller)
