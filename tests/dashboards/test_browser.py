"""The page in a real browser, over a real run: seen, used by mouse and keyboard, and dispensable."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil
import pytest
from playwright.sync_api import Browser, Error, Page, expect

from monitor.edges.inbox import put
from monitor.edges.logreader import LogReader
from monitor.edges.page import PASSWORD_ENV, PageServer, reach_of
from monitor.edges.page import Page as Server
from tests.dashboards.live import a_port, live_run
from tests.live import wait_until

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]

PATIENCE_MS = 60_000.0  # of a loaded machine
HEAD = ".head .state"
LEAST_CONTRAST = 4.5  # WCAG 2.2, 1.4.3, level AA

# Every visible text with the least contrast against what is behind it (relative luminance as in WCAG 2.2).
CONTRASTS = """() => {
  const channel = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  const light = c => 0.2126 * channel(c[0]) + 0.7152 * channel(c[1]) + 0.0722 * channel(c[2]);
  const parse = s => (s.match(/[\\d.]+/g) || []).map(Number);
  const behind = e => { for (; e; e = e.parentElement) {
    const c = parse(getComputedStyle(e).backgroundColor);
    if (c.length === 3 || c[3] === 1) return c;
  } return [255, 255, 255]; };
  const found = [];
  for (const e of document.querySelectorAll('.stHtml *, button, label')) {
    const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!own || !e.getClientRects().length || getComputedStyle(e).visibility === 'hidden') continue;
    const [a, b] = [light(parse(getComputedStyle(e).color)), light(behind(e))];
    found.push([(Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05), e.textContent.trim().slice(0, 40)]);
  }
  return found;
}"""


@contextmanager
def served(log: Path) -> Iterator[Server]:
    """The page's own process, as a run starts it."""
    server = Server(log, a_port())
    try:
        yield server
    finally:
        server.close()


def opened(browser: Browser, server: PageServer, width: int = 1280, height: int = 800) -> Page:
    """The page in a window of its own, once its server answers."""
    page = browser.new_page(viewport={"width": width, "height": height})
    page.set_default_timeout(PATIENCE_MS)

    def answers() -> bool:
        try:
            page.goto(server.url)
        except Error:
            return False
        return True

    wait_until(answers, "the page's server answers")
    return page


def sees(page: Page, where: str, words: str) -> None:
    expect(page.locator(where).first).to_contain_text(words, timeout=PATIENCE_MS)


def test_an_alarm_is_seen_and_acknowledged_by_a_click(browser: Browser, tmp_path: Path) -> None:
    """Gas rises; the page shows it with what to do; a click acknowledges it, and the record says who and when."""
    log = tmp_path / "a.so2log"
    with live_run(log) as live, served(log) as server:
        page = opened(browser, server)
        asked_of: list[str] = []
        page.on("request", lambda request: asked_of.append(request.url))
        sees(page, HEAD, "No alarms")
        page.get_by_label("Who acts").fill("bench-2")
        page.get_by_label("Who acts").press("Enter")
        live.port.gas_ppm = 2.6
        sees(page, HEAD, "SO2 in the air")
        sees(page, ".head .do", "Shut the tap, heat off.")
        sees(page, ".permit", "Off")
        page.get_by_role("button", name="Acknowledge GAS-HIGH").click()
        sees(page, ".answers", "Acknowledge GAS-HIGH – done")
        sees(page, HEAD, "HIGH ALARM, ACKNOWLEDGED")
        (row,) = [row for row in LogReader(log).alarms() if row[6] == "acknowledged"]
        assert (row[2], row[7]) == ("GAS-HIGH", "bench-2")
        assert abs(row[1] - time.time()) < PATIENCE_MS / 1000.0
        assert [url for url in asked_of if not re.match(r"(http|ws)://127\.0\.0\.1[:/]|data:|blob:", url)] == []


