"""The report as one page of HTML that needs nothing else: no script, no font, no picture from elsewhere. Pure."""

from __future__ import annotations

from math import hypot

from monitor.core.catalogue import CATALOGUE
from monitor.core.spans import duration
from monitor.nexttime import run_rows, sentences
from monitor.report.facts import Facts, Told
from monitor.report.figures import figures
from monitor.report.pieces import Html, clock, join, pairs, section, share, table, tag, whole
from monitor.report.setup import apparatus, charge
from monitor.report.sheet import STYLE
from monitor.report.words import UNKNOWN, moment, number, run_clock, with_u

CAUTION = (
    "An aid for a careful person, not a certified gas detector or safety system: this report is a record of what one "
    "sensor and one counter said, and no proof of clean air. Local rules and licensed practice come first."
)
NOT_WEIGHED = "not weighed"
MOST_LINES = 400  # of what happened; the rest is in the log
SO2_G_PER_MOL = 64.06


def page(f: Facts) -> str:
    """The whole report."""
    parts = [
        _head(f),
        _glance(f),
        section("Traces", figures(f)),
        _amounts(f),
        _budget(f),
        _weighings(f),
        _exposure(f),
        _alarms(f),
        _happened(f),
        _data(f),
        section("Apparatus and calibrations", apparatus(f)),
        section("Charge", charge(f)),
        _checks(f),
        _closing_down(f),
        _cautions(f),
        _next_time(f),
        _provenance(f),
    ]
    head = Html(f'<meta charset="utf-8"><meta name="viewport" content="width=device-width"><style>{STYLE}</style>')
    title = tag("title", f"{f.run.title} – report")
    body = tag("main", *parts)
    return f'<!DOCTYPE html>\n<html lang="en"><head>{head}{title}</head><body>{body}</body></html>\n'


def _head(f: Facts) -> Html:
    h = f.header
    state = "closed" if h.closed else "not closed: the record ends here, or the run goes on"
    return join(
        (
            tag("p", "INVENTED DATA: a simulated bench; nothing here was measured", kind="invented")
            if f.invented
            else "",
            tag("h1", f.run.title),
            tag(
                "p",
                f"Bench {f.bench.name} · {moment(h.start.utc_s)} to {moment(h.last.utc_s)} · "
                f"{duration(h.last.mono_s - h.start.mono_s)} · {state}",
                kind="sub",
            ),
            tag("p", CAUTION, kind="caution"),
        )
    )


def _glance(f: Facts) -> Html:
    a, p = f.account, f.plan
    high = sum(s.occurrence.priority == "high" for s in f.stood)
    delivered = _over(f)
    grams = f" ({number(a.delivered_mol * SO2_G_PER_MOL, 3)} g SO2)" if a and delivered != NOT_WEIGHED else ""
    need = UNKNOWN if p.need_mol is None else f"{number(p.need_mol)} mol"
    if p.need_mol is not None:
        need += " – " + (f"reached at {run_clock(f.need_reached_s)}" if f.need_reached_s else "not reached")
    stel = f"{number(f.exposure.stel_max_ppm)} ppm" if f.exposure else UNKNOWN
    cells = (
        ("Gone over (± is k = 2)", delivered + grams),
        ("Wanted", need),
        ("Alarms", f"{len(f.stood)}, {high} of them high"),
        ("Highest 15-minute average", stel),
    )
    return tag("div", *(tag("div", tag("span", n), tag("b", v)) for n, v in cells), kind="glance")


def _over(f: Facts) -> str:
    """What went over; a run that is weighed alone, and never was, does not know it."""
    a = f.account
    if f.run.meter == "weighings" and not f.budget:
        return NOT_WEIGHED
    return with_u(a.delivered_mol, a.u_delivered_mol, "mol") if a else UNKNOWN


def _amounts(f: Facts) -> Html:
    p = f.plan
    planned_u = None if p.delivered_expanded_uncertainty_mol is None else p.delivered_expanded_uncertainty_mol / 2.0
    got = f.account
    acid = " with all its acid in" if f.run.route == "acid-drip" else ""
    rows = (
        (
            "Gone over",
            with_u(p.delivered_mol, planned_u, "mol"),
            _over(f),
        ),
        (
            "Held in the flask",
            number(p.held_mol, 3, "mol"),
            with_u(got.held_mol, got.u_held_mol, "mol") if got else UNKNOWN,
        ),
        (
            "Generated (held + gone over)",
            number(p.generated_mol, 3, "mol"),
            with_u(got.generated_mol, got.u_generated_mol, "mol") if got else UNKNOWN,
        ),
        (
            f"Locked in the {'salt' if f.run.route == 'acid-drip' else 'sulfur'}",
            "",
            with_u(got.locked_mol, got.u_locked_mol, "mol") if got else UNKNOWN,
        ),
        *_counted(f),
        ("SO2 wanted", number(p.need_mol, 3, "mol"), _need_words(f)),
        ("Scrubber takes, to sulfite", number(p.scrubber_capacity_mol, 3, "mol"), ""),
    )
    note = tag(
        "p",
        f"Planned is the whole charge{acid}; what happened is the account's last word. "
        "Every ± is the expanded uncertainty, k = 2 (about 95 %).",
        kind="small",
    )
    return section("Planned, and what happened", table(("", "planned", "happened"), rows), note)


