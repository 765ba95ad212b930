"""Starts: numbered, with their cause, and always with the permit off."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.rig.firmware import Firmware
from monitor.rig.firmware_build import Built
from tests.firmware.conftest import Kept
from tests.firmware.lines import Hello, Sample, hellos, parse, samples

pytestmark = pytest.mark.firmware


def test_watchdog(kept: Kept) -> None:
    """A loop that hangs with the permit on is restarted within 1.2 s; permit off, cause 08, bit 7 of io set."""
    board = kept.firmware
    kept.run(1000)
    board.events()
    board.received()
    hung_us = board.run_ms(0)
    board.hang()
    board.run_ms(1500)
    events = board.events()
    (reset,) = [e for e in events if e.kind == "reset"]
    assert reset.detail == "08"
    assert reset.us - hung_us <= 1_200_000
    (off,) = [e for e in events if e.kind == "permit"]
    assert (off.us, off.detail) == (reset.us, "0")
    (hello,) = hellos(data := board.received())
    assert hello.reset_cause == 0x08
    assert all(s.from_watchdog and not s.permit for s in samples(data))
    assert samples(data)[0].seq == 0


def test_watchdog_does_not_bite_a_healthy_board(board: Firmware) -> None:
    """In five minutes without a host there is no reset."""
    board.run_ms(300_000)
    assert [e.detail for e in board.events() if e.kind == "reset"] == ["01"]


def test_the_watchdog_bit_is_of_this_start(kept: Kept) -> None:
    """A reset by the button after one by the watchdog has cause 02 and bit 7 clear."""
    board = kept.firmware
    kept.run(200)
    board.hang()
    board.run_ms(1500)
    board.reset()
    board.received()
    board.run_ms(150)
    hello, sample = parse(board.received())
    assert isinstance(hello, Hello)
    assert hello.reset_cause == 0x02
    assert isinstance(sample, Sample)
    assert not sample.from_watchdog


def test_starts_are_numbered(board: Firmware) -> None:
    """Each start has the number of the one before it and one more, whatever its cause."""
    for i in range(6):
        board.run_ms(120)
        if i % 3 == 2:
            board.power_off()
            board.run_ms(50)
            board.power_on()
        else:
            board.reset()
    board.run_ms(120)
    boots = [hello.boot for hello in hellos(board.received())]
    assert boots == list(range(boots[0], boots[0] + 7))


def test_a_start_begins_from_nothing(kept: Kept) -> None:
    """After a restart counts are zero, the permit is off, limits are those of a start, no keep-alive stands."""
    board = kept.firmware
    board.drop(bounces=2)
    kept.say("L,#,100,9000")
    kept.run(600)
    board.reset()
    got = kept.silent(600)
    assert (got[0].seq, got[0].drops, got[0].drop_ms, got[0].rejects) == (0, 0, 0, 0)
    assert all(s.io & 0x3B == 0 for s in got[1:])
    assert not board.permit_pin()


def test_power_off(kept: Kept) -> None:
    """Without its supply the board is silent and the permit off; with it again the cause is power-on, 01."""
    board = kept.firmware
    kept.run(500)
    board.power_off()
    assert kept.silent(1000) == []
    assert not board.permit_pin()
    assert not board.buzzer_pin()
    board.power_on()
    board.run_ms(150)
    (hello,) = hellos(board.received())
    assert hello.reset_cause == 0x01
    assert not board.permit_pin()


def test_permit_drops_at_a_reset(kept: Kept) -> None:
    """The pins of a part in reset float, so the permit is off from the moment of the reset."""
    kept.run(500)
    kept.firmware.events()
    at_us = kept.firmware.run_ms(0)
    kept.firmware.reset()
    kept.firmware.run_ms(1)
    events = kept.firmware.events()
    (off,) = [e for e in events if e.kind == "permit"]
    assert (off.us, off.detail) == (at_us, "0")


def test_boot_number_outlives_the_simulator(built: Built, tmp_path: Path) -> None:
    """With an EEPROM file the boot number goes on from one simulator to the next."""
    boots = []
    for _ in range(3):
        with Firmware(lockstep=True, eeprom=tmp_path / "eeprom") as board:
            board.run_ms(50)
            boots += [hello.boot for hello in hellos(board.received())]
    assert boots == [boots[0], boots[0] + 1, boots[0] + 2]


def test_boot_number_wraps(built: Built, tmp_path: Path) -> None:
    """After start 65535 comes start 0; an erased part (all ones) begins there too."""
    eeprom = tmp_path / "eeprom"
    eeprom.write_bytes(b"\xff" * 1024)
    with Firmware(lockstep=True, eeprom=eeprom) as board:
        board.run_ms(50)
        assert [hello.boot for hello in hellos(board.received())] == [0]
