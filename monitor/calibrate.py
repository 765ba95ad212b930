"""`so2bench calibrate …`: asks, reads the board where it is told to, reckons, and puts the result into the settings.

The arithmetic is `monitor.calibration`'s, the file `monitor.edges.benchfile`'s, the options `monitor.options`'; here
is what a person is asked and told.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from statistics import fmean

from monitor import calibration as cal
from monitor.chemistry.acids import density_g_per_cm3
from monitor.core.frames import SampleFrame
from monitor.core.typek import true_hot_c
from monitor.edges import benchfile
from monitor.edges.port import SerialPort
from monitor.errors import RefusalError
from monitor.listening import Listener, seconds_between
from monitor.settings import bench_from, load_bench, load_run, parse_quantity, parse_toml, run_from
from monitor.terms import Acid, BenchTerms, Measured

Ask = Callable[[str], str]
BASELINE_S = 3.0  # before a bump
ANY_FAULT = 0x10000  # of the converter's word (protocol)
MEAN_SAMPLES = 10  # 1 s: one sample's noise is no rise


# --- drops, bubbles -----------------------------------------------------------------------------------------------


def drops(a: argparse.Namespace) -> None:
    """Volume of one drop."""
    bench, _ = load_bench(a.bench)
    density, weighed = _density(a)
    found = _per_unit(a, "drop", bench, density, weighed, cal.MOST_UL)
    volume = cal.quantity(found.mean, found.u, "uL")
    _write_bench(a.bench, "drops", {"volume": volume, "calibrated": _now().date()})


def bubbles(a: argparse.Namespace) -> None:
    """Volume of one bubble; goes into run.toml, where it belongs."""
    run, _ = load_run(a.run)
    if run.meter != "bubbles":
        raise RefusalError(f'{a.run}: found meter = "{run.meter}", wanted "bubbles"')
    bench = load_bench(a.bench)[0] if a.bench else None
    found = _per_unit(a, "bubble", bench, None, False, cal.MOST_BUBBLE_UL)
    volume = cal.quantity(found.mean, found.u, "uL")
    old = benchfile.read_text(a.run)
    new = benchfile.with_values(old, "generator", {"bubble_volume": volume, "bubble_calibrated": _now().date()})
    kept = benchfile.replace_text(
        a.run, old, new, _now(), lambda text: run_from(parse_toml(text, "run.toml"), "run.toml")
    )
    print(f"{a.run}: generator.bubble_volume = {volume}; as it was: {kept.name}")


def _density(a: argparse.Namespace) -> tuple[tuple[float, float] | None, bool]:
    """The density in g/mL with its uncertainty, for drops that are weighed; and whether they are."""
    weighed = _is_mass(a.resolution)
    if a.density is not None and a.acid is None and a.strength is None:
        given = _quantity("--density", a.density, "gram / milliliter")
        density = (given.value, given.u)
    elif a.density is None and a.acid is not None and a.strength is not None:
        density = _acid_density(a.acid, _quantity("--strength", a.strength, "dimensionless"))
    elif a.density is None and a.acid is None and a.strength is None:
        if weighed:
            raise RefusalError("drops that are weighed need --density, or --acid with --strength")
        return None, False
    else:
        raise RefusalError("found a mixture of --density, --acid and --strength; wanted --density, or both others")
    if not weighed:
        raise RefusalError(f"found a density beside --resolution {a.resolution!r}, wanted a resolution in g")
    return density, True


def _acid_density(acid: Acid, strength: Measured) -> tuple[float, float]:
    try:
        value = density_g_per_cm3(acid, strength.value)
        u = abs(density_g_per_cm3(acid, strength.value - strength.u) - value) if strength.u else 0.0
    except ValueError as why:
        raise RefusalError(f"--strength: {why}") from why
    print(f"density of {acid} of {100 * strength.value:g} % at 20 °C: {value:.4f} g/mL (CRC Handbook)")
    return value, u


def _is_mass(text: str) -> bool:
    try:
        parse_quantity(text, "gram")
    except ValueError:
        return False
    return True


def _per_unit(
    a: argparse.Namespace,
    what: str,
    bench: BenchTerms | None,
    density: tuple[float, float] | None,
    weighed: bool,
    most_ul: float,
) -> cal.Result:
    unit, short = ("gram", "g") if weighed else ("milliliter", "mL")
    resolution = _quantity("--resolution", a.resolution, unit).value
    tolerance = _quantity("--tolerance", a.tolerance, unit).value if a.tolerance else 0.0
    repeats = [_counted(text) for text in a.repeat]
    if a.port is not None:
        with _board(a, bench) as board:
            if a.permit:
                _give_permit(board, bench, input)
            repeats += _count_live(board, what, short, input)
    found = cal.unit_volume_ul(repeats, resolution, tolerance, density, most_ul=most_ul)
    per_ml = density[0] if density else 1.0
    for number, r in enumerate(repeats):
        each_ul = 1000.0 * r.amount / (per_ml * r.number)
        mark = "   stands out (modified z-score over 3.5); it counts all the same" if number in found.outliers else ""
        print(f"  {number + 1}: {r.number} {what}s, {r.amount:g} {short}: {each_ul:.2f} uL each{mark}")
    _print_result(found, "uL")
    return found


def _counted(text: str) -> cal.Counted:
    words = text.split()
    try:
        number, amount = words
        return cal.Counted(int(number), float(amount))
    except ValueError as why:
        raise RefusalError(f'--repeat: found {text!r}, wanted a count and an amount, as in "120 4.6"') from why


def _give_permit(board: Listener, bench: BenchTerms | None, ask: Ask) -> None:
    """For a drip that needs the permit. Heat has it too, and nothing but the board's own trips watches."""
    print("The permit goes on. Heat has it as well, no alarm is raised here, only the board's own trips work.")
    said = ask("Is the plate unplugged, no sulfite under the tip, and do you stay by it? 'yes' to go on: ")
    if said.strip().lower() != "yes":
        raise RefusalError("the permit stays off, and nothing was counted")
    board.permit(True, bench)