def _counted(f: Facts) -> tuple[tuple[str, str, str], ...]:
    """What this run's meter counts: a weighed run has none, and acid falls on one route alone."""
    a, meter = f.account, f.run.meter
    drips = f.run.route == "acid-drip"
    acid = ("Acid in", _acid_planned(f), number(a.acid_ml, 3, "mL") if a else UNKNOWN)
    count = (f"{meter.capitalize()} counted", _drops_planned(f), f"{a.drops}" if a else UNKNOWN)
    return (*((acid,) if drips and meter == "drops" else ()), *((count,) if meter != "weighings" else ()))


def _acid_planned(f: Facts) -> str:
    volume = getattr(f.run.charge, "acid_volume_ml", None)
    return UNKNOWN if volume is None else number(volume, 3, "mL")


def _drops_planned(f: Facts) -> str:
    drops = f.plan.drops_for_need
    return UNKNOWN if drops is None else f"{drops} for what is wanted"


def _need_words(f: Facts) -> str:
    if f.plan.need_mol is None:
        return ""
    return "not reached" if f.need_reached_s is None else f"reached at {run_clock(f.need_reached_s)}"


def _budget(f: Facts) -> Html:
    if not f.budget:
        weighed = f.run.meter == "weighings"
        why = "Nothing was weighed, and nothing is counted here." if weighed else "Nothing was counted."
        return section("What the uncertainty is made of", tag("p", why))
    together = hypot(*(u for _, u in f.budget)) or 1.0
    rows: list[tuple[object, ...]] = [
        (name, number(1000.0 * u, 2), f"{100.0 * (u / together) ** 2:.0f} %", share((u / together) ** 2))
        for name, u in f.budget
    ]
    rows.append((tag("b", "together, k = 1"), tag("b", number(1000.0 * together, 2)), "100 %", ""))
    weighed = f.run.meter == "weighings"
    by = "by the newest weighing that stands" if weighed else "by the count alone"
    words = (
        f"Contributions to the standard uncertainty of what has gone over, {by}, each input carried "
        "through the model (JCGM 100:2008, 5.1.2); they add as squares, and a share is a share of "
        "those."
    )
    if weighed:
        words += " That a receiver keeps all the gas, and that sulfur burns to SO2 alone, is taken for granted here."
    elif f.corrections:
        words += (
            " The weighings below have since re-estimated these inputs together; the account's ± is smaller for it "
            "where they agree."
        )
    return section(
        "What the uncertainty is made of",
        table(("input", "contribution, mmol", "share", ""), rows, "budget"),
        tag("p", words, kind="small"),
    )


def _weighings(f: Facts) -> Html:
    if not f.corrections:
        return Html("")
    rows = [
        (
            clock(c.t_s),
            c.who,
            f"{c.what}, {with_u(c.grams, c.u_g, 'g')}",
            with_u(c.weighed_mol, c.u_weighed_mol, "mol"),
            f"{with_u(c.delivered_before_mol, c.u_before_mol, 'mol')} → "
            f"{with_u(c.delivered_after_mol, c.u_after_mol, 'mol')}",
            ""
            if c.volume_before_ul is None or c.volume_after_ul is None
            else f"{with_u(c.volume_before_ul, c.u_volume_before_ul, 'µL')} → "
            f"{with_u(c.volume_after_ul, c.u_volume_after_ul, 'µL')}",
        )
        for c in f.corrections
    ]
    return section("Weighings", table(("at", "by", "weighed", "is gone over", "account", "one drop or bubble"), rows))


def _exposure(f: Facts) -> Html:
    e, limits = f.exposure, f.bench.limits
    if e is None:
        return section("Exposure at the sensor", tag("p", "The record holds none."))
    gas_max = max((v for v in f.trace.gas_hi if v is not None), default=None)
    return section(
        "Exposure at the sensor",
        table(
            ("", "found", "limit of this bench"),
            (
                ("Highest reading", number(gas_max, 3, "ppm"), f"{limits.gas_high_ppm:g} ppm"),
                ("Highest 15-minute average", number(e.stel_max_ppm, 3, "ppm"), f"{limits.gas_stel_ppm:g} ppm"),
                ("8-hour average", number(e.twa_ppm, 3, "ppm"), f"{limits.gas_twa_ppm:g} ppm"),
                ("Time with no valid reading", duration(e.unknown_s), ""),
            ),
        ),
        tag(
            "p",
            "Where the sensor hangs, not what anybody breathed. Time with no valid reading counts in the averages at "
            "the higher of the readings on either side of it.",
            kind="small",
        ),
    )


