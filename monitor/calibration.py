"""The arithmetic of calibration: repeats to a value with its standard uncertainty, for drops, plate and gas.

Promise: plain arithmetic on numbers that a person could have written down; every uncertainty is a standard one
(k = 1) by JCGM 100:2008 (GUM); an outlier is shown and stays in; what cannot be right is refused with one sentence.
It knows no file, no port and no clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import floor, isfinite, log10, sqrt
from statistics import fmean, median, stdev
from typing import NamedTuple

from monitor.errors import RefusalError

LEAST_REPEATS = 3  # two tell a difference, not a scatter; common practice, no source
LEAST_COUNT = 20  # drops or bubbles in a repeat: one miscounted is 5 %; common practice, no source
MOST_COUNT, MOST_AMOUNT = 1_000_000, 100_000.0  # in a repeat; an amount in mL or g: more than any vessel here holds
MOST_SCATTER = 0.20  # of the mean, standard deviation; common practice, no source
OUTLIER_SCORE = 3.5  # of the modified z-score: Iglewicz & Hoaglin, How to Detect and Handle Outliers, ASQC 1993
NORMAL_MAD = 0.6745  # the median absolute deviation of a normal distribution, in standard deviations (same source)
LEAST_UL, MOST_UL = 1.0, 500.0  # of a drop, as in bench.toml
MOST_BUBBLE_UL = 10_000.0  # as in run.toml
RESOLUTION_READ_TWICE = 1.0 / sqrt(6.0)  # an amount is the difference of two readings, each δ/√12 (GUM F.2.2.1)


class CalibrationError(RefusalError):
    """A calibration that cannot be right; one sentence says why."""


class Part(NamedTuple):
    """One part of an uncertainty: where it comes from, its standard uncertainty, and its degrees of freedom."""

    source: str
    u: float
    freedom: float = float("inf")


class Result(NamedTuple):
    """A mean with its standard uncertainty, the parts of that, and the repeats that stand out (from 0)."""

    mean: float
    u: float
    parts: tuple[Part, ...]
    outliers: tuple[int, ...]

    @property
    def freedom(self) -> float:
        """Effective degrees of freedom."""
        return effective_freedom(self.parts)


def standard_error(values: Sequence[float]) -> float:
    """Standard uncertainty of the mean, type A: s/√n (GUM 4.2.3). Raises CalibrationError under two values."""
    if len(values) < 2:
        raise CalibrationError(f"found {len(values)} values, wanted at least 2 to have a scatter")
    return stdev(values) / sqrt(len(values))


def rectangular(half_width: float) -> float:
    """Standard uncertainty of what lies anywhere within ± `half_width`, type B (GUM 4.3.7)."""
    return half_width / sqrt(3.0)


def combined(parts: Sequence[Part]) -> float:
    """Combined standard uncertainty of independent parts (GUM 5.1.2)."""
    return sqrt(sum(p.u * p.u for p in parts))


def effective_freedom(parts: Sequence[Part]) -> float:
    """Effective degrees of freedom, Welch–Satterthwaite (GUM G.4.1)."""
    below = sum(p.u**4 / p.freedom for p in parts)
    return combined(parts) ** 4 / below if below > 0.0 else float("inf")


def outliers(values: Sequence[float]) -> tuple[int, ...]:
    """Which values have a modified z-score over 3.5; with no spread about the median, those that differ from it."""
    middle = median(values)
    spread = median([abs(v - middle) for v in values])
    if spread <= 1e-9 * abs(middle):
        return tuple(i for i, v in enumerate(values) if abs(v - middle) > 1e-6 * abs(middle))
    return tuple(i for i, v in enumerate(values) if NORMAL_MAD * abs(v - middle) / spread > OUTLIER_SCORE)


def of_repeats(values: Sequence[float], others: Sequence[Part] = ()) -> Result:
    """The mean of repeats; `others` are its type B parts. Outliers stay in.

    Raises:
        CalibrationError: too few, or not numbers.
    """
    if len(values) < LEAST_REPEATS:
        raise CalibrationError(f"found {len(values)} repeats, wanted at least {LEAST_REPEATS}")
    if not all(isfinite(v) for v in values):
        raise CalibrationError("found a value that is no number, wanted numbers")
    parts = (Part("scatter of the repeats", standard_error(values), len(values) - 1), *others)
    return Result(fmean(values), combined(parts), parts, outliers(values))


# --- drops and bubbles --------------------------------------------------------------------------------------------


class Counted(NamedTuple):
    """One repeat: so many drops or bubbles, and what they amounted to, mL or g."""

    number: int
    amount: float


def unit_volume_ul(
    repeats: Sequence[Counted],
    resolution: float,
    tolerance: float = 0.0,
    density: tuple[float, float] | None = None,
    *,
    most_ul: float = MOST_UL,
) -> Result:
    """The volume of one drop or bubble, µL.

    `resolution` (the least step that is read) and `tolerance` (the instrument's own, ±) are in the unit of the
    amounts: mL, or g when `density` gives g/mL with its standard uncertainty.

    Raises:
        CalibrationError: too few or too small repeats, or a volume that no drop has.
    """
    if not (0.0 < resolution <= MOST_AMOUNT and 0.0 <= tolerance <= MOST_AMOUNT):
        raise CalibrationError(f"found a resolution of {resolution:g}, wanted the least step that is read, over 0")
    for at, r in enumerate(repeats, start=1):
        if r.number < LEAST_COUNT:
            raise CalibrationError(f"repeat {at}: found a count of {r.number}, wanted at least {LEAST_COUNT}")
        if r.number > MOST_COUNT:
            raise CalibrationError(f"repeat {at}: found a count of over {MOST_COUNT:,}, wanted what was counted")
        if not 0.0 < r.amount <= MOST_AMOUNT:
            wanted = f"more than 0 and at most {MOST_AMOUNT:g}"
            raise CalibrationError(f"repeat {at}: found an amount of {r.amount:g}, wanted {wanted}")
        if r.amount < 5.0 * resolution:
            raise CalibrationError(
                f"repeat {at}: found an amount of {r.amount:g} with steps of {resolution:g}, "
                "wanted at least 5 steps: count more, or read finer"
            )
    per_ml, u_per_ml = density or (1.0, 0.0)
    if not (per_ml > 0.0 and u_per_ml < per_ml):
        raise CalibrationError(
            f"found a density of {per_ml:g} +/- {u_per_ml:g} g/mL, wanted more than 0, and an uncertainty below it"
        )
    values = [1000.0 * r.amount / (per_ml * r.number) for r in repeats]
    if len(values) >= LEAST_REPEATS:
        _refuse_scatter(values)
    mean = fmean(values) if values else 0.0
    mean_amount = fmean([r.amount for r in repeats]) if repeats else 1.0
    others = [Part("resolution of the reading", mean * resolution * RESOLUTION_READ_TWICE / mean_amount)]
    if tolerance:
        others.append(Part("tolerance of the instrument", mean * rectangular(tolerance) / mean_amount))
    if u_per_ml:
        others.append(Part("density", mean * u_per_ml / per_ml))
    found = of_repeats(values, others)
    if not LEAST_UL <= found.mean <= most_ul:
        raise CalibrationError(f"found {found.mean:.3g} µL each, wanted from {LEAST_UL:g} to {most_ul:g} µL")
    return found


def _refuse_scatter(values: Sequence[float]) -> None:
    relative = stdev(values) / fmean(values)
    if relative > MOST_SCATTER:
        raise CalibrationError(
            f"found repeats that scatter by {relative:.0%} of their mean, wanted at most {MOST_SCATTER:.0%}: "
            "is the rate the same, and is every one counted?"
        )


# --- thermocouple -------------------------------------------------------------------------------------------------

# IAPWS-IF97, region 4, backward equation (Eq. 31) and its coefficients (Table 34): IAPWS R7-97(2012).
_SATURATION = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)
LEAST_HPA, MOST_HPA = 500.0, 1100.0  # a little beyond where people live
ICE_U_C = 0.05  # crushed ice and pure water, stirred; common practice, no source
HOT_STEP_C = 0.25  # of the converter (protocol)
MOST_U_C, MOST_U_HPA = 10.0, 50.0  # standard uncertainties: more is no measurement; judgement
MOST_APART_C = 1.0  # between the offsets at the two points (firmware_notes/calibration.md)
MOST_OFFSET_C = 50.0  # as in bench.toml


def boiling_point_c(pressure_hpa: float) -> float:
    """The temperature at which pure water boils, °C, by IAPWS-IF97.

    Raises:
        CalibrationError: outside 500 to 1100 hPa.
    """
    if not LEAST_HPA <= pressure_hpa <= MOST_HPA:
        raise CalibrationError(
            f"found a pressure of {pressure_hpa:g} hPa, wanted the room's own, {LEAST_HPA:g} to {MOST_HPA:g} hPa"
        )
    n = (0.0, *_SATURATION)
    beta = (pressure_hpa * 1e-4) ** 0.25  # of MPa
    e = beta * beta + n[3] * beta + n[6]
    f = n[1] * beta * beta + n[4] * beta + n[7]
    g = n[2] * beta * beta + n[5] * beta + n[8]
    d = 2.0 * g / (-f - sqrt(f * f - 4.0 * e * g))
    kelvin: float = 0.5 * (n[10] + d - sqrt((n[10] + d) ** 2 - 4.0 * (n[9] + n[10] * d)))
    return kelvin - 273.15


class Point(NamedTuple):
    """A reading at a fixed point, °C: linearised, no offset added; its standard uncertainty without the steps."""

    reading_c: float
    u_c: float = 0.0


def thermocouple_offset(
    ice: Point, steam: Point, pressure_hpa: float, u_pressure_hpa: float, plate_c: float
) -> Result:
    """The offset to add after linearisation, °C, from the ice point and the steam point.

    It is the mean of the two. Its uncertainty is that at `plate_c`, the hottest that the plate is let become: the
    line through both points is followed there, and what it departs from the mean is a part of it.

    Raises:
        CalibrationError: the points are not what they are said to be, or disagree.
    """
    true_steam_c = boiling_point_c(pressure_hpa)
    for what, u, most, unit in (
        ("the ice point", ice.u_c, MOST_U_C, "°C"),
        ("the steam point", steam.u_c, MOST_U_C, "°C"),
        ("the pressure", u_pressure_hpa, MOST_U_HPA, "hPa"),
    ):
        if not u <= most:
            raise CalibrationError(f"found {what} known to {u:g} {unit}, wanted at most {most:g} {unit}")
    at_ice, at_steam = -ice.reading_c, true_steam_c - steam.reading_c
    for name, reading_c, offset_c in (("ice", ice.reading_c, at_ice), ("steam", steam.reading_c, at_steam)):
        if not abs(offset_c) <= 10.0:
            raise CalibrationError(
                f"found {reading_c:.2f} °C at the {name} point, {abs(offset_c):.1f} °C away from it: no offset is so "
                "large; is the junction in it, and the wire the right way round?"
            )
    apart_c = at_steam - at_ice
    if abs(apart_c) > MOST_APART_C:
        raise CalibrationError(
            f"found offsets of {at_ice:+.2f} °C at ice and {at_steam:+.2f} °C at steam, wanted at most "
            f"{MOST_APART_C:g} °C between them: look for the fault in contact, extension wire or converter, do not "
            "average it"
        )
    step_u_c = HOT_STEP_C / sqrt(12.0)
    slope_c_per_hpa = (
        boiling_point_c(min(pressure_hpa + 1.0, MOST_HPA)) - boiling_point_c(max(pressure_hpa - 1.0, LEAST_HPA))
    ) / 2.0
    u_ice = sqrt(ice.u_c**2 + step_u_c**2 + ICE_U_C**2)
    u_steam = sqrt(steam.u_c**2 + step_u_c**2 + (slope_c_per_hpa * u_pressure_hpa) ** 2)
    beyond = (plate_c - 0.5 * true_steam_c) / true_steam_c
    parts = (
        Part("readings and points", 0.5 * sqrt(u_ice**2 + u_steam**2)),
        Part(f"line through both, at {plate_c:.0f} °C", sqrt(apart_c**2 + u_ice**2 + u_steam**2) * abs(beyond)),
    )
    return Result(0.5 * (at_ice + at_steam), combined(parts), parts, ())


# --- gas ----------------------------------------------------------------------------------------------------------

SUM_MAX = 65472.0  # 64 readings of 1023 (protocol)
BLOCKS = 6  # a minute's samples are not independent: the means of its sixths nearly are
STILL_PPM, STILL_SHARE = 0.1, 0.02  # the halves' means may differ so much, or by so much of the signal
MOST_ZERO_SHIFT = 0.10  # of the range; more than that is gas in the air, or another sensor
MOST_SPAN_CHANGE = 2.0  # the cell is to be replaced at half its signal (firmware_notes/calibration.md)
LEAST_SPAN_SHARE = 0.10  # of the range: a weaker test gas drowns in the zero's error
DRIFT_SHARE = 0.05  # ±, of the signal, between two calibrations; common practice, no source


def block_means(samples: Sequence[float], blocks: int = BLOCKS) -> list[float]:
    """The means of equal, successive parts of a stretch of samples. Raises CalibrationError when too few."""
    size = len(samples) // blocks
    if size < 2:
        raise CalibrationError(f"found {len(samples)} samples, wanted at least {2 * blocks}")
    return [fmean(samples[i * size : (i + 1) * size]) for i in range(blocks)]


def gas_zero(sums: Sequence[float], old_zero: float, ppm_per_sum: float, range_ppm: float) -> Result:
    """The gas_sum in clean air, from sums or means of sums.

    Raises:
        CalibrationError: not still, at an end of the converter, dead, or too far from the old zero to be clean air.
    """
    found = _still(sums, STILL_PPM / ppm_per_sum)
    shift_ppm = (found.mean - old_zero) * ppm_per_sum
    if abs(shift_ppm) > MOST_ZERO_SHIFT * range_ppm:
        raise CalibrationError(
            f"found a zero of {found.mean:.0f}, {shift_ppm:+.1f} ppm from the old one, wanted at most "
            f"{MOST_ZERO_SHIFT * range_ppm:g} ppm: is the air clean? For another sensor "
            "write zero_sum by hand first"
        )
    return found


class Span(NamedTuple):
    """ppm = (gas_sum − zero_sum) × ppm_per_sum, and the relative standard uncertainty of that until the next time."""

    ppm_per_sum: float
    relative_u: float
    parts: tuple[Part, ...]


def gas_span(
    sums: Sequence[float],
    given_ppm: float,
    u_given_ppm: float,
    zero_sum: float,
    u_zero_sum: float,
    old_ppm_per_sum: float,
    range_ppm: float,
) -> Span:
    """The sensor's slope, from its sums in a gas of known concentration. The parts are relative.

    Raises:
        CalibrationError: not still, too weak a gas or too strong, or a sensor that has changed beyond use.
    """
    if not LEAST_SPAN_SHARE * range_ppm <= given_ppm <= range_ppm:
        raise CalibrationError(
            f"found a test gas of {given_ppm:g} ppm, wanted from {LEAST_SPAN_SHARE * range_ppm:g} to {range_ppm:g} "
            "ppm, within the sensor's range"
        )
    if not u_given_ppm < given_ppm:
        raise CalibrationError(
            f"found a test gas known to {u_given_ppm:g} ppm, wanted less than its {given_ppm:g} ppm"
        )
    _refuse_ends(sums)
    signal = fmean(sums) - zero_sum if sums else 0.0
    if signal <= 0.0:
        raise CalibrationError(
            f"found no rise over the zero of {zero_sum:.0f} in {given_ppm:g} ppm, wanted one: does the gas reach it?"
        )
    found = _still(sums, STILL_SHARE * signal)
    slope = given_ppm / signal
    change = slope / old_ppm_per_sum
    if not 1.0 / MOST_SPAN_CHANGE < change < MOST_SPAN_CHANGE:
        raise CalibrationError(
            f"found {slope:.4g} ppm per count, {change:.2g} times the old value, wanted less than twice and more "
            "than half: the cell is used up, or the gas is not what its label says; for another sensor write "
            "ppm_per_sum by hand first"
        )
    parts = (
        Part("test gas", u_given_ppm / given_ppm),
        Part("reading", found.u / signal, found.freedom),
        Part("zero", u_zero_sum / signal),
        Part("drift until the next calibration", rectangular(DRIFT_SHARE)),
    )
    return Span(slope, combined(parts), parts)


def _refuse_ends(sums: Sequence[float]) -> None:
    for one in sums:
        if isfinite(one) and not 0.0 < one < SUM_MAX:
            raise CalibrationError(f"found a gas channel at the end of its converter ({one:.6g}), wanted it inside")


def _still(sums: Sequence[float], most_apart: float) -> Result:
    _refuse_ends(sums)
    found = of_repeats(sums)
    if len(sums) >= BLOCKS and max(sums) == min(sums):
        raise CalibrationError(f"found {len(sums)} values that are all {sums[0]:g}: a live channel dithers")
    half = len(sums) // 2
    apart = abs(fmean(sums[:half]) - fmean(sums[-half:]))
    if apart > most_apart:
        raise CalibrationError(
            f"found a reading that moved by {apart:.0f} counts from the first half to the second, wanted at most "
            f"{most_apart:.0f}: wait until it stands still"
        )
    return found


BUMP_MOST = 2.0  # of the given gas; common practice, no source: more is another gas, another unit or a lost slope


def bump_passed(rise_ppm: float, after_s: float, given_ppm: float, t90_s: float) -> str:
    """Say that the sensor is alive: it rose by half of the given gas or more within twice its T90.

    Half within twice T90 is generous on purpose: a bump asks whether the sensor lives, not whether it is right. A
    first-order sensor that is right shows 99 % by then.

    Raises:
        CalibrationError: it did not, the gas is too weak to tell, or what was found cannot be.
    """
    if given_ppm < 1.0:
        raise CalibrationError(f"found a test gas of {given_ppm:g} ppm, wanted at least 1 ppm, so that a rise is one")
    if after_s < 0.0:
        raise CalibrationError(f"found a rise {after_s:g} s after the gas was given, wanted nought seconds or more")
    if rise_ppm > BUMP_MOST * given_ppm:
        raise CalibrationError(
            f"found a rise of {rise_ppm:g} ppm in a gas of {given_ppm:g} ppm, wanted at most {BUMP_MOST:g} times the "
            "gas: look at the bottle and the unit, then do gas-zero and gas-span"
        )
    if rise_ppm >= 0.5 * given_ppm and after_s <= 2.0 * t90_s:
        return f"rose by {rise_ppm:.2f} ppm of {given_ppm:g} ppm in {after_s:.0f} s"
    raise CalibrationError(
        f"the bump test failed: found a rise of {rise_ppm:.2f} ppm after {after_s:.0f} s, wanted at least "
        f"{0.5 * given_ppm:g} ppm within {2.0 * t90_s:g} s: do not run with this sensor"
    )


# --- words --------------------------------------------------------------------------------------------------------


def quantity(value: float, u: float, unit: str) -> str:
    """A value with its standard uncertainty as the settings files write it: u to two digits.

    GUM 7.2.6: at most two significant digits of the uncertainty, and the value to the same place.
    """
    if not u > 0.0:
        return f"{value:.6g} {unit}"
    places = max(0, 1 - floor(log10(u)))
    return f"{value:.{places}f} +/- {u:.{places}f} {unit}"
