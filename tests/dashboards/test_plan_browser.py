"""The plan page in a real browser: used by keyboard alone, on a telephone, its file saved and opened again."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from monitor.edges.page import Page as Server
from monitor.settings import load_run
from tests.dashboards.test_browser import CONTRASTS, LEAST_CONTRAST, PATIENCE_MS, opened
from tests.settings import BENCH_TOML
from tests.test_pastresults import past_log

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    own = Server(None)
    yield own
    own.close()


def plan_page(browser: Browser, server: Server, width: int = 1280, height: int = 800) -> Page:
    page = opened(browser, server, width, height)
    page.goto(f"{server.url}/plan")
    expect(page.get_by_role("button", name="Work it out")).to_be_visible(timeout=PATIENCE_MS)
    return page


def test_a_plan_is_saved_and_opened_again(browser: Browser, server: Server, tmp_path: Path) -> None:
    """The saved file opens as a run; opened on the page with a bench file it gives the same plan, and the room's."""
    page = plan_page(browser, server)
    page.get_by_role("button", name="Work it out").click()
    headline = page.locator(".plan-head")
    expect(headline).to_contain_text("enough", timeout=PATIENCE_MS)
    page.get_by_label("Drip rate").fill("45 / minute")
    page.get_by_label("Price of the salt").fill("12 EUR/kg")
    page.get_by_label("of the acid").fill("6.50 EUR/L")
    page.get_by_role("button", name="Work it out").click()
    expect(page.get_by_text("EUR for what is wanted")).to_be_visible(timeout=PATIENCE_MS)
    said = headline.inner_text()
    with page.expect_download() as saving:
        page.get_by_role("button", name="Save run.toml").click()
    saving.value.save_as(tmp_path / "run.toml")
    run, text = load_run(tmp_path / "run.toml")
    assert run.receiver is not None
    assert run.plan.drip_rate_per_min == pytest.approx(45.0)
    assert run.prices.currency == "EUR"
    (tmp_path / "bench.toml").write_text(BENCH_TOML, encoding="utf-8")
    again = plan_page(browser, server)
    again.get_by_text("Open a run file, or another").click()
    chosen = again.locator("input[type=file]")
    chosen.nth(0).set_input_files(tmp_path / "run.toml")
    expect(again.locator(".plan-head")).to_contain_text("enough", timeout=PATIENCE_MS)
    assert again.locator(".plan-head").inner_text() == said
    expect(again.get_by_label("Drip rate")).to_have_value("45 / minute", timeout=PATIENCE_MS)
    expect(again.get_by_label("Price of the salt")).to_have_value("12 EUR/kg")
    again.get_by_role("button", name="Work it out").click()  # the same is worked out from the form that it filled
    expect(again.get_by_text("To be weighed out and measured")).to_be_visible(timeout=PATIENCE_MS)
    with again.expect_download() as saving:
        again.get_by_role("button", name="Save run.toml").click()
    saving.value.save_as(tmp_path / "again.toml")
    assert (tmp_path / "again.toml").read_text("utf-8") == text
    chosen.nth(1).set_input_files(tmp_path / "bench.toml")
    expect(again.get_by_text("All of it in the room at once")).to_be_visible(timeout=PATIENCE_MS)


def test_the_keyboard_is_enough_and_a_telephone_is_wide_enough(browser: Browser, server: Server) -> None:
    """At 390 points nothing runs off the side and text stands out; Tab, figures and Enter plan and refuse."""
    page = plan_page(browser, server, 390, 844)
    field = page.get_by_label("How much")
    for _ in range(10):
        page.keyboard.press("Tab")
        if field.evaluate("e => e === document.activeElement"):
            break
    page.keyboard.press("Control+A")
    page.keyboard.type("6 g")
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText") == "Work it out":
            break
    page.keyboard.press("Enter")
    expect(page.locator(".title", has_text="SO2 for 6 g Se")).to_be_visible(timeout=PATIENCE_MS)
    expect(page.get_by_text("What is left, made safe")).to_be_visible(timeout=PATIENCE_MS)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    wide = page.evaluate("[...document.querySelectorAll('.stHtml *')].filter(e => e.scrollWidth > 390).length")
    assert wide == 0
    faint = [found for found in page.evaluate(CONTRASTS) if found[0] < LEAST_CONTRAST]
    assert faint == []
    page.get_by_label("How much").fill("0 L")
    page.get_by_label("How much").press("Enter")
    expect(page.get_by_role("alert").filter(has_text="This cannot be planned")).to_be_visible(timeout=PATIENCE_MS)


def test_the_two_pages_lead_to_each_other(browser: Browser, server: Server) -> None:
    """Without a run the plan has no link to one; who goes to its page is told so, and comes back by a link."""
    page = plan_page(browser, server)
    assert page.get_by_role("link", name="The run being watched").count() == 0
    page.goto(server.url)
    expect(page.locator(".warning")).to_contain_text("NO RUN TO SHOW", timeout=PATIENCE_MS)
    page.get_by_role("link", name="Plan a run").click()
    expect(page.get_by_role("button", name="Work it out")).to_be_visible(timeout=PATIENCE_MS)


def test_past_runs_are_used_only_when_chosen(browser: Browser, tmp_path: Path) -> None:
    """Three past runs stand under the plan and change nothing; chosen by keyboard, their yield is in the plan."""
    for number, share in enumerate((0.90, 0.92, 0.91)):
        past_log(tmp_path, f"2026-0{5 + number}-03", share)
    (tmp_path / "bench.toml").write_text(BENCH_TOML, encoding="utf-8")
    own = Server(None, past=tmp_path)
    try:
        page = plan_page(browser, own, 390, 844)
        page.get_by_text("Open a run file, or another").click()
        page.locator("input[type=file]").nth(1).set_input_files(tmp_path / "bench.toml")
        expect(page.get_by_text("bench.toml", exact=True)).to_be_visible(timeout=PATIENCE_MS)
        page.get_by_role("button", name="Work it out").click()
        expect(page.get_by_text("In 3 runs since 2026-05-03 this bench gave")).to_be_visible(timeout=PATIENCE_MS)
        assert page.get_by_text("the run file says so in [learned]").count() == 0
        page.get_by_label("What goes over, reckoned").focus()
        page.keyboard.press("ArrowDown")
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Enter")
        page.get_by_role("button", name="Work it out").focus()
        page.keyboard.press("Enter")
        expect(page.get_by_text("the run file says so in [learned]")).to_be_visible(timeout=PATIENCE_MS)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        with page.expect_download() as saving:
            page.get_by_role("button", name="Save run.toml").click()
        saving.value.save_as(tmp_path / "run.toml")
        run, _ = load_run(tmp_path / "run.toml")
        assert run.learned is not None
        assert run.learned.runs == 3
    finally:
        own.close()
