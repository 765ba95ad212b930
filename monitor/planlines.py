"""What a plan adds to its amounts, as labels and values for a terminal or a page."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from monitor.chemistry.coil import COIL_M
from monitor.chemistry.design import DripDesign
from monitor.chemistry.outlook import Outlook
from monitor.chemistry.planning import Plan
from monitor.chemistry.prices import RouteCost
from monitor.nexttime import NextTime, run_rows, sentences
from monitor.runfile import run_toml
from monitor.terms import AcidOnSulfurTerms, RunTerms
from monitor.wanted import Designed

Row = tuple[str, str]
Section = tuple[str, list[Row]]


def charge_rows(found: Designed) -> Section:
    """What to weigh out and measure for a want."""
    rows = [
        (key.replace("_", " "), _read(" to ".join(value) if isinstance(value, list) else str(value)))
        for key, value in found.contents["generator"].items()
    ]
    rows += [(f"scrubber {key}", _read(str(value))) for key, value in found.contents["scrubber"].items()]
    design = found.design
    if isinstance(design, DripDesign):
        nominal, spread = design.nominal_salt_g, design.salt_expanded_uncertainty_g
        rows.append(("salt, were every value exact", f"{nominal:.3g} ± {spread:.2g} g (k = 2)"))
    return "To be weighed out and measured", rows


def _read(value: str) -> str:
    """A value of the run file as a person writes it."""
    return value.replace("+/-", "±").replace("degC", "°C")


def outlook_sections(run: RunTerms, plan: Plan, ahead: Outlook) -> Iterator[Section]:
    """The outlook, section by section; what is not of this route is left out."""
    rows = list(_course(ahead))
    if rows:
        yield "How it goes", rows
    rows = list(_other_routes(run, ahead))
    if rows:
        yield "How it goes", rows
    rows = []
    if ahead.headspace_ml is not None:
        rows.append(("gas space over the liquor", f"{ahead.headspace_ml:.0f} mL"))
    if ahead.foam_room_ml is not None:
        rows.append(("room for foam to two thirds", f"{ahead.foam_room_ml:.0f} mL"))
    if ahead.scrubber_margin is not None:
        rows.append(("scrubber left after all of it", f"{100 * ahead.scrubber_margin:.0f} %"))
    rows.append(("scrubber wanted, a fifth over", f"{ahead.scrubber_wanted_mol:.2f} mol SO2"))
    yield "Room and reserve", rows
    if ahead.room_limits:
        yield (
            f"All of it in the room at once, {plan.worst_case_ppm:,.0f} ppm",
            [
                (
                    f"{one.name} {one.ppm:g} ppm, {one.over}",
                    f"{one.times_over:,.3g} times"
                    + ("" if one.minutes_to_clear is None else f", under it after {one.minutes_to_clear:.0f} min")
                    + f" ({one.source}; {one.checked})",
                )
                for one in ahead.room_limits
            ],
        )
    rows = [(f"step {number}", words) for number, words in enumerate(ahead.residue, start=1)]
    if ahead.residue_base_mol is not None:
        rows.insert(0, ("caustic soda to neutral", f"about {ahead.residue_base_mol:.2f} mol"))
    yield "What is left, made safe (local rules first)", rows


def _course(ahead: Outlook) -> Iterator[Row]:
    if ahead.liquor_left_mol is None:
        return
    if ahead.first_gas_acid_ml is not None:
        drops = "" if ahead.first_gas_drops is None else f", {ahead.first_gas_drops:,} drops"
        yield "gas first comes after", f"{ahead.first_gas_acid_ml:.1f} mL of acid{drops}"
    if ahead.drip_rate_per_min is not None:
        yield "drops a minute", f"{ahead.drip_rate_per_min:.0f}"
        if ahead.minutes_for_need is not None:
            yield "time to the need at that", f"{ahead.minutes_for_need:.0f} min"
        yield "time for all the acid", f"{ahead.minutes_in_all:.0f} min, {ahead.drops_in_all:,} drops"
        highest = f"{ahead.drip_rate_highest_per_min:.0f} a minute"
        yield "highest sensible rate", f"{highest}, set by {ahead.drip_rate_limited_by} (common practice, no source)"
    yield "sulfur(IV) left in the liquor", f"{ahead.liquor_left_mol:.3f} mol"
    if ahead.warm_freed_mol is not None and ahead.warm_freed_expanded_uncertainty_mol is not None:
        spread = ahead.warm_freed_expanded_uncertainty_mol
        yield f"freed by warming to {ahead.warm_to_c:g} °C", f"{ahead.warm_freed_mol:.3f} ± {spread:.3f} mol (k = 2)"


def _other_routes(run: RunTerms, ahead: Outlook) -> Iterator[Row]:
    charge = run.charge
    if isinstance(charge, AcidOnSulfurTerms):
        low_c, high_c = charge.window_c
        yield (
            "plate between",
            f"{low_c:g} and {high_c:g} °C: below it goes too slowly, above acid and sulfur carry over",
        )
        yield "acid at the end, all sulfur gone", f"{ahead.spent_acid_mass_percent:.0f} % by mass"
    if ahead.air_to_burn_l is not None:
        yield "air to burn it, at least", f"{ahead.air_to_burn_l:.0f} L"
    for one in ahead.burning:
        yield (
            f"with {100 * one.so2_fraction:.0f} % SO2 in the gas",
            f"{one.so2_mol_per_min:.3f} mol a minute, {one.minutes_to_burn:.0f} min, {one.heat_w:.0f} W of heat, "
            f"out of the coil at {one.coil_exit_c:.0f} °C",
        )
    if ahead.coil_highest_draw_l_per_min is not None:
        draw = f"up to {ahead.coil_highest_draw_l_per_min:.1f} L/min at 10 % SO2, out at 50 °C (an estimate)"
        yield f"{COIL_M:g} m of copper tube cool", draw


def cost_rows(run: RunTerms, costs: tuple[RouteCost, ...]) -> Section:
    """The routes by the buyer's own prices, the dearest first; the words follow from the prices alone."""
    currency = f" {run.prices.currency}" if run.prices.currency else ""
    need_mol = None if run.receiver is None else run.receiver.need_mol

    def words(one: RouteCost) -> str:
        mole = f"{one.cost_per_mol:.3g}{currency}"
        return mole if need_mol is None else f"{mole}; {one.cost_per_mol * need_mol:.3g}{currency} for what is wanted"

    return "Cost of a mole of SO2, by your prices and the equations", [(one.route, words(one)) for one in costs]


PAST_TITLE = "Next time, by past runs (nothing of it is applied unless you say so)"


def learned_lines(past: NextTime) -> list[str]:
    """The table that makes a run file reckon with the yield of past runs; nothing where too little is known."""
    return [] if past.learned is None else run_toml({"learned": past.learned}).strip().splitlines()


def past_lines(past: NextTime) -> Iterator[str]:
    """What past runs say, what each of them gave, and the table to plan with."""
    yield PAST_TITLE
    for words in sentences(past):
        yield from wrap(words, 110, initial_indent="  ", subsequent_indent="    ")
    for label, value in run_rows(past):
        yield f"  {label:<34} {value}"
    table = learned_lines(past)
    if table:
        yield "  To plan with it, put this into run.toml, or plan with --want and --use-past:"
        yield from (f"    {line}" for line in table)


def section_lines(section: Section) -> Iterator[str]:
    """A section as lines."""
    title, rows = section
    yield title
    for label, value in rows:
        yield f"  {label:<34} {value}"