def _count_live(board: Listener, what: str, short: str, ask: Ask) -> list[cal.Counted]:
    """Counts by the board, amounts by the person, until one says that it is enough."""
    print("Let it run at the rate of the work for a minute first.")
    repeats: list[cal.Counted] = []
    while True:
        go = ask(f"Repeat {len(repeats) + 1}: vessel ready? Enter to begin counting, 'done' to end: ")
        if go.strip().lower() == "done":
            return repeats
        begun = board.newest()
        ask(f"Counting {what}s. Enter to end: ")
        ended = board.newest()
        seconds = seconds_between(begun, ended)
        number, rejects = ended.drops - begun.drops, (ended.rejects - begun.rejects) & 0xFFFF
        rate = 60.0 * number / seconds if seconds > 0.0 else 0.0
        print(f"  {number} {what}s in {seconds:.0f} s, {rate:.0f} a minute; {rejects} edges rejected by the gate")
        if rejects:
            print("  The gate rejects edges: splash, or it stands askew. Mend that first if they are many.")
        amount = ask(f"  What does it read, in {short}? (empty to throw this repeat away) ").strip()
        if amount:
            repeats.append(_counted(f"{number} {amount.split()[0]}"))


# --- thermocouple -------------------------------------------------------------------------------------------------


def thermocouple(a: argparse.Namespace) -> None:
    """Offset from ice and steam."""
    bench, _ = load_bench(a.bench)
    pressure = _quantity("--pressure", a.pressure, "hectopascal")
    true_c = cal.boiling_point_c(pressure.value)
    print(f"Pure water boils at {true_c:.2f} °C under {pressure.value:g} hPa (IAPWS-IF97).")
    if a.port is not None and a.ice is None and a.steam is None:
        with _board(a, bench) as board:
            ice = _fixed_point(board, "stirred crushed ice and pure water", a.seconds, input)
            steam = _fixed_point(board, "steam over boiling pure water", a.seconds, input)
    elif a.port is None and a.ice is not None and a.steam is not None:
        now_c = bench.thermocouple.offset_c.value  # what is shown has it in it
        shown = [_quantity(name, text, "degC") for name, text in (("--ice", a.ice), ("--steam", a.steam))]
        ice, steam = (cal.Point(m.value - now_c, m.u) for m in shown)
    else:
        raise RefusalError("wanted either --port, or both --ice and --steam")
    found = cal.thermocouple_offset(ice, steam, pressure.value, pressure.u, bench.limits.plate_high_c)
    print(
        f"  ice: read {ice.reading_c:.2f} °C, 0.00 wanted; steam: read {steam.reading_c:.2f} °C, {true_c:.2f} wanted"
    )
    _print_result(found, "°C")
    print(
        "  Neither point is near the plate's working temperature: a junction badly fastened to it still reads it low."
    )
    offset = cal.quantity(found.mean, found.u, "delta_degC")
    _write_bench(a.bench, "thermocouple", {"offset": offset, "calibrated": _now().date()})


