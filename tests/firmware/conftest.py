"""One build a session, a fresh board a test."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from monitor.rig.firmware import Firmware, FirmwareToolsMissing, build
from monitor.rig.firmware_build import Built
from tests.firmware.lines import Sample, line, samples


@pytest.fixture(scope="session")
def built() -> Built:
    try:
        return build()
    except FirmwareToolsMissing as missing:
        pytest.skip(str(missing))


START_MS = 10


class Kept:
    """A lockstep board and a host that keeps it alive."""

    def __init__(self, firmware: Firmware) -> None:
        self.firmware = firmware
        self.sent = 0

    def say(self, body: str) -> None:
        """Send a command; `#` stands for its number, which counts up."""
        self.firmware.send(line(body.replace("#", str(self.sent))))
        self.sent = (self.sent + 1) % 0x10000

    def run(self, ms: float, *, permit: int = 1, buzzer: int = 0) -> list[Sample]:
        """Let time go by with a keep-alive each half second; the samples of that time."""
        self.firmware.received()
        while ms > 0:
            self.say(f"K,#,{permit},{buzzer}")
            self.firmware.run_ms(min(ms, 500.0))
            ms -= 500.0
        return samples(self.firmware.received())

    def silent(self, ms: float) -> list[Sample]:
        """Let time go by with no keep-alive; the samples of that time."""
        self.firmware.received()
        self.firmware.run_ms(ms)
        return samples(self.firmware.received())

    def ask(self, body: str) -> bytes:
        """Send a command and return what comes within 20 ms."""
        self.firmware.received()
        self.say(body)
        self.firmware.run_ms(20)
        return self.firmware.received()


@pytest.fixture
def board(built: Built) -> Iterator[Firmware]:
    """A board in lockstep, 10 ms after its supply came: it listens and counts from the third."""
    with Firmware(lockstep=True) as firmware:
        firmware.run_ms(START_MS)
        yield firmware


@pytest.fixture
def kept(board: Firmware) -> Kept:
    return Kept(board)
