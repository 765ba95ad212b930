"""Tap, hotplate, room, sensor and the two other routes. Sources stand beside the checks."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from monitor.rig.hotplate import Hotplate
from monitor.rig.other_routes import Burner, HotAcid
from monitor.rig.plant import Plant
from monitor.rig.reality import Normals, Reality
from monitor.rig.room import GasSensor, Room
from monitor.rig.tap import Tap
from monitor.terms import GasTerms, RoomTerms
from tests.rig.terms import BENCH, bubble_run, burner_run, drip_run, sulfur_run


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def normals(seed: int = 1) -> Normals:
    return Normals(rng(seed))


# --- tap ---------------------------------------------------------------------------------------------------------


def test_a_tap_drips_at_its_rate_and_volume() -> None:
    """Over half an hour 60 a minute is 1800 drops within 1 %, of the true mean volume within 1 %."""
    tap = Tap(1e6, 38.4, Reality(drop_volume_ratio=1.05), normals())
    tap.rate_per_min = 60.0
    drops = [d for tick in range(1, 72_001) for d in tap.step(tick * 0.025, 0.025, True)]
    assert len(drops) == pytest.approx(1800, rel=0.01)
    assert np.mean([d.volume_ul for d in drops]) == pytest.approx(38.4 * 1.05, rel=0.01)
    times = [d.at_s for d in drops]
    assert times == sorted(times)
    assert np.std(np.diff(times)) == pytest.approx(0.06, rel=0.1)


def test_no_more_acid_falls_than_there_was() -> None:
    """The tap ends when the acid does, to the microlitre."""
    tap = Tap(1000.0, 38.4, Reality(), normals())
    tap.rate_per_min = 120.0
    drops = [d for tick in range(1, 4001) for d in tap.step(tick * 0.025, 0.025, True)]
    assert sum(d.volume_ul for d in drops) == pytest.approx(1000.0)
    assert tap.left_ul == 0.0


def test_a_shut_valve_drips_nothing() -> None:
    """With the valve shut no drop falls, and opening it brings no flood of those that did not fall."""
    tap = Tap(1e6, 38.4, Reality(), normals())
    tap.rate_per_min = 60.0
    assert not [d for tick in range(1, 4001) for d in tap.step(tick * 0.025, 0.025, False)]
    assert len(tap.step(100.025, 0.025, True)) <= 1


# --- hotplate ----------------------------------------------------------------------------------------------------


def test_the_plates_heat_adds_up() -> None:
    """Energy put in = energy stored + energy lost, to rounding, through heating, holding and a cut supply."""
    reality = Reality()
    plate = Hotplate(reality, 22.0, normals())
    plate.setpoint_c = 200.0
    for tick in range(40_000):
        plate.step(0.025, permit=not 20_000 < tick < 24_000)
    stored_j = reality.plate_j_per_k * (plate.plate_c - 22.0)
    assert plate.energy_in_j == pytest.approx(stored_j + plate.energy_lost_j, rel=1e-9)


def test_full_heat_ends_where_loss_balances_it() -> None:
    """Never reaching its setpoint, the plate settles at room + power/loss: a first-order heat balance."""
    reality = Reality(plate_w=110.0, plate_loss_w_per_k=1.1)
    plate = Hotplate(reality, 22.0, normals())
    plate.setpoint_c = 400.0
    for _ in range(100_000):
        plate.step(0.1, permit=True)
    assert plate.plate_c == pytest.approx(122.0, abs=0.1)


def test_the_controller_holds_its_band() -> None:
    """Once warm, an on-off controller stays within its hysteresis and switches now and again."""
    plate = Hotplate(Reality(), 22.0, normals())
    plate.setpoint_c = 80.0
    for _ in range(12_000):
        plate.step(0.025, permit=True)
    seen, states = [], []
    for _ in range(24_000):
        plate.step(0.025, permit=True)
        seen.append(plate.plate_c)
        states.append(plate.heating)
    assert 78.3 < min(seen) < max(seen) < 81.7
    assert 2 <= sum(a != b for a, b in pairwise(states)) <= 60


def test_without_the_permit_nothing_heats() -> None:
    """The relay stands in the heater's supply: the plate cools whatever the controller asks."""
    plate = Hotplate(Reality(), 22.0, normals())
    plate.setpoint_c = 80.0
    for _ in range(1000):
        plate.step(0.1, permit=False)
    assert plate.plate_c == 22.0
    assert plate.heating


