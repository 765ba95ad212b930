"""Local trips: after three samples, latched, cleared only when the cause is gone."""

from __future__ import annotations

import pytest

from tests.firmware.conftest import Kept
from tests.firmware.lines import Answer, answers, tc_word

pytestmark = pytest.mark.firmware

COLD = tc_word(22 * 4)
TC_TRIP = 1200  # 300 °C
GAS_TRIP = 20032  # 313 counts x 64


@pytest.fixture
def limited(kept: Kept) -> Kept:
    """A board with limits set and the permit on."""
    kept.firmware.gas_sum(8384, noise_counts=0)
    kept.run(200)
    assert answers(kept.ask(f"L,#,{TC_TRIP},{GAS_TRIP}"))[0].result == 0
    kept.run(480)
    assert kept.firmware.permit_pin()
    return kept


def test_heat_trips_after_three_samples(limited: Kept) -> None:
    """At the limit the third sample in a row, and not the second, latches the overheat trip and ends the permit."""
    limited.firmware.tc_word(tc_word(TC_TRIP))
    got = limited.run(500)
    hot = [s for s in got if s.tc == tc_word(TC_TRIP)]
    assert [s.heat_trip for s in hot[:4]] == [False, False, True, True]
    assert [s.permit for s in hot[:4]] == [True, True, False, False]
    assert not limited.firmware.permit_pin()
    assert got[-1].buzzer


def test_below_the_limit_nothing_trips(limited: Kept) -> None:
    """A quarter of a degree under the limit does not trip, however long."""
    limited.firmware.tc_word(tc_word(TC_TRIP - 1))
    assert not any(s.heat_trip for s in limited.run(5000))
    assert limited.firmware.permit_pin()


def test_two_samples_are_no_trip(limited: Kept) -> None:
    """Two hot samples, a cool one, two hot ones: no trip."""
    for _ in range(3):
        limited.firmware.tc_word(tc_word(TC_TRIP + 40))
        limited.run(200)
        limited.firmware.tc_word(COLD)
        limited.run(100)
    assert not limited.run(300)[-1].heat_trip


def test_below_freezing_is_not_hot(limited: Kept) -> None:
    """A negative hot junction is read as negative: -20 °C does not trip."""
    limited.firmware.tc_word(tc_word(-80, -5 * 16))
    assert not any(s.heat_trip for s in limited.run(1000))


@pytest.mark.parametrize(
    "word",
    [
        pytest.param(tc_word(88, faults=1), id="open"),
        pytest.param(tc_word(88, faults=2), id="short-to-ground"),
        pytest.param(tc_word(88, faults=4), id="short-to-supply"),
        pytest.param(tc_word(88) | 1 << 16, id="any-fault-bit-alone"),
        pytest.param(0xFFFFFFFF, id="silent-high"),
        pytest.param(0x00000000, id="silent-low"),
        pytest.param(tc_word(88) | 1 << 17, id="bit-17-not-zero"),
        pytest.param(tc_word(88) | 1 << 3, id="bit-3-not-zero"),
    ],
)
def test_a_thermocouple_not_to_be_believed_trips(limited: Kept, word: int) -> None:
    """A fault bit, a converter that does not answer, or a word that breaks the layout trips within half a second."""
    limited.firmware.tc_word(word)
    got = limited.run(500)
    assert got[-1].tc == word
    assert got[-1].heat_trip
    assert not got[-1].permit


def test_gas_trips_after_three_samples(limited: Kept) -> None:
    """At the limit the third sample in a row latches the gas trip and ends the permit."""
    limited.firmware.gas_sum(GAS_TRIP, noise_counts=0)
    got = limited.run(600)
    high = [s for s in got if s.gas_sum >= GAS_TRIP]
    assert [s.gas_trip for s in high[:4]] == [False, False, True, True]
    assert not limited.firmware.permit_pin()
    assert not got[-1].heat_trip


def test_gas_below_the_limit_does_not_trip(limited: Kept) -> None:
    """One count of the converter under the limit does not trip."""
    limited.firmware.gas_sum(GAS_TRIP - 64, noise_counts=0)
    got = limited.run(2000)
    assert got[-1].gas_sum == GAS_TRIP - 64
    assert not any(s.gas_trip for s in got)


