"""The calibration page in a real browser: by keyboard alone, on a telephone, and with a board to listen to."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from monitor.edges.page import Page as Server
from monitor.edges.port import SerialPort
from monitor.errors import RefusalError
from monitor.rig.bench import SimulatedBench
from monitor.rig.serve import BenchServer
from tests.dashboards.live import a_port
from tests.dashboards.test_browser import CONTRASTS, LEAST_CONTRAST, PATIENCE_MS, opened, seen_stopped
from tests.live import terms, wait_until

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """The page of a bench whose drops are overdue."""
    bench_toml = terms(str(tmp_path / "board"))[1]
    dated = "[drops]" + bench_toml.split("[drops]")[1].split("[thermocouple]")[0]
    late = "\n".join(line for line in dated.splitlines() if not line.startswith("calibrated"))
    (tmp_path / "bench.toml").write_text(bench_toml.replace(dated, late + "\n\n"), "utf-8")
    own = Server(None, a_port(), bench=tmp_path / "bench.toml")
    yield own
    own.close()


def calibration_page(browser: Browser, server: Server, width: int = 1280, height: int = 900) -> Page:
    page = opened(browser, server, width, height)
    page.goto(f"{server.url}/calibrate")
    expect(page.get_by_text("Calibrations, worst first")).to_be_visible(timeout=PATIENCE_MS)
    expect(page.get_by_text("What to do")).to_be_visible(timeout=PATIENCE_MS)
    return page


def chosen(page: Page, kind: str) -> None:
    page.get_by_test_id("stRadio").get_by_text(kind, exact=True).click()


def enter(page: Page, label: str, value: str) -> None:
    """Type a value into the field of that label and leave it; again, as a person would, if the field came anew."""
    field = page.get_by_label(label, exact=True)
    for _ in range(3):
        at_rest(page, label)
        field.fill(value)
        field.press("Enter")
        if field.input_value():
            return
    raise AssertionError(f"{label}: what is typed does not stay")


def at_rest(page: Page, label: str) -> None:
    """Wait for that field on a page made whole: what is typed while it is made anew may be lost with the field."""
    page.get_by_label(label, exact=True).wait_for(timeout=PATIENCE_MS)
    page.locator('[data-test-script-state="notRunning"]').wait_for(timeout=PATIENCE_MS)


@contextmanager
def board(folder: Path, speed: float) -> Iterator[BenchServer]:
    """A simulated bench on the port that bench.toml names."""
    bench, _, run, _ = terms()
    with BenchServer(SimulatedBench(bench, run, 3), folder / "board", speed) as served:
        yield served


def settings(folder: Path) -> dict[str, dict[str, object]]:
    got: dict[str, dict[str, object]] = tomllib.loads((folder / "bench.toml").read_text("utf-8"))
    return got


def tab_to(page: Page, label: str) -> None:
    """Tab until the field of that label, or the button of that name, has the focus."""
    for _ in range(60):
        page.keyboard.press("Tab")
        said = page.evaluate(
            "(document.activeElement.getAttribute('aria-label') || document.activeElement.innerText || '').trim()"
        )
        if said.startswith(label):
            return
    raise AssertionError(f"Tab never came to {label}")


def test_drops_by_keyboard_alone_on_a_telephone(browser: Browser, server: Server, tmp_path: Path) -> None:
    """At 390 points nothing runs off the side and text stands out; Tab, figures, Enter and Space calibrate the drops.

    What is overdue stands first and is what is offered; the repeat that stands out is marked and kept.
    """
    before = (tmp_path / "bench.toml").read_text("utf-8")
    page = calibration_page(browser, server, 390, 844)
    expect(page.get_by_text("0 of at least 3 repeats")).to_be_visible(timeout=PATIENCE_MS)
    expect(page.locator(".standing tr").first).to_contain_text("OVERDUE: never dated")
    expect(page.get_by_label("Count of drops")).to_be_visible(timeout=PATIENCE_MS)
    repeats = (("100", "3.8"), ("100", "3.81"), ("100", "3.79"), ("100", "4.2"))
    for number, (count, amount) in enumerate(repeats, start=1):
        tab_to(page, "Count of drops")
        page.keyboard.type(count)
        tab_to(page, "What it reads, mL")
        page.keyboard.type(amount)
        page.keyboard.press("Enter")
        expect(page.get_by_text(f"{number}: {count} drops, {amount} mL")).to_be_visible(timeout=PATIENCE_MS)
    result = page.locator(".result")
    expect(result).to_contain_text("39.0 ± 1.1 µL", timeout=PATIENCE_MS)
    expect(page.get_by_text("stands out", exact=False).first).to_be_visible()
    expect(page.get_by_text("scatter of the repeats")).to_be_visible()
    assert (tmp_path / "bench.toml").read_text("utf-8") == before
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.evaluate("[...document.querySelectorAll('.stHtml *')].filter(e => e.scrollWidth > 390).length") == 0
    assert [found for found in page.evaluate(CONTRASTS) if found[0] < LEAST_CONTRAST] == []
    tab_to(page, "This is right")
    page.keyboard.press("Space")
    expect(page.get_by_role("button", name="Write it")).to_be_enabled(timeout=PATIENCE_MS)
    tab_to(page, "Write it")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Written.")).to_be_visible(timeout=PATIENCE_MS)
    assert settings(tmp_path)["drops"] == {"volume": "39.0 +/- 1.1 uL", "calibrated": datetime.now(UTC).date()}
    (kept,) = tmp_path.glob("bench.toml.2*")
    assert kept.read_text("utf-8") == before


def test_a_zero_read_from_the_board(browser: Browser, server: Server, tmp_path: Path) -> None:
    """A minute of the simulated sensor in clean air becomes the zero, shown with its budget and then written.

    A reading of now that stands still, because the server hangs, says so.
    """
    page = calibration_page(browser, server)
    chosen(page, "Gas: zero")
    page.get_by_text("by the board").click()
    with board(tmp_path, 10.0):
        page.get_by_role("button", name="Listen to the board").click()
        expect(page.get_by_text("Board: gas")).to_be_visible(timeout=PATIENCE_MS)
        seen_stopped(page, server, "Look at the bench itself")
        page.get_by_role("button", name="Read for 60 s").click()
        expect(page.locator(".result")).to_contain_text("counts (k = 1)", timeout=PATIENCE_MS)
        page.get_by_text("This is right").click()
        page.get_by_role("button", name="Write it").click()
        expect(page.get_by_text("Written.")).to_be_visible(timeout=PATIENCE_MS)
        assert settings(tmp_path)["gas"]["zero_sum"] == pytest.approx(8410, abs=40)
        page.close()

        def free() -> bool:
            try:
                SerialPort(str(tmp_path / "board"), 115200).close()
            except RefusalError:
                return False
            return True

        wait_until(free, "the port is let go once nobody looks")


def test_drops_counted_and_a_bump_seen_by_the_board(browser: Browser, server: Server, tmp_path: Path) -> None:
    """The gate's count comes into its field, under a permit that goes when it ends; a live sensor passes."""
    page = calibration_page(browser, server)
    page.get_by_text("by the board").click()
    with board(tmp_path, 2.5) as served:
        served.do("tap 180")
        page.get_by_role("button", name="Listen to the board").click()
        expect(page.get_by_text("Board: gas")).to_be_visible(timeout=PATIENCE_MS)
        page.get_by_text("Give the permit while counting").click()
        page.get_by_role("button", name="Begin counting drops").click()
        expect(page.get_by_role("button", name="End counting")).to_be_visible(timeout=PATIENCE_MS)
        wait_until(lambda: served.truth().drops >= 20, "some drops")
        page.get_by_role("button", name="End counting").click()
        expect(page.get_by_text("0 edges rejected by the gate")).to_be_visible(timeout=PATIENCE_MS)
        wait_until(lambda: not served.bench.board.permit, "the permit goes")
        counted = int(page.get_by_label("Count of drops").input_value())
        assert 20 <= counted <= served.truth().drops
        page.get_by_role("button", name="Begin counting drops").click()
        wait_until(lambda: served.bench.board.permit, "the permit for the next repeat")
        chosen(page, "Gas: bump test")
        wait_until(lambda: not served.bench.board.permit, "the permit goes with the drops' page")
        enter(page, "Test gas, ppm", "10")
        served.do("cap 10")
        page.get_by_role("button", name="Test gas is given: now").click()
        expect(page.locator(".result")).to_contain_text("passed: rose by", timeout=PATIENCE_MS)


def test_a_port_that_a_run_has(browser: Browser, server: Server, tmp_path: Path) -> None:
    """While a run holds the port the page says so plainly, and typed readings still go; nonsense is refused."""
    page = calibration_page(browser, server)
    chosen(page, "Gas: bump test")
    with board(tmp_path, 1.0):
        held = SerialPort(str(tmp_path / "board"), 115200)
        page.get_by_text("by the board").click()
        page.get_by_role("button", name="Listen to the board").click()
        refused = page.get_by_role("alert").filter(has_text="A run that is being watched has the board to itself")
        expect(refused).to_be_visible(timeout=PATIENCE_MS)
        held.close()
    page.get_by_text("typed in").click()
    for label, value in (("Test gas, ppm", "10"), ("It rose by, ppm", "2"), ("within, s", "50")):
        enter(page, label, value)
    expect(page.get_by_role("alert").filter(has_text="do not run with this sensor")).to_be_visible(
        timeout=PATIENCE_MS
    )
    assert page.get_by_role("button", name="Write it").count() == 0