def test_the_thermocouple_off_the_plate_reads_the_room() -> None:
    """Taken off a hot plate, the junction falls to room temperature in a few of its time constants."""
    plate = Hotplate(Reality(), 22.0, normals())
    plate.setpoint_c = 150.0
    for _ in range(4000):
        plate.step(0.1, permit=True)
    assert plate.junction_c > 145.0
    plate.off_plate = True
    for _ in range(200):
        plate.step(0.1, permit=True)
    assert plate.junction_c == pytest.approx(22.0, abs=0.1)


# --- room and sensor ---------------------------------------------------------------------------------------------


def test_the_box_model_reaches_the_published_value() -> None:
    """40 m³, 1.2e-6 m³/s of gas, 3e-3 m³/s of air reach a fraction of 1.2e-4 after 4756 s.

    The one-box problem of industrial-hygiene texts; there, the time to 120 ppm.
    """
    room = Room(RoomTerms(40.0, 3e-3 * 3600.0), 20.0, 101325.0)
    molar_m3 = 8.31446 * 293.15 / 101325.0
    for _ in range(47_560):
        room.step(0.1, 1.2e-6 / molar_m3)
    assert room.ppm == pytest.approx(120.0, rel=1e-3)


def test_a_steady_leak_settles_at_g_over_q() -> None:
    """26.18 mg/min into 10 m³/min at 25 °C settles at 1 ppm: 2.618 mg/m³ a ppm (ideal gas, 25 °C, 1 atm)."""
    room = Room(RoomTerms(60.0, 600.0), 25.0, 101325.0)
    for _ in range(100_000):
        room.step(0.1, 26.18e-3 / 60.0 / 64.058)
    assert room.ppm == pytest.approx(1.0, rel=2e-3)


@pytest.mark.parametrize("t90_s", [15.0, 30.0, 60.0])
def test_the_sensor_has_the_t90_that_it_was_given(t90_s: float) -> None:
    """In a step of 10 ppm the sensor shows 9 ppm after T90, within a step of the simulation."""
    terms = GasTerms(8410.0, 0.00412, 20.0, t90_s=t90_s)
    sensor = GasSensor(terms, Reality(), rng())
    seconds = 0.0
    while sensor.seen_ppm < 9.0:
        sensor.step(0.025, 10.0)
        seconds += 0.025
    assert seconds == pytest.approx(t90_s, abs=0.05)


def test_the_noise_in_a_1_s_mean_is_the_stated_one() -> None:
    """Over 2000 s of clean air, 1 s means scatter by `noise_ppm` within 5 %, and the last bit never rests."""
    terms = GasTerms(8410.0, 0.00412, 20.0, noise_ppm=0.05)
    sensor = GasSensor(terms, Reality(gas_drift_ppm_per_root_h=0.0), rng())
    samples = [sensor.sample() for _ in range(20_000)]
    ppm = (np.array([s for s, _ in samples]) - 8410.0) * 0.00412
    assert ppm.reshape(-1, 10).mean(axis=1).std() == pytest.approx(0.05, rel=0.05)
    assert abs(ppm.mean()) < 0.005
    assert min(span for _, span in samples) >= 1


def test_the_zero_wanders_as_a_random_walk() -> None:
    """Over an hour the zero has moved by 0.02 ppm in the root mean square of many sensors."""
    moved = []
    for seed in range(60):
        sensor = GasSensor(GasTerms(8410.0, 0.00412, 20.0), Reality(), rng(seed))
        for _ in range(360):
            sensor.step(10.0, 0.0)
        moved.append(sensor.drift_ppm)
    assert math.sqrt(np.mean(np.square(moved))) == pytest.approx(0.02, rel=0.25)


def test_readings_counted_in_order_add_up_as_readings_rounded_one_by_one() -> None:
    """The short way to a sum gives what 64 roundings give, at every level of the channel's zero."""
    terms = GasTerms(8410.0, 0.00412, 20.0)
    short, long = GasSensor(terms, Reality(), rng()), GasSensor(terms, Reality(), rng())
    long.quiet = math.nextafter(1.0, 0.0)  # one by one, and the same but for the last digit
    for number in range(3000):
        short.extra_ppm = long.extra_ppm = 0.001 * number
        assert short.sample() == long.sample()


def test_the_channel_stays_within_its_converter() -> None:
    """Far over or under range, the sum stops at 65472 and 0 and has no spread."""
    sensor = GasSensor(GasTerms(8410.0, 0.00412, 20.0), Reality(), rng())
    sensor.extra_ppm = 1000.0
    assert sensor.sample() == (65472, 0)
    sensor.extra_ppm = -1000.0
    assert sensor.sample() == (0, 0)


# --- the whole ---------------------------------------------------------------------------------------------------


