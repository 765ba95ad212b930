"""The command `so2bench plan`: from a run file, or from what is wanted, to figures, cautions and a run file."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from pathlib import Path

DEFAULTS = "defaults: Na2S2O5 97 %, HCl 30 %, excess 10 %, 22 degC, the smallest common flask"


def add_arguments(p: argparse.ArgumentParser) -> None:
    """What the command takes."""
    p.add_argument("run", type=Path, metavar="RUN", nargs="?", help="run.toml: the charge and the receiver")
    p.add_argument("--bench", type=Path, help="bench.toml: the apparatus (drop volume, room, limits)")
    p.add_argument("--json", action="store_true", help="print JSON alone")
    w = p.add_argument_group("instead of RUN, the charge is worked out for what is wanted", DEFAULTS)
    w.add_argument("--want", metavar="WHAT", help='like "12 g Se", "1 kg water", "0.3 mol SO2", "5 L SO2"')
    w.add_argument("--route", help="acid-drip, acid-on-sulfur or burner")
    w.add_argument("--salt", help="Na2S2O5, K2S2O5, NaHSO3, Na2SO3 or K2SO3")
    w.add_argument("--purity", help='of the salt, like "97 +/- 1 %%"')
    w.add_argument("--acid", help="HCl or H2SO4")
    w.add_argument("--strength", help='of the acid, like "30 +/- 0.5 %%" or "9.46 mol/L"')
    w.add_argument("--excess", help='of gas over what the receiver takes, like "10 %%"')
    w.add_argument("--temperature", help='of the liquor, like "22 degC"')
    w.add_argument("--flask", help='like "500 mL"; without it one is suggested')
    w.add_argument("--draw", help='of the aspirator at the burner, like "4 L/minute"')
    w.add_argument("--save", type=Path, metavar="FILE", help="write the run file, a new one")
    p.set_defaults(do=lambda a: _plan(a, p))


def _plan(a: argparse.Namespace, parser: argparse.ArgumentParser) -> None:
    from monitor.chemistry.planning import plan
    from monitor.plain import plan_lines
    from monitor.planlines import charge_lines
    from monitor.runfile import run_toml, save_run
    from monitor.settings import load_bench, load_run
    from monitor.wanted import Want, designed

    names = ("route", "salt", "purity", "acid", "strength", "excess", "temperature", "flask", "draw")
    given = {name: getattr(a, name) for name in names if getattr(a, name) is not None}
    if (a.run is None) == (a.want is None):
        parser.error("either RUN or --want is wanted")
    if a.run is not None and (given or a.save):
        parser.error("RUN says it all: --" + next(iter([*given, "save"])) + " goes with --want")
    bench = load_bench(a.bench)[0] if a.bench else None
    found = None
    if a.run is not None:
        run, _ = load_run(a.run)
    else:
        if given.get("route") == "acid-on-sulfur":
            given = {"strength": "96 +/- 1 %"} | given
        found = designed(Want(a.want, **given), bench)
        run = found.run
        if a.save:
            save_run(a.save, run_toml(found.contents, "Worked out by so2bench plan for what is wanted."))
    made = plan(run, bench)
    if a.json:
        got = made.as_json_dict() | ({} if found is None else {"run": found.contents, "design": asdict(found.design)})
        print(json.dumps(got, indent=2, ensure_ascii=False))
        return
    lines = list(plan_lines(run, made))
    if found is not None:
        lines[1:1] = ["", *charge_lines(found)]
    print("\n".join(lines))
    if a.save:
        print(f"\nrun file: {a.save}")
