"""What a calibration comes to before anything is written: result, budget, what stands out, what would go where.

Promise: pure; the command and the page show and write the same outcome, and what cannot be right is a
`CalibrationError` with one sentence and no outcome. The arithmetic is `monitor.calibration`'s.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import NamedTuple

from monitor import calibration as cal
from monitor.chemistry.acids import density_g_per_cm3
from monitor.terms import COVERAGE, Acid, BenchTerms, Measured, RunTerms

Values = Mapping[str, str | int | float | date]


class Share(NamedTuple):
    """One line of an uncertainty budget: its standard uncertainty with unit, and its share of the variance in %."""

    source: str
    u: str
    percent: float


class Repeat(NamedTuple):
    """One repeat of a count, in words; `stands_out` is shown and counts all the same."""

    words: str
    each: str
    stands_out: bool


class Outcome(NamedTuple):
    """A calibration that may be written: `values` into `table` of the settings file."""

    table: str
    values: Values
    result: str
    was: str
    budget: tuple[Share, ...] = ()
    notes: tuple[str, ...] = ()
    repeats: tuple[Repeat, ...] = ()


class Vessel(NamedTuple):
    """What amounts are read on: least step and own tolerance (±), in mL, or in g when there is a density (g/mL)."""

    resolution: float
    tolerance: float = 0.0
    density: Measured | None = None

    @property
    def unit(self) -> str:
        """The unit of its amounts."""
        return "mL" if self.density is None else "g"


def acid_density(acid: Acid, strength: Measured) -> Measured:
    """Density of an acid of that mass fraction at 20 °C, g/mL, by the CRC Handbook's table; its uncertainty follows.

    Raises:
        CalibrationError: a strength that the table does not hold.
    """
    try:
        value = density_g_per_cm3(acid, strength.value)
        u = abs(density_g_per_cm3(acid, strength.value - strength.u) - value) if strength.u else 0.0
    except ValueError as why:
        raise cal.CalibrationError(f"strength of the acid: {why}") from why
    return Measured(value, u)


def repeats_of(repeats: Sequence[cal.Counted], vessel: Vessel, what: str) -> tuple[Repeat, ...]:
    """Each repeat with what one drop or bubble is by it; those that stand out are marked once there are enough."""
    per_ml = 1.0 if vessel.density is None else vessel.density.value
    each_ul = [1000.0 * r.amount / (per_ml * r.number) if r.number > 0 and per_ml > 0.0 else 0.0 for r in repeats]
    odd = cal.outliers(each_ul) if len(each_ul) >= cal.LEAST_REPEATS else ()
    return tuple(
        Repeat(f"{r.number} {what}s, {r.amount:g} {vessel.unit}", f"{ul:.2f} µL each", at in odd)
        for at, (r, ul) in enumerate(zip(repeats, each_ul, strict=True))
    )


def drops(bench: BenchTerms, repeats: Sequence[cal.Counted], vessel: Vessel, today: date) -> Outcome:
    """The volume of one drop. Raises CalibrationError."""
    found = _volume(repeats, vessel, cal.MOST_UL)
    values: Values = {"volume": cal.quantity(found.mean, found.u, "uL"), "calibrated": today}
    return _counted("drops", values, found, bench.drops.volume_ul, repeats_of(repeats, vessel, "drop"))


def bubbles(run: RunTerms, repeats: Sequence[cal.Counted], vessel: Vessel, today: date) -> Outcome:
    """The volume of one bubble, for run.toml. Raises CalibrationError, too when the run counts no bubbles."""
    if run.bubble_volume_ul is None:
        raise cal.CalibrationError(f'run.toml: found meter = "{run.meter}", wanted "bubbles"')
    if vessel.density is not None:
        raise cal.CalibrationError("found bubbles that are weighed, wanted their volume in mL")
    found = _volume(repeats, vessel, cal.MOST_BUBBLE_UL)
    values: Values = {"bubble_volume": cal.quantity(found.mean, found.u, "uL"), "bubble_calibrated": today}
    return _counted("generator", values, found, run.bubble_volume_ul, repeats_of(repeats, vessel, "bubble"))


def _volume(repeats: Sequence[cal.Counted], vessel: Vessel, most_ul: float) -> cal.Result:
    density = None if vessel.density is None else (vessel.density.value, vessel.density.u)
    return cal.unit_volume_ul(repeats, vessel.resolution, vessel.tolerance, density, most_ul=most_ul)


def _counted(table: str, values: Values, found: cal.Result, old: Measured, repeats: tuple[Repeat, ...]) -> Outcome:
    notes = ("A repeat that stands out counts all the same: find out why, and do it again without the cause.",)
    return Outcome(
        table,
        values,
        _result_words(found.mean, found.u, "µL", found.freedom),
        cal.quantity(old.value, old.u, "µL").replace("+/-", "±"),
        _budget(found.parts, "µL"),
        notes if found.outliers else (),
        repeats,
    )


def shown_point(bench: BenchTerms, shown: Measured) -> cal.Point:
    """A reading as so2bench shows it, °C, without the offset that it has in it."""
    return cal.Point(shown.value - bench.thermocouple.offset_c.value, shown.u)


def thermocouple(bench: BenchTerms, ice: cal.Point, steam: cal.Point, pressure_hpa: Measured, today: date) -> Outcome:
    """The thermocouple's offset. Raises CalibrationError."""
    true_c = cal.boiling_point_c(pressure_hpa.value)
    found = cal.thermocouple_offset(ice, steam, pressure_hpa.value, pressure_hpa.u, bench.limits.plate_high_c)
    old = bench.thermocouple.offset_c
    return Outcome(
        "thermocouple",
        {"offset": cal.quantity(found.mean, found.u, "delta_degC"), "calibrated": today},
        _result_words(found.mean, found.u, "°C", found.freedom),
        cal.quantity(old.value, old.u, "°C").replace("+/-", "±"),
        _budget(found.parts, "°C"),
        (
            f"Without any offset ice read {ice.reading_c:.2f} °C, 0.00 wanted; steam {steam.reading_c:.2f} °C, "
            f"{true_c:.2f} wanted.",
            "Neither point is near the plate's working temperature: a junction badly fastened to it still reads it "
            "low.",
        ),
    )


