"""The sheet is words first: every state has its word and sign, and nothing from outside is taken for markup."""

from __future__ import annotations

import re

from dashboards import sheet
from dashboards.asking import Asked
from dashboards.view import view_of
from monitor.core.events import AlarmState, Priority
from tests.dashboards.runs import OPEN, QUIET, SHEET, UTC_S, standing

NASTY = '<script>alert(1)</script>"&'


def test_nothing_from_outside_becomes_markup() -> None:
    """Titles, details, answers and reasons are shown as they are written."""
    run = QUIET._replace(alarms=(standing("GAS-HIGH", detail=NASTY),), permit_why=NASTY)
    view = view_of(run, SHEET._replace(title=NASTY, bench=NASTY), OPEN, 0.1, True, UTC_S)
    answered = [Asked("a", NASTY, 0.0, f"refused: {NASTY}", refused=True)]
    page = "".join(
        [
            sheet.title(view),
            sheet.card(view.cards[0], in_head=True),
            sheet.card(view.cards[0], in_head=False),
            sheet.permit(view),
            sheet.answers(answered, 1.0),
            sheet.record((("0:00:01", NASTY),)),
            sheet.warning(NASTY),
        ]
    )
    assert "<script" not in page
    assert page.count("&lt;script&gt;") == 9


def test_what_is_over_is_told_as_over() -> None:
    """A card whose cause is gone neither says what follows from it nor asks for what was to be done then."""
    over = standing("LINK-LOST", state=AlarmState.LATCHED_UNACKNOWLEDGED, detail="no valid sample for 3 s")
    view = view_of(QUIET._replace(alarms=(over,)), SHEET, OPEN, 0.1, True, UTC_S)
    said = sheet.card(view.cards[0], in_head=False)
    assert "What was seen: no valid sample for 3 s. The cause is gone: find out why it came." in said
    assert "Every reading on this page is old" not in said
    assert "Stop the gas" not in said


def test_the_head_has_a_sign_and_a_word_beside_its_colour() -> None:
    """High, medium and low differ without colour."""
    said = []
    for priority, tag in ((Priority.HIGH, "GAS-HIGH"), (Priority.MEDIUM, "PLATE-HIGH"), (Priority.LOW, "ACID-LOW")):
        run = QUIET._replace(alarms=(standing(tag, priority),))
        html = sheet.head(view_of(run, SHEET, OPEN, 0.1, True, UTC_S).head)
        found = re.search(r'class="sign">(.*?)</span> <span><small>(.*?)</small>', html)
        assert found is not None
        said.append(found.groups())
    assert said == [("!!!", "HIGH ALARM"), ("!!", "MEDIUM ALARM"), ("!", "LOW ALARM")]


def test_only_a_high_alarm_interrupts_a_screen_reader() -> None:
    """Others are read when the reader is at rest; the ticking clock is in neither."""
    for state, role in ((AlarmState.UNACKNOWLEDGED, "alert"), (AlarmState.LATCHED_ACKNOWLEDGED, "status")):
        run = QUIET._replace(alarms=(standing("GAS-HIGH", state=state),))
        html = [sheet.head(view_of(run._replace(t_s=t_s), SHEET, OPEN, 0.1, True, UTC_S).head) for t_s in (100, 101)]
        assert f'role="{role}"' in html[0]
        assert html[0] == html[1]


def test_the_bar_holds_all_the_sulfur() -> None:
    """Gone over, held and locked fill the bar, and the need is marked on it."""
    html = sheet.amounts(view_of(QUIET, SHEET, OPEN, 0.1, True, UTC_S).amounts)
    widths = [float(w) for w in re.findall(r"width:([\d.]+)%", html)]
    assert len(widths) == 3
    assert abs(sum(widths) - 100.0) < 0.02
    assert "left:40.73%" in html  # 0.334 of 0.82 mol
    assert "0.1200 ± 0.0042 mol" in html


def test_the_caution_claims_nothing() -> None:
    """The page calls itself an aid, and puts local rules first."""
    assert "not a certified gas detector or safety system" in sheet.CAUTION
    assert "local rules" in sheet.CAUTION