def _fixed_point(board: Listener, where: str, seconds: float, ask: Ask) -> cal.Point:
    ask(f"Put the junction into {where}; wait until it stands still for two minutes; Enter: ")
    readings = [_linear_c(frame) for frame in board.stretch(seconds)]
    means = cal.block_means(readings)
    return cal.Point(fmean(means), cal.standard_error(means))


def _linear_c(frame: SampleFrame) -> float:
    hot, cold = frame.hot_c, frame.cold_c
    faulty = bool(frame.tc & ANY_FAULT)
    true_c = None if faulty or hot is None or cold is None else true_hot_c(hot, cold)
    if true_c is None:
        raise RefusalError(f"the thermocouple gives no reading (word {frame.tc:08X}): is it connected?")
    return true_c


# --- gas ----------------------------------------------------------------------------------------------------------


def gas_zero(a: argparse.Namespace) -> None:
    """The gas sensor's zero."""
    bench, _ = load_bench(a.bench)
    sums = _sums(a, bench, "clean air for ten minutes")
    found = cal.gas_zero(sums, bench.gas.zero_sum, bench.gas.ppm_per_sum, bench.gas.range_ppm)
    shift_ppm = (found.mean - bench.gas.zero_sum) * bench.gas.ppm_per_sum
    print(f"  zero {found.mean:.1f}, standard uncertainty {found.u:.1f}; {shift_ppm:+.3f} ppm from the old one")
    _write_bench(a.bench, "gas", {"zero_sum": round(found.mean)})
    print("  The zero alone is no calibration: gas-span comes next, and dates it.")


def gas_span(a: argparse.Namespace) -> None:
    """The gas sensor's slope."""
    bench, _ = load_bench(a.bench)
    gas = bench.gas
    given = _quantity("--gas", a.gas, "ppm")
    sums = _sums(a, bench, f"the test gas of {given.value:g} ppm until the reading has stood still for 3 minutes")
    u_zero = gas.noise_ppm / gas.ppm_per_sum
    span = cal.gas_span(sums, given.value, given.u, gas.zero_sum, u_zero, gas.ppm_per_sum, gas.range_ppm)
    if not given.u:
        print('  The test gas has no uncertainty: give it as its certificate does, "10 +/- 0.2 ppm".')
    for part in span.parts:
        print(f"  {part.source}: {100 * part.u:.2g} %")
    share = f"{100 * span.relative_u:.2g} %"
    print(f"  {span.ppm_per_sum:.4g} ppm per count (it was {gas.ppm_per_sum:.4g}), {share} (k = 1)")
    _write_bench(
        a.bench,
        "gas",
        {
            "ppm_per_sum": float(f"{span.ppm_per_sum:.4g}"),
            "relative_uncertainty": share,
            "calibrated": _now().date(),
        },
    )


