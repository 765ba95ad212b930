"""What there is to show, as HTML. Every text that comes from outside is escaped here, and nowhere else."""

from __future__ import annotations

from html import escape
from importlib.resources import files

from dashboards.alarms import Card
from dashboards.amounts import Amounts, Part
from dashboards.asking import Asked, outcome_words
from dashboards.steps import PHASE_WORDS
from dashboards.view import Head, View
from monitor.core.catalogue import CATALOGUE
from monitor.core.events import Priority

LEAVE = "GAS-HIGH-HIGH"  # the one alarm that asks everybody to leave
SHELVABLE = tuple(tag for tag, kind in CATALOGUE.items() if kind.priority is not Priority.HIGH)
CAUTION = (
    "An aid, not a certified gas detector or safety system: local rules and licensed practice come first. "
    "Stay within hearing of the board's buzzer."
)


def style() -> str:
    """The page's style sheet."""
    return f"<style>{(files('dashboards') / 'sheet.css').read_text('utf-8')}</style>"


def title(v: View) -> str:
    """Whose run this is; invented data are called so."""
    mark = '<span class="invented">INVENTED DATA: a simulated bench</span>' if v.sheet.invented else ""
    return f'<h1 class="title">{escape(v.sheet.title)} <span>at {escape(v.sheet.bench)}</span> {mark}</h1>'


def pulse(v: View | None, now: str) -> str:
    """Age of the newest sample and moment of this refresh.

    The hidden sentence comes out by itself when no refresh has taken this one's place for some seconds, even where
    the script of `dashboards.stopped` does not run.
    """
    age = f"{escape(v.age)} · " if v is not None and v.age else ""
    frozen = "This page has stopped refreshing. Do not trust its numbers; reload it."
    return (
        f'<p class="pulse">{age}page refreshed {escape(now)}</p>'
        f'<p class="frozen" data-refreshed="{escape(now)}">{frozen}</p>'
    )


def warning(text: str, sign: str = "?") -> str:
    """Old data, said loudly, or an alarm on another page by its own sign; an empty place otherwise."""
    return (
        f'<p class="warning"><span class="sign">{escape(sign)}</span> {escape(text)}</p>'
        if text
        else '<p class="nothing"></p>'
    )


def head(h: Head) -> str:
    """The state in words, and what to do now."""
    role = "alert" if h.level == "high" else "status"
    steps = "".join(f"<li>{escape(step)}</li>" for step in h.steps)
    tag = "ol" if len(h.steps) > 1 else "ul"
    return (
        f'<section class="head {h.level}" role="{role}"><p class="state"><span class="sign">{h.sign}</span> '
        f"<span><small>{escape(h.word)}</small> {escape(h.text)}</span></p>"
        f'<div class="do"><span>Do now</span><{tag}>{steps}</{tag}></div></section>'
    )


def card(c: Card, *, in_head: bool, leave: bool = False) -> str:
    """An alarm's card. What to do stands in the head for the worst, and here for the others.

    With `leave` the head sends people out, and no other card holds them back with something to do.
    """
    seen = f"{'Seen' if c.stands else 'What was seen'}: {c.detail}. " if c.detail else ""
    do = "Do: leave first, as said above. " if leave else f"Do: {c.response} "
    said = f"{c.consequence} {seen}" if in_head else f"{c.consequence} {seen}{do}"
    said += f"Time to respond: {c.time_to_respond}."
    if not c.stands:  # what follows from it, and what to do while it stood, is true no more
        said = f"{seen}The cause is gone: find out why it came."
    return (
        f'<article class="card {c.priority.value}"><p class="line"><span class="sign">{c.sign}</span> '
        f"<b>{escape(c.title)}</b> <code>{escape(c.tag)}</code> <i>{escape(c.state_words)}, {escape(c.since)}</i></p>"
        f"<p>{escape(said)}</p></article>"
    )


def aside(c: Card) -> str:
    """An alarm that people have set aside."""
    said = f"{c.title}: {c.state_words}, {c.since}"
    return f'<p class="aside"><code>{escape(c.tag)}</code> {escape(said)}</p>'


