"""What the leak detector promises: its thresholds, its two tiers, and what it keeps quiet about."""

from __future__ import annotations

from collections.abc import Callable
from math import exp, log

import numpy as np
import pytest

from monitor.core.events import Reading
from monitor.core.leak import LOW, LeakDetector
from monitor.core.leaktiers import threshold_ppm_s
from tests.benchmarks.leak_fleet import Fleet

NOISE = 0.05
SAMPLE_NOISE = NOISE * 10.0**0.5
UNKNOWN = Reading(None, why="a test says so")


class Channel:
    """A noisy channel with a detector on it."""

    def __init__(self, seed: int = 1, noise: float = SAMPLE_NOISE) -> None:
        self.detector = LeakDetector(NOISE)
        self._normal = np.random.default_rng(seed).standard_normal
        self._noise = noise
        self.t_s = 0.0
        self.i = 0

    def run(self, seconds: float, ppm: float | Callable[[float], float] = 0.0) -> float | None:
        """Feed so many seconds; give when the sure tier first spoke, from their beginning."""
        first = None
        for n, z in enumerate(self._normal(round(seconds * 10)).tolist()):
            self.t_s = self.i * 0.1
            self.i += 1
            level = ppm(n * 0.1) if callable(ppm) else ppm
            self.detector.feed(self.t_s, Reading(level + self._noise * z))
            if self.detector.sure and first is None:
                first = n * 0.1
        return first


def tiers(channel: Channel) -> tuple[bool, bool]:
    """The early and the sure one, now."""
    return channel.detector.early, channel.detector.sure


def fault(channel: Channel) -> str | None:
    """What is wrong with the channel, now."""
    return channel.detector.fault


def state(channel: Channel) -> tuple[float, ...]:
    """Sums and baselines, now."""
    early, sure = channel.detector.early_tier, channel.detector.sure_tier
    return *early.sums, *sure.sums, sure.s_low, early.baseline_ppm, sure.baseline_ppm


def leak(size: float, t90_s: float = 30.0) -> Callable[[float], float]:
    """What a sensor shows of a step at it."""
    return lambda t_s: size * (1.0 - exp(-t_s * log(10.0) / t90_s))


@pytest.mark.parametrize(("arl_h", "wanted"), [(1000.0, (0.404, 0.210, 0.082)), (10_000.0, (0.461, 0.239, 0.094))])
def test_thresholds_of_three_are_the_published_form(arl_h: float, wanted: tuple[float, ...]) -> None:
    """Siegmund's iteration gives the check values worked apart from it: three, each once in three times as long."""
    got = [threshold_ppm_s(k, NOISE, 3.0 * arl_h) for k in (0.05, 0.10, 0.25)]
    assert got == pytest.approx(wanted, abs=0.0006)


def test_the_threshold_of_the_low_sum() -> None:
    """k 0.25 ppm alone, once in 10,000 h."""
    assert threshold_ppm_s(0.25, NOISE, 10_000.0) == pytest.approx(0.0881, abs=0.00006)


@pytest.mark.parametrize(("k", "h", "arl"), [(0.5, 4.0, 168.0), (0.5, 5.0, 465.0), (0.25, 8.0, 368.0)])
def test_siegmund_against_the_table_of_one_sided_cusums(k: float, h: float, arl: float) -> None:
    """In unit σ per sample: two-sided tables (Montgomery, Statistical Quality Control, tables 9.3 and 9.4: k ½, h 4
    and 5, mean run 168 and 465; k ¼, h 8.01, 370) doubled for one side, within 4 %.
    """
    sigma = NOISE / 0.1**0.5
    got = threshold_ppm_s(k * sigma, NOISE, 2.0 * arl * 0.1 / 3600.0)
    assert got / (sigma * 0.1) == pytest.approx(h, abs=0.04 * h)


@pytest.mark.parametrize(("size", "at_most_s"), [(1.0, 9.0), (2.0, 5.0), (5.0, 2.5), (20.0, 1.2)])
def test_a_leak_is_heard_within_seconds(size: float, at_most_s: float) -> None:
    """The sure tier speaks soon after a step at a sensor with a T90 of 30 s, whatever the noise."""
    for seed in range(5):
        channel = Channel(seed)
        assert channel.run(120.0) is None
        found_s = channel.run(30.0, leak(size))
        assert found_s is not None
        assert found_s <= at_most_s
        assert channel.detector.early
        assert channel.detector.since_s == pytest.approx(120.0, abs=6.0)


def test_a_small_leak_raises_the_early_tier_only() -> None:
    """0.1 ppm more is something to look at and no sure leak."""
    channel = Channel()
    channel.run(120.0)
    assert channel.run(60.0, 0.1) is None
    assert channel.detector.early


def test_a_standing_leak_stands() -> None:
    """The baseline does not learn a leak, however long it lasts, and the tiers return soon after it."""
    channel = Channel()
    channel.run(120.0)
    channel.run(3600.0, leak(1.0))
    assert tiers(channel) == (True, True)
    assert max(abs(b) for b in state(channel)[-2:]) < 0.02
    channel.run(5.0, 0.0)
    assert tiers(channel) == (True, False)
    channel.run(50.0, 0.0)
    assert tiers(channel) == (False, False)


