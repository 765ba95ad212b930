"""Type K by ITS-90, the converter's line undone, and what each sensor says when it is not to be believed."""

from __future__ import annotations

import numpy as np
import pytest
import thermocouple_its90
import thermocouples_reference
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.events import Reading
from monitor.core.frames import SampleFrame
from monitor.core.sensing import GasSense, PlateSense, gas_trip_sum, tc_trip_quarters
from monitor.core.typek import emf_mv, reported_hot_c, temperature_c, true_hot_c
from monitor.terms import GasTerms, Measured, ThermocoupleTerms
from tests.core.lines import tc_word

REFERENCE = thermocouples_reference.thermocouples["K"]
GAS = GasTerms(zero_sum=8410.0, ppm_per_sum=0.00412, range_ppm=20.0, relative_u=0.05, noise_ppm=0.05)
COUPLE = ThermocoupleTerms(Measured(0.4, 0.8))
SUM_MAX = 64 * 1023  # 64 readings of a 10-bit converter (protocol)


def frame(tc: int = 0x01601600, gas_sum: int = 8410, gas_span: int = 5) -> SampleFrame:
    return SampleFrame(7, 0, 0, 0, 0, 0, tc, gas_sum, gas_span, 8)


# --- ITS-90 ---------------------------------------------------------------------------------------------------


def test_emf_is_that_of_two_packages() -> None:
    """The reference function is that of thermocouples_reference 0.20 and thermocouple-its90 1.0.2, to a nanovolt."""
    t_c = np.arange(-270.0, 1372.01, 1.0)
    packaged = REFERENCE.func(t_c)
    for t, mv in zip(t_c.tolist(), packaged.tolist(), strict=True):
        assert emf_mv(t) == pytest.approx(mv, abs=1e-6)
        assert emf_mv(t) == pytest.approx(thermocouple_its90.TypeK.emf(t), abs=1e-6)


@pytest.mark.parametrize(
    ("t_c", "mv"), [(25, 1.0002), (100, 4.0962), (200, 8.1385), (300, 12.2086), (400, 16.3971), (500, 20.6443)]
)
def test_printed_table_points(t_c: float, mv: float) -> None:
    """Points of the printed type K table, 0 °C reference (NIST Monograph 175; both packages agree with them)."""
    assert emf_mv(t_c) == pytest.approx(mv, abs=5e-5)
    found = temperature_c(mv)
    assert found is not None
    assert found == pytest.approx(t_c, abs=0.003)


@given(st.floats(-199.9, 1371.9))
def test_inverse_undoes_the_reference_function(t_c: float) -> None:
    """Temperature to emf and back is the same temperature, to a thousandth of a degree."""
    found = temperature_c(emf_mv(t_c))
    assert found is not None
    assert found == pytest.approx(t_c, abs=1e-3)


@given(st.floats(-200.0, 1371.0), st.floats(0.01, 1.0))
def test_emf_rises(t_c: float, more_c: float) -> None:
    """A hotter junction never gives less."""
    assert emf_mv(t_c + more_c) > emf_mv(t_c)


@pytest.mark.parametrize("mv", [-6.5, -5.9, 54.9, 80.0, float("inf"), float("nan")])
def test_no_temperature_outside_the_table(mv: float) -> None:
    """An emf that no type K gives has no temperature."""
    assert temperature_c(mv) is None


@pytest.mark.parametrize(("hot_c", "low_c"), [(200.0, 2.06), (300.0, 3.45)])
def test_the_converters_line_is_undone(hot_c: float, low_c: float) -> None:
    """With its junction at 25 °C the straight line reads 2.06 °C low at 200 and 3.45 low at 300: both are undone.

    The two figures were computed with thermocouples_reference 0.20.
    """
    line_c = 25.0 + float(REFERENCE.func(np.array([hot_c]))[0] - REFERENCE.func(np.array([25.0]))[0]) / 0.041276
    assert hot_c - line_c == pytest.approx(low_c, abs=0.006)
    assert reported_hot_c(hot_c, 25.0) == pytest.approx(line_c, abs=1e-4)
    found = true_hot_c(line_c, 25.0)
    assert found is not None
    assert found == pytest.approx(hot_c, abs=0.002)


# --- the plate ------------------------------------------------------------------------------------------------


@given(st.floats(-20.0, 600.0), st.floats(0.1, 60.0))  # 0 and 0 °C would be the word of a silent converter
def test_plate_is_right_within_the_converters_steps(hot_c: float, cold_c: float) -> None:
    """A plate of any temperature is read within half the converter's steps of it, and its offset is added."""
    word = tc_word(reported_hot_c(hot_c, cold_c), cold_c)
    got = PlateSense(COUPLE).read(frame(word))
    assert got.value is not None
    # Half a step of the hot junction is 0.125 °C by the line, up to 0.145 at the type's smallest slope near 0 °C.
    assert got.value - 0.4 == pytest.approx(hot_c, abs=0.21)


def test_plate_uncertainty_holds_offset_and_step() -> None:
    """Its uncertainty joins the offset's with the step's, width/√12 (JCGM 100:2008, 4.3.7)."""
    got = PlateSense(COUPLE).read(frame(tc_word(100.0)))
    assert got.u == pytest.approx((0.8**2 + 0.25**2 / 12) ** 0.5)


