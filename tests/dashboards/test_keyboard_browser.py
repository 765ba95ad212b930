"""Every page by the keyboard alone: Tab comes to all that can be used, and whoever looks sees where it is."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from monitor.edges.page import Page as Server
from tests.dashboards.live import a_port, live_run
from tests.dashboards.test_browser import PATIENCE_MS, opened
from tests.dashboards.test_calibrate_browser import tab_to
from tests.live import terms
from tests.recorded import record_run

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]

STOPS = 60
LEAST_OUTLINE_PX = 2.0  # WCAG 2.2, 2.4.13: as large as a 2 px border round what has the focus
# What has the focus: its name, and the widest outline of it and of those around it that have its own place alone.
FOCUSED = """() => {
  let e = document.activeElement;
  if (!e || e === document.body) return null;
  const main = e.closest('[data-testid=stMainBlockContainer]') !== null;
  if (e.shadowRoot && e.shadowRoot.activeElement) e = e.shadowRoot.activeElement;
  const name = (e.getAttribute('aria-label') || e.innerText || e.closest('label')?.innerText || '').trim();
  let widest = 0;
  for (let p = e, n = 0; p && n < 9 && !p.matches('[data-testid=stVerticalBlock]'); p = p.parentElement, n++) {
    const s = getComputedStyle(p), box = p.getBoundingClientRect();
    const seen = s.outlineStyle !== 'none' && box.width > 8 && box.height > 8;
    if (seen) widest = Math.max(widest, parseFloat(s.outlineWidth));
  }
  return [main, name, widest];
}"""


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The pages of a run that is being watched, with a past one beside it."""
    folder = tmp_path_factory.mktemp("runs")
    record_run(folder / "one.so2log", 300.0)
    with live_run(folder / "two.so2log"):
        own = Server(folder / "two.so2log", a_port())
        yield own
        own.close()


@pytest.fixture(scope="module")
def calibration(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The calibration page alone."""
    bench = tmp_path_factory.mktemp("bench") / "bench.toml"
    bench.write_text(terms()[1], "utf-8")
    own = Server(None, a_port(), bench=bench)
    yield own
    own.close()


def stops(page: Page) -> list[tuple[str, float]]:
    """Where Tab comes to on the sheet, in order, with the outline of each, px."""
    found: list[tuple[str, float]] = []
    for _ in range(STOPS):
        page.keyboard.press("Tab")
        page.wait_for_timeout(50.0)
        got = page.evaluate(FOCUSED)
        if got is None and found:
            break
        if got is not None and got[0]:
            found.append((got[1], got[2]))
    return found


@pytest.mark.parametrize(
    ("where", "there", "names"),
    [
        (
            "",
            "How much has gone over",
            (
                "Let this page sound",
                "Ask for the permit",
                "Running out",
                "5 min",
                "Who acts",
                "Past runs",
            ),
        ),
        ("/past", "and lay over it", ("The run being watched", "Look at", "and lay over it", "How much of it")),
        ("/plan", "Work it out", ("How much", "Of what", "Route", "Acid strength", "Work it out")),
    ],
)
def test_tab_comes_to_all_of_a_page_and_shows_where_it_is(
    browser: Browser, server: Server, where: str, there: str, names: tuple[str, ...]
) -> None:
    """Each stop of Tab has an outline of two points at least; nothing is a stop that is of no use at a bench."""
    page = opened(browser, server)
    page.goto(f"{server.url}{where}")
    expect(page.get_by_text(there).first).to_be_visible(timeout=PATIENCE_MS)
    page.wait_for_timeout(2000.0)  # what is drawn last is a stop too
    found = stops(page)
    said = [name for name, _ in found]
    assert [name for name in names if not any(s.startswith(name) for s in said)] == [], said
    assert [name for name, outline in found if outline < LEAST_OUTLINE_PX] == []
    assert [name for name in said if "Vega" in name or "PNG" in name] == []
    page.close()


def test_tab_shows_where_it_is_in_a_calibration(browser: Browser, calibration: Server) -> None:
    """The calibration page's choices, fields and buttons have their outline; no link leads to a run that is not."""
    page = opened(browser, calibration)
    page.goto(f"{calibration.url}/calibrate")
    expect(page.get_by_text("What to do")).to_be_visible(timeout=PATIENCE_MS)
    page.get_by_test_id("stRadio").get_by_text("Drop volume", exact=True).click()
    expect(page.get_by_label("Count of drops")).to_be_visible(timeout=PATIENCE_MS)
    page.keyboard.press("Escape")
    found = stops(page)
    assert [name for name, outline in found if outline < LEAST_OUTLINE_PX] == []
    assert any(name.startswith("Count of drops") for name, _ in found)
    assert page.get_by_role("link", name="The run being watched").count() == 0
    page.close()


def test_two_runs_are_laid_over_each_other_by_keyboard(browser: Browser, server: Server) -> None:
    """Tab, arrow and Enter choose the second run; both names stand over the drawings."""
    page = opened(browser, server)
    page.goto(f"{server.url}/past")
    expect(page.get_by_text("and lay over it")).to_be_visible(timeout=PATIENCE_MS)
    tab_to(page, "and lay over it")
    page.keyboard.press("ArrowDown")
    expect(page.get_by_role("option").first).to_be_visible(timeout=PATIENCE_MS)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    caption = page.get_by_text("Gone over is a share of what each run's own plan gives")
    expect(caption).to_be_visible(timeout=PATIENCE_MS)
    page.close()


def test_a_note_is_written_by_keyboard(browser: Browser, server: Server) -> None:
    """Enter opens the place for a note, Tab comes to its field and its button, and the record has it."""
    page = opened(browser, server)
    expect(page.get_by_text("Write a note into the record")).to_be_visible(timeout=PATIENCE_MS)
    for _ in range(STOPS):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.matches('summary:has(p)')"):
            break  # the first of the places that open
    page.keyboard.press("Enter")
    expect(page.get_by_label("Note", exact=True)).to_be_visible(timeout=PATIENCE_MS)
    page.keyboard.press("Tab")
    page.keyboard.type("first gas")
    tab_to(page, "Write it")
    page.keyboard.press("Space")
    expect(page.locator(".record").first).to_contain_text("bench: first gas", timeout=PATIENCE_MS)
    page.close()
