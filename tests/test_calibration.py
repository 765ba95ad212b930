"""Calibration's arithmetic against the worked examples of the GUM, steam tables, and repeats made by hand."""

from __future__ import annotations

from math import inf, nan, sqrt

import pytest

from monitor.calibration import (
    CalibrationError,
    Counted,
    Part,
    Point,
    block_means,
    boiling_point_c,
    bump_passed,
    combined,
    effective_freedom,
    gas_span,
    gas_zero,
    of_repeats,
    outliers,
    quantity,
    rectangular,
    standard_error,
    thermocouple_offset,
    unit_volume_ul,
)

# JCGM 100:2008, Table H.2: five sets of simultaneous observations (from memory of the table).
GUM_H2 = (
    ((5.007, 4.994, 5.005, 4.990, 4.999), 4.9990, 0.0032),  # V
    ((19.663, 19.639, 19.640, 19.685, 19.678), 19.6610, 0.0095),  # mA
    ((1.0456, 1.0438, 1.0468, 1.0428, 1.0433), 1.04446, 0.00075),  # rad
)


@pytest.mark.parametrize(("values", "mean", "u"), GUM_H2)
def test_type_a_against_gum_h2(values: tuple[float, ...], mean: float, u: float) -> None:
    """Mean and standard uncertainty of repeats are those printed in JCGM 100:2008, example H.2."""
    found = of_repeats(values)
    assert found.mean == pytest.approx(mean, abs=5e-6)
    assert float(f"{found.u:.2g}") == pytest.approx(u)
    assert found.freedom == pytest.approx(4.0)


def test_combination_against_gum_h1() -> None:
    """Combined uncertainty and degrees of freedom are those of JCGM 100:2008, example H.1: 32 nm, 16.7 (memory)."""
    parts = (Part("standard", 25.0, 18), Part("comparator", 9.7, 25.6), Part("dα", 2.9, 50), Part("dθ", 16.6, 2))
    assert combined(parts) == pytest.approx(32.0, abs=0.5)
    assert effective_freedom(parts) == pytest.approx(16.7, abs=0.3)


def test_combination_against_quam_a1() -> None:
    """Volume and standard are those of the EURACHEM/CITAC guide QUAM, example A1, its tables A1.1 and A1.3.

    A flask of 100 mL: ± 0.1 mL triangular, repeated within 0.02 mL, ± 0.084 mL by temperature, together 0.07 mL;
    with 100.28 ± 0.05 mg of metal of purity 0.9999 ± 0.0001 it is 1002.7 mg/L with 0.9 mg/L.
    """
    volume_ml = (
        Part("calibration", 0.1 / sqrt(6.0)),
        Part("repeatability", 0.02),
        Part("temperature", rectangular(0.084)),
    )
    assert combined(volume_ml) == pytest.approx(0.07, abs=0.005)
    relative = (
        Part("purity", rectangular(0.0001) / 0.9999),
        Part("mass", 0.05 / 100.28),
        Part("volume", 0.07 / 100.0),  # as printed, rounded
    )
    assert rectangular(0.0001) == pytest.approx(0.000058, abs=5e-7)
    assert combined(relative) * 1002.7 == pytest.approx(0.9, abs=0.05)


def test_type_b_against_gum() -> None:
    """Type B parts are those of JCGM 100:2008: 0.29 δ for a display of step δ (F.2.2.1), a/√3 (4.3.7)."""
    assert rectangular(0.5) == pytest.approx(0.29, abs=0.002)
    # 4.3.7: copper's expansion within 16.52 ± 0.40 e-6/K has u = 0.23 e-6/K
    assert rectangular(0.40) == pytest.approx(0.23, abs=0.005)


# Saturation temperature of water, °C: (hPa, °C, tolerance).
STEAM = (
    (1000.0, 99.605919, 1e-6),  # IAPWS R7-97(2012), Table 36: 372.755919 K at 0.1 MPa
    (1013.25, 99.974, 5e-4),  # IAPWS-95 at one atmosphere, 99.974 °C (CRC Handbook, from memory)
    (700.0, 89.93, 0.02),  # steam tables, 0.07 MPa: 89.93 °C (from memory)
    (500.0, 81.32, 0.02),  # steam tables, 0.05 MPa: 81.32 °C (from memory)
)


