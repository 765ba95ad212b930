"""From "12 g Se" and what stands on the shelf to the contents of a run.toml that makes the gas for it.

Promise: whatever comes out opens as a run, and meets the need as `chemistry.design` promises; whatever cannot be is
refused in a sentence that names what was found and what is wanted. Texts carry their units, as in run.toml. And back:
the want of a file that was worked out here gives that file again.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from math import ceil
from typing import Any

from monitor.chemistry import bases
from monitor.chemistry.cautions import SCRUBBER_RESERVE
from monitor.chemistry.design import DripDesign, check_need, design_drip, grams_step
from monitor.chemistry.gas import so2_molar_volume_l
from monitor.chemistry.other_routes import SulfurDesign, design_acid_on_sulfur, design_burner
from monitor.chemistry.receivers import REACTIONS
from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL, sulfur_iv_mol
from monitor.errors import PlanError
from monitor.quantities import parse_quantity
from monitor.runfile import Contents
from monitor.settings import run_from
from monitor.terms import COVERAGE, AcidOnSulfurTerms, BenchTerms, DripTerms, RunTerms

GAS = "SO2"  # wanted as itself, whatever takes it
SCRUBBER_PERCENT = 10.0  # caustic soda; common practice, no source
HOT_STRENGTH, STRENGTH = "96 +/- 1 %", "30 +/- 0.5 %"  # where none is named: acid on sulfur, and dripped acid
KEPT = ("meter", "bubble_volume", "bubble_calibrated", "window", "pressure")  # of a file's generator, as they are
LEAST_SURE_YIELD = 0.1  # of the plan; when past runs are no surer than this, no charge is worked out by them


@dataclass(frozen=True, slots=True)
class Want:
    """What is wanted, and of what it is to be made; texts as in run.toml. An empty flask: suggest one; an empty
    strength, rate or warming: what is usual. `kept` are keys of [generator] that a want does not ask for; `prices`
    and `learned` the tables of those names.
    """

    want: str
    route: str = "acid-drip"
    salt: str = "Na2S2O5"
    purity: str = "97 +/- 1 %"
    acid: str = "HCl"
    strength: str = ""
    excess: str = "10 %"
    temperature: str = "22 degC"
    flask: str = ""
    draw: str = "4 L/minute"
    title: str = ""
    rate: str = ""
    warm: str = ""
    prices: Contents = field(default_factory=dict)
    learned: Contents = field(default_factory=dict)
    kept: Contents = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Designed:
    """A run that meets a want: its contents, its terms, and how it was found."""

    contents: Contents
    run: RunTerms
    design: DripDesign | SulfurDesign


def designed(want: Want, bench: BenchTerms | None = None) -> Designed:
    """The run for a want.

    Raises:
        SettingsError: a text that is not of its kind, each named.
        PlanError: a want that cannot be met.
    """
    contents = _contents(want)
    like = run_from(contents, "the plan")  # what is asked for, with amounts of no meaning yet
    need_mol = like.receiver.need_mol if like.receiver is not None else 0.0
    generator, charge = contents["generator"], like.charge
    check_need(need_mol)
    need_mol /= _sure_yield(like)
    design: DripDesign | SulfurDesign
    if isinstance(charge, DripTerms):
        drop = bench.drops.volume_ul if bench is not None else None
        design = design_drip(
            charge,
            need_mol,
            flask_ml=charge.flask_volume_ml if want.flask else None,
            drop_relative_u=drop.u / drop.value if drop is not None else 0.0,
        )
        made = design.charge
        generator |= {
            "salt_mass": f"{made.salt_mass_g.value:g} +/- {made.salt_mass_g.u:g} g",
            "water": f"{made.water_ml:g} mL",
            "acid_volume": f"{made.acid_volume_ml:g} mL",
            "flask_volume": f"{made.flask_volume_ml:g} mL",
        }
    elif isinstance(charge, AcidOnSulfurTerms):
        design = design_acid_on_sulfur(charge, need_mol)
        generator |= {
            "sulfur_mass": _grams(design.sulfur_g),
            "acid_volume": f"{design.acid_ml:g} mL",
            "flask_volume": f"{design.flask_ml:g} mL",
        }
    else:
        design = design_burner(need_mol)
        generator["sulfur_mass"] = _grams(design.sulfur_g)
    contents["scrubber"] = _scrubber(_most_so2_mol(design))
    run = run_from(contents, "the plan")
    return Designed(contents, run, design)


def _sure_yield(like: RunTerms) -> float:
    """The share of its plan that a run surely gives (k = 2), by what was learned; 1 where nothing was."""
    if like.learned is None:
        return 1.0
    share = like.learned.yield_share
    sure = share.value - COVERAGE * share.u
    if sure < LEAST_SURE_YIELD:
        raise PlanError(
            f"learned.yield: found {100 * share.value:.3g} +/- {100 * share.u:.3g} %, wanted a surer one: by it a "
            "run might give next to nothing"
        )
    return sure


def _grams(mass_g: float) -> str:
    return f"{mass_g:g} +/- {0.5 * grams_step(mass_g):g} g"


def _contents(want: Want) -> Contents:
    generator: dict[str, Any] = {
        "route": want.route,
        "meter": "drops" if want.route == "acid-drip" else "weighings",
    }
    if want.route == "acid-drip":
        generator |= {
            "salt": want.salt,
            "salt_mass": "1 g",
            "salt_purity": want.purity,
            "water": "0.1 mL",
            "acid": want.acid,
            "acid_strength": want.strength or STRENGTH,
            "acid_volume": "0.1 mL",
            "flask_volume": want.flask or "1 L",
        }
    elif want.route == "acid-on-sulfur":
        generator |= {
            "sulfur_mass": "1 g",
            "acid": "H2SO4",
            "acid_strength": want.strength or HOT_STRENGTH,
            "acid_volume": "1 mL",
            "window": ["280 degC", "330 degC"],
            "flask_volume": want.flask or "1 L",
        }
    else:
        generator |= {"sulfur_mass": "1 g", "draw": want.draw}
    generator |= {"temperature": want.temperature, "pressure": "1 atm"} | want.kept
    asked = {key: text for key, text in (("rate", want.rate), ("warm", want.warm)) if text}
    more = {"plan": asked, "prices": dict(want.prices), "learned": dict(want.learned)}
    return {
        "title": want.title or f"SO2 for {want.want}",
        "generator": generator,
        "receiver": receiver_contents(want.want, want.excess, want.temperature),
    } | {name: table for name, table in more.items() if table}


def want_of(contents: Contents) -> Want:
    """The want of a run file's contents, as far as they say it. They open as a run.

    Raises PlanError when they name no receiver: then nothing is wanted.
    """
    generator, receiver = contents["generator"], contents.get("receiver")
    if receiver is None:
        raise PlanError("run.toml: [receiver]: found nothing, wanted what takes the gas: the file says no want")
    usual, asked = Want(""), contents.get("plan", {})
    want = f"{receiver['need']} {GAS}" if "need" in receiver else f"{receiver['amount']} {receiver['reaction']}"
    return Want(
        want=want,
        route=generator["route"],
        salt=generator.get("salt", usual.salt),
        purity=generator.get("salt_purity", usual.purity),
        acid=generator.get("acid", usual.acid),
        strength=generator.get("acid_strength", ""),
        excess=receiver.get("excess", "0 %"),
        temperature=generator.get("temperature", usual.temperature),
        flask=generator.get("flask_volume", ""),
        draw=generator.get("draw", usual.draw),
        title=contents["title"],
        rate=asked.get("rate", ""),
        warm=asked.get("warm", ""),
        prices=contents.get("prices", {}),
        learned=contents.get("learned", {}),
        kept={key: generator[key] for key in KEPT if key in generator},
    )


def receiver_contents(want: str, excess: str, temperature: str) -> dict[str, str]:
    """A want like "12 g Se", "0.3 mol SO2" or "5 L SO2" as the table [receiver].

    Raises PlanError when it is none.
    """
    wanted = (
        f'an amount and what takes the gas, like "12 g Se" or "0.3 mol SO2"; known are SO2, {", ".join(REACTIONS)}'
    )
    found = re.fullmatch(r"\s*(.*\S)\s+(\S+)\s*", want)
    if found is None or found[2] not in (GAS, *REACTIONS):
        raise PlanError(f"what is wanted: found {want!r}, wanted {wanted}")
    amount, what = found[1], found[2]
    if what != GAS:
        return {"reaction": what, "amount": amount, "excess": excess}
    return {"need": f"{_so2_mol(want, amount, temperature):.6g} mol", "excess": excess}


def _so2_mol(want: str, amount: str, temperature: str) -> float:
    for unit, mol_per in (("mole", 1.0), ("gram", 1.0 / MOLAR_MASS_G_PER_MOL[GAS]), ("liter", None)):
        try:
            value = parse_quantity(amount, unit).value
            molar_l = so2_molar_volume_l(parse_quantity(temperature, "degC").value) if mol_per is None else 1.0
        except ValueError:
            continue
        if value <= 0.0:
            break
        return value * mol_per if mol_per is not None else value / molar_l
    raise PlanError(f'what is wanted: found {want!r}, wanted SO2 above nought in g, mol or L, like "20 g SO2"')


def _most_so2_mol(design: DripDesign | SulfurDesign) -> float:
    if isinstance(design, SulfurDesign):
        return design.most_so2_mol
    charge = design.charge
    return sulfur_iv_mol(charge.salt, charge.salt_mass_g.value, charge.salt_purity.value)


def _scrubber(most_so2_mol: float) -> dict[str, str]:
    """Caustic soda for the whole charge and the reserve, in steps of a quarter litre."""
    per_l = 0.5 * bases.mol_per_l_from_mass_fraction("NaOH", SCRUBBER_PERCENT / 100.0)
    volume_l = ceil(most_so2_mol / (1.0 - SCRUBBER_RESERVE) / per_l * 4.0) / 4.0
    return {"base": "NaOH", "strength": f"{SCRUBBER_PERCENT:g} %", "volume": f"{volume_l:g} L"}