def test_a_spike_is_no_leak() -> None:
    """A single wild sample, however high, raises neither tier."""
    channel = Channel()
    channel.run(60.0)
    for size in (0.5, 5.0, 50.0, 1000.0):
        channel.run(0.1, size)
        assert not channel.detector.early
        channel.run(30.0)
    assert not channel.detector.early


def test_a_slow_drift_is_followed() -> None:
    """0.1 ppm an hour, five times the usual drift, raises nothing in two hours."""
    channel = Channel()
    channel.run(7200.0, lambda t_s: 0.1 * t_s / 3600.0)
    assert not channel.detector.early
    assert channel.detector.sure_tier.baseline_ppm == pytest.approx(0.19, abs=0.03)
    assert channel.detector.zero_words() is None


def test_a_ramp_that_the_early_tier_hears_does_not_become_a_sure_leak() -> None:
    """0.2 ppm in 10 min, and there to stay: the early tier's baseline stops, the sure one's follows it."""
    channel = Channel()
    channel.run(600.0)
    assert channel.run(600.0, lambda t_s: 0.2 * t_s / 600.0) is None
    assert channel.run(3600.0, 0.2) is None
    assert channel.detector.early
    assert channel.detector.sure_tier.baseline_ppm == pytest.approx(0.2, abs=0.03)


def test_a_zero_that_went_far_is_told() -> None:
    """Beyond 0.3 ppm the baseline follows no more, and says by how much the reading errs."""
    channel = Channel()
    channel.run(4 * 3600.0, lambda t_s: -0.1 * t_s / 3600.0)
    words = channel.detector.zero_words()
    assert words is not None
    assert "-0.3 ppm" in words
    assert channel.detector.sure_tier.baseline_ppm == pytest.approx(-0.3, abs=0.001)


def test_a_zero_that_drifts_on_upwards_is_no_sure_leak() -> None:
    """0.6 ppm an hour for two hours: followed, told as drift or a small leak, and heard by the early tier alone."""
    channel = Channel()
    assert channel.run(7200.0, lambda t_s: 0.6 * t_s / 3600.0) is None
    detector = channel.detector
    assert detector.sure_tier.baseline_ppm == pytest.approx(1.15, abs=0.1)
    assert detector.early
    words = detector.zero_words()
    assert words is not None
    assert words.startswith("gas zero drifted, or gas rose as slowly: the reading errs by +1.2 ppm or more")


def test_what_rises_faster_than_a_zero_drifts_is_a_leak() -> None:
    """2 ppm an hour is followed to 0.3 ppm at the most at that pace: a sure leak before 0.8 ppm."""
    found_s = Channel().run(3600.0, lambda t_s: 2.0 * t_s / 3600.0)
    assert found_s is not None
    assert 2.0 * found_s / 3600.0 < 0.8


@pytest.mark.parametrize("seed", range(5))
def test_a_zero_that_is_off_from_the_start_is_no_sure_leak(seed: int) -> None:
    """0.24 ppm from the first reading on have not risen while anybody watched: the early tier alone tells them."""
    channel = Channel(seed)
    assert channel.run(600.0, 0.24) is None
    assert tiers(channel) == (True, False)


def test_a_leak_after_a_start_off_zero_is_heard_as_soon() -> None:
    """The baseline begins where the reading is: a minute later 1 ppm more is heard within 7 s."""
    channel = Channel()
    channel.run(60.0, 0.24)
    heard_s = channel.run(30.0, lambda t_s: 0.24 + leak(1.0)(t_s))
    assert heard_s is not None
    assert heard_s < 7.0


def test_what_stands_far_over_zero_from_the_start_is_a_sure_leak() -> None:
    """0.4 ppm are more than a zero is believed to be off: they are not taken for it."""
    found_s = Channel().run(60.0, 0.4)
    assert found_s is not None
    assert found_s < 20.0


@pytest.mark.parametrize("off_ppm", [-0.5, -2.0])
def test_a_cold_cell_on_its_way_up_is_no_sure_leak(off_ppm: float) -> None:
    """It comes to its zero with 120 s: the baseline has not gone down with it so far that its way up is a leak."""
    channel = Channel()
    assert channel.run(1800.0, lambda t_s: off_ppm * exp(-t_s / 120.0)) is None


def test_a_leak_is_heard_after_a_zero_came_back() -> None:
    """A baseline that was led up goes down with the reading at once, and hears a leak from there as soon."""
    channel = Channel()
    channel.run(7200.0, lambda t_s: 0.6 * t_s / 3600.0)
    channel.run(1800.0)
    assert channel.detector.zero_words() is None
    assert channel.detector.sure_tier.baseline_ppm == pytest.approx(0.0, abs=0.03)
    found_s = channel.run(30.0, leak(1.0))
    assert found_s is not None
    assert found_s < 7.0