def dripping_plant(seed: int = 3) -> Plant:
    plant = Plant(BENCH, drip_run(), Reality(), np.random.SeedSequence(seed))
    assert plant.tap is not None
    plant.tap.rate_per_min = 60.0
    return plant


def test_a_leak_is_its_share_of_what_leaves_the_flask() -> None:
    """What leaked is 5 % of what was delivered meanwhile, and the room hears of it."""
    plant = dripping_plant()
    for _ in range(24_000):
        plant.step(0.025, heat=True, drip=True)
    before = plant.truth()
    plant.leak_share = 0.05
    for _ in range(24_000):
        plant.step(0.025, heat=True, drip=True)
    after = plant.truth()
    assert after.leaked_mol == pytest.approx(0.05 * (after.delivered_mol - before.delivered_mol), rel=1e-9)
    assert before.room_ppm == 0.0
    assert after.room_ppm > 0.5


def test_the_truth_can_be_asked_at_any_moment() -> None:
    """At every second charge = locked + generated and generated = held + delivered; every drop is an edge."""
    plant = dripping_plant()
    edges = 0
    for second in range(600):
        for _ in range(40):
            edges += len(plant.step(0.025, heat=True, drip=True))
        truth = plant.truth()
        assert truth.locked_mol + truth.generated_mol == pytest.approx(truth.charged_mol, rel=1e-12), second
        assert truth.held_mol + truth.delivered_mol == pytest.approx(truth.generated_mol, rel=1e-12)
    assert edges >= truth.drops > 590  # splashes are edges, not drops


def test_bubbles_count_the_gas_air_included() -> None:
    """With the bubble meter, edges × dry volume a bubble are the gas that left, air and all, to one bubble."""
    plant = Plant(BENCH, bubble_run(), Reality(), np.random.SeedSequence(3))
    assert plant.tap is not None
    plant.tap.rate_per_min = 60.0
    edges = [edge for _ in range(32_000) for edge in plant.step(0.025, heat=True, drip=True)]
    saturated_pa = 2645.0  # water at 22 °C: CRC Handbook, from memory
    bubble_l = (1.0 - saturated_pa / 101325.0) * 150e-6
    gas_mol, so2_mol = plant.source.head.delivered_gas_mol, plant.truth().delivered_mol
    gas_l = (gas_mol - so2_mol) * 24.219 + so2_mol * 23.795  # at 22 °C: air ideal, SO2 real (CoolProp 8.0.0)
    assert len(edges) == pytest.approx(gas_l / bubble_l, rel=1e-3)
    assert edges == sorted(edges)
    assert gas_mol > plant.truth().delivered_mol + 0.005


def test_hot_acid_makes_three_of_two() -> None:
    """2 H2SO4 + S → 3 SO2 + 2 H2O: half a mole of sulfur holds 1.5 mol of SO2; it comes only when hot."""
    plant = Plant(BENCH, sulfur_run(), Reality(), np.random.SeedSequence(3))
    assert isinstance(plant.source, HotAcid)
    assert plant.truth().charged_mol == pytest.approx(1.5)
    for _ in range(6000):
        plant.step(0.1, heat=True, drip=True)
    assert plant.truth().generated_mol < 1e-6
    plant.plate.setpoint_c = 310.0
    for _ in range(36_000):
        plant.step(0.1, heat=True, drip=True)
    truth = plant.truth()
    assert truth.generated_mol > 1.0
    assert truth.locked_mol + truth.generated_mol == pytest.approx(1.5, rel=1e-12)
    assert truth.held_mol + truth.delivered_mol == pytest.approx(truth.generated_mol, rel=1e-12)


def test_a_burner_burns_while_lit_and_permitted() -> None:
    """Sulfur burns mole for mole to SO2, only while lit and with the aspirator's supply there, until it is gone."""
    plant = Plant(BENCH, burner_run(), Reality(), np.random.SeedSequence(3))
    assert isinstance(plant.source, Burner)
    for _ in range(100):
        plant.step(0.1, heat=True, drip=True)
    assert plant.truth().generated_mol == 0.0
    plant.source.lit = True
    for _ in range(100):
        plant.step(0.1, heat=False, drip=True)
    assert plant.truth().generated_mol == 0.0
    for _ in range(10):
        plant.step(0.1, heat=True, drip=True)
    # 4 L/min of gas at 22 °C for 1 s, a tenth of it SO2
    assert plant.truth().generated_mol == pytest.approx(4.0 / 60.0 / 24.22 * 0.1, rel=1e-3)
    for _ in range(10_000):
        plant.step(0.1, heat=True, drip=True)
    assert plant.truth().delivered_mol == pytest.approx(0.1)