def test_silence_is_loud_and_says_whose(browser: Browser, tmp_path: Path) -> None:
    """A mute board is no data; a monitor that ended is nobody watching; neither leaves a number standing as now."""
    log = tmp_path / "a.so2log"
    with live_run(log) as live, served(log) as server:
        page = opened(browser, server)
        sees(page, ".readings", " ± 1.6 °C")
        live.port.mute = True
        sees(page, ".warning", "NO DATA FOR")
        sees(page, HEAD, "No word from the board")
        sees(page, ".readings tr.unknown", "no word from the board")
        live.port.mute = False
        sees(page, HEAD, "OVER BUT HELD")
        expect(page.locator(".warning")).to_have_count(0, timeout=PATIENCE_MS)
        live.stop()
        sees(page, ".warning", "NOBODY IS WATCHING: the monitor stopped at")
        sees(page, HEAD, "Not known")
        expect(page.locator(".readings tr.known")).to_have_count(0, timeout=PATIENCE_MS)
        page.get_by_role("button", name="Ask for the permit").click()
        sees(page, ".answers .refused", "nothing is watching it")


def test_a_page_that_is_killed_takes_nothing_with_it(browser: Browser, tmp_path: Path) -> None:
    """The run goes on without its page, and what is left in the browser says by itself that it stands still."""
    log = tmp_path / "a.so2log"
    with live_run(log) as live, served(log) as server:
        page = opened(browser, server)
        sees(page, HEAD, "No alarms")
        expect(page.locator(".frozen")).to_be_hidden()
        server._process.kill()
        before = LogReader(log).header().last.mono_s
        expect(page.locator(".frozen")).to_be_visible(timeout=PATIENCE_MS)
        wait_until(lambda: LogReader(log).header().last.mono_s > before + 5.0, "the run goes on")
        put(log, "note", "bench", {"text": "the page is gone"}, time.time())
        wait_until(
            lambda: any("the page is gone" in text for _, _, text in LogReader(log).notes()), "a note is heard"
        )
        assert live.run.bench.counts.restarts == 0


def hung(server: PageServer) -> psutil.Process:
    """A page's process, stopped as it stands: it answers nobody, and its connections stay open."""
    process = psutil.Process(server._process.pid)
    process.suspend()
    return process


def seen_stopped(page: Page, server: PageServer, look: str) -> None:
    """A page whose server hangs says so over its numbers, counting; none can be used until it goes on."""
    said = page.locator("dialog")
    expect(said).to_be_hidden()
    process = hung(server)
    expect(said).to_be_visible(timeout=PATIENCE_MS)
    expect(said).to_contain_text(
        re.compile(r"Its numbers are at least \d+ s old: nothing new since\s+\d\d:\d\d:\d\d")
    )
    expect(said).to_contain_text(look)
    age = page.locator("dialog .age")
    first_s, since = int(age.inner_text().split()[0]), page.locator("dialog .since").inner_text()
    assert 6 <= first_s < 12
    wait_until(lambda: int(age.inner_text().split()[0]) > first_s + 1, "its age goes on")
    assert page.locator("dialog .since").inner_text() == since
    page.keyboard.press("Escape")
    page.keyboard.press("Escape")
    expect(said).to_be_visible(timeout=PATIENCE_MS)
    process.resume()
    expect(said).to_be_hidden(timeout=PATIENCE_MS)


def test_a_page_whose_server_hangs_says_so_and_goes_on(browser: Browser, tmp_path: Path) -> None:
    """It says how old its numbers are and where to look; what is pressed meanwhile is not asked for later.

    It goes on without a reload, where the keyboard was, even if another server has taken the place of one that hung.
    """
    log = tmp_path / "a.so2log"
    with live_run(log), served(log) as server:
        page = opened(browser, server)
        sees(page, HEAD, "No alarms")
        button = page.get_by_role("button", name="Generating")
        button.wait_for()
        box = button.bounding_box()
        assert box is not None
        button.focus()
        process = hung(server)
        expect(page.locator("dialog")).to_be_visible(timeout=PATIENCE_MS)
        page.mouse.click(box["x"] + 20.0, box["y"] + 10.0)
        page.keyboard.press("Enter")
        process.resume()
        expect(page.locator("dialog")).to_be_hidden(timeout=PATIENCE_MS)
        expect(button).to_be_focused()
        seen_stopped(page, server, "Look at the bench itself")
        sees(page, ".phase", "Getting ready")
        button.click()
        sees(page, ".phase", "Generating")
        hung(server)
        expect(page.locator("dialog")).to_be_visible(timeout=PATIENCE_MS)
        server.kill()
        wait_until(lambda: server.ended() is not None, "the server that hung is ended")
        server.start_again()
        expect(page.locator("dialog")).to_be_hidden(timeout=PATIENCE_MS)
        sees(page, ".phase", "Generating")
        page.get_by_role("link", name="Past runs").click()
        expect(page.get_by_text("Look at").first).to_be_visible(timeout=PATIENCE_MS)
        time.sleep(8.0)  # a page without numbers of now never stops
        assert page.locator("dialog[open]").count() == 0