@pytest.mark.parametrize(("hpa", "true_c", "tolerance"), STEAM)
def test_boiling_point_against_tables(hpa: float, true_c: float, tolerance: float) -> None:
    """Water boils where the steam tables say."""
    assert boiling_point_c(hpa) == pytest.approx(true_c, abs=tolerance)


@pytest.mark.parametrize("hpa", [500.0, 700.0, 850.0, 950.0, 1013.25, 1050.0, 1100.0])
def test_boiling_point_against_iapws_95(hpa: float) -> None:
    """IAPWS-IF97 and the reference equation IAPWS-95, as CoolProp has it, agree to 0.01 °C."""
    from CoolProp.CoolProp import PropsSI

    assert boiling_point_c(hpa) == pytest.approx(PropsSI("T", "P", hpa * 100.0, "Q", 0, "Water") - 273.15, abs=0.01)


@pytest.mark.parametrize("hpa", [0.0, 29.9, 760.0e3, float("nan")])
def test_no_such_pressure(hpa: float) -> None:
    """A pressure that is in another unit, or none, is refused."""
    with pytest.raises(CalibrationError, match="wanted the room's own"):
        boiling_point_c(hpa)


def test_outliers_are_shown_and_kept() -> None:
    """A modified z-score over 3.5 (Iglewicz & Hoaglin 1993) marks a repeat; the mean keeps it.

    Scores by hand: median 38.2, MAD 0.1, so 0.6745 × 0.6 / 0.1 = 4.05 is over, 0.6745 × 0.5 / 0.1 = 3.37 is not.
    """
    values = (38.1, 38.2, 38.3, 38.2, 38.8, 38.1, 38.3)
    assert outliers(values) == (4,)
    assert of_repeats(values).mean == pytest.approx(sum(values) / 7)
    assert outliers((38.1, 38.2, 38.3, 38.2, 38.7, 38.1, 38.3)) == ()
    assert outliers((38.0, 38.0, 38.0, 41.0)) == (3,)
    assert outliers((38.0, 38.0, 38.0)) == ()


def test_drops_into_a_cylinder() -> None:
    """A drop's volume is volume over count; the cylinder's step counts twice, for it is read twice."""
    repeats = [Counted(100, 3.8), Counted(120, 4.6), Counted(110, 4.2)]
    found = unit_volume_ul(repeats, 0.1)
    each = (38.0, 38.3333333, 38.1818182)
    assert found.mean == pytest.approx(sum(each) / 3)
    reading = 0.1 * sqrt(2.0) / sqrt(12.0) / 4.2 * found.mean
    assert found.u == pytest.approx(sqrt(standard_error(each) ** 2 + reading**2))


def test_drops_onto_a_balance() -> None:
    """Weighed drops are divided by the acid's density, and its uncertainty counts.

    1.1493 g/mL is 30 % HCl at 20 °C, CRC Handbook 102nd ed.
    """
    repeats = [Counted(100, 4.42), Counted(100, 4.42), Counted(100, 4.42)]
    found = unit_volume_ul(repeats, 0.001, density=(1.1493, 0.01))
    assert found.mean == pytest.approx(38.458, abs=0.001)
    assert found.u == pytest.approx(found.mean * 0.01 / 1.1493, rel=0.01)


@pytest.mark.parametrize(
    ("repeats", "resolution", "words"),
    [
        ([], 0.1, "found 0 repeats"),
        ([Counted(100, 3.8)] * 2, 0.1, "found 2 repeats, wanted at least 3"),
        ([Counted(100, 3.8)] * 2 + [Counted(5, 0.2)], 0.01, "repeat 3: found a count of 5"),
        ([Counted(100, 3.8)] * 2 + [Counted(100, 0.0)], 0.1, "repeat 3: found an amount of 0"),
        ([Counted(100, 0.4)] * 3, 0.1, "at least 5 steps"),
        ([Counted(100, 3.8)] * 3, 0.0, "resolution of 0"),
        ([Counted(100, 380.0)] * 3, 0.1, "wanted from 1 to 500 µL"),
        ([Counted(100, 3.8), Counted(100, 3.8), Counted(50, 3.8)], 0.1, "scatter"),
        ([Counted(100, float("nan"))] * 3, 0.1, "found an amount of nan"),
    ],
)
def test_nonsense_drops(repeats: list[Counted], resolution: float, words: str) -> None:
    """Counts and amounts that cannot be right are refused in one sentence."""
    with pytest.raises(CalibrationError, match=words):
        unit_volume_ul(repeats, resolution)


