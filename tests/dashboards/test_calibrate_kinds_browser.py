"""Every other calibration in a real browser, from its first value to the file that is written."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from CoolProp.CoolProp import PropsSI
from playwright.sync_api import Browser, Locator, Page, expect

from monitor.edges.page import Page as Server
from monitor.rig import scenario
from monitor.rig.serve import BenchServer
from tests.dashboards.live import a_port
from tests.dashboards.test_browser import PATIENCE_MS
from tests.dashboards.test_calibrate_browser import at_rest, board, calibration_page, chosen, enter
from tests.live import terms

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]

HPA = 950.0
STEAM_C = PropsSI("T", "P", 100.0 * HPA, "Q", 0.0, "Water") - 273.15  # CoolProp, by IAPWS-95
SHIFT_C = 0.5  # what the thermocouple reads too low, invented


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """The page of a bench and of a run that counts bubbles."""
    today = datetime.now(UTC).date()
    (tmp_path / "bench.toml").write_text(terms(str(tmp_path / "board"))[1], "utf-8")
    (tmp_path / "run.toml").write_text(scenario.run_toml("acid-drip", "bubbles", today), "utf-8")
    own = Server(None, a_port(), bench=tmp_path / "bench.toml", run=tmp_path / "run.toml")
    yield own
    own.close()


def repeats(page: Page, what: str, unit: str, pairs: tuple[tuple[str, str], ...]) -> Locator:
    """Add the repeats of a count and an amount; gives the result."""
    for number, (count, amount) in enumerate(pairs, start=1):
        at_rest(page, f"Count of {what}s")
        page.get_by_label(f"Count of {what}s").fill(count)
        page.get_by_label(f"What it reads, {unit}").fill(amount)
        page.get_by_role("button", name="Add this repeat").click()
        expect(page.get_by_text(f"{number}: {count} {what}s, {amount} {unit}")).to_be_visible(timeout=PATIENCE_MS)
    return page.locator(".result")


def written(page: Page, file: Path) -> dict[str, dict[str, object]]:
    """Tick the box, write, and read the file; the old one is kept."""
    before = file.read_text("utf-8")
    page.get_by_text(f"This is right for {file.name}").click()
    page.get_by_role("button", name="Write it").click()
    expect(page.get_by_text("Written.")).to_be_visible(timeout=PATIENCE_MS)
    (kept,) = file.parent.glob(f"{file.name}.2*")
    assert kept.read_text("utf-8") == before
    got: dict[str, dict[str, object]] = tomllib.loads(file.read_text("utf-8"))
    return got


def listen(page: Page) -> None:
    page.get_by_text("by the board").click()
    page.get_by_role("button", name="Listen to the board").click()
    expect(page.get_by_text("Board: gas")).to_be_visible(timeout=PATIENCE_MS)


def test_bubbles_into_a_cylinder(browser: Browser, server: Server, tmp_path: Path) -> None:
    """Counts and volumes become the bubble's volume, in the run's file and not in the bench's."""
    page = calibration_page(browser, server)
    chosen(page, "Bubble volume")
    expect(page.get_by_text("Count of bubbles")).to_be_visible(timeout=PATIENCE_MS)
    result = repeats(page, "bubble", "mL", (("100", "151"), ("120", "180"), ("110", "164")))
    expect(result).to_contain_text("µL", timeout=PATIENCE_MS)
    got = written(page, tmp_path / "run.toml")["generator"]
    assert str(got["bubble_volume"]).startswith("1500.3 +/- ")
    assert got["bubble_calibrated"] == datetime.now(UTC).date()
    assert list(tmp_path.glob("bench.toml.2*")) == []


def test_drops_onto_a_balance(browser: Browser, server: Server, tmp_path: Path) -> None:
    """Grams become microlitres by the acid's density: 30 % HCl has 1.149 g/mL at 20 °C (CRC Handbook, 102nd ed.)."""
    page = calibration_page(browser, server)
    chosen(page, "Drop volume")
    page.get_by_text("balance", exact=True).click()
    expect(page.get_by_label("What it reads, g")).to_be_visible(timeout=PATIENCE_MS)
    result = repeats(page, "drop", "g", (("100", "4.366"), ("100", "4.37"), ("100", "4.362")))
    expect(result).to_contain_text("37.99", timeout=PATIENCE_MS)
    expect(page.get_by_text("density")).to_be_visible()
    got = written(page, tmp_path / "bench.toml")["drops"]
    volume = float(str(got["volume"]).split()[0])
    assert volume == pytest.approx(4.366e-2 / 1.149 * 1e3, abs=0.05)
    assert got["calibrated"] == datetime.now(UTC).date()


