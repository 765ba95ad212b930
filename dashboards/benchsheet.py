"""The list of benches as HTML. What benches said is escaped here, and nowhere else."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from importlib.resources import files

from dashboards.alarms import SIGN
from dashboards.benchlist import Alarmed, One
from dashboards.words import clock
from monitor.benches.cells import SIGNS, Cells
from monitor.benches.levels import WORDS, Level
from monitor.benches.table import INVENTED

LOOKS = {level: level.name.lower().replace("_", "-") for level in Level}
CAUTION = (
    "An aid, not a certified gas detector or safety system: local rules and licensed practice come first. A network, "
    "a broker and two computers lie between a bench and this page; nothing replaces somebody within hearing of it."
)
HEADS = ("State", "What, and since when (its clock)", "Phase", "SO2", "Plate", "Rate", "Gone over")


def style() -> str:
    """What the list looks like beyond the common sheet."""
    return f"<style>{(files('dashboards') / 'benches.css').read_text('utf-8')}</style>"


def title(total: int, *, invented: bool) -> str:
    """What this page is; invented data are called so."""
    mark = f'<span class="invented">{escape(INVENTED)}</span>' if invented else ""
    return f'<h1 class="title">All benches <span>({total})</span> {mark}</h1>'


def tally(counts: Mapping[Level, int]) -> str:
    """How many benches there are of each kind, always all kinds, loudest first."""
    tiles = "".join(
        f'<li class="{LOOKS[level]}{"" if count else " none"}"><b>{count}</b> '
        f'<span><i aria-hidden="true">{SIGNS[level]}</i> {_word(level)}</span></li>'
        for level, count in counts.items()
    )
    return f'<ul class="tally" role="status">{tiles}</ul>'


def _word(level: Level) -> str:
    first, _, rest = WORDS[level].partition(", ")
    return f"{escape(first)} <small>{escape(rest)}</small>" if rest else escape(first)


def heads() -> str:
    """The names of a row's columns."""
    return f'<div class="bench heads" aria-hidden="true">{"".join(f"<span>{h}</span>" for h in HEADS)}</div>'


def row(c: Cells) -> str:
    """One bench, on a line or on a few."""
    since = c.since if c.since_utc_s is None else f"since {clock(c.since_utc_s)}, {c.since}"
    looks = "number" if c.known else "number unknown"
    numbers = "".join(
        f'<span class="{looks} {name.partition(" ")[2]}"><i>{name}</i> {escape(value)}</span>'
        for name, value in zip(HEADS[2:], (c.phase, c.gas, c.plate, c.rate, c.over), strict=True)
    )
    word = f'<span class="word"><i aria-hidden="true">{c.sign}</i> {_word(c.level)}</span>'
    return (
        f'<div class="bench {LOOKS[c.level]}">{word}'
        f'<span class="what"><b>{escape(c.what)}</b> {_unbroken(since)}</span>{numbers}</div>'
    )


def _unbroken(words: str) -> str:
    """Words that may part at a comma only."""
    return ", ".join(f"<span>{escape(part)}</span>" for part in words.split(", ")) if words else ""


def one_head(c: Cells) -> str:
    """One bench's state."""
    since = c.since if c.since_utc_s is None else f"since {clock(c.since_utc_s)} by its clock, {c.since}"
    return (
        f'<section class="one {LOOKS[c.level]}" role="status"><p class="name">{escape(c.name)}</p>'
        f'<p class="state"><span class="sign">{c.sign}</span> <b>{_word(c.level)}</b></p>'
        f"<p>{escape(c.what)} {escape(since)}</p></section>"
    )


def one_alarms(o: One) -> str:
    """Its standing alarms with what to do."""
    if not o.alarms:
        return "<h2>Alarms</h2><p>None was standing when it was last heard.</p>"
    last = "" if o.alarms[0].stands else " as it last said them"
    return f"<h2>Alarms{last}, worst first</h2>{''.join(map(_card, o.alarms))}"


def _card(a: Alarmed) -> str:
    seen = f"{escape(a.consequence)} " if a.consequence else ""
    seen += f"Seen: {escape(a.detail)}. " if a.detail else ""
    return (
        f'<article class="card {a.priority.value}"><p class="line"><span class="sign">{SIGN[a.priority]}</span> '
        f"<b>{escape(a.title)}</b> <code>{escape(a.tag)}</code> <i>{escape(a.state_words)}; {escape(a.since)}</i></p>"
        f"<p>{seen}<b>Do:</b> {escape(a.response)} Time to respond: {escape(a.time_to_respond)}.</p></article>"
    )


def one_numbers(o: One) -> str:
    """Its numbers."""
    if not o.numbers:
        return "<h2>Numbers</h2><p>Unknown: it has not said any within the last seconds.</p>"
    rows = "".join(f'<tr><th scope="row">{escape(n)}</th><td>{escape(v)}</td></tr>' for n, v in o.numbers)
    return (
        f'<h2>Numbers</h2><table class="numbers">{rows}</table><p class="fine">± is two standard uncertainties.</p>'
    )


def one_rest(o: One) -> str:
    """What came lately, and how well it is heard."""
    lately = "".join(f"<li>{escape(line)}</li>" for line in o.lately) or "<li>None since this began to listen.</li>"
    hearing = "".join(f"<p>{escape(line)}</p>" for line in o.hearing)
    return f'<h2>Alarm changes, newest first</h2><ul class="lately">{lately}</ul><h2>How it is heard</h2>{hearing}'


def foot(left_out: tuple[str, ...], drawn_ms: float) -> str:
    """What was not taken for a bench's word. How long the refresh took the server is there for measurements alone."""
    lines = "".join(f"<p>{escape(line)}</p>" for line in left_out)
    return f'<div class="fine" data-took-ms="{drawn_ms:.0f}">{lines}</div>'
