"""The size of a leak: the box model against published vectors, and the fit against traces of its own physics."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.core.leaksize import Floats, Following, RoomModel, Size, box_ppm, ventilation_m3_per_h
from monitor.terms import GasTerms, RoomTerms

NOISE = 0.05
GAS = GasTerms(zero_sum=8410.0, ppm_per_sum=0.00412, range_ppm=20.0, t90_s=30.0, noise_ppm=NOISE)
ROOM = RoomTerms(60.0, 600.0)
G_2_PPM = 2.0 * 600.0 / 3600.0  # ppm·m³/s, a leak that is 2 ppm when the room is steady
MG_PER_MIN = (
    2.618 * 60.0 * G_2_PPM
)  # 64.06 g/mol over 24.47 L/mol at 25 °C: 2.618 mg/m³ a ppm (NIOSH pocket guide: 2.62)


def test_one_box_as_published() -> None:
    """V 40 m³, G 1.2e-6 m³/s, Q 3e-3 m³/s reach a volume fraction of 1.2e-4 after 4756 s (hygiene texts)."""
    assert box_ppm(4756.0, 1.2e-6, 40.0, 3e-3) == pytest.approx(1.2e-4, rel=1e-3)


def test_half_life_as_published() -> None:
    """A concentration that halves in 1.4 h in 20 m³ tells of 9.9 m³/h (industrial-hygiene texts)."""
    assert ventilation_m3_per_h(20.0, 1.4) == pytest.approx(9.9, abs=0.05)


def test_behind_a_quick_sensor_the_model_is_the_box() -> None:
    """With a T90 of next to nothing the reading is the published box."""
    model = RoomModel(RoomTerms(40.0, 3e-3 * 3600.0), replace(GAS, t90_s=0.01))
    assert model.response(np.array([4756.0]))[0] * 1.2e-6 == pytest.approx(1.2e-4, rel=1e-3)


@pytest.mark.parametrize("t90_s", [15.0, 30.0, 60.0, 360.0 * np.log(10.0)])
def test_the_response_is_that_of_two_lags(t90_s: float) -> None:
    """The closed form is what small steps of the two equations give, equal time constants too."""
    model = RoomModel(ROOM, replace(GAS, t90_s=t90_s))
    lag_s, q, dt = t90_s / np.log(10.0), 1.0 / 6.0, 0.01
    room = shown = 0.0
    for _ in range(20_000):
        room += dt * (1.0 - q * room) / 60.0
        shown += dt * (room - shown) / lag_s
    assert model.response(np.array([200.0]))[0] == pytest.approx(shown, rel=3e-3)
    assert model.response(np.array([-5.0, 0.0])).tolist() == [0.0, 0.0]


def test_in_a_shut_room_a_leak_only_piles_up() -> None:
    """Without ventilation a steady source G gives G·(t − τ(1 − exp(−t/τ)))/V behind a sensor of time constant τ."""
    t_s, tau_s = np.array([10.0, 60.0, 600.0]), 30.0 / np.log(10.0)
    model = RoomModel(RoomTerms(60.0, 0.0), replace(GAS, t90_s=30.0))
    assert model.response(t_s) == pytest.approx((t_s + tau_s * np.expm1(-t_s / tau_s)) / 60.0, rel=1e-3)


def trace(seed: int, onset_s: float, to_s: float, level: float = 0.0) -> tuple[Floats, Floats]:
    """One-second means from 0 to `to_s` of a leak that begins at `onset_s`."""
    t = np.arange(0.5, to_s)
    noise = NOISE * np.random.default_rng(seed).standard_normal(len(t))
    return t, level + G_2_PPM * RoomModel(ROOM, GAS).response(t - onset_s) + noise


def test_a_minute_of_trace_tells_the_size() -> None:
    """80 s after the onset the rate is unbiased within 5 %, scatters by under 8 %, and lies in its interval."""
    model = RoomModel(ROOM, GAS)
    sizes = [model.size(*trace(seed, 400.0, 490.0, 0.02), since_s=420.0) for seed in range(100)]
    rates = np.array([s.mg_per_min for s in sizes if s is not None]) / MG_PER_MIN
    assert len(rates) == 100
    assert abs(rates.mean() - 1.0) < 0.05
    assert rates.std() < 0.08
    within = [abs(s.mg_per_min - MG_PER_MIN) <= s.u_mg_per_min for s in sizes if s is not None]
    assert sum(within) >= 85
    onsets = np.array([s.onset_s for s in sizes if s is not None])
    assert abs(onsets.mean() - 400.0) < 2.0
    steady = np.array([trace(seed, 400.0, 490.0)[1][-5:].mean() for seed in range(100)]).mean() / 2.0
    assert steady < 0.25  # what Q·C would say at that time


def test_the_interval_is_never_finer_than_the_sensor() -> None:
    """However long the trace, the rate is known no better than the sensor's own calibration, doubled."""
    found = RoomModel(ROOM, GAS).size(*trace(1, 60.0, 600.0), since_s=62.0)
    assert found is not None
    assert found.u_mg_per_min >= 2.0 * GAS.relative_u * found.mg_per_min