def test_thermocouple_offset() -> None:
    """The offset is the mean of the two; its uncertainty grows with what they differ by and how far the plate is."""
    true_c = boiling_point_c(990.0)
    found = thermocouple_offset(Point(-0.3), Point(true_c - 0.5), 990.0, 1.0, 320.0)
    assert found.mean == pytest.approx(0.4)
    nearer = thermocouple_offset(Point(-0.3), Point(true_c - 0.5), 990.0, 1.0, 110.0)
    worse = thermocouple_offset(Point(-0.1), Point(true_c - 0.9), 990.0, 1.0, 320.0)
    assert nearer.u < found.u < worse.u


@pytest.mark.parametrize(
    ("ice_c", "steam_c", "words"),
    [
        (0.2, 97.9, "do not average it"),
        (25.0, 99.5, "at the ice point"),
        (0.2, -60.0, "at the steam point"),
        (0.2, float("nan"), "at the steam point"),
    ],
)
def test_no_such_points(ice_c: float, steam_c: float, words: str) -> None:
    """A junction that is not in ice or steam, or a wire that errs, is refused and never averaged."""
    with pytest.raises(CalibrationError, match=words):
        thermocouple_offset(Point(ice_c), Point(steam_c), 1000.0, 1.0, 320.0)


def test_gas_zero_and_span() -> None:
    """Zero and span give back the line that the sums were made from; a weak test gas's error is in the result."""
    zero = gas_zero((8400, 8404, 8402, 8401, 8403, 8402), 8410.0, 0.00412, 20.0)
    assert zero.mean == pytest.approx(8402.0)
    span = gas_span((10902, 10900, 10904, 10901, 10903, 10902), 10.0, 0.2, zero.mean, zero.u, 0.00412, 20.0)
    assert span.ppm_per_sum == pytest.approx(0.004)
    assert span.relative_u == pytest.approx(sqrt(0.02**2 + 0.05**2 / 3), rel=0.01)


@pytest.mark.parametrize(
    ("sums", "words"),
    [
        ((8402, 8402, 8402, 8402, 8402, 8402), "a live channel dithers"),
        ((8402, 8420, 8440, 8460, 8480, 8500), "stands still"),
        ((9902, 9900, 9904, 9901, 9903, 9902), "is the air clean"),
        ((65472, 65472, 65472), "the end of its converter"),
        ((8402, 8400), "found 2 repeats"),
    ],
)
def test_no_zero(sums: tuple[float, ...], words: str) -> None:
    """A dead, drifting or pegged channel, or one that smells gas, gives no zero."""
    with pytest.raises(CalibrationError, match=words):
        gas_zero(sums, 8410.0, 0.00412, 20.0)


@pytest.mark.parametrize(
    ("sums", "given_ppm", "words"),
    [
        ((10902, 10900, 10904), 30.0, "within the sensor's range"),
        ((10902, 10900, 10904), 0.5, "within the sensor's range"),
        ((8400, 8401, 8399), 10.0, "no rise"),
        ((9000, 9001, 8999), 10.0, "used up"),
        ((10000, 10400, 10900), 10.0, "stands still"),
    ],
)
def test_no_span(sums: tuple[float, ...], given_ppm: float, words: str) -> None:
    """A gas beyond the range, a sensor that does not rise, a spent cell or a reading on its way gives no span."""
    with pytest.raises(CalibrationError, match=words):
        gas_span(sums, given_ppm, 0.1, 8402.0, 1.0, 0.00412, 20.0)


