"""Readings that no plate and no gas can make, each beside what it imitates; bounds are the alarm table's."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain, repeat

import numpy as np
import pytest

from monitor.core.events import Reading
from monitor.core.frames import SampleFrame
from monitor.core.gasnoise import FIRST, NoiseWatch
from monitor.core.trust import (
    FROZEN_WORD,
    GAS_JUMP,
    NEVER_WARM,
    NO_RISE,
    OFF_PLATE,
    PLATE_JUMP,
    RAILED,
    GasTrust,
    PlateTrust,
)
from monitor.terms import GasTerms
from tests.core.lines import CONTACT, tc_word

GAS = GasTerms(zero_sum=8410.0, ppm_per_sum=0.00412, range_ppm=20.0)
WORDS = (tc_word(80.0, 25.0), tc_word(80.0, 25.0625))


class Plate:
    """Plate readings, ten a second, for the judge; the converter's last bit stirs."""

    def __init__(self) -> None:
        self.trust = PlateTrust()
        self.t_s = 0.0
        self.seen: list[Reading] = []

    def read(
        self,
        plate_c: float,
        *,
        io: int = CONTACT,
        word: int | None = None,
        cold_c: float = 25.0,
        must_be_hot: bool = False,
    ) -> Reading:
        self.t_s += 0.1
        stirred = tc_word(plate_c, cold_c + 0.0625 * (len(self.seen) // 50 % 2))
        frame = SampleFrame(7, len(self.seen), 0, 0, 0, 0, stirred if word is None else word, 8410, 5, io)
        self.seen.append(self.trust.judge(self.t_s, frame, Reading(plate_c), must_be_hot))
        return self.seen[-1]

    def hold(self, plate_c: float, seconds: float, io: int = CONTACT) -> None:
        for _ in range(round(seconds * 10)):
            self.read(plate_c, io=io)

    def ramp(self, from_c: float, to_c: float, seconds: float, io: int = CONTACT) -> None:
        steps = round(seconds * 10)
        for n in range(1, steps + 1):
            self.read(from_c + (to_c - from_c) * n / steps, io=io)


@pytest.mark.parametrize("by_c", [61.0, 120.0, -75.0])
def test_a_held_jump_is_a_fault_and_no_temperature(by_c: float) -> None:
    """From its first sample a jump is no reading, within a second it is a fault, and its value is never given."""
    plate = Plate()
    plate.hold(120.0, 10.0)
    for n in range(10):
        got = plate.read(120.0 + by_c)
        assert (got.value, got.why) == (None, PLATE_JUMP)
        assert (plate.trust.fault == PLATE_JUMP) == (n >= 4)


def test_a_spike_is_no_fault() -> None:
    """A few wild samples are left out, and the next good one is believed at once."""
    plate = Plate()
    plate.hold(120.0, 10.0)
    for _ in range(4):
        assert plate.read(300.0).value is None
    assert plate.read(120.5).value == 120.5
    assert plate.trust.fault is None


def test_a_jump_that_stays_a_minute_is_taken_for_what_is_there() -> None:
    """A thermocouple put back on a hot plate jumps too: after a minute it is believed, and somebody has to reset."""
    plate = Plate()
    plate.hold(30.0, 10.0)
    plate.hold(130.0, 59.0)
    assert plate.seen[-1].why == PLATE_JUMP
    plate.hold(130.0, 2.0)
    assert plate.seen[-1].value == 130.0
    assert plate.trust.fault is None


def test_the_fastest_real_rise_is_no_jump() -> None:
    """55 °C/s, faster than any plate, is still heat and not a fault, however long."""
    plate = Plate()
    plate.ramp(25.0, 25.0 + 55.0 * 6, 6.0)
    assert all(r.value is not None for r in plate.seen)


def test_a_word_that_does_not_stir_for_a_minute_is_frozen() -> None:
    """The same word for just under 60 s raises nothing, at 60 s it is a fault; one that stirs ends it."""
    plate = Plate()
    for _ in range(600):
        assert plate.read(80.0, word=WORDS[0]).value == 80.0
    assert plate.read(80.0, word=WORDS[0]).why == FROZEN_WORD
    assert plate.trust.fault == FROZEN_WORD
    assert plate.read(80.0, word=WORDS[1]).value == 80.0
    assert plate.trust.fault is None


def test_a_lost_line_is_no_frozen_word() -> None:
    """Two equal words with minutes of silence between them tell nothing."""
    plate = Plate()
    plate.read(80.0, word=WORDS[0])
    plate.t_s += 300.0
    assert plate.read(80.0, word=WORDS[0]).value == 80.0


@pytest.mark.parametrize("hot_c", [45.0, 80.0, 200.0])
def test_a_thermocouple_off_a_heated_plate_is_told(hot_c: float) -> None:
    """It falls to the room within seconds, as a plate under heat cannot: a fault within 30 s."""
    plate = Plate()
    plate.ramp(25.0, hot_c, 60.0)
    plate.hold(hot_c, 30.0)
    fallen_s = plate.t_s
    for n in range(300):
        plate.read(23.0 + (hot_c - 23.0) * float(np.exp(-n / 20.0)))  # a bead of 2 s in the air
        if plate.trust.fault == OFF_PLATE:
            break
    assert plate.trust.fault == OFF_PLATE
    assert plate.t_s - fallen_s <= 30.0
    assert plate.seen[-1].value is None


def test_a_thermocouple_that_never_was_on_a_plate_that_must_be_hot_is_told() -> None:
    """Gas that only a hot plate makes, the contact closed, and no heat seen: told within 30 s; alarm table."""
    plate = Plate()
    for _ in range(290):
        assert plate.read(24.0, must_be_hot=True).value == 24.0
    assert plate.read(24.0, must_be_hot=True).why == NEVER_WARM
    assert plate.trust.fault == NEVER_WARM


@pytest.mark.parametrize(
    ("plate_c", "io", "must_be_hot"),
    [(24.0, CONTACT, False), (24.0, 0, True), (32.0, CONTACT, True)],
    ids=["no heat needed", "supply cut", "warm"],
)
def test_a_cold_plate_that_may_be_cold_is_believed(plate_c: float, io: int, must_be_hot: bool) -> None:
    """A route without heat, a plate without its supply, and one that is warming up, are no fault."""
    plate = Plate()
    for _ in range(1200):
        assert plate.read(plate_c, io=io, must_be_hot=must_be_hot).value == plate_c


def test_a_warm_up_within_the_half_minute_is_believed() -> None:
    """A slow plate of 0.3 °C/s, invented, that heats from the room on is never taken for a fault."""
    plate = Plate()
    for n in range(1200):
        assert plate.read(24.0 + 0.03 * n, must_be_hot=True).value is not None


def test_a_plate_whose_heater_was_noted_as_on_and_that_does_not_rise_is_told() -> None:
    """Under the closed contact it is a fault after 30 s (alarm table), until the thermocouple shows warmth."""
    plate = Plate()
    plate.hold(24.0, 100.0)
    plate.trust.say_heater(True)
    plate.hold(24.0, 30.0)
    assert plate.seen[-20].value == 24.0
    assert (plate.seen[-1].value, plate.seen[-1].why) == (None, NO_RISE)
    plate.hold(40.0, 1.0)
    assert plate.seen[-1].value == 40.0
    plate.hold(24.0, 2.0)
    assert plate.trust.fault is None


@pytest.mark.parametrize(
    ("rate_c_per_s", "io", "off"), [(0.06, CONTACT, False), (0.0, 0, False), (0.0, CONTACT, True)]
)
def test_a_heater_noted_as_on_is_no_fault(rate_c_per_s: float, io: int, off: bool) -> None:
    """Not on a plate that warms, however slowly, nor without its supply, nor after a note that it is off."""
    plate = Plate()
    plate.trust.say_heater(True)
    if off:
        plate.trust.say_heater(False)
    plate.ramp(24.0, 24.0 + 60.0 * rate_c_per_s, 60.0, io=io)
    assert all(r.value is not None for r in plate.seen)


def test_what_looks_like_it_but_is_not() -> None:
    """A cold plate that is switched off, a heat-up, its overshoot, and cooling with a minute's time constant."""
    cold = Plate()
    cold.hold(24.0, 300.0)
    warm = Plate()
    warm.ramp(25.0, 120.0, 180.0)
    warm.ramp(120.0, 112.0, 60.0)
    for n in range(6000):
        warm.read(25.0 + 87.0 * float(np.exp(-n / 600.0)))
    assert all(r.value is not None for r in cold.seen + warm.seen)


def test_a_thermocouple_put_back_is_believed() -> None:
    """On the warm plate again it is believed as soon as it reads as warm as the plate can be; left off it is not."""
    plate = Plate()
    plate.ramp(25.0, 80.0, 60.0)
    plate.hold(80.0, 30.0)
    plate.ramp(80.0, 24.0, 4.0)
    plate.hold(24.0, 60.0, io=0)
    assert plate.seen[-1].why == OFF_PLATE
    plate.ramp(24.0, 75.0, 3.0, io=0)
    plate.hold(75.0, 2.0, io=0)
    assert plate.trust.fault is None


class Gas:
    """Gas samples for the judge."""

    def __init__(self, terms: GasTerms = GAS) -> None:
        self.trust = GasTrust(terms)
        self.t_s = 0.0

    def read(self, ppm: float, span: int = 5, gas_sum: int = 8410) -> Reading:
        self.t_s += 0.1
        frame = SampleFrame(7, 0, 0, 0, 0, 0, WORDS[0], gas_sum, span, 8)
        reading = Reading(ppm) if ppm <= GAS.range_ppm else Reading(None, why="over", at_least=GAS.range_ppm)
        return self.trust.judge(self.t_s, frame, reading)


def test_a_jump_that_no_gas_makes_is_a_fault_at_the_third_sample() -> None:
    """16 ppm within one sample would need gas a hundred times the sensor's range; 12 ppm down no fresh air makes."""
    for from_ppm, to_ppm in ((1.0, 17.5), (15.0, 3.0)):
        gas = Gas()
        for _ in range(20):
            assert gas.read(from_ppm).value == from_ppm
        for n in range(5):
            assert gas.read(to_ppm).why == GAS_JUMP
            assert (gas.trust.fault == GAS_JUMP) == (n >= 2)
        assert gas.read(from_ppm).value == from_ppm
        assert gas.trust.fault is None


def test_a_strong_leak_is_gas_and_no_jump() -> None:
    """The answer of a sensor of T90 30 s to 500 ppm, 3.8 ppm in its first sample, is believed; over range too."""
    gas = Gas()
    for n in range(200):
        ppm = 500.0 * (1.0 - 0.1 ** (n / 300.0))
        got = gas.read(ppm)
        assert got.value == ppm if ppm <= 20.0 else got.at_least == 20.0
    assert gas.trust.fault is None


@pytest.mark.parametrize("gas_sum", [65280, 64000, 64, 1500])
def test_an_amplifier_at_its_rail_is_no_gas(gas_sum: int) -> None:
    """No spread near an end of the converter is never a reading, not even "over range", and a fault within 2 s."""
    gas = Gas()
    gas.read(0.1)
    for n in range(20):
        got = gas.read(25.0, span=0, gas_sum=gas_sum)
        assert (got.value, got.at_least, got.why) == (None, None, RAILED)
        assert (gas.trust.fault == RAILED) == (n >= 9)


def noise(rng: np.random.Generator, kind: str) -> Iterator[float]:
    """Noise of the channel in sums, standard deviation 40: white, correlated, or heavy-tailed."""
    x = 0.0
    while True:
        if kind == "white":
            x = rng.normal()
        elif kind == "correlated":
            x = 0.9 * x + (1.0 - 0.81) ** 0.5 * rng.normal()
        else:
            x = rng.standard_t(4) / 2.0**0.5
        yield 40.0 * x


@pytest.mark.parametrize("kind", ["white", "correlated", "heavy-tailed"])
def test_a_channel_that_goes_quiet_is_told_within_ten_seconds(kind: str) -> None:
    """After two minutes or more of its own noise, a third of it is a fault within 10 s; the noise back ends it."""
    for seed in range(5):
        source = noise(np.random.default_rng(seed), kind)
        watch = NoiseWatch()
        for _ in range(2000):
            assert watch.feed(round(8410 + next(source))) is None
        told = [watch.feed(round(8410 + 0.3 * next(source))) is not None for _ in range(150)]
        assert told.index(True) < 100
        back = [watch.feed(round(8410 + next(source))) is not None for _ in range(200)]
        assert not back[-1]


@pytest.mark.parametrize("kind", ["white", "correlated", "heavy-tailed"])
def test_ordinary_noise_is_never_called_quiet(kind: str) -> None:
    """Three hours of each noise, with a leak that comes and goes and a drifting zero, raise nothing."""
    source = noise(np.random.default_rng(3), kind)
    watch = NoiseWatch()
    for n in range(108_000):
        leak = 500.0 * max(0.0, 1.0 - abs(n - 50_000) / 3000.0)
        assert watch.feed(round(8410 + next(source) + leak + 0.001 * n)) is None


def heavy_sums(rng: np.random.Generator, degrees: float, n: int) -> list[int]:
    """Sums under Student's t, standard deviation 40."""
    scale = 40.0 / (degrees / (degrees - 2.0)) ** 0.5
    found: list[int] = np.rint(8410.0 + scale * rng.standard_t(degrees, n)).astype(int).tolist()
    return found


@pytest.mark.parametrize("degrees", [3.0, 4.0])
def test_heavy_tails_do_not_go_quiet_by_chance(degrees: float) -> None:
    """Eight runs of 8 h of Student's t with 3 and with 4 degrees raise nothing."""
    rng = np.random.default_rng(3)
    for _ in range(8):
        watch = NoiseWatch()
        for gas_sum in heavy_sums(rng, degrees, 288_000):
            assert watch.feed(gas_sum) is None


def test_heavy_tails_that_fall_silent_are_told_within_ten_seconds() -> None:
    """In each of 200 draws, of a tenth to four tenths left of Student's t with 4 degrees, after 150 s of it."""
    rng = np.random.default_rng(4)
    for _ in range(200):
        watch, sums, left = NoiseWatch(), heavy_sums(rng, 4.0, 1600), rng.uniform(0.1, 0.4)
        assert not any(watch.feed(gas_sum) for gas_sum in sums[:1500])
        assert any(watch.feed(round(8410 + left * (gas_sum - 8410))) for gas_sum in sums[1500:])


def scaled(scales: Iterator[float], seed: int, gas: Iterator[float] | None = None) -> list[float]:
    """Feed white noise times these scales, on top of `gas`; give the scales of the samples told as quiet."""
    source, watch = noise(np.random.default_rng(seed), "white"), NoiseWatch()
    gas = repeat(0.0) if gas is None else gas
    return [s for s, over in zip(scales, gas, strict=False) if watch.feed(round(8410 + over + s * next(source)))]


@pytest.mark.parametrize("hours", [1.0, 4.0, 16.0])
def test_noise_that_dies_away_slowly_is_told_and_not_learned(hours: float) -> None:
    """A fall to a tenth, evenly in the logarithm, is told before a third is left, at the latest; then it stands."""
    n = round(36_000 * hours)
    told = scaled(chain(repeat(1.0, 6000), (0.1 ** (i / n) for i in range(n)), repeat(0.1, 3000)), 1)
    assert told[0] > 0.33
    assert told[-3000:] == [0.1] * 3000


def test_noise_that_was_louder_for_half_an_hour_may_fall_back() -> None:
    """A motor that doubles the noise for half an hour and stops is no collapse."""
    assert scaled(chain(repeat(1.0, 9000), repeat(2.0, 18_000), repeat(1.0, 36_000)), 2) == []


@pytest.mark.parametrize("from_s", [0.0, 40.0, 70.0, 110.0, 600.0])
def test_gas_that_comes_and_goes_is_not_learned_as_noise(from_s: float) -> None:
    """10 ppm for a minute, T90 30 s, also while the noise is being learned, leave no collapse."""
    t_s = np.arange(15_000) * 0.1 - from_s
    rise, fall = (1.0 - np.exp(-np.maximum(t, 0.0) / 13.0) for t in (t_s, t_s - 60.0))
    assert scaled(repeat(1.0, 15_000), 3, iter((2430.0 * (rise - fall)).tolist())) == []


def test_a_zero_that_settles_after_the_start_leaves_no_collapse() -> None:
    """A reading that falls by 2 ppm within the first minutes, as a cell's does that was just connected."""
    settles = (485.0 * float(x) for x in np.exp(-np.arange(15_000) / 1000.0))
    assert scaled(repeat(1.0, 15_000), 5, settles) == []


@pytest.mark.parametrize("still", [0, 1])
def test_a_channel_that_was_always_still_raises_nothing(still: int) -> None:
    """A constant sum from the start, or one that moves by a count, has no noise to lose."""
    watch = NoiseWatch()
    for n in range(6 * FIRST):
        assert watch.feed(8410 + (n % 2) * still) is None
    for _ in range(500):
        assert watch.feed(8410) is None


@pytest.mark.parametrize("noisy", [700, 900])
def test_a_channel_that_sticks_while_its_noise_is_being_learned_stops_nothing(noisy: int) -> None:
    """A sum that no longer moves has no noise to take a logarithm of: nothing is learned of it, and nothing fails."""
    rng = np.random.default_rng(3)
    watch = NoiseWatch()
    for _ in range(noisy):
        watch.feed(8410 + round(12.0 * rng.normal()))
    for _ in range(2000):
        watch.feed(8410)
