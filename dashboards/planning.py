"""A plan for the page: from a run file's text to sections of words. It reckons nothing that `monitor` does not.

The text of the run file is the one thing that is kept: what is shown follows from it, and it is what is saved.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from html import escape
from pathlib import Path
from typing import Any, NamedTuple, cast

from monitor.chemistry.outlook import outlook
from monitor.chemistry.planning import Plan, plan
from monitor.chemistry.prices import charge_costs
from monitor.chemistry.receivers import REACTIONS
from monitor.errors import PlanError
from monitor.nexttime import charge_words, run_rows, sentences
from monitor.pastresults import learned_from
from monitor.planlines import PAST_TITLE, Section, charge_rows, cost_rows, outlook_sections
from monitor.runfile import Contents, run_toml
from monitor.settings import bench_from, parse_toml, run_from
from monitor.terms import BenchTerms, Route
from monitor.wanted import GAS, Want, designed, want_of

HEAD = "Worked out on the page of so2bench for what is wanted."
FILE = "run.toml"


class Sheet(NamedTuple):
    """A plan as words; `enough` is None when no need or no account stands in it."""

    title: str
    headline: str
    enough: bool | None
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]


class Worked(NamedTuple):
    """A run file's text that meets a want, and what to weigh out."""

    text: str
    charge: Section


def bench_of(text: str | None) -> BenchTerms | None:
    """The bench of a bench.toml's text, if there is one. Raises SettingsError."""
    return None if text is None else bench_from(parse_toml(text, "bench.toml"), "bench.toml")


def work_out(want: Want, bench_text: str | None) -> Worked:
    """The run for a want. Raises SettingsError and PlanError."""
    found = designed(want, bench_of(bench_text))
    return Worked(run_toml(found.contents, HEAD), charge_rows(found))


def sheet_of(run_text: str, bench_text: str | None) -> Sheet:
    """The plan of a run file's text. Raises SettingsError."""
    run, bench = run_from(parse_toml(run_text, FILE), FILE), bench_of(bench_text)
    made = plan(run, bench)
    more = list(outlook_sections(run, made, outlook(run, bench, made)))
    costs = charge_costs(run.prices, run.charge)
    if costs:
        more.append(cost_rows(run, costs))
    headline, enough = _headline(made)
    return Sheet(run.title, headline, enough, (("Amounts", _amounts(made)), *more), made.cautions)


PRICED = ("salt", "acid", "sulfur", "sulfuric")
FIELDS = {  # of the form, in run.toml's own texts; `what` is what takes the gas
    "amount": "12 g",
    "what": "Se",
    "excess": "10 %",
    "temperature": "22 degC",
    "route": "acid-drip",
    "salt": "Na2S2O5",
    "purity": "97 +/- 1 %",
    "acid": "HCl",
    "strength": "",
    "flask": "",
    "draw": "4 L/minute",
    "rate": "",
    "warm": "",
    "reckoned": "model",
} | {f"price_{what}": "" for what in PRICED}


def want_from(fields: dict[str, str], before: Want | None, learned: Contents | None) -> Want:
    """The want that the form's fields say. What they do not ask for stays as the opened file, `before`, has it.

    `learned` is the table to plan with; None: none.
    """
    asked: dict[str, Any] = {key: text.strip() for key, text in fields.items() if key != "reckoned"}
    want = f"{asked.pop('amount')} {asked.pop('what')}"
    prices = {what: text for what in PRICED if (text := asked.pop(f"price_{what}"))}
    new = Want(want, **asked, prices=prices, learned=learned or {})
    if before is None:
        return new
    title = before.title if want == before.want else ""
    return replace(new, title=title, kept=before.kept if new.route == before.route else {})


RECKONED = {
    "model": "by the charge alone",
    "file": "with the past yield that the opened file states",
    "past": "with the yield of this bench's past runs",
}


def reckoned(
    fields: dict[str, str], before: Want | None, folder: Path | None, bench_text: str | None, today: date
) -> Contents | None:
    """The table [learned] that the form's fields ask for, None for none.

    Raises PlanError where past runs are asked for, and too few tell.
    """
    route = fields["route"]
    if fields["reckoned"] == "file" and before is not None and before.route == route:
        return before.learned
    if fields["reckoned"] != "past":
        return None
    bench = bench_of(bench_text)
    if folder is None or bench is None:
        raise PlanError("past runs: found no folder of them or no bench file, wanted both; see so2bench plan --help")
    found = learned_from(folder, bench, cast(Route, route), today)
    if found.learned is None:
        raise PlanError("past runs: " + " ".join(sentences(found)))
    return found.learned


