"""A plan and a replay as plain lines for a terminal: what is, in which unit, and what to mind."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from monitor.chemistry.planning import Plan
from monitor.core.performance import Figures, performance_lines
from monitor.terms import RunTerms


def plan_lines(run: RunTerms, plan: Plan) -> Iterator[str]:
    """A plan, amounts first, cautions last and worst first."""
    got = plan.as_json_dict()
    yield run.title
    yield ""

    def row(label: str, key: str, form: str, unit: str) -> Iterator[str]:
        value = got[key]
        yield f"  {label:<34} {'not known' if value is None else format(value, form) + ' ' + unit}"

    yield "The charge"
    yield from row("sulfur(IV) in it", "sulfur_iv_mol", ".4f", "mol")
    yield from row("acid", "acid_mol", ".4f", "mol")
    strength = got["acid_mol_per_l"], got["acid_mass_percent"]
    if None not in strength:
        yield f"  {'acid strength':<34} {strength[1]:.1f} % by mass = {strength[0]:.2f} mol/L"
    if got["limiting"] is not None:
        yield f"  {'used up first':<34} the {got['limiting']}"
    if got["acid_excess"] is not None:
        yield f"  {'acid over what the salt takes':<34} {100 * got['acid_excess']:+.1f} %"
    yield "What it gives, all the acid in"
    yield from row("made", "generated_mol", ".3f", "mol SO2")
    yield from row("held in the flask", "held_mol", ".3f", "mol SO2")
    delivered, spread = got["delivered_mol"], got["delivered_expanded_uncertainty_mol"]
    if delivered is not None and spread is not None:
        yield f"  {'goes over':<34} {delivered:.3f} ± {spread:.3f} mol SO2 (k = 2)"
    yield from row("", "delivered_g", ".1f", "g")
    yield from row("", "gas_volume_l", ".1f", "L of gas")
    yield "What is wanted"
    yield from row("SO2 for the receiver", "need_mol", ".3f", "mol")
    yield from row("acid for that", "acid_volume_for_need_ml", ".1f", "mL")
    yield from row("drops for that", "drops_for_need", ",.0f", "drops")
    yield "If it goes wrong"
    yield from row("the scrubber takes", "scrubber_capacity_mol", ".2f", "mol SO2")
    yield from row("all of it in the room", "worst_case_ppm", ",.0f", "ppm")
    yield ""
    yield "Cautions, worst first"
    for number, caution in enumerate(plan.cautions, start=1):
        yield f"  {number}. {caution}"


def replay_lines(got: dict[str, Any]) -> Iterator[str]:
    """A replay's summary."""
    frames = got["frames"]
    rejected = ", ".join(f"{n} {cause}" for cause, n in frames["rejected"].items()) or "none"
    counts = f"{frames['accepted']} samples, {frames['lost']} missing"
    yield f"{got['duration_s']:.1f} s, {counts}, rejected lines: {rejected}"
    yield f"{got['drops']} drops, board restarts: {got['restarts']}"
    account = got["account"]
    if account is not None:
        spread = account["delivered_expanded_uncertainty_mol"]
        yield (
            f"delivered {account['delivered_mol']:.4f} ± {spread:.4f} mol (k = 2), held {account['held_mol']:.4f}, "
            f"generated {account['generated_mol']:.4f}, locked {account['locked_mol']:.4f}"
        )
    exposure = got["exposure"]
    yield (
        f"exposure: 15-minute average at most {exposure['stel_max_ppm']:.3g} ppm, "
        f"8-hour {exposure['twa_ppm']:.3g} ppm, {exposure['unknown_s']:.0f} s unknown"
    )
    yield f"plate at most {_or_unknown(got['plate']['max_c'], '.1f')} °C"
    yield f"gas at most {_or_unknown(got['gas']['max_ppm'], '.2f')} ppm"
    for alarm in got["alarms"]:
        returned, acknowledged = alarm["returned_s"], alarm["acknowledged_s"]
        yield (
            f"  {alarm['raised_s']:9.1f} s  {alarm['priority']:<6} {alarm['tag']}"
            f"  {'still standing' if returned is None else f'until {returned:.1f} s'}"
            f"{'' if acknowledged is None else f', acknowledged at {acknowledged:.1f} s'}"
        )
    for said in got["opening"]:
        yield f"  {said['t_s']:9.1f} s  {said['text']}"
    yield from performance_lines(Figures(**got["alarm_performance"]))


def _or_unknown(value: float | None, form: str) -> str:
    return "unknown" if value is None else format(value, form)