def test_a_leak_that_was_closed_misfits() -> None:
    """A trace that falls again is not explained by a steady leak, and the misfit says so."""
    t, y = trace(1, 300.0, 600.0)
    y = np.where(t > 420.0, y - G_2_PPM * RoomModel(ROOM, GAS).response(t - 420.0), y)
    found = RoomModel(ROOM, GAS).size(t, y, 305.0)
    assert found is not None
    assert found.misfit > 2.0


def test_too_short_a_trace_gives_no_size() -> None:
    """Nothing, a few seconds, or a trace that only falls: no size, and no exception."""
    model = RoomModel(ROOM, GAS)
    nothing = np.array([])
    assert model.size(nothing, nothing, 10.0) is None
    assert model.size(*trace(1, 2.0, 8.0), since_s=2.0) is None
    t = np.arange(0.5, 200.0)
    assert model.size(t, -0.01 * np.maximum(t - 100.0, 0.0), 100.0) is None


def making(t: Floats) -> Floats:
    """Gas made, mg/min: it comes and goes every two minutes."""
    return np.where(t // 120.0 % 2 == 0, 3000.0, 400.0)


def explained(t: Floats, y: Floats, made: Floats, since_s: float) -> tuple[Size, Following]:
    found = RoomModel(ROOM, GAS).explained(t, y, made, since_s)
    assert found is not None
    return found


def test_a_leak_of_the_apparatus_follows_the_making() -> None:
    """3 % of a making that comes and goes is told as that, with its correlation."""
    t = np.arange(0.5, 550.0)
    y = 0.03 * RoomModel(ROOM, GAS).shown(t, np.where(t >= 130.0, making(t), 0.0))
    y += NOISE * np.random.default_rng(4).standard_normal(len(t))
    _, found = explained(t, y, making(t), 135.0)
    assert found.follows is True
    assert found.share == pytest.approx(0.03, rel=0.1)
    assert found.correlation is not None
    assert found.correlation > 0.9


def test_a_leak_that_ends_with_the_making_keeps_its_size() -> None:
    """A share of a making that ends 40 s on is sized by that, however long the room then clears."""
    t = np.arange(0.5, 400.0)
    made = np.where(t < 160.0, 4000.0, 0.0)
    shown = 0.10 * RoomModel(ROOM, GAS).shown(t, np.where(t >= 120.0, made, 0.0))
    for until_s in (180.0, 240.0, 400.0):
        rates, within, onsets = [], 0, []
        for seed in range(40):
            y = shown + NOISE * np.random.default_rng(seed).standard_normal(len(t))
            seen = t < until_s
            size, found = explained(t[seen], y[seen], made[seen], 125.0)
            rates.append(size.mg_per_min / 400.0)
            onsets.append(size.onset_s)
            within += abs(size.mg_per_min - 400.0) <= size.u_mg_per_min
            assert found.follows is True or until_s == 180.0
        assert np.mean(rates) == pytest.approx(1.0, abs=0.05)
        assert np.std(rates) < 0.10
        assert np.mean(onsets) == pytest.approx(120.0, abs=2.0)
        assert within >= 36


def test_a_bottle_left_open_does_not() -> None:
    """A steady leak beside a making that comes and goes does not follow it; nor does one while nothing is made."""
    t, y = trace(5, 130.0, 550.0)
    size, found = explained(t, y, making(t), 135.0)
    assert (found.follows, found.share) == (False, None)
    assert size == RoomModel(ROOM, GAS).size(t, y, 135.0)
    assert explained(t, y, np.zeros_like(t), 135.0)[1].follows is False


def test_a_steady_making_tells_nothing() -> None:
    """Under a steady making a share is said, and not whether the leak follows."""
    t, y = trace(6, 130.0, 400.0)
    _, found = explained(t, y, np.full_like(t, 1500.0), 135.0)
    assert found.follows is None
    assert found.share == pytest.approx(MG_PER_MIN / 1500.0, rel=0.1)
    assert explained(t, y, np.full_like(t, 10.0), 135.0)[1].share is None  # more than is made
