"""The permit, the keep-alive, the contact and the buzzer."""

from __future__ import annotations

import pytest

from monitor.rig.firmware import Firmware
from tests.firmware.conftest import Kept
from tests.firmware.lines import line

pytestmark = pytest.mark.firmware


def permit_events(board: Firmware) -> list[tuple[int, str]]:
    return [(e.us, e.detail) for e in board.events() if e.kind == "permit"]


def test_off_after_a_start(kept: Kept) -> None:
    """A board that nobody speaks to never switches the permit on."""
    got = kept.silent(10_000)
    assert not any(s.permit or s.contact or s.kept_alive for s in got)
    assert permit_events(kept.firmware) == []


def test_on_when_asked_for(kept: Kept) -> None:
    """A keep-alive that asks for it switches the permit on; the contact and the bits follow."""
    got = kept.run(1000)
    assert kept.firmware.permit_pin()
    assert got[-1].io == 0x0B


def test_quick(board: Firmware) -> None:
    """From the last byte of a keep-alive on the line to the permit pin it takes under 2 ms."""
    sent_us = board.run_ms(50)
    command = line("K,1,1,0")
    board.send(command)
    board.run_ms(20)
    ((at_us, _),) = permit_events(board)
    on_the_line_us = sent_us + 1e6 * 10 * len(command) / 115_200
    assert 0 <= at_us - on_the_line_us < 2000


def test_off_when_not_asked_for(kept: Kept) -> None:
    """A keep-alive that does not ask for the permit switches it off at once."""
    kept.run(1000)
    kept.run(100, permit=0)
    assert not kept.firmware.permit_pin()


def test_goes_without_a_keep_alive(kept: Kept) -> None:
    """Within 3.5 s of the last keep-alive, and not before 3 s are over, the board takes the permit away by itself."""
    kept.run(500)
    at_us = kept.firmware.run_ms(0)
    kept.say("K,#,1,0")
    got = kept.silent(4000)
    (_, on), (off_us, off) = permit_events(kept.firmware)
    assert (on, off) == ("1", "0")
    assert 3.0e6 <= off_us - at_us <= 3.5e6
    assert not got[-1].kept_alive
    assert got[-1].buzzer


def test_comes_back_only_when_asked_for(kept: Kept) -> None:
    """After a silence a keep-alive that does not ask leaves the permit off; one that asks brings it back."""
    kept.run(500)
    kept.silent(4000)
    kept.run(500, permit=0)
    assert not kept.firmware.permit_pin()
    kept.run(500)
    assert kept.firmware.permit_pin()


def test_steady(kept: Kept) -> None:
    """In a minute of keep-alives twice a second the permit does not flicker."""
    kept.run(60_000)
    assert len(permit_events(kept.firmware)) == 1


def test_one_in_five_keep_alives_is_enough(kept: Kept) -> None:
    """A line that loses four keep-alives of five, one each 2.5 s coming through, keeps the permit."""
    for _ in range(8):
        kept.say("K,#,1,0")
        kept.silent(2500)
    assert len(permit_events(kept.firmware)) == 1


def test_a_damaged_keep_alive_is_none(kept: Kept) -> None:
    """Keep-alives with one wrong bit do not hold the permit."""
    kept.run(500)
    for _ in range(8):
        kept.firmware.garble(1, to="board")
        kept.say("K,#,1,0")
        kept.silent(500)
    assert not kept.firmware.permit_pin()


def test_contact_that_does_not_close(kept: Kept) -> None:
    """A contact stuck open reads open while the permit is on."""
    kept.firmware.contact("open")
    got = kept.run(1000)
    assert got[-1].permit
    assert not got[-1].contact


def test_contact_that_is_welded(kept: Kept) -> None:
    """A contact welded closed reads closed while the permit is off."""
    kept.firmware.contact("closed")
    got = kept.run(1000, permit=0)
    assert not got[-1].permit
    assert got[-1].contact


def test_buzzer_when_asked(kept: Kept) -> None:
    """The buzzer sounds when a keep-alive asks for it, and is silent when one does not."""
    assert kept.run(500, buzzer=1)[-1].buzzer
    assert kept.firmware.buzzer_pin()
    assert not kept.run(500, buzzer=0)[-1].buzzer
    assert not kept.firmware.buzzer_pin()


def test_buzzer_by_itself(kept: Kept) -> None:
    """Without a host the buzzer sounds from the start, and again 3 s after the last keep-alive."""
    assert kept.silent(200)[-1].buzzer
    kept.run(500)
    assert not kept.firmware.buzzer_pin()
    kept.silent(3200)
    assert kept.firmware.buzzer_pin()