def _alarms(f: Facts) -> Html:
    if not f.stood:
        return section("Alarms", tag("p", "No alarm stood during this record."))
    rows = []
    for s in f.stood:
        o = s.occurrence
        kind = CATALOGUE.get(o.tag)
        name = tag("b", o.tag)
        title = f" {kind.title}." if kind else ""
        acknowledged = (
            "not acknowledged"
            if o.acknowledged_s is None
            else join((clock(o.acknowledged_s), f" by {o.acknowledged_by}"))
        )
        rows.append(
            (
                whole(o.priority),
                join((name, title, Html("<br>"), tag("span", s.detail, kind="small"))),
                clock(o.raised_s),
                "stood to the end" if o.returned_s is None else clock(o.returned_s),
                acknowledged,
            )
        )
    known = [CATALOGUE[t] for t in dict.fromkeys(s.occurrence.tag for s in f.stood) if t in CATALOGUE]
    asked = table(
        ("alarm", "what it means", "what it asked for"),
        [(whole(k.tag), k.consequence, k.response(f.run.route)) for k in known],
    )
    return section(
        "Alarms",
        table(("priority", "what, and what was seen", "raised", "returned or set aside", "acknowledged"), rows),
        tag("h3", "What these alarms asked for"),
        asked,
    )


def _lines(told: tuple[Told, ...]) -> Html:
    return table(("at", "who", "what"), [(clock(line.t_s), line.who, line.text) for line in told], "lines")


def _happened(f: Facts) -> Html:
    told = f.told
    if len(told) <= MOST_LINES:
        return section("What happened", _lines(told))
    half = MOST_LINES // 2
    left = tag("p", f"{len(told) - MOST_LINES} lines between are left out here; the log has them all.")
    return section("What happened", _lines(told[:half]), left, _lines(told[-half:]))


def _data(f: Facts) -> Html:
    o = f.overview or {}
    causes = ", ".join(f"{n} {cause}" for cause, n in sorted(f.rejected.items())) or "none"
    return section(
        "The data and their gaps",
        pairs(
            (
                ("Samples accepted", o.get("frames_accepted", UNKNOWN)),
                ("Samples missing", o.get("frames_lost", UNKNOWN)),
                ("Lines thrown away", causes),
                ("Board restarts", o.get("restarts", UNKNOWN)),
                ("Time without a valid gas reading", duration(f.exposure.unknown_s) if f.exposure else UNKNOWN),
            )
        ),
    )


def _checks(f: Facts) -> Html:
    if not f.checks:
        return section("Checks before the run", tag("p", "The record holds no checks and no waivers."))
    return section("Checks before the run", _lines(f.checks))


def _closing_down(f: Facts) -> Html:
    limits = f.bench.limits
    wanted = (
        f"A flask is called safe to open when the air at the sensor has read under {limits.open_below_ppm:g} ppm "
        f"and nothing has been counted for {duration(limits.open_hold_s)}, the plate is under "
        f"{limits.open_plate_c:g} °C, the permit is off, and no gas alarm or sensor fault stands. "
        "The sensor smells the air, not the flask: an aid, no certificate."
    )
    if not f.opening:
        return section("Closing down", tag("p", "The record holds no closing down."), tag("p", wanted, kind="small"))
    return section("Closing down", _lines(f.opening), tag("p", wanted, kind="small"))


def _cautions(f: Facts) -> Html:
    return section("Cautions of the plan, worst first", tag("ol", *(tag("li", c) for c in f.plan.cautions)))


def _next_time(f: Facts) -> Html:
    found = f.next_time
    return section(
        "Next time",
        *(tag("p", words) for words in sentences(found)),
        table(("run", "gave"), list(run_rows(found))) if found.runs else "",
        tag(
            "p",
            "From the finished runs of this bench on this route whose logs lay beside this one, up to this run. "
            "Nothing of it is applied: so2bench plan with --past offers it to the next plan.",
            kind="small",
        ),
    )


def _provenance(f: Facts) -> Html:
    h = f.header
    rows: list[tuple[object, object]] = [
        ("Run log", f"{f.file}, {f.file_bytes:,} bytes".replace(",", "\N{NARROW NO-BREAK SPACE}")),
        ("Written by", h.made_by),
        ("Report by", f.reported_by),
        ("Raw inputs", f.fingerprint.inputs),
        ("Their SHA-256, in order", tag("code", f.fingerprint.sha256)),
        *f.other_meta,
    ]
    return section(
        "Where this comes from",
        pairs(rows),
        tag("h3", "bench.toml of the run"),
        tag("pre", h.bench_toml),
        tag("h3", "run.toml of the run"),
        tag("pre", h.run_toml),
    )