def test_a_trip_latches(limited: Kept) -> None:
    """With the cause gone the trip stays, and no keep-alive brings the permit back."""
    limited.firmware.tc_word(0xFFFFFFFF)
    limited.run(500)
    limited.firmware.tc_word(COLD)
    got = limited.run(5000)
    assert all(s.heat_trip and not s.permit and s.buzzer for s in got)


def test_clear_is_refused_while_the_cause_stands(limited: Kept) -> None:
    """C is refused as long as the gas is at its limit, and done once it is not."""
    limited.firmware.gas_sum(GAS_TRIP + 640, noise_counts=0)
    limited.run(500)
    assert answers(limited.ask("C,4711")) == [Answer("C", 4711, 1)]
    assert limited.run(500)[-1].gas_trip
    limited.firmware.gas_sum(8384, noise_counts=0)
    limited.run(300)
    assert answers(limited.ask("C,4712")) == [Answer("C", 4712, 0)]
    assert not limited.run(200)[-1].gas_trip


def test_clear_does_not_permit(limited: Kept) -> None:
    """After C the permit stays off until a keep-alive asks for it."""
    limited.firmware.tc_word(0x00000000)
    limited.run(500)
    limited.firmware.tc_word(COLD)
    limited.run(300)
    assert answers(limited.ask("C,9"))[0].result == 0
    assert not limited.firmware.permit_pin()
    limited.silent(1000)
    assert not limited.firmware.permit_pin()
    limited.run(100)
    assert limited.firmware.permit_pin()


def test_clear_with_one_of_two_causes_gone(limited: Kept) -> None:
    """With both trips latched and only one cause gone, C is refused and both stay."""
    limited.firmware.gas_sum(GAS_TRIP + 640, noise_counts=0)
    limited.firmware.tc_word(0xFFFFFFFF)
    limited.run(500)
    limited.firmware.tc_word(COLD)
    limited.run(300)
    assert answers(limited.ask("C,1"))[0].result == 1
    s = limited.run(200)[-1]
    assert s.heat_trip
    assert s.gas_trip


def test_a_trip_latches_with_the_permit_off(kept: Kept) -> None:
    """A cause trips whether or not anything was permitted, so that it is seen before heat is asked for."""
    kept.firmware.tc_word(0xFFFFFFFF)
    assert kept.silent(450)[-1].heat_trip


@pytest.mark.parametrize(("quarter_c", "trips"), [(1359, False), (1360, True)])
def test_heat_limit_before_any_l(kept: Kept, quarter_c: int, trips: bool) -> None:
    """Until the host sets limits, 340 °C trips."""
    kept.firmware.tc_word(tc_word(quarter_c))
    assert kept.run(600)[-1].heat_trip is trips


@pytest.mark.parametrize(("counts", "trips"), [(511, False), (512, True)])
def test_gas_limit_before_any_l(kept: Kept, counts: int, trips: bool) -> None:
    """Until the host sets limits, half of the gas channel's scale trips."""
    kept.firmware.gas_sum(64 * counts, noise_counts=0)
    assert kept.run(600)[-1].gas_trip is trips


@pytest.mark.parametrize("limits", ["8192,20000", "1000,65473", "65535,65535"])
def test_limits_beyond_the_scale_are_refused(limited: Kept, limits: str) -> None:
    """Limits that no reading can reach are refused, and the old ones remain."""
    assert answers(limited.ask(f"L,77,{limits}")) == [Answer("L", 77, 1)]
    limited.firmware.tc_word(tc_word(TC_TRIP))
    assert limited.run(500)[-1].heat_trip


def test_the_ends_of_the_scale_are_limits(limited: Kept) -> None:
    """8191 quarter degrees and a gas_sum of 65472 are accepted."""
    assert answers(limited.ask("L,78,8191,65472")) == [Answer("L", 78, 0)]
    limited.firmware.gas_sum(65472, noise_counts=0)
    assert limited.run(600)[-1].gas_trip


def test_lower_limits_act_at_once(limited: Kept) -> None:
    """A limit set under the present reading trips within half a second."""
    limited.firmware.tc_word(tc_word(400))
    assert not limited.run(500)[-1].heat_trip
    limited.ask("L,#,400,20000")
    assert limited.run(500)[-1].heat_trip