def test_bump() -> None:
    """Half of the gas within twice T90 is alive; less, or later, is not (rule of the project's calibration notes)."""
    assert "rose by 5.00 ppm" in bump_passed(5.0, 60.0, 10.0, 30.0)
    for rise_ppm, after_s in ((4.9, 30.0), (9.0, 61.0), (0.0, 60.0)):
        with pytest.raises(CalibrationError, match="do not run with this sensor"):
            bump_passed(rise_ppm, after_s, 10.0, 30.0)
    with pytest.raises(CalibrationError, match="at least 1 ppm"):
        bump_passed(0.3, 1.0, 0.5, 30.0)


def test_a_bump_that_cannot_be_is_no_pass() -> None:
    """A rise before the gas was given, or far over the gas itself (a percentage for ppm), proves no living sensor."""
    with pytest.raises(CalibrationError, match="found a rise -5 s after the gas was given"):
        bump_passed(7.0, -5.0, 10.0, 30.0)
    with pytest.raises(CalibrationError, match="found a rise of 300000 ppm in a gas of 10 ppm"):
        bump_passed(3e5, 40.0, 10.0, 30.0)


def test_blocks() -> None:
    """A stretch of samples becomes the means of its sixths; too short a one is refused."""
    assert block_means([float(i // 2) for i in range(12)]) == [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]
    with pytest.raises(CalibrationError, match="found 11 samples"):
        block_means([1.0] * 11)


@pytest.mark.parametrize(
    ("value", "u", "words"),
    [
        (38.4213, 0.6127, "38.42 +/- 0.61 uL"),
        (38.4213, 0.0321, "38.421 +/- 0.032 uL"),
        (384.2, 13.0, "384 +/- 13 uL"),
        (2.0, 0.0, "2 uL"),
    ],
)
def test_two_digits(value: float, u: float, words: str) -> None:
    """An uncertainty is written with two digits, the value to the same place (GUM 7.2.6)."""
    assert quantity(value, u, "uL") == words


GOOD = Counted(120, 4.6)
STILL = (10_800.0, 10_801.0, 10_802.0, 10_800.0, 10_801.0, 10_803.0)


@pytest.mark.parametrize("count", [Counted(120, inf), Counted(120, 1e308), Counted(120, nan), Counted(10**400, 4.6)])
def test_a_count_that_nobody_made(count: Counted) -> None:
    """A number that no person can have counted or read is refused with its repeat, and crashes nothing."""
    with pytest.raises(CalibrationError, match=r"repeat 2: found (an amount|a count) of .*, wanted"):
        unit_volume_ul([GOOD, count, GOOD], 0.1)


@pytest.mark.parametrize("huge", [inf, 1e308, nan])
def test_an_uncertainty_that_is_none(huge: float) -> None:
    """An uncertainty beyond all sense is refused with what it is of, and is no crash of the arithmetic."""
    with pytest.raises(CalibrationError, match="found the pressure known to"):
        thermocouple_offset(Point(0.1), Point(99.6), 1013.25, huge, 320.0)
    with pytest.raises(CalibrationError, match="found the ice point known to"):
        thermocouple_offset(Point(0.1, huge), Point(99.6), 1013.25, 1.0, 320.0)
    with pytest.raises(CalibrationError, match="found a test gas known to"):
        gas_span(STILL, 10.0, huge, 8410.0, 10.0, 0.00412, 20.0)
    with pytest.raises(CalibrationError, match="found a density of"):
        unit_volume_ul([GOOD] * 3, 0.1, density=(1.149, huge))
    with pytest.raises(CalibrationError, match="least step"):
        unit_volume_ul([GOOD] * 3, huge)


@pytest.mark.parametrize("sums", [(1e308,) * 6, (*STILL, -1e308), (*STILL, inf), (*STILL, nan)])
def test_sums_that_no_board_sends(sums: tuple[float, ...]) -> None:
    """Values that the converter cannot have given are refused, and are no crash of the arithmetic."""
    with pytest.raises(CalibrationError, match=r"end of its converter|is no number"):
        gas_zero(sums, 10_800.0, 0.00412, 20.0)
    with pytest.raises(CalibrationError, match=r"end of its converter|is no number|no rise"):
        gas_span(sums, 10.0, 0.2, 8410.0, 10.0, 0.00412, 20.0)
