"""`so2bench calibrate …`: asks, reads the board where it is told to, and puts the result into the settings.

What a result is, `monitor.calibrated` says; what samples say, `monitor.heard`; the options are `monitor.options`'s;
here is what a person at the terminal is asked and told.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path

from monitor import calibrated, heard
from monitor import calibration as cal
from monitor.calfile import write
from monitor.calibrated import Outcome, Vessel
from monitor.edges.port import SerialPort
from monitor.errors import RefusalError
from monitor.listening import Listener
from monitor.quantities import parse_quantity
from monitor.settings import load_bench, load_run
from monitor.terms import BenchTerms, Measured

Ask = Callable[[str], str]
BASELINE_S = 3.0  # before a bump


# --- drops, bubbles -----------------------------------------------------------------------------------------------


def drops(a: argparse.Namespace) -> None:
    """Volume of one drop."""
    bench, _ = load_bench(a.bench)
    vessel = _vessel(a, _density(a))
    _conclude(a.bench, calibrated.drops(bench, _repeats(a, "drop", bench, vessel), vessel, _today()))


def bubbles(a: argparse.Namespace) -> None:
    """Volume of one bubble; goes into run.toml, where it belongs."""
    run, _ = load_run(a.run)
    if run.meter != "bubbles":
        raise RefusalError(f'{a.run}: found meter = "{run.meter}", wanted "bubbles"')
    bench = load_bench(a.bench)[0] if a.bench else None
    vessel = _vessel(a, None)
    _conclude(a.run, calibrated.bubbles(run, _repeats(a, "bubble", bench, vessel), vessel, _today()))


def _density(a: argparse.Namespace) -> Measured | None:
    """The density in g/mL, for drops that are weighed."""
    weighed = _is_mass(a.resolution)
    if a.density is not None and a.acid is None and a.strength is None:
        density = _quantity("--density", a.density, "gram / milliliter")
    elif a.density is None and a.acid is not None and a.strength is not None:
        density = calibrated.acid_density(a.acid, _quantity("--strength", a.strength, "dimensionless"))
        print(f"density of {a.acid} of {a.strength} at 20 °C: {density.value:.4f} g/mL (CRC Handbook)")
    elif a.density is None and a.acid is None and a.strength is None:
        if weighed:
            raise RefusalError("drops that are weighed need --density, or --acid with --strength")
        return None
    else:
        raise RefusalError("found a mixture of --density, --acid and --strength; wanted --density, or both others")
    if not weighed:
        raise RefusalError(f"found a density beside --resolution {a.resolution!r}, wanted a resolution in g")
    return density


def _is_mass(text: str) -> bool:
    try:
        parse_quantity(text, "gram")
    except ValueError:
        return False
    return True


def _vessel(a: argparse.Namespace, density: Measured | None) -> Vessel:
    unit = "milliliter" if density is None else "gram"
    tolerance = _quantity("--tolerance", a.tolerance, unit).value if a.tolerance else 0.0
    return Vessel(_quantity("--resolution", a.resolution, unit).value, tolerance, density)


def _repeats(a: argparse.Namespace, what: str, bench: BenchTerms | None, vessel: Vessel) -> list[cal.Counted]:
    repeats = [_counted(text) for text in a.repeat]
    if a.port is not None:
        with _board(a, bench) as board:
            if a.permit:
                _give_permit(board, bench, input)
            repeats += _count_live(board, what, vessel.unit, input)
    return repeats


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
        fallen = heard.gate(begun, board.newest())
        print(f"  {fallen.words(what)}")
        if fallen.rejects:
            print("  The gate rejects edges: splash, or it stands askew. Mend that first if they are many.")
        amount = _amount(short, ask)
        if amount is not None:
            repeats.append(cal.Counted(fallen.number, amount))


def _amount(short: str, ask: Ask) -> float | None:
    """What a person reads; None for nothing. What is no amount is asked for again, and loses no repeat."""
    while said := ask(f"  What does it read, in {short}? (empty to throw this repeat away) ").strip():
        try:
            amount = float(said.removesuffix(short))
        except ValueError:
            amount = 0.0
        if 0.0 < amount <= cal.MOST_AMOUNT:
            return amount
        print(f"  found {said!r}, wanted a number in {short}, like 4.6")
    return None


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
        shown = [_quantity(name, text, "degC") for name, text in (("--ice", a.ice), ("--steam", a.steam))]
        ice, steam = (calibrated.shown_point(bench, one) for one in shown)
    else:
        raise RefusalError("wanted either --port, or both --ice and --steam")
    _conclude(a.bench, calibrated.thermocouple(bench, ice, steam, pressure, _today()))


def _fixed_point(board: Listener, where: str, seconds: float, ask: Ask) -> cal.Point:
    ask(f"Put the junction into {where}; wait until it stands still for two minutes; Enter: ")
    return heard.fixed_point(board.stretch(seconds))


# --- gas ----------------------------------------------------------------------------------------------------------


def gas_zero(a: argparse.Namespace) -> None:
    """The gas sensor's zero."""
    bench, _ = load_bench(a.bench)
    _conclude(a.bench, calibrated.gas_zero(bench, _sums(a, bench, "clean air for ten minutes")))