def amounts(a: Amounts) -> str:
    """How much has gone over, where the rest is, and what lies ahead."""
    as_of = f'<p class="asof">As it stood at {escape(a.as_of)}.</p>' if a.as_of else ""
    if a.why:
        return f'<section class="amounts"><h2>How much has gone over</h2><p>{escape(a.why)}</p>{as_of}</section>'
    rows = "".join(_part_row(part) for part in a.parts)
    ahead = "".join(
        f'<tr class="ahead"><th scope="row">{escape(n)}</th><td>{escape(w)}</td></tr>' for n, w in a.ahead
    )
    return (
        f'<section class="amounts"><h2>How much has gone over</h2>{as_of}'
        f'<p class="big">{escape(a.delivered)}</p><p class="need-words">{escape(a.need)}</p>{_bar(a)}'
        f"<table>{rows}{ahead}</table>"
        '<p class="fine">± is two standard uncertainties.</p></section>'
    )


def _part_row(part: Part) -> str:
    key = f'<span class="key {part.key}"></span>'
    return (
        f'<tr><th scope="row">{key}{escape(part.name)} <small>{escape(part.where)}</small></th>'
        f"<td>{escape(part.words)}</td></tr>"
    )


def _bar(a: Amounts) -> str:
    whole_mol = sum(max(0.0, part.mol) for part in a.parts)
    if whole_mol <= 0.0:
        return ""
    parts = "".join(
        f'<span class="{part.key}" style="width:{100.0 * max(0.0, part.mol) / whole_mol:.2f}%"></span>'
        for part in a.parts
    )
    need = ""
    if a.need_mol is not None and a.need_mol <= whole_mol:
        need = f'<span class="need" style="left:{100.0 * a.need_mol / whole_mol:.2f}%"><em>need</em></span>'
    said = ", ".join(f"{part.name.lower()} {part.words}" for part in a.parts)
    return f'<div class="bar" role="img" aria-label="All the sulfur: {escape(said)}">{parts}{need}</div>'


def readings(v: View) -> str:
    """Air, heat, and what is counted."""
    rows = "".join(
        f'<tr class="{"known" if r.known else "unknown"}"><th scope="row">{escape(r.name)}<small>{escape(r.note)}'
        f"</small></th><td>{escape(r.value)}</td></tr>"
        for r in v.readings
    )
    return (
        f'<section class="readings"><h2>{v.readings_of}</h2><table>{rows}</table>'
        f'<p class="fine">From the board: {escape(v.line_words)}.</p></section>'
    )


def permit(v: View) -> str:
    """The permit and why it is as it is."""
    return f'<section class="permit"><h2>Permit for {v.permit_for}</h2><p>{escape(v.permit_words)}</p></section>'


def phase(v: View) -> str:
    """The phase, and what to mind in it."""
    said = f"<p>{escape(v.mind)}</p>" if v.mind else ""
    return f'<section class="phase"><h2>Phase: {PHASE_WORDS[v.phase]}</h2>{said}</section>'


def advice(lines: tuple[str, ...]) -> str:
    """What is seen that is no alarm, and what to do about it."""
    said = "".join(f"<li>{escape(line[:1].upper() + line[1:])}.</li>" for line in lines)
    return f'<section class="advice" role="status"><h2>Look at this</h2><ul>{said}</ul></section>'


def answers(asked: list[Asked], now_mono_s: float) -> str:
    """What became of the newest requests."""
    lines = "".join(
        f'<p class="{"refused" if a.refused else "answer"}">{escape(outcome_words(a, now_mono_s))}</p>' for a in asked
    )
    return f'<div class="answers" role="status">{lines}</div>'


def record(lines: tuple[tuple[str, str], ...]) -> str:
    """The newest lines of the record."""
    rows = "".join(f'<tr><th scope="row">{escape(t)}</th><td>{escape(text)}</td></tr>' for t, text in lines)
    return f'<section class="record"><h2>From the record, newest first</h2><table>{rows}</table></section>'


def alarms_did(lines: tuple[str, ...]) -> str:
    """How the alarms did so far."""
    rows = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f'<section class="record"><h2>How the alarms did so far</h2><ul>{rows}</ul></section>'


def shelvable_words(tag: str) -> str:
    """An alarm in the list of those that may be set aside."""
    return f"{tag}: {CATALOGUE[tag].title}"
