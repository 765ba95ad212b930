"""The options of `calibrate` and `check`. Nothing is loaded for them until one is run."""

from __future__ import annotations

import argparse
from pathlib import Path

LONGEST_S = 600.0  # of a stretch that the board is read; longer, and a drift is in it


def add_calibrate(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `calibrate` and its kinds to the command line."""
    parser = commands.add_parser("calibrate", help="calibrate drops, bubbles, thermocouple or gas sensor; bump test")
    parser.add_argument("--page", action="store_true", help="the calibration page instead, in a browser here")
    parser.add_argument("--bench", type=Path, dest="page_bench", help="with --page: bench.toml")
    parser.add_argument("--run", type=Path, dest="page_run", help="with --page: run.toml, for its bubbles")
    parser.set_defaults(do=lambda a: _calibrate_page(a, parser))
    kinds = parser.add_subparsers(dest="kind", metavar="KIND")

    def kind(name: str, says: str) -> argparse.ArgumentParser:
        p = kinds.add_parser(
            name, help=says, description=f"{says}. The result goes into the file; the old one is kept."
        )
        p.set_defaults(do=_calibrate)
        p.add_argument("--port", nargs="?", const="", help="read the board (bench.toml's port, or this one)")
        return p

    for name, what in (("drops", "drop"), ("bubbles", "bubble")):
        p = kind(name, f"volume of one {what}, from repeats of a count and an amount")
        p.add_argument("--repeat", action="append", default=[], metavar='"COUNT AMOUNT"', help='as in "120 4.6"')
        p.add_argument("--resolution", required=True, help='least step that is read: "0.1 mL"; "0.001 g" for drops')
        p.add_argument("--permit", action="store_true", help="give the permit meanwhile, where the drip needs it")
        p.add_argument("--tolerance", help='of the vessel or balance itself, plus or minus: "0.1 mL"')
        if name == "drops":
            p.add_argument("--bench", type=Path, required=True, help="bench.toml: gets the result")
            p.add_argument("--density", help='where drops are weighed: "1.149 +/- 0.002 g/mL"')
            p.add_argument("--acid", choices=("HCl", "H2SO4"), help="where drops are weighed, instead of --density")
            p.add_argument("--strength", help='of --acid, by mass: "30 +/- 0.5 %%"')
        else:
            p.add_argument("--run", type=Path, required=True, help="run.toml: gets the result")
            p.add_argument("--bench", type=Path, help="bench.toml: its port, where --port names none")
    p = kind("thermocouple", "offset, from ice and from steam")
    _bench(p)
    p.add_argument("--ice", help='the plate as so2bench shows it, the junction in ice and water: "0.2 degC"')
    p.add_argument("--steam", help='the same in steam over boiling water: "99.1 degC"')
    p.add_argument("--pressure", required=True, help='of the air in the room, not at sea level: "1002 +/- 1 hPa"')
    _seconds(p)
    p = kind("gas-zero", "the gas sensor's zero, in clean air")
    _bench(p)
    p.add_argument("--sums", nargs="+", type=float, default=[], help="values of gas_sum, where no board is read")
    _seconds(p)
    p = kind("gas-span", "the gas sensor's slope, in a gas of known strength; after gas-zero")
    _bench(p)
    p.add_argument("--gas", required=True, help='the test gas: "10 +/- 0.2 ppm"')
    p.add_argument("--sums", nargs="+", type=float, default=[], help="values of gas_sum, where no board is read")
    _seconds(p)
    p = kind("bump", "whether the gas sensor is alive: half of the test gas within twice its T90")
    _bench(p)
    p.add_argument("--gas", required=True, help='the test gas: "10 ppm"')
    p.add_argument("--rise", help='by how much it rose, where no board is read: "7 ppm"')
    p.add_argument("--after", help='how long after the gas was given: "40 s"')


def _calibrate_page(a: argparse.Namespace, parser: argparse.ArgumentParser) -> None:
    if not a.page or a.page_bench is None:
        parser.error("wanted one of the kinds, or --page with --bench")
    from monitor.calpage import serve

    serve(a.page_bench, a.page_run)


def _calibrate(a: argparse.Namespace) -> None:
    from monitor import calibrate

    getattr(calibrate, a.kind.replace("-", "_"))(a)


def _bench(p: argparse.ArgumentParser) -> None:
    p.add_argument("--bench", type=Path, required=True, help="bench.toml: gets the result")


def _seconds(p: argparse.ArgumentParser) -> None:
    p.add_argument("--seconds", type=_stretch_s, default=60.0, help="how long the board is read (default 60)")


def _stretch_s(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = 0.0
    if not 1.0 <= seconds <= LONGEST_S:
        raise argparse.ArgumentTypeError(f"found {text}, wanted seconds from 1 to {LONGEST_S:g}")
    return seconds


def add_check(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `check` to the command line."""
    p = commands.add_parser("check", help="the check before a run: what the tool sees, and what only you can see")
    p.add_argument("--bench", type=Path, help="bench.toml: the apparatus")
    p.add_argument("--run", type=Path, help="run.toml: this generation")
    p.add_argument("--log", type=Path, help="instead of both: the log of the run being watched; it records the check")
    p.add_argument("--who", default="the terminal", help="with --log: your name, for the record")
    p.add_argument("--port", help="the serial port, instead of the one in bench.toml")
    p.add_argument("--relay", action="store_true", help="close and open the permit relay once, and see that it does")
    p.add_argument("--gate", action="store_true", help="count ten drops through the gate")
    p.set_defaults(do=lambda a: _check(a, p))


def _check(a: argparse.Namespace, parser: argparse.ArgumentParser) -> None:
    if a.log is None and (a.bench is None or a.run is None):
        parser.error("either --log, or --bench and --run are wanted")
    if a.log is not None and (a.bench or a.run or a.port or a.relay or a.gate):
        parser.error("--log says which run is checked, and its monitor has the board: nothing but --who goes with it")
    if a.log is not None:
        from monitor.checklive import check_live

        check_live(a)
        return
    from monitor.check import check

    check(a)
