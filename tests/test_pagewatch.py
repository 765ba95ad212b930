"""A page that dies or hangs beside a run is told of and started again; the run goes on."""

from __future__ import annotations

import asyncio
import signal
import subprocess
import sys
from pathlib import Path

import psutil
import pytest

from monitor.core.requests import make_request
from monitor.edges.logreader import LogReader
from monitor.edges.page import Page
from monitor.errors import RefusalError
from monitor.pagewatch import UNANSWERED, WELL_S, PageWatch, keep_page, status_words
from monitor.rig.bench import SimulatedBench
from monitor.rig.serve import BenchServer
from tests.dashboards.live import a_port
from tests.live import LiveRun, terms, wait_until


class Ends:
    """A page that ends when it is told to, and is started again unless the system cannot."""

    url = "http://127.0.0.1:8501"

    def __init__(self) -> None:
        self.status: int | None = None
        self.starts = 0
        self.full = False

    def ended(self) -> int | None:
        return self.status

    def start_again(self) -> None:
        if self.full:
            raise OSError(11, "Resource temporarily unavailable")
        self.starts += 1
        self.status = None

    async def answers(self, within_s: float) -> bool:
        raise AssertionError(f"asked for {within_s} s by keep_page alone")

    def kill(self) -> None:
        self.status = -9


class Asked(Page):
    """The real page, and what became of the questions put to it."""

    heard: tuple[bool, ...] = ()

    async def answers(self, within_s: float) -> bool:
        self.heard += (await super().answers(within_s),)
        return self.heard[-1]


def test_a_page_that_lives_is_left_alone() -> None:
    """Nothing is said and nothing is started."""
    page = Ends()
    watch = PageWatch(page)
    assert [watch.look(float(t)) for t in range(10)] == [None] * 10
    assert page.starts == 0


def test_an_end_is_said_once_and_the_page_is_started_at_once() -> None:
    """The words say how it ended and where it is again."""
    page = Ends()
    watch = PageWatch(page)
    page.status = -9
    assert watch.look(1.0) == (
        "the page ended by itself (killed by SIGKILL); it is started again at http://127.0.0.1:8501"
    )
    assert page.starts == 1
    assert page.ended() is None
    assert watch.look(2.0) is None


def test_a_page_that_ends_again_and_again_is_tried_slower_and_told_of_no_more() -> None:
    """After four ends in a row the words stop and the trying does not; a page that lived well begins anew."""
    page = Ends()
    watch = PageWatch(page)
    said: list[str] = []
    for t in range(400):
        page.status = 1
        words = watch.look(float(t))
        said += [words] if words else []
    assert len(said) == 4
    assert "in 5 s" in said[1]
    assert said[3].endswith("in 60 s at http://127.0.0.1:8501, and so on each time without another word")
    assert 7 <= page.starts <= 9  # at 0, 6, 27 s, and then one in 61 s
    assert watch.look(1000.0) is None  # here it is started once more, and lives
    assert watch.look(1000.0 + WELL_S) is None
    page.status = 1
    assert "it is started again at" in str(watch.look(1001.0 + WELL_S))


def test_a_page_that_hangs_is_ended_and_started_again() -> None:
    """Three questions in a row unanswered; two, or three with an answer between them, are a page that was busy."""
    page = Ends()
    watch = PageWatch(page)
    for t, answered in enumerate((True, False, False, True, False, False)):
        watch.hear(answered=answered)
        assert watch.look(float(t)) is None
    watch.hear(answered=False)
    assert watch.look(6.0) == (
        "the page hung (it answered no more) and was ended; it is started again at http://127.0.0.1:8501"
    )
    assert page.starts == 1


def test_a_page_that_hangs_again_and_again_is_tried_slower() -> None:
    """A hang counts as an end does, and a page that was started again has its time to start."""
    page = Ends()
    watch = PageWatch(page)
    said: list[str] = []
    for t in range(0, 400, 5):
        watch.hear(answered=False)
        words = watch.look(float(t))
        said += [words] if words else []
    assert page.starts == 4
    assert ["hung" in words for words in said] == [True] * 4
    assert "in 20 s" in said[2]


