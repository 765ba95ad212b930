"""Many benches at once: is anything missed through one real broker, and what does the page cost its server?

Run as `python -m tests.benchmarks.bench_benches [BENCHES] [SECONDS]` (200 and 60). Each bench is the real outlet with
its own connection, one state a second; Mosquitto, the listening command, the page's server and a browser with the
page open share this machine. Then 2000 benches for which one connection speaks, since 2000 outlets are more than the
machine has left; the page with invented benches fed without a broker; and how many messages a second the list takes
from memory. Aims: nothing missed; a refresh under 200 ms of the server. Absolute times are the
machine's; the refresh is also given as a ratio to that of one bench.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import psutil
from playwright.sync_api import Browser, Page

from dashboards import benchlist
from monitor.benches.roll import Message, Roll
from monitor.core.events import Instant
from monitor.invented import invented_room
from tests.dashboards.chromium import chromium
from tests.dashboards.live import a_port
from tests.edges.broker import Broker, wait_until

FLEET = "tests.benchmarks.benches_fleet"
AIM_MS = 200.0
MANY = 2000
FED_S = 12  # seconds of messages for the list


@contextmanager
def command(*options: str) -> Iterator[tuple[str, psutil.Process, psutil.Process, Path]]:
    """The listening command with its page: address, both processes, and the folder of the list."""
    port = a_port()
    line = [sys.executable, "-m", "monitor", "benches", *options, "--page-port", str(port)]
    process = subprocess.Popen(line, stdout=subprocess.DEVNULL)
    try:
        listener = psutil.Process(process.pid)
        wait_until(lambda: bool(listener.children()), "the page's process is there")
        page = listener.children()[0]
        wait_until(lambda: "SO2BENCH_BENCHES" in page.environ(), "it knows its folder")
        yield f"http://127.0.0.1:{port}", listener, page, Path(page.environ()["SO2BENCH_BENCHES"])
    finally:
        process.terminate()
        process.wait(20.0)


def opened(browser: Browser, url: str) -> Page:
    """The page, once it draws benches."""
    page = browser.new_page(viewport={"width": 1280, "height": 800})

    def there() -> bool:
        try:
            page.goto(url)
        except Exception:  # noqa: BLE001 - its server is not up yet
            return False
        return True

    wait_until(there, "the page's server answers", 60.0)
    page.wait_for_selector(".bench", timeout=60_000)
    return page


def refreshes(page: Page, seconds: float) -> list[float]:
    """What each refresh left in its foot that it took the server, ms."""
    page.evaluate(
        """() => { window.took = []; let last = '';
        window.looking = setInterval(() => {
          const at = document.querySelector('.pulse')?.textContent;
          const ms = document.querySelector('[data-took-ms]')?.dataset.tookMs;
          if (at && ms && at !== last) { last = at; window.took.push(Number(ms)); } }, 50); }"""
    )
    time.sleep(seconds)
    return [float(ms) for ms in page.evaluate("() => { clearInterval(window.looking); return window.took; }")]


def shown(url: str, process: psutil.Process, seconds: float, name: str, browser: Browser) -> float:
    """Watch an open page for so long; gives the median refresh, ms.

    What a refresh took by the wall clock has the waiting for a busy machine in it; what its process spent has not.
    """
    page = opened(browser, url)
    time.sleep(5.0)  # the first refreshes also load modules
    before_s = sum(process.cpu_times()[:2])
    took = sorted(refreshes(page, seconds))
    spent_ms = 1e3 * (sum(process.cpu_times()[:2]) - before_s) / len(took)
    page.close()
    median, most = statistics.median(took), took[int(0.95 * len(took))]
    verdict = "reached" if max(median, spent_ms) <= AIM_MS else "MISSED"
    figures = f"median {median:.0f} ms, 95 % within {most:.0f}, all within {took[-1]:.0f}"
    print(f"{name:34} {len(took)} refreshes: {figures}")
    print(f"{'':34} {spent_ms:.0f} ms of processor each, under a load of {psutil.getloadavg()[0]:.1f}: {verdict}")
    return median


def through_a_broker(count: int, seconds: float, browser: Browser, how: str = "each") -> None:
    """So many benches through Mosquitto with their page open, each with its connection or all by one."""
    with ExitStack() as stack:
        broker = stack.enter_context(Broker(Path(stack.enter_context(tempfile.TemporaryDirectory()))))
        url, listener, page, shown_in = stack.enter_context(command("--broker", broker.url))
        line = [sys.executable, "-m", FLEET, broker.url, str(count), how]
        with subprocess.Popen(line, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as fleet:
            wait_until(lambda: _heard(shown_in) == count, "all benches are heard", 120.0)
            assert broker.process is not None
            parts = {
                "the benches": psutil.Process(fleet.pid),
                "the broker": psutil.Process(broker.process.pid),
                "the listener": listener,
                "the page": page,
            }
            before = {name: sum(p.cpu_times()[:2]) for name, p in parts.items()}
            begun_s = time.monotonic()
            shown(url, page, seconds, f"{count} through a broker, {how}", browser)
            wall_s = time.monotonic() - begun_s
            for name, p in parts.items():
                print(f"{'':34} {name}: {(sum(p.cpu_times()[:2]) - before[name]) / wall_s:.2f} of a core")
            out, _ = fleet.communicate("\n", timeout=120.0)
        time.sleep(2.0)  # for the last list
        _say_missed(json.loads(out), shown_in)


def _heard(folder: Path) -> int:
    try:
        return len(benchlist.read(folder).lines)
    except (OSError, ValueError):
        return 0


def _say_missed(given: dict[str, list[int]], folder: Path) -> None:
    """What was said and has not arrived: gaps in the numbers, and what is missing at the end."""
    picture = benchlist.read(folder)
    rows = list(picture.rows(0, len(picture.lines)))
    states = changes = 0
    for row in rows:
        newest = row.state.number if row.state is not None else 0, row.changes[-1].seq if row.changes else 0
        states += row.judged.states_missed + given[row.judged.name][0] - newest[0]
        changes += row.judged.changes_missed + given[row.judged.name][1] - newest[1]
    said = [sum(each) for each in zip(*given.values(), strict=True)]
    print(f"{'':34} missed {states} of {said[0]} states and {changes} of {said[1]} alarm changes")
    print(f"{'':34} nothing missed: {'reached' if states == changes == 0 and len(rows) == len(given) else 'MISSED'}")


def fed(count: int) -> float:
    """How many messages a second the list takes from memory."""
    room, roll = invented_room(count, time.time()), Roll()
    said = [[m for bench in room for m in bench.says(second)] for second in range(FED_S)]
    begun_s = time.perf_counter()
    for second, messages in enumerate(said):
        at = Instant(float(second), float(second))
        for m in messages:
            roll.hear(Message(m.topic, m.payload, False, m.expiry_s), at)
    spent_s = time.perf_counter() - begun_s
    took = sum(map(len, said)) / spent_s
    asked = sum(map(len, said[1:])) / (FED_S - 1)
    name = f"list fed with {count} benches"
    print(f"{name:34} {took:.0f} messages/s taken, {asked:.0f}/s asked: {took / asked:.1f} times")
    return took


def main() -> None:
    """Measure and print."""
    count, seconds = map(int, (sys.argv[1:] + ["200", "60"][len(sys.argv) - 1 :])[:2])
    fed(count)
    fed(MANY)
    with chromium() as browser:
        medians = {}
        for invented in (1, count, MANY):
            with command("--demo", str(invented)) as (url, _, page, _folder):
                medians[invented] = shown(url, page, seconds / 3, f"{invented} invented, without a broker", browser)
        few, many = (medians[n] / medians[1] for n in (count, MANY))
        print(f"{'refresh against that of one bench':34} {count} benches {few:.1f} times, {MANY} {many:.1f} times")
        through_a_broker(count, seconds, browser)
        through_a_broker(MANY, seconds, browser, "one")


if __name__ == "__main__":
    main()
