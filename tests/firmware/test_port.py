"""The paced board as a serial port: opened by the serial library the host uses, unplugged, restarted.

Waiting here is on the wall clock, because the mode follows it; what is asserted is the board's own time and numbers.
"""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
import serial

from monitor.rig.firmware import Firmware, FirmwareFailed
from monitor.rig.firmware_build import Built
from tests.firmware.lines import Frame, Hello, Sample, line, parse_line

pytestmark = pytest.mark.firmware

PATIENCE_S = 20.0


class Host:
    """Opens the port and reads whole lines, the first cut one left out."""

    def __init__(self, port: Path) -> None:
        self.serial = serial.Serial(str(port), 115200, timeout=PATIENCE_S)
        self.cut = True

    def frame(self) -> Frame:
        raw = self.serial.readline()
        assert raw.endswith(b"\n"), "no line came"
        if self.cut:
            self.cut = False
            return self.frame() if not raw.startswith((b"S,", b"B,")) else parse_line(raw[:-1])
        return parse_line(raw[:-1])

    def sample(self) -> Sample:
        while not isinstance(frame := self.frame(), Sample):
            pass
        return frame

    def hello(self) -> Hello:
        while not isinstance(frame := self.frame(), Hello):
            pass
        return frame


def wait_for(board: Firmware, kind: str, detail: str) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        if any((e.kind, e.detail) == (kind, detail) for e in board.events()):
            return
        time.sleep(0.005)
    pytest.fail(f"no {kind} {detail}")


def test_a_host_reads_and_commands(built: Built) -> None:
    """Through the port, samples come in order and a keep-alive switches the permit on and is seen in io."""
    with Firmware() as board:
        host = Host(board.port)
        first = host.sample()
        host.serial.write(line("K,1,1,0"))
        while not (s := host.sample()).contact:
            assert s.seq < first.seq + 100
        assert board.permit_pin()
        host.serial.close()


def test_injections_reach_the_running_board(built: Built) -> None:
    """Drops, gas and thermocouple injected while the host reads are in the samples that follow."""
    with Firmware() as board:
        host = Host(board.port)
        host.sample()
        for _ in range(3):
            board.drop()
            time.sleep(0.05)
        board.gas_mv(2500, noise_mv=0)
        board.tc_word(0x07641880)
        for _ in range(20):
            s = host.sample()
        assert s.drops == 3
        assert s.gas_sum == pytest.approx(64 * 1023 / 2, abs=2 * 64)
        assert s.tc == 0x07641880
        host.serial.close()


def test_the_pace_is_the_wall_clock_times_speed(built: Built) -> None:
    """At ten times the speed, ten seconds of the board take about one; never less."""
    with Firmware(speed=10.0) as board:
        host = Host(board.port)
        first = host.sample()
        began = time.monotonic()
        while host.sample().ms < first.ms + 10_000:
            pass
        assert time.monotonic() - began > 0.8
        host.serial.close()


def test_nothing_old_waits_for_a_late_host(built: Built) -> None:
    """What the board says while nobody has the port open is thrown away: a late host begins with the present."""
    with Firmware(speed=20.0) as board:
        host = Host(board.port)
        before = host.sample()
        host.serial.close()
        wait_for(board, "port", "closed")
        time.sleep(0.5)
        host = Host(board.port)
        after = host.sample()
        assert after.boot == before.boot
        assert after.ms > before.ms + 3000
        host.serial.close()


def test_unplugged_and_plugged_again(built: Built) -> None:
    """Without the cable the link is gone and the open port fails; with it the same path serves the same start."""
    with Firmware() as board:
        host = Host(board.port)
        before = host.sample()
        board.unplug()
        with pytest.raises((serial.SerialException, OSError)):
            host.serial.read(100_000)
        assert not os.path.lexists(board.port)
        host.serial.close()
        board.plug()
        deadline = time.monotonic() + PATIENCE_S
        while not os.path.lexists(board.port):
            assert time.monotonic() < deadline
            time.sleep(0.005)
        host = Host(board.port)
        after = host.sample()
        assert after.boot == before.boot
        assert after.seq > before.seq
        host.serial.close()


def test_restart_on_open(built: Built) -> None:
    """With the option, opening the port restarts the board, as the usual boards do: a B with cause 02 comes first."""
    with Firmware(restart_on_open=True) as board:
        boots = []
        for _ in range(2):
            host = Host(board.port)
            hello = host.hello()
            assert hello.reset_cause == 0x02
            boots.append(hello.boot)
            host.serial.close()
            wait_for(board, "port", "closed")
        assert boots[1] == boots[0] + 1


def test_the_permit_goes_when_the_host_goes(built: Built) -> None:
    """A host that closes the port leaves a board that takes the permit away 3 s later on its own clock."""
    with Firmware(speed=10.0) as board:
        host = Host(board.port)
        host.sample()
        host.serial.write(line("K,1,1,0"))
        while not host.sample().permit:
            pass
        host.serial.close()
        wait_for(board, "permit", "0")


def test_the_end_takes_port_and_process_away(built: Built, tmp_path: Path) -> None:
    """Closing the board removes its port; nothing is left behind."""
    port = tmp_path / "board"
    board = Firmware(port=port)
    assert os.path.lexists(port)
    board.close()
    assert not os.path.lexists(port)
    assert list(tmp_path.iterdir()) == []
    board.close()


def test_a_file_in_the_port_s_place_is_left_alone(built: Built, tmp_path: Path) -> None:
    """The simulator will not replace what is no link, and says so."""
    port = tmp_path / "notes.txt"
    port.write_text("mine")
    with pytest.raises(FirmwareFailed, match=r"notes\.txt"):
        Firmware(port=port)
    assert port.read_text() == "mine"
