"""The page of many benches in a real browser, over a real Mosquitto: seen, gone through, and honest when cut off."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from monitor.core.events import AlarmState, Priority, StandingAlarm
from monitor.edges.page import BenchesPage
from tests.dashboards.live import a_port
from tests.dashboards.test_browser import CONTRASTS, LEAST_CONTRAST, PATIENCE_MS, opened, seen_stopped, sees
from tests.edges.broker import Broker, wait_until
from tests.edges.mqtt_host import Host, overview, standing
from tests.hearing import Hearing

pytestmark = [pytest.mark.browser, pytest.mark.broker, pytest.mark.timeout(300)]
GAS = StandingAlarm("GAS-HIGH", Priority.HIGH, AlarmState.UNACKNOWLEDGED, 1.0, "2.6 ppm")


class Room:
    """A broker, benches that are watched there, a listener, and the page's own process."""

    def __init__(self, folder: Path, stack: ExitStack, count: int) -> None:
        self.broker = stack.enter_context(Broker(folder / "broker"))
        self.hosts = [stack.enter_context(Host(self.broker.url, bench=f"hood-{n}")) for n in range(1, count + 1)]
        self.hearing = stack.enter_context(Hearing(self.broker.url, folder))
        for host in self.hosts:
            host.hear(overview(1.0))
        wait_until(lambda: len(self.hearing.levels) == count, "all benches are heard")
        self.page = BenchesPage(folder, a_port())
        stack.callback(self.page.close)

    def speak(self, number: int, *alarms: StandingAlarm, t_s: float = 2.0) -> None:
        self.hosts[number - 1].hear(overview(t_s, alarms))


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    with ExitStack() as stack:
        yield Room(tmp_path, stack, 3)


def order(page: Page) -> list[str]:
    return [b.inner_text() for b in page.locator(".st-key-benches button").all()]


def test_benches_at_a_glance_and_one_in_full(browser: Browser, room: Room) -> None:
    """An alarm moves its bench to the top; a click leads to its numbers and what to do; a reload stays there."""
    page = opened(browser, room.page)
    sees(page, ".tally li.quiet", "3")
    room.speak(2, GAS)
    sees(page, ".bench.high-waiting", "SO2 in the air")
    assert order(page) == ["hood-2", "hood-1", "hood-3"]
    page.get_by_role("button", name="hood-2").click()
    sees(page, ".one", "high alarm")
    sees(page, ".card.high", "Stop the gas: tap shut, heat off, or flame smothered")
    sees(page, ".numbers", "22.2 ± 1.8 °C")
    sees(page, ".tally li.high-waiting", "1")
    page.reload()
    sees(page, ".one .name", "hood-2")
    page.get_by_role("button", name="Back to all benches").click()
    sees(page, ".tally li.quiet", "2")
    expect(page.locator(".one")).to_have_count(0, timeout=PATIENCE_MS)


def test_silences_are_seen_and_said(browser: Browser, room: Room) -> None:
    """A broker that is away, and a listener that has ended, are said first; when it is back, so are the benches."""
    page = opened(browser, room.page)
    sees(page, ".tally li.quiet", "3")
    room.broker.kill()
    sees(page, ".warning", "THE BROKER IS AWAY")
    sees(page, ".warning", "nobody listens at")
    room.broker.start()
    expect(page.locator(".warning")).to_have_count(0, timeout=PATIENCE_MS)
    sees(page, ".tally li.quiet", "3")
    room.hearing.stop()
    sees(page, ".warning", "NOBODY LISTENS")
    sees(page, ".tally li.not-heard", "3")
    sees(page, ".bench.not-heard", "the program that listens has stopped")


def test_a_page_whose_server_hangs_says_so(browser: Browser, room: Room) -> None:
    """The list stands still, and says so, until the server goes on."""
    page = opened(browser, room.page)
    sees(page, ".tally li.quiet", "3")
    seen_stopped(page, room.page, "Look at the benches themselves")
    sees(page, ".tally li.quiet", "3")


def test_the_keyboard_is_enough_and_a_telephone_is_wide_enough(browser: Browser, room: Room) -> None:
    """At 390 points nothing runs off the side and text stands out; Tab and Enter lead to a bench and back."""
    room.speak(3, standing())
    page = opened(browser, room.page, 390, 844)
    sees(page, ".bench.medium-waiting", "Plate too hot")
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText") == "hood-1":
            break
    time.sleep(2.5)  # two refreshes, which must not take the focus away
    assert page.evaluate("document.activeElement.innerText") == "hood-1"
    check_layout(page)
    page.keyboard.press("Enter")
    sees(page, ".one .name", "hood-1")
    check_layout(page)
    page.get_by_role("button", name="Back to all benches").focus()
    page.keyboard.press("Enter")
    sees(page, ".bench.medium-waiting", "Plate too hot")


def check_layout(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.evaluate("[...document.querySelectorAll('.stHtml *')].filter(e => e.scrollWidth > 390).length") == 0
    assert [found for found in page.evaluate(CONTRASTS) if found[0] < LEAST_CONTRAST] == []