def gas_zero(bench: BenchTerms, sums: Sequence[float]) -> Outcome:
    """The gas sensor's zero. Raises CalibrationError."""
    gas = bench.gas
    found = cal.gas_zero(sums, gas.zero_sum, gas.ppm_per_sum, gas.range_ppm)
    shift_ppm = (found.mean - gas.zero_sum) * gas.ppm_per_sum
    return Outcome(
        "gas",
        {"zero_sum": round(found.mean)},
        f"{found.mean:.1f} ± {found.u:.1f} counts (k = 1); {shift_ppm:+.3f} ppm from the old one",
        f"{gas.zero_sum:g}",
        _budget(found.parts, "counts"),
        ("The zero alone is no calibration: the span comes next, and dates it.",),
    )


def gas_span(bench: BenchTerms, sums: Sequence[float], given_ppm: Measured, today: date) -> Outcome:
    """The gas sensor's slope. Raises CalibrationError."""
    gas = bench.gas
    u_zero = gas.noise_ppm / gas.ppm_per_sum
    span = cal.gas_span(sums, given_ppm.value, given_ppm.u, gas.zero_sum, u_zero, gas.ppm_per_sum, gas.range_ppm)
    share = f"{100.0 * span.relative_u:.2g} %"
    notes = (
        'The test gas has no uncertainty: give it as its certificate does, as in "10 +/- 0.2 ppm".',
        "Half of an expanded one (k = 2) is a standard one.",
    )
    return Outcome(
        "gas",
        {"ppm_per_sum": float(f"{span.ppm_per_sum:.4g}"), "relative_uncertainty": share, "calibrated": today},
        f"{span.ppm_per_sum:.4g} ppm per count ± {share} (k = 1)",
        f"{gas.ppm_per_sum:.4g} ppm per count ± {100.0 * gas.relative_u:.2g} %",
        _budget([part._replace(u=100.0 * part.u) for part in span.parts], "%"),
        () if given_ppm.u else notes,
    )


def bump(bench: BenchTerms, rise_ppm: float, after_s: float, given_ppm: float, today: date) -> Outcome:
    """That the gas sensor lives. Raises CalibrationError when it does not."""
    passed = cal.bump_passed(rise_ppm, after_s, given_ppm, bench.gas.t90_s)
    old = bench.gas.bump_tested
    was = "never" if old is None else f"passed on {old}"
    return Outcome("gas", {"bump_tested": today}, f"passed: {passed}", was)


def _result_words(value: float, u: float, unit: str, freedom: float) -> str:
    with_u = cal.quantity(value, u, unit).replace("+/-", "±")
    degrees = "" if freedom > 1000.0 else f", about {freedom:.0f} degrees of freedom"
    return f"{with_u} (k = 1{degrees}); ± {COVERAGE * u:.2g} {unit} (k = 2)"


def _budget(parts: Sequence[cal.Part], unit: str) -> tuple[Share, ...]:
    """The parts, largest first."""
    whole = sum(p.u * p.u for p in parts)
    lines = [Share(p.source, f"{p.u:.2g} {unit}", 100.0 * p.u * p.u / whole if whole else 0.0) for p in parts]
    return tuple(sorted(lines, key=lambda line: -line.percent))