def test_ice_and_steam_typed_in(browser: Browser, server: Server, tmp_path: Path) -> None:
    """The pressure gives the boiling point; both points read low by half a degree become half a degree of offset."""
    page = calibration_page(browser, server)
    chosen(page, "Thermocouple")
    expect(page.get_by_text("The pressure comes first")).to_be_visible(timeout=PATIENCE_MS)
    enter(page, "Pressure of the air here, hPa", f"{HPA:g}")
    expect(page.get_by_text(f"boils at {STEAM_C:.2f} °C here")).to_be_visible(timeout=PATIENCE_MS)
    old = terms()[0].thermocouple.offset_c.value
    enter(page, "The plate as so2bench shows it, junction in ice, °C", f"{-SHIFT_C:g}")
    enter(page, "The plate as so2bench shows it, junction in steam, °C", f"{STEAM_C - SHIFT_C:g}")
    expect(page.locator(".result")).to_contain_text("°C (k = 1", timeout=PATIENCE_MS)
    got = written(page, tmp_path / "bench.toml")["thermocouple"]
    assert float(str(got["offset"]).split()[0]) == pytest.approx(old + SHIFT_C, abs=0.02)
    assert got["calibrated"] == datetime.now(UTC).date()


def steady(served: BenchServer, page: Page, bath_c: float) -> None:
    """The junction in a bath, until the page shows it there to the degree."""
    served.do(f"dip {bath_c:g}")
    expect(page.locator(".said").first).to_contain_text(
        re.compile(rf"junction -?{bath_c:.0f}\.\d °C"), timeout=PATIENCE_MS
    )


def test_ice_and_steam_by_the_board(browser: Browser, server: Server, tmp_path: Path) -> None:
    """The board's own readings in both baths become the offset that the simulated junction has."""
    page = calibration_page(browser, server)
    chosen(page, "Thermocouple")
    with board(tmp_path, 10.0) as served:
        listen(page)
        enter(page, "Pressure of the air here, hPa", f"{HPA:g}")
        for name, bath_c in (("ice", 0.0), ("steam", STEAM_C)):
            steady(served, page, bath_c)
            page.get_by_role("button", name=f"Read {name} for 60 s").click()
            expect(page.get_by_text(re.compile(rf"^{name}: .* without the offset$"))).to_be_visible(
                timeout=PATIENCE_MS
            )
        expect(page.locator(".result")).to_contain_text("°C (k = 1", timeout=PATIENCE_MS)
        got = written(page, tmp_path / "bench.toml")["thermocouple"]
    assert float(str(got["offset"]).split()[0]) == pytest.approx(terms()[0].thermocouple.offset_c.value, abs=0.3)


def test_a_span_by_the_board(browser: Browser, server: Server, tmp_path: Path) -> None:
    """Test gas over the cap becomes the slope, with the gas's own uncertainty in the budget."""
    page = calibration_page(browser, server)
    chosen(page, "Gas: span")
    with board(tmp_path, 10.0) as served:
        listen(page)
        enter(page, "Test gas, ppm", "10")
        enter(page, "± ppm (one standard uncertainty)", "0.2")
        served.do("cap 10")
        expect(page.locator(".said").first).to_contain_text("gas 10", timeout=PATIENCE_MS)
        page.get_by_role("button", name="Read for 60 s").click()
        expect(page.locator(".result")).to_contain_text("ppm per count", timeout=PATIENCE_MS)
        expect(page.get_by_text("test gas", exact=False).first).to_be_visible()
        got = written(page, tmp_path / "bench.toml")["gas"]
    assert got["ppm_per_sum"] == pytest.approx(terms()[0].gas.ppm_per_sum, rel=0.06)
    assert got["calibrated"] == datetime.now(UTC).date()


def test_a_span_typed_in(browser: Browser, server: Server, tmp_path: Path) -> None:
    """Values of gas_sum go as well; a word among them is refused, and nothing is written."""
    page = calibration_page(browser, server)
    chosen(page, "Gas: span")
    gas = terms()[0].gas
    enter(page, "Test gas, ppm", "10")
    sums = "Values of gas_sum, three or more, with spaces between"
    enter(page, sums, "10800 ten 10850")
    expect(page.get_by_role("alert")).to_contain_text("wanted numbers with spaces between", timeout=PATIENCE_MS)
    assert page.get_by_role("button", name="Write it").count() == 0
    full = gas.zero_sum + 10.0 / gas.ppm_per_sum
    enter(page, sums, f"{full - 5:.0f} {full:.0f} {full + 5:.0f}")
    expect(page.locator(".result")).to_contain_text("ppm per count", timeout=PATIENCE_MS)
    expect(page.get_by_text("The test gas has no uncertainty")).to_be_visible()
    got = written(page, tmp_path / "bench.toml")["gas"]
    assert got["ppm_per_sum"] == pytest.approx(gas.ppm_per_sum, rel=0.01)