def test_a_log_that_comes_is_shown_without_a_reload(browser: Browser, tmp_path: Path) -> None:
    """A page opened too early waits, and shows the run when there is one."""
    log = tmp_path / "a.so2log"
    with served(log) as server:
        page = opened(browser, server)
        sees(page, ".warning", "NO RUN TO SHOW")
        with live_run(log):
            sees(page, HEAD, "No alarms")


def test_the_keyboard_is_enough_and_a_telephone_is_wide_enough(browser: Browser, tmp_path: Path) -> None:
    """At 390 points nothing runs off the side, text stands out, and Tab and Enter acknowledge."""
    log = tmp_path / "a.so2log"
    with live_run(log) as live, served(log) as server:
        page = opened(browser, server, 390, 844)
        live.port.gas_ppm = 2.6
        sees(page, HEAD, "SO2 in the air")
        button = page.get_by_role("button", name="Acknowledge GAS-HIGH")
        expect(button).to_be_in_viewport(timeout=PATIENCE_MS)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        wide = page.evaluate("[...document.querySelectorAll('.stHtml *')].filter(e => e.scrollWidth > 390).length")
        assert wide == 0
        faint = [found for found in page.evaluate(CONTRASTS) if found[0] < LEAST_CONTRAST]
        assert faint == []
        for _ in range(20):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.innerText") == "Acknowledge GAS-HIGH":
                break
        time.sleep(2.5)  # two refreshes, which must not take the focus away
        page.keyboard.press("Enter")
        sees(page, HEAD, "HIGH ALARM, ACKNOWLEDGED")


LEAST_TARGET_PX = 44  # WCAG 2.2, 2.5.5
SMALL = """leastPx => [...document.querySelectorAll('[data-testid=stMain] :is(a, button, summary, label:has(input))')]
  .map(e => [e, e.getBoundingClientRect()])
  .filter(([e, r]) => r.width && r.height < leastPx && !e.closest('[data-testid=stWidgetLabel]'))
  .map(([e, r]) => [e.innerText, r.height])"""


def test_what_is_pressed_is_large_enough_for_a_glove(browser: Browser, tmp_path: Path) -> None:
    """Every button, link and choice is 44 px high, on a desk and on a telephone, with every drawer open."""
    log = tmp_path / "a.so2log"
    with live_run(log), served(log) as server:
        for width in (1280, 390):
            page = opened(browser, server, width, 1600)
            sees(page, HEAD, "No alarms")
            expect(page.get_by_text("Calibrate the bench")).to_be_visible(timeout=PATIENCE_MS)
            for drawer in page.locator("summary").all():
                drawer.click()
            assert page.evaluate(SMALL, LEAST_TARGET_PX) == []
            page.close()


SHORT = 'open_hold = "60 s"\n'  # at the end of the bench's file, in its limits


