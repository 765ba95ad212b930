"""The command `so2bench plan`: from a run file, or from what is wanted, to figures, cautions and a run file."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from monitor.errors import PlanError
from monitor.terms import Route

if TYPE_CHECKING:
    from monitor.nexttime import NextTime
    from monitor.terms import RunTerms

DEFAULTS = "defaults: Na2S2O5 97 %, HCl 30 %, excess 10 %, 22 degC, the smallest common flask"
WANT_OPTIONS = ("route", "salt", "purity", "acid", "strength", "excess", "temperature", "flask", "draw")
OWN_OPTIONS: dict[Route, tuple[str, ...]] = {  # of those, the ones that a route alone or with another has
    "acid-drip": ("salt", "purity", "acid", "strength", "flask"),
    "acid-on-sulfur": ("strength",),
    "burner": ("draw",),
}
PRICED = {"salt": "salt_per_kg", "acid": "acid_per_l", "sulfuric": "sulfuric_per_l", "sulfur": "sulfur_per_kg"}


def add_arguments(p: argparse.ArgumentParser) -> None:
    """What the command takes."""
    p.add_argument("run", type=Path, metavar="RUN", nargs="?", help="run.toml: the charge and the receiver")
    p.add_argument("--bench", type=Path, help="bench.toml: the apparatus (drop volume, room, limits)")
    p.add_argument("--json", action="store_true", help="print JSON alone")
    p.add_argument("--rate", help='of the drip, like "40 / minute" (default: the highest sensible one)')
    p.add_argument("--warm", help='to what the flask is warmed at the end, like "60 degC" (the default)')
    p.add_argument(
        "--price",
        action="append",
        default=[],
        metavar="WHAT=PRICE",
        help='your price of salt, acid (the run\'s), sulfur or sulfuric (96 %%), like "salt=12 EUR/kg", instead of '
        "that in the run file; a bare number is a kilogram's, of an acid a litre's; repeat it",
    )
    w = p.add_argument_group("instead of RUN, the charge is worked out for what is wanted", DEFAULTS)
    w.add_argument("--want", metavar="WHAT", help='like "12 g Se", "1 kg water", "0.3 mol SO2", "5 L SO2"')
    w.add_argument("--route", choices=get_args(Route), help="how the gas is made (default acid-drip)")
    w.add_argument("--salt", help="Na2S2O5, K2S2O5, NaHSO3, Na2SO3 or K2SO3")
    w.add_argument("--purity", help='of the salt, like "97 +/- 1 %%"')
    w.add_argument("--acid", help="HCl or H2SO4")
    w.add_argument("--strength", help='of the acid, like "30 +/- 0.5 %%" or "9.46 mol/L"')
    w.add_argument("--excess", help='of gas over what the receiver takes, like "10 %%"')
    w.add_argument("--temperature", help='of the liquor, like "22 degC"')
    w.add_argument("--flask", help='like "500 mL"; without it one is suggested')
    w.add_argument("--draw", help='of the aspirator at the burner, like "4 L/minute"')
    w.add_argument("--save", type=Path, metavar="FILE", help="write the run file, a new one")
    p.add_argument("--page", action="store_true", help="the plan page instead, in a browser on this machine")
    p.add_argument(
        "--past", type=Path, metavar="FOLDER", help="of run logs: what those of this bench say for next time"
    )
    p.add_argument(
        "--use-past",
        action="store_true",
        help="work the charge out by the yield of those runs; it stands in the file",
    )
    p.set_defaults(do=lambda a: _page(a, p) if a.page else _plan(a, p))


def _page(a: argparse.Namespace, parser: argparse.ArgumentParser) -> None:
    from monitor.edges.page import Page

    if a.run or a.bench or a.want:
        parser.error(
            "--page goes without RUN, --bench and --want: the files are opened, and the wish said, on the page"
        )
    Page(None, past=a.past).serve("/plan")


def _plan(a: argparse.Namespace, parser: argparse.ArgumentParser) -> None:
    from monitor.chemistry.outlook import outlook
    from monitor.chemistry.planning import plan
    from monitor.chemistry.prices import charge_costs
    from monitor.nexttime import charge_words, sentences
    from monitor.pastresults import learned_from
    from monitor.plain import plan_lines
    from monitor.planlines import charge_rows, cost_rows, outlook_sections, past_lines, section_lines
    from monitor.runfile import run_toml, save_run
    from monitor.settings import load_bench, load_run
    from monitor.wanted import Want, designed

    given = {name: getattr(a, name) for name in WANT_OPTIONS if getattr(a, name) is not None}
    if (a.run is None) == (a.want is None):
        parser.error("either RUN or --want is wanted")
    if a.run is not None and (given or a.save):
        parser.error("RUN says it all: --" + next(iter([*given, "save"])) + " goes with --want")
    route: Route = given.get("route", Want("").route)
    others = {name for names in OWN_OPTIONS.values() for name in names}.difference(OWN_OPTIONS[route])
    for name in others.intersection(given):
        parser.error(f"--{name}: the route {route} has none")
    if a.past and not a.past.is_dir():
        raise PlanError(f"--past: found no folder {a.past}, wanted one with run logs")
    if a.past and not a.bench:
        parser.error("--past: --bench says of which bench")
    if a.use_past and not (a.past and a.want):
        parser.error("--use-past goes with --want and --past; to RUN add the table [learned] that --past shows")
    bench = load_bench(a.bench)[0] if a.bench else None
    found = past = None
    if bench is not None and a.past:
        route = route if a.want else load_run(a.run)[0].route
        past = learned_from(a.past, bench, route, datetime.now(UTC).date())
    if a.run is not None:
        run, _ = load_run(a.run)
    else:
        found = designed(Want(a.want, **given, learned=_learned(past) if a.use_past else {}), bench)
        run = found.run
    if past is not None:
        past = past._replace(planned_charge=charge_words(run))
    asked = _asked(a)
    run = _priced(a.price, run)
    costs = charge_costs(run.prices, run.charge)
    made = plan(run, bench)
    ahead = outlook(run, bench, made, **asked)
    if found is not None and a.save:
        save_run(a.save, run_toml(found.contents, "Worked out by so2bench plan for what is wanted."))
    if a.json:
        got = made.as_json_dict() | ahead.as_json_dict() | {"costs": [asdict(one) for one in costs]}
        got |= {} if past is None else {"next_time": list(sentences(past))}
        got |= {} if found is None else {"run": found.contents, "design": asdict(found.design)}
        print(json.dumps(got, indent=2, ensure_ascii=False, default=str))
        return
    lines = list(plan_lines(run, made))
    end = lines.index("Cautions, worst first") - 1
    added = [line for section in outlook_sections(run, made, ahead) for line in section_lines(section)]
    added += section_lines(cost_rows(run, costs)) if costs else ()
    added += past_lines(past) if past is not None else ()
    lines[end:end] = added
    if found is not None:
        lines[1:1] = ["", *section_lines(charge_rows(found))]
    print("\n".join(lines))
    if a.save:
        print(f"\nrun file: {a.save}")


def _learned(past: NextTime | None) -> dict[str, Any]:
    if past is None or past.learned is None:
        raise PlanError("--use-past: too few finished runs of this bench on this route tell their yield; see --past")
    return past.learned


def _asked(a: argparse.Namespace) -> dict[str, float]:
    got: dict[str, float] = {}
    if a.rate is not None:
        got["rate_per_min"] = _quantity("--rate", a.rate, "1 / minute")
        if got["rate_per_min"] <= 0.0:
            raise PlanError(f"--rate: found {a.rate!r}, wanted drops above nought a minute")
    if a.warm is not None:
        got["warm_to_c"] = _quantity("--warm", a.warm, "degC")
    return got


def _quantity(option: str, text: str, unit: str) -> float:
    from monitor.quantities import parse_quantity

    try:
        return parse_quantity(text, unit).value
    except ValueError as why:
        raise PlanError(f"{option}: found {text!r}, wanted {why}") from why


def _priced(texts: list[str], run: RunTerms) -> RunTerms:
    """The run with the prices of the command line over those of its file."""
    from monitor.chemistry.prices import dripped_kg_per_l, sulfuric_kg_per_l
    from monitor.quantities import parse_price

    prices = run.prices
    liquids = {"acid": dripped_kg_per_l, "sulfuric": sulfuric_kg_per_l}
    for text in texts:
        what, _, price = text.partition("=")
        currency = prices.currency
        try:
            if what not in PRICED:
                raise ValueError
            if _is_number(price):
                per = float(price)
            else:
                per, currency = parse_price(price, liquids[what](run.charge) if what in liquids else None)
            if not 0.0 <= per < float("inf") or currency != (prices.currency or currency):
                raise ValueError
        except ValueError as why:
            wanted = f'{", ".join(PRICED)} with a price, like "salt=12 EUR/kg", "acid=6.50 EUR/L" or "salt=12"'
            raise PlanError(f"--price: found {text!r}, wanted one of {wanted}, all in one currency") from why
        prices = replace(prices, currency=currency, **{PRICED[what]: per})
    return replace(run, prices=prices)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
