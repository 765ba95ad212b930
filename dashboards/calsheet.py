"""The calibration page's words and HTML. Every text that comes from outside is escaped here."""

from __future__ import annotations

from html import escape

from monitor.calibrated import Outcome, Repeat
from monitor.standing import Standing

STEPS: dict[str, tuple[str, ...]] = {  # as firmware_notes/calibration.md has them
    "drops": (
        "Goggles, gloves, tray. Use the acid, the tip and about the rate of the work: not water for acid.",
        "Let it drip for a minute before you begin.",
        "Put the vessel under, count at least 100 drops, take it away, read it. Do it five times.",
        "Many edges rejected by the gate are splash, or it stands askew: mend that first.",
    ),
    "bubbles": (
        "Gas burette or soap film on the wash bottle, at about the rate of the work.",
        "Count at least 100 bubbles, read the volume. Do it five times.",
    ),
    "thermocouple": (
        "Steam and boiling water scald. Plate off, and no acid near the water.",
        "Ice: crushed ice and pure water, stirred, more ice than water; junction in the middle, still for 2 minutes.",
        "Steam: junction just over boiling pure water, still for 2 minutes.",
        "Pressure: that of the air in this room, not the one reduced to sea level.",
    ),
    "gas-zero": (
        "Sensor powered for as long as its data sheet says, a night after a long rest.",
        "Clean or synthetic air over the cap at its flow, for 10 minutes. Cylinders: somebody who knows them.",
    ),
    "gas-span": (
        "Zero first. SO2 is toxic: under extraction, and cylinders by somebody who knows compressed gas.",
        "Test gas over the cap until the reading has stood still for 3 minutes, then read for a minute.",
        "Clean air again afterwards: it must come back to the zero.",
    ),
    "bump": (
        "Under extraction, before each run: a breath of test gas over the cap.",
        "The reading must pass half of the gas within {twice_t90_s:g} s: twice T90, the time in which it shows nine "
        "tenths of a change. A sensor that does not move is dead.",
    ),
}


def standing_html(rows: tuple[Standing, ...]) -> str:
    """How the calibrations stand, worst first."""
    lines = "".join(
        f'<tr class="{"late" if r.overdue else "fine-date"}"><th scope="row">{escape(r.title)} '
        f"<small>{escape(r.value)}</small></th><td><b>{'! ' if r.overdue else ''}{escape(r.due)}</b> "
        f"<small>{escape(r.done)}</small></td></tr>"
        for r in rows
    )
    return f'<section class="plan standing"><h2>Calibrations, worst first</h2><table>{lines}</table></section>'


def steps_html(kind: str, t90_s: float) -> str:
    """What to do, step by step; `t90_s` is the gas sensor's."""
    items = "".join(f"<li>{escape(step.format(twice_t90_s=2.0 * t90_s))}</li>" for step in STEPS[kind])
    return f'<section class="plan"><h2>What to do</h2><ol>{items}</ol></section>'


def repeats_html(repeats: tuple[Repeat, ...]) -> str:
    """The repeats so far; one that stands out is marked, and counts."""
    lines = "".join(
        f'<tr><th scope="row">{number}: {escape(r.words)}</th><td>{escape(r.each)}'
        f"{' <b>! stands out</b>' if r.stands_out else ''}</td></tr>"
        for number, r in enumerate(repeats, start=1)
    )
    return f'<section class="plan"><h2>Repeats</h2><table>{lines}</table></section>'


def outcome_html(found: Outcome) -> str:
    """The result and its budget, before anything is written."""
    lines = "".join(
        f'<tr><th scope="row">{escape(s.source)}</th><td>{escape(s.u)}, share {_share(s.percent)}</td></tr>'
        for s in found.budget
    )
    budget = f"<h2>Standard uncertainties, and their shares of the variance</h2><table>{lines}</table>"
    notes = "".join(f"<p>{escape(note)}</p>" for note in found.notes)
    return (
        f'<section class="plan-head calm result" role="status"><p>✓ {escape(found.result)}</p></section>'
        f'<section class="plan"><p>In the file now: {escape(found.was)}</p>{budget if lines else ""}{notes}</section>'
    )


def _share(percent: float) -> str:
    return "under 1 %" if percent < 1.0 else f"{percent:.0f} %"


def refusal_html(head: str, why: str) -> str:
    """What cannot be, line by line."""
    lines = "".join(f"<li>{escape(line)}</li>" for line in why.splitlines())
    return f'<section class="plan-head refused" role="alert"><h2>{escape(head)}</h2><ul>{lines}</ul></section>'


def no_bench(watched: bool) -> str:
    """Why there is no file to write into, and what to do: a run that is watched has the board and its settings."""
    start = "so2bench calibrate --page --bench bench.toml"
    if watched:
        return (
            "This page belongs to a run: its board and its settings stay as they are until it ends. "
            f"Then, for the next run, start the calibration page with: {start}"
        )
    return f"No bench file was named. Start the calibration page with: {start}"


def said_html(words: str) -> str:
    """A plain sentence that is read out when it changes."""
    return f'<p role="status" class="said">{escape(words)}</p>'