def test_a_reading_that_goes_low_is_a_fault() -> None:
    """NO2 and chlorine drive an SO2 cell negative: after ten seconds it is said, and unsaid when it comes back."""
    channel = Channel()
    channel.run(120.0)
    channel.run(9.0, -0.8)
    assert fault(channel) is None
    channel.run(3.0, -0.8)
    assert (fault(channel), tiers(channel)) == (LOW, (False, False))
    channel.run(5.0)
    assert fault(channel) is None


def test_the_end_of_a_leak_is_no_low() -> None:
    """When a leak that crept up ends, the reading falls back to its zero and no fault is said."""
    channel = Channel()
    channel.run(1800.0, lambda t_s: 0.25 * t_s / 1800.0)
    channel.run(120.0)
    assert fault(channel) is None


def test_an_unknown_reading_changes_nothing() -> None:
    """Neither sums nor baseline nor tiers move while the reading is unknown, however long."""
    channel = Channel()
    channel.run(120.0)
    channel.run(20.0, leak(1.0))
    before = state(channel)
    assert channel.detector.sure
    for _ in range(6000):
        channel.i += 1
        assert not channel.detector.feed(channel.i * 0.1, UNKNOWN)
    assert state(channel) == before
    assert channel.detector.sure


def test_over_range_counts_as_the_range() -> None:
    """A sensor driven over its range at once is a leak, not an unknown and not a zero."""
    channel = Channel()
    channel.run(60.0)
    for _ in range(5):
        channel.i += 1
        channel.detector.feed(channel.i * 0.1, Reading(None, why="over", at_least=20.0))
    assert channel.detector.sure


def test_a_gap_weighs_no_more_than_a_sample() -> None:
    """After lost samples the next one counts as one step: its noise is that of one sample."""
    detector = LeakDetector(NOISE)
    detector.feed(0.0, Reading(0.0))
    detector.feed(60.0, Reading(0.45))
    assert detector.sure_tier.sums[0] == pytest.approx(8 * 0.45)
    detector.feed(60.0, Reading(0.45))  # the same moment twice
    detector.feed(59.0, Reading(0.45))  # time going back
    assert detector.sure_tier.sums[0] == pytest.approx(8 * 0.45)


def test_noise_is_learned_and_believed_slowly() -> None:
    """A channel as noisy as stated keeps its thresholds; one 1.5 times as noisy is known for it within two hours."""
    quiet, noisy = Channel(3), Channel(3, 1.5 * SAMPLE_NOISE)
    quiet.run(7200.0)
    noisy.run(7200.0)
    assert quiet.detector.noise.ppm == NOISE
    assert 1.25 * NOISE < noisy.detector.noise.ppm < 1.6 * NOISE


def test_neither_a_leak_nor_a_door_swells_the_noise() -> None:
    """After doors every ten minutes and a leak of half an hour the noise is believed to be what it was."""
    channel = Channel()
    for _ in range(6):
        channel.run(540.0)
        channel.run(60.0, lambda t_s: 0.15 * exp(-t_s / 20.0))
    channel.run(1800.0, leak(0.7))
    channel.run(300.0)
    assert channel.detector.noise.ppm == pytest.approx(NOISE, rel=0.02)


def test_quiet_hours_stay_quiet() -> None:
    """In 200 quiet hours the sure tier does not speak, the early one once at most (0.2 are expected)."""
    rng = np.random.default_rng(11)
    fleet = Fleet(NOISE, 1000)
    early = np.zeros(1000, dtype=bool)
    for i in range(7200):
        fleet.feed(i * 0.1, rng.standard_normal(1000) * SAMPLE_NOISE)
        early |= fleet.early
        assert not fleet.sure.any()
        assert not fleet.fault.any()
    assert early.sum() <= 1


def test_doors_are_no_sure_leaks() -> None:
    """Of 2000 doors, each 0.15 ppm for six seconds and gone within the minute, two are heard (0.8 are promised)."""
    rng = np.random.default_rng(12)
    fleet = Fleet(NOISE, 2000)
    heard = np.zeros(2000, dtype=bool)
    for i in range(1200):
        door = 0.15 * 0.7 ** ((i - 600) // 60) if i >= 600 else 0.0
        fleet.feed(i * 0.1, door + rng.standard_normal(2000) * SAMPLE_NOISE)
        heard |= fleet.sure
    assert heard.sum() <= 2


@pytest.mark.parametrize("stated_ppm", [1e-9, 1e-4])
def test_a_channel_said_to_be_without_noise_still_hears_a_leak_and_no_zero(stated_ppm: float) -> None:
    """A noise far under any cell's, stated in the bench file, makes neither a false alarm nor a deaf detector."""
    detector = LeakDetector(stated_ppm)
    told = []
    for n in range(900):
        rise_ppm = 1.0 - exp(-(n - 600) / 130.0) if n >= 600 else 0.0001 * (n % 3 - 1)
        detector.feed(n / 10, Reading(rise_ppm))
        told.append((detector.early, detector.sure))
    assert set(told[:600]) == {(False, False)}
    assert told[-1] == (True, True)
