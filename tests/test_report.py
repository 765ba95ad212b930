"""The report: it says what the record holds, all of it escaped, and needs nothing but itself to be shown."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import sqlite3
from contextlib import closing
from html.parser import HTMLParser
from itertools import pairwise
from math import hypot
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from playwright.sync_api import sync_playwright

from monitor.cli import main
from monitor.core.events import Instant
from monitor.core.spans import duration
from monitor.edges import runlog
from monitor.errors import LogError, RefusalError
from monitor.plain import replay_lines
from monitor.replay import replay_log, summary
from monitor.report.facts import fingerprint_of, gather
from monitor.report.page import page
from monitor.report.traces import COLUMNS, Line, Mark, Point, _columns, drawing
from monitor.report.words import number, run_clock, with_u
from monitor.report.write import write_report
from monitor.rig import scenario
from monitor.terms import Meter, Route
from tests.fulldisk import full_disk
from tests.live import terms
from tests.recorded import START_UTC_S, Asked, record_run

pytestmark = pytest.mark.live

NASTY = "<script>alert('a')</script> & \\\"quoted\\\""  # as TOML writes it
VOID = {"meta", "br", "link", "img", "input", "hr"}
CHROMIUM = "/usr/bin/chromium"
A4_PT = (595, 842)  # ISO 216: 210 mm by 297 mm, in points of 1/72 inch


class Seen(HTMLParser):
    """What a browser would make of a page: its elements, its attributes and its text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: list[tuple[str, str, str]] = []
        self.words: list[str] = []
        self._open: list[str] = []
        self.feed(html)
        assert self._open == [], f"left open: {self._open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten minutes of the demonstration: a joint works loose, gas rises, somebody acknowledges."""
    log = tmp_path_factory.mktemp("runs") / "story.so2log"
    notes: list[Asked] = [(480.0, "note", {"text": "<img src=x onerror=alert(1)> a & b"})]
    notes.append((481.0, "note", {"text": "x" * 400}))
    asked = sorted([*scenario.REQUESTS, *notes], key=lambda a: a[0])
    return record_run(log, 600.0, asked, title=f"Batch 3 (invented) {NASTY}")


@pytest.fixture(scope="module")
def html(story: Path) -> str:
    return page(gather(story))


def _trouble(failing: bool, text: str) -> None:
    raise AssertionError(f"the log of a test cannot be written: {failing}, {text}")


def test_nothing_comes_from_elsewhere(html: str) -> None:
    """No script, no address, no import: the page is whole in itself."""
    seen = Seen(html)
    assert not seen.tags & {"script", "link", "img", "iframe", "object", "embed", "base", "form", "a"}
    assert not [
        a for a in seen.attributes if a[1] in ("src", "href", "xlink:href", "srcset") or a[1].startswith("on")
    ]
    (style,) = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)
    assert "url(" not in style
    assert "@import" not in style


def test_what_people_wrote_is_text_and_nothing_else(html: str) -> None:
    """A title and a note that look like HTML are shown as they were written."""
    text = Seen(html).text
    assert "<script>alert('a')</script> & \"quoted\"" in text
    assert "<img src=x onerror=alert(1)> a & b" in text


def test_the_account_is_the_records_last_word(story: Path, html: str) -> None:
    """What has gone over is the log's own figure with twice its standard uncertainty."""
    with closing(sqlite3.connect(story)) as db:
        mol, u_mol = db.execute("SELECT delivered_mol, u_delivered_mol FROM account ORDER BY id DESC").fetchone()
    assert with_u(mol, u_mol, "mol") in Seen(html).text
    assert re.fullmatch(r"0\.0\d+ ± 0\.0\d+ mol", with_u(mol, u_mol, "mol"))


def test_the_budget_adds_up_to_the_uncertainty(story: Path) -> None:
    """Contributions add as squares to the account's own standard uncertainty (JCGM 100:2008, 5.1.2)."""
    facts = gather(story)
    assert facts.account is not None
    assert len(facts.budget) >= 9
    assert hypot(*(u for _, u in facts.budget)) == pytest.approx(facts.account.u_delivered_mol, rel=0.02)


def test_alarms_are_told_with_who_did_what(story: Path, html: str) -> None:
    """Raised when, returned when, acknowledged by whom, what was seen and what was asked for."""
    by_tag = {s.occurrence.tag: s for s in gather(story).stood}
    high = by_tag["GAS-HIGH"]
    assert high.occurrence.priority == "high"
    assert (high.occurrence.acknowledged_s, high.occurrence.acknowledged_by) == (470.0, "the story")
    text = Seen(html).text
    assert f"{run_clock(high.occurrence.raised_s)}" in text
    assert "0:07:50 by the story" in text
    assert high.detail in text
    assert "Shut the tap, heat off." in text