@pytest.mark.parametrize(
    ("word", "words"),
    [
        (tc_word(0.0, 25.0, 1), "open circuit"),
        (tc_word(0.0, 25.0, 2), "short to ground"),
        (tc_word(0.0, 25.0, 4), "short to supply"),
        (tc_word(100.0, 25.0) | 1 << 16, "kind not told"),
        (0x00000000, "does not answer"),
        (0xFFFFFFFF, "does not answer"),
        (tc_word(2000.0, 25.0), "outside type K"),
    ],
)
def test_a_faulty_thermocouple_has_no_value(word: int, words: str) -> None:
    """A fault is no temperature at once, and a fault for sure at the third sample in a row; a good one ends it."""
    sense = PlateSense(COUPLE)
    for n in range(5):
        got = sense.read(frame(word))
        assert got.value is None
        assert got.why is not None
        assert words in got.why
        assert (sense.fault is not None) == (n >= 2)
    assert sense.read(frame()).value is not None
    assert sense.fault is None


def test_faults_apart_are_no_fault() -> None:
    """Two bad samples, a good one and two more are no fault."""
    sense = PlateSense(COUPLE)
    for word in (0, 0, 0x01601600, 0, 0):
        sense.read(frame(word))
        assert sense.fault is None


def test_plate_remembers_without_growing() -> None:
    """The words it has converted are kept up to a bound, and a word is converted the same before and after it."""
    sense = PlateSense(COUPLE)
    first = sense.read(frame(tc_word(118.25, 24.5)))
    for n in range(20_000):
        sense.read(frame((n << 18 | 0x1900) & 0xFFFFFFFF))
        assert len(sense._seen) <= 4096
    assert sense.read(frame(tc_word(118.25, 24.5))) == first


# --- the gas --------------------------------------------------------------------------------------------------


@given(st.integers(8410, 8410 + 4854))
def test_gas_is_linear_in_the_sum(gas_sum: int) -> None:
    """ppm = (gas_sum − zero_sum) × ppm_per_sum, up to the sensor's range."""
    got = GasSense(GAS).read(frame(gas_sum=gas_sum))
    assert got.value == pytest.approx((gas_sum - 8410) * 0.00412)
    assert got.u is not None
    assert got.u >= 0.05 * (gas_sum - 8410) * 0.00412


@pytest.mark.parametrize(
    ("gas_sum", "words"),
    [(SUM_MAX, "top of its converter"), (0, "bottom of its converter"), (8410 - 250, "under zero by more than 5 %")],
)
def test_gas_at_an_end_is_a_fault(gas_sum: int, words: str) -> None:
    """At an end of the converter, or under zero by over 5 % of the range, there is no value; a fault at the third."""
    sense = GasSense(GAS)
    for n in range(5):
        got = sense.read(frame(gas_sum=gas_sum, gas_span=3))
        assert (got.value, got.at_least) == (None, None)
        assert got.why is not None
        assert words in got.why
        assert (sense.fault is not None) == (n >= 2)
    assert sense.read(frame()).value is not None
    assert sense.fault is None


def test_gas_a_little_under_zero_is_believed() -> None:
    """Noise under the calibrated zero is a reading; only beyond 5 % of the range (1 ppm here) is it none."""
    got = GasSense(GAS).read(frame(gas_sum=8410 - 240))
    assert got.value == pytest.approx(-0.9888)


def test_gas_over_its_range_is_known_to_be_at_least_there() -> None:
    """Over the sensor's range there is no value, but the range as the least, and no fault: there may be gas."""
    sense = GasSense(GAS)
    for _ in range(10):
        got = sense.read(frame(gas_sum=8410 + 5000))
        assert got == Reading(None, why="over the sensor's range", at_least=20.0)
        assert sense.fault is None


def test_gas_frozen_for_twenty_samples() -> None:
    """No change and no spread for 20 samples (2 s) is a frozen channel; a dither of one count is a live one."""
    sense = GasSense(GAS)
    for n in range(1, 40):
        got = sense.read(frame(gas_sum=8500, gas_span=0))
        assert (sense.fault is not None) == (n >= 20)
        assert (got.value is None) == (n >= 20)
    assert sense.read(frame(gas_sum=8501, gas_span=0)).value is not None
    assert sense.fault is None
    for _ in range(100):
        sense.read(frame(gas_sum=8500, gas_span=1))
        assert sense.fault is None


# --- the board's own limits -----------------------------------------------------------------------------------


@given(st.floats(50.0, 1300.0), st.floats(-10.0, 10.0), st.floats(5.0, 50.0))
def test_the_boards_heat_limit_is_the_true_one(limit_c: float, offset_c: float, cold_c: float) -> None:
    """The limit given to the board, read back as the plate is read, is the true limit or at most 0.3 °C under it."""
    quarters = tc_trip_quarters(limit_c, offset_c, cold_c)
    true_c = true_hot_c(quarters * 0.25, cold_c)
    assert true_c is not None
    assert limit_c - 0.32 <= true_c + offset_c <= limit_c + 1e-6


@given(st.floats(0.1, 20.0))
def test_the_boards_gas_limit_is_the_true_one(limit_ppm: float) -> None:
    """The gas limit given to the board is the true limit or at most one count under it."""
    ppm = (gas_trip_sum(limit_ppm, GAS) - GAS.zero_sum) * GAS.ppm_per_sum
    assert limit_ppm - GAS.ppm_per_sum - 1e-9 <= ppm <= limit_ppm + 1e-9


def test_the_boards_limits_fit_their_fields() -> None:
    """A limit beyond the converter's end is its end, never a number that the board must refuse."""
    assert gas_trip_sum(1e6, GAS) == SUM_MAX
    assert tc_trip_quarters(1.0, 50.0) == 0