def gas_span(a: argparse.Namespace) -> None:
    """The gas sensor's slope."""
    bench, _ = load_bench(a.bench)
    given = _quantity("--gas", a.gas, "ppm")
    sums = _sums(a, bench, f"the test gas of {given.value:g} ppm until the reading has stood still for 3 minutes")
    _conclude(a.bench, calibrated.gas_span(bench, sums, given, _today()))


def _sums(a: argparse.Namespace, bench: BenchTerms, where: str) -> list[float]:
    if (a.port is None) == (not a.sums):
        raise RefusalError("wanted either --port, or values after --sums")
    if a.port is None:
        return list(a.sums)
    with _board(a, bench) as board:
        input(f"Give the sensor {where}; Enter: ")
        return heard.gas_sums(board.stretch(a.seconds))


def bump(a: argparse.Namespace) -> None:
    """Whether the gas sensor is alive."""
    bench, _ = load_bench(a.bench)
    given = _quantity("--gas", a.gas, "ppm").value
    if a.port is not None and a.rise is None and a.after is None:
        with _board(a, bench) as board:
            seen = _bump_live(board, bench, given, input)
            rise_ppm, after_s = seen.ppm, seen.after_s
    elif a.port is None and a.rise is not None and a.after is not None:
        rise_ppm, after_s = _quantity("--rise", a.rise, "ppm").value, _quantity("--after", a.after, "second").value
    else:
        raise RefusalError("wanted either --port, or both --rise and --after")
    _conclude(a.bench, calibrated.bump(bench, rise_ppm, after_s, given, _today()))


def _bump_live(board: Listener, bench: BenchTerms, given_ppm: float, ask: Ask) -> heard.Rise:
    """The rise and the time it took; or what it had risen by when the time was up."""
    before = board.stretch(BASELINE_S)
    ask("Give the test gas now, and Enter in the same moment: ")
    since = [board.newest()]
    while not (seen := heard.rise(before, since, bench, given_ppm)).over:
        since.append(board.after(since[-1]))
    return seen


# --- common -------------------------------------------------------------------------------------------------------


def _today() -> date:
    return datetime.now(UTC).date()


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


def _conclude(path: Path, found: Outcome) -> None:
    """Say what was found and put it into the file."""
    for number, one in enumerate(found.repeats, start=1):
        mark = "   stands out (modified z-score over 3.5)" if one.stands_out else ""
        print(f"  {number}: {one.words}: {one.each}{mark}")
    for share in found.budget:
        print(f"  {share.source}: {share.u}, {share.percent:.0f} % of the variance")
    print(f"  {found.result}; it was {found.was}")
    for note in found.notes:
        print(f"  {note}")
    print(write(path, found, datetime.now(UTC)))
