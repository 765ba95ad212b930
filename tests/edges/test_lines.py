"""The run as plain lines: what is not known is not said as a number, and no terminal holds anybody up."""

from __future__ import annotations

import io
import os
import time
from dataclasses import dataclass

import pytest

from monitor.core.events import Accounted, Forecast, Noted, Overview
from monitor.edges.lines import WAITING_MAX, Lines, overview_line
from tests.edges.mqtt_host import overview

pytestmark = pytest.mark.live


def generating(sample_age_s: float | None) -> Overview:
    """A bench that has counted, and heard its board so long ago."""
    account = Accounted(59.0, 1201, 46.1, 0.41, 0.06, 0.35, 0.0, 0.008, 0.006, 0.01, 0.0)
    forecast = Forecast(58.0, 0.019, 0.74, 0.39, 0.334, 12, 3.0, 63.9)
    return overview(60.0)._replace(account=account, forecast=forecast, sample_age_s=sample_age_s)


def test_a_rate_of_a_silent_board_is_unknown() -> None:
    """What was counted stays counted; how fast it drips now is unknown once the board is silent, and never 0."""
    assert "1201 drops, 58/min" in overview_line(generating(0.06))
    for silent in (3.1, 600.0, None):
        assert "1201 drops, rate unknown" in overview_line(generating(silent))


def test_one_drop_is_one() -> None:
    """The first drop of a run is not "1 drops"."""
    o = generating(0.06)
    assert o.account is not None
    assert "1 drop, 58/min" in overview_line(o._replace(account=o.account._replace(drops=1)))


def test_a_terminal_that_is_gone_ends_nothing() -> None:
    """When nobody reads any more, lines are taken and dropped."""
    stream = io.StringIO()
    lines = Lines(stream, "acid-drip")
    lines([Noted(1.0, "note", "first")])
    lines.close()
    assert stream.getvalue() == "0:00:01  note: first\n"
    stream = io.StringIO()
    lines = Lines(stream, "acid-drip")
    stream.close()
    for n in range(2 * WAITING_MAX):
        lines([Noted(float(n), "note", "more")])
    lines.close()


@dataclass
class Stuck(io.TextIOBase):
    """A terminal that takes nothing, as one does that was told to hold its output."""

    end: int

    def write(self, text: str) -> int:
        os.read(self.end, 1)
        return len(text)


def test_a_terminal_that_takes_nothing_holds_nobody_up() -> None:
    """Neither saying nor closing waits for a terminal that is stuck; closing for a second at most."""
    held, release = os.pipe()
    lines = Lines(Stuck(held), "acid-drip")  # type: ignore[arg-type]
    begun_s = time.monotonic()
    for n in range(2 * WAITING_MAX):
        lines([Noted(float(n), "note", "more")])
    assert time.monotonic() - begun_s < 1.0
    lines.close()
    os.close(release)  # now it takes everything
    lines._thread.join(60.0)
    assert not lines._thread.is_alive()
    os.close(held)