def test_closing_down_is_watched_and_ended(browser: Browser, tmp_path: Path) -> None:
    """From the phase's button to the end of the run: what is missing, the way to safe, a gas that begins it anew."""
    log = tmp_path / "a.so2log"
    with live_run(log, 4.0, SHORT) as live, served(log) as server:
        page = opened(browser, server, 390, 844)
        sees(page, HEAD, "No alarms")
        page.get_by_role("button", name="Closing down").click()
        sees(page, ".opening .verdict", "Not yet: leave it shut")
        sees(page, ".opening", "the plate is still at 7")
        page.get_by_text("End the run for good").click()
        page.get_by_text("Nothing makes gas any more, the heat is off: end this run").click()
        page.get_by_role("button", name="End the run").click()
        sees(page, ".answers .refused", "the flask is not known to be safe to open")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        page.get_by_text("Say how the flask is swept or warmed out").click()
        page.get_by_label("Air led through it, L a minute").fill("0.5")
        page.get_by_label("Air led through it, L a minute").press("Enter")
        page.get_by_role("button", name="Say it").click()
        sees(page, ".opening .left", "With 0.5 L of air a minute, the liquor at 22 °C")
        while live.port.plate_c > 31.0:  # a plate that fell all at once would be a fault
            live.port.plate_c -= 1.0
            time.sleep(0.02)
        live.port.gas_ppm = 0.6
        sees(page, ".opening", "begun anew")
        live.port.gas_ppm = 0.0
        sees(page, ".opening.safe .verdict", "Under the hood alone: it still holds gas")
        sees(page, ".opening", "the plate is at 3")
        faint = [found for found in page.evaluate(CONTRASTS) if found[0] < LEAST_CONTRAST]
        assert faint == []
        page.get_by_text("Nothing makes gas any more, the heat is off: end this run").click()
        page.get_by_role("button", name="End the run").click()
        sees(page, HEAD, "Run closed")
    assert LogReader(log).header().closed


def test_others_come_in_by_the_password(browser: Browser, tmp_path: Path) -> None:
    """From elsewhere nothing of the run is seen before the password; a wrong one is told, the right one opens."""
    log = tmp_path / "a.so2log"
    reach = reach_of("127.0.0.1", {PASSWORD_ENV: "lime-wash-at-seven"})
    with live_run(log):
        server = Server(log, a_port(), (), reach)
        try:
            page = opened(browser, server, 390, 844)
            page.get_by_label("Password of this page").fill("a guess")
            page.keyboard.press("Enter")
            sees(page, "[role=alert]", "That was not the password.")
            assert page.locator(HEAD).count() == 0
            page.get_by_label("Password of this page").fill("lime-wash-at-seven")
            page.keyboard.press("Enter")
            sees(page, HEAD, "No alarms")
        finally:
            server.close()


SOUND = "window.so2benchSound"


def test_the_page_sounds_when_the_browser_lets_it(browser: Browser, tmp_path: Path) -> None:
    """It says that it is silent until the button is pressed; then a waiting alarm sounds until it is acknowledged.

    When the server hangs the page sounds again by itself: silence must not look like safety. But a page that the
    browser let sleep has lost nothing, nor has one that is turned to another page.
    """
    log = tmp_path / "a.so2log"
    with live_run(log) as live, served(log) as server:
        page = opened(browser, server)
        page.clock.install()
        page.reload()
        sees(page, ".sound", "This page is silent: the browser lets it sound only after you have pressed here.")
        page.get_by_role("button", name="Let this page sound").click()
        sees(page, ".sound", "This page sounds its alarms.")
        wait_until(lambda: page.evaluate(f"{SOUND}.sounded") == 1, "the trial tones")
        live.port.gas_ppm = 3.0
        wait_until(lambda: page.evaluate(f"{SOUND}.sounded") >= 3, "the alarm's tones, again and again")
        page.get_by_role("button", name="Acknowledge all").click()
        wait_until(lambda: page.evaluate(f"{SOUND}.say") == "quiet", "quiet after the acknowledgement")
        before = page.evaluate(f"{SOUND}.sounded")
        page.clock.fast_forward(60_000)
        time.sleep(4.0)
        page.get_by_role("link", name="Past runs").click()
        expect(page.get_by_text("Look at").first).to_be_visible(timeout=PATIENCE_MS)
        time.sleep(17.0)
        assert page.evaluate(f"{SOUND}.sounded") == before
        page.get_by_role("link", name="The run being watched").click()
        sees(page, ".sound", "This page sounds its alarms.")
        hung(server)
        wait_until(lambda: page.evaluate(f"{SOUND}.sounded") > before, "the page sounds without its server")