def test_checks_permit_phases_and_answers_are_told(html: str) -> None:
    """The chronicle holds who asked for what and what became of it."""
    text = Seen(html).text
    assert "permit off: taken away by GAS-" in text
    assert "asked: phase generating – done: phase: generating" in text
    assert "The record holds no checks" not in text


def test_invented_data_are_called_so(html: str) -> None:
    """A demonstration's report says so before anything else."""
    words = Seen(html).words
    assert next(w for w in words if w.strip() and "{" not in w and "report" not in w).startswith("INVENTED DATA")


def test_the_fingerprint_is_the_documented_one(story: Path, tmp_path: Path) -> None:
    """Worked out here from the words of SCHEMA.md; a copy has the same, one changed byte another."""
    digest = hashlib.sha256()
    with closing(sqlite3.connect(story)) as db:
        rows = db.execute("SELECT mono_s, kind, data FROM input ORDER BY id").fetchall()
        db.execute("VACUUM INTO ?", (str(tmp_path / "copy.so2log"),))
    for mono_s, kind, data in rows:
        digest.update(f"{mono_s!r} {kind} {len(data)}\n".encode() + data)
    assert fingerprint_of(story) == (digest.hexdigest(), len(rows))
    assert fingerprint_of(tmp_path / "copy.so2log") == fingerprint_of(story)
    with closing(sqlite3.connect(tmp_path / "copy.so2log")) as db:
        db.execute("UPDATE input SET data = CAST(data || 'x' AS BLOB) WHERE id = 100")
        db.commit()
    assert fingerprint_of(tmp_path / "copy.so2log") != fingerprint_of(story)