def test_a_page_that_takes_long_to_start_is_left_alone() -> None:
    """Nothing listens for a minute: then it answers, and lives."""
    page = Ends()
    watch = PageWatch(page)
    for t in range(0, 60, 5):
        watch.hear(answered=False)
        assert watch.look(float(t)) is None
    watch.hear(answered=True)
    assert page.starts == 0


def test_what_died_while_it_was_asked_has_not_hung() -> None:
    """The words say how it ended, not that it hung."""
    page = Ends()
    watch = PageWatch(page)
    watch.hear(answered=True)
    page.status = 1
    for _ in range(UNANSWERED):
        watch.hear(answered=False)
    assert "ended by itself (exit status 1)" in str(watch.look(1.0))


def test_a_page_that_cannot_be_started_is_tried_again() -> None:
    """A system that starts no process now may do so later."""
    page = Ends()
    watch = PageWatch(page)
    page.status, page.full = 1, True
    assert watch.look(0.0) is not None
    page.full = False
    for t in range(1, 10):
        watch.look(float(t))
    assert page.starts == 1
    assert page.ended() is None


@pytest.mark.parametrize(
    ("status", "words"), [(1, "exit status 1"), (-15, "killed by SIGTERM"), (-200, "signal 200")]
)
def test_a_status_in_words(status: int, words: str) -> None:
    """A signal is named, a number stays a number."""
    assert words in status_words(status)


@pytest.mark.timeout(240)
def test_a_page_killed_or_hung_beside_a_run_comes_back_and_the_record_says_so(tmp_path: Path) -> None:
    """The real page, killed, then stopped as it stands: it answers again, the run goes on, notes are in its log."""
    bench, _, run, _ = terms()
    log = tmp_path / "run.so2log"
    with BenchServer(SimulatedBench(bench, run, 3), tmp_path / "board"), LiveRun(log, tmp_path / "board") as live:
        page = Asked(log, a_port())

        def answers() -> bool:
            return asyncio.run(Page.answers(page, 30.0))

        async def looked_after() -> None:
            def tell(text: str) -> None:
                live.service.ask(make_request("note", "so2bench", {"text": text}))

            task = asyncio.create_task(keep_page(page, tell))
            await asyncio.to_thread(wait_until, answers, "the page answers")
            psutil.Process(page._process.pid).send_signal(signal.SIGKILL)
            await asyncio.to_thread(wait_until, lambda: not answers(), "the page is gone")
            await asyncio.to_thread(wait_until, answers, "the page answers again")
            page.heard = ()
            await asyncio.to_thread(wait_until, lambda: any(page.heard), "the page has answered its watch")
            hung = psutil.Process(page._process.pid)
            hung.suspend()
            await asyncio.to_thread(wait_until, lambda: not hung.is_running(), "the page that hangs is ended")
            await asyncio.to_thread(wait_until, answers, "the page answers a third time")
            task.cancel()

        try:
            asyncio.run(looked_after())
            heard = live.bench.overview().frames_accepted
            wait_until(lambda: live.bench.overview().frames_accepted > heard, "samples go on")
        finally:
            page.close()
    said = [text for _, what, text in LogReader(log).notes() if what == "note"]
    assert any("so2bench: the page ended by itself (killed by SIGKILL); it is started again at" in s for s in said)
    assert any("so2bench: the page hung (it answered no more) and was ended; it is started again" in s for s in said)


@pytest.mark.timeout(120)
def test_a_page_served_alone_that_dies_ends_its_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where nothing but the page is kept, its end is refused in a sentence that says what to do."""
    page = Page(tmp_path / "a.so2log", a_port())
    psutil.Process(page._process.pid).send_signal(signal.SIGKILL)
    with pytest.raises(RefusalError, match=r"the page ended by itself \(status -9\): start it again"):
        page.serve("/plan")


@pytest.mark.timeout(120)
def test_a_page_served_alone_ends_with_its_command(tmp_path: Path) -> None:
    """Told to end by the system, as at a shutdown, the command takes its page with it."""
    served = "from monitor.edges.page import Page; Page(None).serve('/plan')"
    with subprocess.Popen([sys.executable, "-c", served], stdout=subprocess.PIPE, cwd=tmp_path) as command:
        assert command.stdout is not None
        assert command.stdout.readline().startswith(b"page: http://127.0.0.1:")
        (page,) = psutil.Process(command.pid).children()
        command.terminate()
        assert command.wait(60.0) == 0
        assert not page.is_running()