def past_html(run_text: str, folder: Path | None, bench_text: str | None, today: date) -> str:
    """What past runs of this bench say for this plan's route; nothing where there is no folder or no bench."""
    bench = bench_of(bench_text)
    if folder is None or bench is None:
        return ""
    run = run_from(parse_toml(run_text, FILE), FILE)
    found = learned_from(folder, bench, run.route, today)._replace(planned_charge=charge_words(run))
    words = "".join(f"<p>{escape(sentence)}</p>" for sentence in sentences(found))
    return section_html((PAST_TITLE, list(run_rows(found)))).replace("<table>", f"{words}<table>", 1)


def fields_of(want: Want) -> dict[str, str]:
    """The form's fields for a want."""
    amount, what = want.want.rsplit(" ", 1)
    got = {key: str(getattr(want, key)) for key in FIELDS if hasattr(want, key)}
    got["reckoned"] = "file" if want.learned else "model"
    return got | {"amount": amount, "what": what} | {f"price_{p}": str(want.prices.get(p, "")) for p in PRICED}


def opened_want(run_text: str) -> Want | None:
    """The want of a run file's text, as far as it says one and the form can hold it; None when not.

    Raises SettingsError when it is no run file.
    """
    contents = parse_toml(run_text, FILE)
    run_from(contents, FILE)
    try:
        want = want_of(contents)
    except PlanError:
        return None
    return want if want.want.rsplit(" ", 1)[1] in (GAS, *REACTIONS) else None


def _headline(made: Plan) -> tuple[str, bool | None]:
    if made.delivered_mol is None or made.delivered_expanded_uncertainty_mol is None:
        return f"At most {made.most_so2_mol:.3f} mol SO2 by the equation; what really comes is weighed", None
    over = f"{made.delivered_mol:.3f} ± {made.delivered_expanded_uncertainty_mol:.3f} mol SO2 go over"
    if made.need_mol is None:
        return over, None
    sure = made.delivered_mol - made.delivered_expanded_uncertainty_mol >= made.need_mol
    verdict = "enough" if sure else "not enough" if made.delivered_mol < made.need_mol else "perhaps too little"
    return f"{over}, {made.need_mol:.3f} mol are wanted: {verdict}", sure


def _amounts(made: Plan) -> list[tuple[str, str]]:
    rows: list[tuple[str, str]] = []

    def row(label: str, value: float | None, form: str, unit: str) -> None:
        if value is not None:
            rows.append((label, f"{value:{form}} {unit}"))

    if made.acid_mol_per_l is not None and made.acid_mass_percent is not None:
        rows.append(("acid strength", f"{made.acid_mass_percent:.1f} % by mass = {made.acid_mol_per_l:.2f} mol/L"))
    row("sulfur(IV) in the charge", made.sulfur_iv_mol, ".3f", "mol")
    row("acid in all", made.acid_mol, ".3f", "mol")
    if made.limiting is not None:
        rows.append(("used up first", f"the {made.limiting}"))
    row("made, all the acid in", made.generated_mol, ".3f", "mol")
    row("held in the flask", made.held_mol, ".3f", "mol")
    row("goes over", made.delivered_g, ".1f", "g")
    row("as gas", made.gas_volume_l, ".1f", "L")
    row("wanted", made.need_mol, ".3f", "mol")
    row("acid for that", made.acid_volume_for_need_ml, ".1f", "mL")
    row("drops for that", made.drops_for_need, ",", "drops")
    return rows


STEP = ' class="step"'  # a sentence to be read, not a figure


def section_html(section: Section) -> str:
    """A section as a table."""
    title, rows = section
    body = "".join(
        f'<tr{STEP if name.startswith("step ") else ""}><th scope="row">{escape(name)}</th>'
        f"<td>{escape(value)}</td></tr>"
        for name, value in rows
    )
    return f'<section class="plan"><h2>{escape(title)}</h2><table>{body}</table></section>'


def head_html(sheet: Sheet) -> str:
    """The title and the one sentence that matters."""
    level, sign = {True: ("calm", "✓"), False: ("medium", "!!"), None: ("closed", "")}[sheet.enough]
    return (
        f'<h1 class="title">{escape(sheet.title)}</h1><section class="plan-head {level}" role="status">'
        f'<p><span class="sign">{sign}</span> {escape(sheet.headline)}</p></section>'
    )


def cautions_html(cautions: tuple[str, ...]) -> str:
    """The cautions, worst first."""
    items = "".join(f"<li>{escape(caution)}</li>" for caution in cautions)
    return f'<section class="plan"><h2>Cautions, worst first</h2><ol>{items}</ol></section>'


def refusal_html(why: str) -> str:
    """What cannot be, line by line."""
    lines = "".join(f"<li>{escape(line)}</li>" for line in why.splitlines())
    return (
        f'<section class="plan-head refused" role="alert"><h2>This cannot be planned</h2><ul>{lines}</ul></section>'
    )