def test_a_report_never_overwrites(story: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The default file is the log's name with .html; what is there stays, and one sentence says so."""
    log = Path(shutil.copy(story, tmp_path / "a.so2log"))
    assert main(["report", str(log)]) == 0
    made = tmp_path / "a.html"
    assert capsys.readouterr().out == f"{made}\n"
    made.write_text("mine")
    assert main(["report", str(log)]) == 1
    assert main(["report", str(log), "--out", str(made)]) == 1
    errors = capsys.readouterr().err.splitlines()
    assert len(errors) == 2
    assert "is there already" in errors[0]
    assert made.read_text() == "mine"
    assert main(["report", str(log), "--out", str(tmp_path / "b.html")]) == 0


@pytest.mark.parametrize(("name", "content"), [("gone.so2log", None), ("text.so2log", "no database")])
def test_what_is_no_log_is_refused(tmp_path: Path, name: str, content: str | None) -> None:
    """One sentence, and no file is made."""
    log = tmp_path / name
    if content is not None:
        log.write_text(content)
    with pytest.raises(LogError, match="run log"):
        write_report(log)
    assert not list(tmp_path.glob("*.html"))


def test_a_folder_that_is_not_there_is_refused(story: Path, tmp_path: Path) -> None:
    """Where the report cannot be written, that is said."""
    with pytest.raises(RefusalError, match="cannot be written"):
        write_report(story, tmp_path / "no" / "a.html")


def test_a_report_is_there_whole_or_not_at_all(story: Path, tmp_path: Path) -> None:
    """A report that the disk does not take whole is taken away again, and can be written once there is room."""
    with full_disk(40_000), pytest.raises(LogError, match="cannot be written: File too large"):
        write_report(story, tmp_path / "a.html")
    assert list(tmp_path.iterdir()) == []
    assert write_report(story, tmp_path / "a.html").stat().st_size > 40_000


def test_a_log_whose_name_is_no_text(story: Path, tmp_path: Path) -> None:
    """A log whose name holds bytes that are no character is reported like any other."""
    log = tmp_path / os.fsdecode(b"run-\xff.so2log")
    log.write_bytes(story.read_bytes())
    assert "run-?.so2log" in write_report(log, tmp_path / "a.html").read_text("utf-8")


def test_a_run_that_has_just_begun_and_is_being_written(tmp_path: Path) -> None:
    """Nothing counted, nothing heard, the writer at work: the report says what is not known."""
    _, bench_toml, _, run_toml = terms()
    log = tmp_path / "new.so2log"
    start = {"start_mono_s": "0.0", "start_utc_s": repr(START_UTC_S), "made_by": "a test"}
    runlog.create(log, {"bench_toml": bench_toml, "run_toml": run_toml, **start})
    writer = runlog.LogWriter(log, _trouble)
    try:
        text = Seen(page(gather(log))).text
    finally:
        writer.close()
    assert "not closed" in text
    assert "nothing was measured" in text
    assert "No alarm stood" in text


def test_the_closing_down_is_told(tmp_path: Path) -> None:
    """What was in the flask, and that the run was ended early and why, stand in the report with the limits."""
    asked: list[Asked] = [(10.0, "phase", {"phase": "generating"}), (30.0, "phase", {"phase": "closing down"})]
    log = record_run(tmp_path / "a.so2log", 60.0, asked)
    text = Seen(page(gather(log))).text
    assert "closing down: By the account 0.35 ± 0.01 g of SO2 (0.005 mol) are still in the flask" in text
    facts = gather(log)
    printed = "\n".join(replay_lines(summary(*replay_log(log, facts.bench, facts.run))))
    assert "59.0 s  ended by the story before it was safe to open: the story is over" in printed
    assert "ended by the story before it was safe to open: the story is over; 28 s of 10 min 00 s under 0.25" in text
    assert "has read under 0.25 ppm and nothing has been counted for 10 min 00 s, the plate is under 45 °C" in text


@pytest.mark.parametrize(
    ("route", "meter"),
    [("acid-drip", "bubbles"), ("acid-drip", "weighings"), ("acid-on-sulfur", "bubbles"), ("burner", "weighings")],
)
def test_every_route_and_meter_can_be_reported(tmp_path: Path, route: Route, meter: Meter) -> None:
    """What a route does not plan is called not known; its charge is told; a budget adds up."""
    log = record_run(tmp_path / "a.so2log", 120.0, route=route, meter=meter)
    facts = gather(log)
    text = Seen(page(facts)).text
    assert f"Metered by {meter}" in text
    assert f"Route {route}" in text
    assert (facts.budget == ()) == (meter == "weighings")  # nothing is weighed in two minutes
    if facts.budget:
        assert facts.account is not None
        assert hypot(*(u for _, u in facts.budget)) == pytest.approx(facts.account.u_delivered_mol, rel=1e-6)
    assert ("Bubble volume" in text) == (meter == "bubbles")
    assert ("Bubbles counted" in text) == (meter == "bubbles")
    assert ("Bubbles, per minute" in text) == (meter == "bubbles")
    assert "drops: nothing was measured" not in text.lower()
    assert ("not weighed" in text) == (meter == "weighings")
    assert ("all its acid in" in text) == (route == "acid-drip")
    assert "Acid in" not in text  # no drop was counted
    assert f"Locked in the {'salt' if route == 'acid-drip' else 'sulfur'}" in text
    assert "None" not in text.replace("bench.toml of the run", "")


def test_a_weighed_run_has_a_budget_by_the_weighing_that_stands(tmp_path: Path) -> None:
    """Balance, air and water add as squares to the account's own uncertainty; what was undone is not in it."""
    asked: list[Asked] = [
        (60.0, "weighing", {"what": "flask loss", "grams": 4.0, "u_g": 0.1}),
        (70.0, "weighing", {"what": "flask loss", "grams": 9.0, "u_g": 0.5}),
        (80.0, "undo-weighing", {}),
    ]
    facts = gather(record_run(tmp_path / "a.so2log", 100.0, asked, route="acid-drip", meter="weighings"))
    assert facts.account is not None
    assert len(facts.corrections) == 3
    budget = dict(facts.budget)
    assert set(budget) == {"weighing", "air that left with the gas", "water that left with the gas"}
    assert budget["weighing"] == pytest.approx(0.1 / 64.058)  # CIAAW 2021
    assert hypot(*budget.values()) == pytest.approx(facts.account.u_delivered_mol, rel=1e-6)
    text = Seen(page(facts)).text
    assert "by the newest weighing that stands" in text
    assert "by the count alone" not in text


@given(values=st.lists(st.one_of(st.none(), st.floats(-50.0, 400.0)), min_size=1, max_size=3000))
def test_no_peak_and_no_gap_is_lost_in_drawing(values: list[float | None]) -> None:
    """However many points: the least, the greatest and each break of the line stay, and few points are drawn."""
    points: list[Point] = [(float(t), v, v, v) for t, v in enumerate(values)]
    drawn = _columns(points, float(len(values)))
    known = [v for v in values if v is not None]
    lows = [p[1] for p in drawn if p[1] is not None]
    highs = [p[3] for p in drawn if p[3] is not None]
    assert (min(lows, default=None), max(highs, default=None)) == (min(known, default=None), max(known, default=None))
    if len(values) > COLUMNS:
        inner = [v is None for v in values]
        breaks = sum(a and not b for a, b in pairwise(inner))
        shown = [p[2] is None for p in drawn]
        assert sum(a and not b for a, b in pairwise(shown)) == breaks
        assert len(drawn) <= COLUMNS + 2 * (breaks + 1) + 1


@given(st.lists(st.one_of(st.none(), st.floats(-1e6, 1e6)), max_size=40), st.floats(1.0, 1e6))
def test_every_drawing_is_sound(values: list[float | None], span_s: float) -> None:
    """Whatever was measured, the drawing is well-formed and no co-ordinate is 'nan'."""
    points: list[Point] = [(i * span_s / 40, v, v, v) for i, v in enumerate(values)]
    html = drawing("Plate", "°C", [Line("plate", "#000", points)], [], span_s)
    Seen(html)
    assert "nan" not in html
    assert "inf" not in html


def test_the_words_of_two_close_limits_stand_clear_of_each_other() -> None:
    """The higher limit's words are above its line and the lower one's below it."""
    marks = [Mark("alarm at 320", 320.0, "#000"), Mark("heat off at 340", 340.0, "#000")]
    html = drawing(
        "Plate", "°C", [Line("plate", "#000", [(0.0, 20.0, 20.0, 20.0), (9.0, 250.0, 250.0, 250.0)])], marks, 9.0
    )
    found = re.findall(r' y2="([\d.]+)" stroke="#000" stroke-dasharray="6 3"/><text x="[\d.]+" y="([\d.]+)"', html)
    (lower, lower_words), (higher, higher_words) = [(float(line), float(words)) for line, words in found]
    assert higher_words < higher < lower < lower_words - 8.0  # y goes down the page; the letters are about 8 high


@pytest.mark.parametrize(
    ("value", "u", "unit", "words"),
    [
        # JCGM 100:2008 (GUM) 7.2.6: 10,057 62 Ω with 27 mΩ is rounded to 10,058 Ω; from memory of it
        (10.05762, 0.027 / 2, "Ω", "10.058 ± 0.027 Ω"),
        # JCGM 100:2008 (GUM) 7.2.4: (100,021 47 ± 0,000 79) g; from memory of it
        (100.02147, 0.00079 / 2, "g", "100.02147 ± 0.00079 g"),
        (-0.021, 0.16, "ppm", "\N{MINUS SIGN}0.02 ± 0.32 ppm"),
        (0.5, 0.0, "mol", "0.500 mol"),
        (None, None, "mol", "not known"),
    ],
)
def test_values_end_where_their_uncertainty_does(value: float | None, u: float | None, unit: str, words: str) -> None:
    """A value is given to the place of its uncertainty's second digit."""
    assert with_u(value, u, unit) == words


def test_numbers_and_times() -> None:
    """No exponent, no negative zero, run time past a day."""
    assert (number(0.0), number(float("nan")), number(1234.5)) == ("0", "not known", "1234")
    assert (run_clock(90061.9), run_clock(None), duration(130.0)) == ("25:01:01", "", "2 min 10 s")


NARROWEST_PX = """Math.min(...[...document.querySelectorAll('td')]
  .filter(td => td.textContent.trim().includes(' ') && td.getClientRects().length)
  .map(td => td.getBoundingClientRect().width))"""


@pytest.mark.browser
def test_it_fits_a_telephone_and_a4_paper(html: str, tmp_path: Path) -> None:
    """No sideways scrolling and no narrow column at 390 pixels, A4 pages in print, nothing asked of the network."""
    file = tmp_path / "a.html"
    file.write_text(html, encoding="utf-8")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        shown = browser.new_page(viewport={"width": 390, "height": 800})
        asked: list[str] = []
        shown.on("request", lambda request: asked.append(request.url))
        shown.goto(file.as_uri())
        wide = shown.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
        narrow = shown.evaluate(NARROWEST_PX)
        printed = shown.pdf(prefer_css_page_size=True)
        browser.close()
    assert wide[0] <= wide[1]
    assert narrow >= 60.0
    assert asked == [file.as_uri()]
    sizes = {
        tuple(round(float(n)) for n in m.split())
        for m in re.findall(r"/MediaBox \[([\d. ]+)\]", printed.decode("latin-1"))
    }
    assert sizes == {(0, 0, *A4_PT)}


def test_the_run_is_dated_by_its_record(story: Path) -> None:
    """The instant of the start and of the end are the record's own."""
    header = gather(story).header
    assert header.start == Instant(0.0, START_UTC_S)
    assert header.last == Instant(600.0, START_UTC_S + 600.0)