def _sums(a: argparse.Namespace, bench: BenchTerms, where: str) -> list[float]:
    if (a.port is None) == (not a.sums):
        raise RefusalError("wanted either --port, or values after --sums")
    if a.port is None:
        return list(a.sums)
    with _board(a, bench) as board:
        input(f"Give the sensor {where}; Enter: ")
        frames = board.stretch(a.seconds)
    if all(f.gas_span == 0 for f in frames):
        raise RefusalError("found a gas channel without any spread: a live one dithers; is the sensor connected?")
    return cal.block_means([float(f.gas_sum) for f in frames])


def bump(a: argparse.Namespace) -> None:
    """Whether the gas sensor is alive."""
    bench, _ = load_bench(a.bench)
    given = _quantity("--gas", a.gas, "ppm").value
    if a.port is not None and a.rise is None and a.after is None:
        with _board(a, bench) as board:
            rise_ppm, after_s = _bump_live(board, bench, given, input)
    elif a.port is None and a.rise is not None and a.after is not None:
        rise_ppm, after_s = _quantity("--rise", a.rise, "ppm").value, _quantity("--after", a.after, "second").value
    else:
        raise RefusalError("wanted either --port, or both --rise and --after")
    print(f"  passed: {cal.bump_passed(rise_ppm, after_s, given, bench.gas.t90_s)}")
    _write_bench(a.bench, "gas", {"bump_tested": _now().date()})


def _bump_live(board: Listener, bench: BenchTerms, given_ppm: float, ask: Ask) -> tuple[float, float]:
    """The rise and the time it took; or what it had risen by when the time was up."""
    before = fmean([f.gas_sum for f in board.stretch(BASELINE_S)])
    ask("Give the test gas now, and Enter in the same moment: ")
    first = seen = board.newest()
    newest: list[int] = []
    while True:
        seen = board.after(seen)
        newest = [*newest, seen.gas_sum][-MEAN_SAMPLES:]
        rise_ppm = (fmean(newest) - before) * bench.gas.ppm_per_sum
        after_s = seconds_between(first, seen)
        if after_s >= 2.0 * bench.gas.t90_s or (len(newest) == MEAN_SAMPLES and rise_ppm >= 0.5 * given_ppm):
            return rise_ppm, after_s


# --- common -------------------------------------------------------------------------------------------------------


def _now() -> datetime:
    return datetime.now(UTC)


def _quantity(option: str, text: str, unit: str) -> Measured:
    try:
        return parse_quantity(text, unit)
    except ValueError as why:
        raise RefusalError(f"{option}: found {text!r}, wanted {why}") from why


@contextmanager
def _board(a: argparse.Namespace, bench: BenchTerms | None) -> Iterator[Listener]:
    path = a.port or (bench.port.path if bench is not None else "")
    if not path:
        raise RefusalError("--port names no port, and there is no bench.toml to take it from")
    try:
        with Listener(SerialPort(path, bench.port.baud if bench is not None else 115200)) as board:
            board.newest()
            yield board
    except EOFError as why:
        raise RefusalError("nobody answers: a live calibration needs a person at the terminal") from why


def _print_result(found: cal.Result, unit: str) -> None:
    for part in found.parts:
        print(f"  {part.source}: {part.u:.2g} {unit}")
    freedom = "" if found.freedom > 1000 else f", about {found.freedom:.0f} degrees of freedom"
    print(f"  {found.mean:.3f} {unit}, standard uncertainty {found.u:.2g} {unit} (k = 1{freedom})")


def _write_bench(path: Path, table: str, values: dict[str, benchfile.Value]) -> None:
    old = benchfile.read_text(path)
    new = benchfile.with_values(old, table, values)
    kept = benchfile.replace_text(
        path, old, new, _now(), lambda text: bench_from(parse_toml(text, path.name), path.name)
    )
    written = ", ".join(f"{table}.{key} = {value}" for key, value in values.items())
    print(f"{path}: {written}; as it was: {kept.name}")
