"""The serial port on a pseudo-terminal: bytes both ways, and each trouble as one plain sentence."""

from __future__ import annotations

import os
import time
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.edges.port import SerialPort
from monitor.errors import PortError

pytestmark = pytest.mark.live


class Cable:
    """A pseudo-terminal: `master` is the board's end, `path` the host's."""

    def __init__(self) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        os.close(slave)
        self.plugged = True

    def unplug(self) -> None:
        if self.plugged:
            self.plugged = False
            os.close(self.master)


@pytest.fixture
def cable() -> Iterator[Cable]:
    made = Cable()
    yield made
    made.unplug()


def _read_on(port: SerialPort, times: int) -> None:
    for _ in range(times):
        port.read(0.1)


def _open_files() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def test_bytes_both_ways(cable: Cable) -> None:
    """What the board writes is read, what is written the board reads, every value of a byte unchanged."""
    port = SerialPort(cable.path, 115200)
    every = bytes(range(256))
    os.write(cable.master, every)
    got = b""
    while len(got) < 256:
        got += port.read(1.0)
    assert got == every
    port.write(every)
    assert os.read(cable.master, 1000) == every
    port.close()


def test_reading_waits_no_longer_than_told(cable: Cable) -> None:
    """With nothing on the line, reading gives nothing after the time it was given."""
    port = SerialPort(cable.path, 115200)
    for timeout_s in (0.05, 0.2):
        begun_s = time.monotonic()
        assert port.read(timeout_s) == b""
        assert timeout_s * 0.9 <= time.monotonic() - begun_s < timeout_s + 1.0
    port.close()


def test_reading_gives_what_is_there_at_once(cable: Cable) -> None:
    """A line that is there is not waited on for more."""
    port = SerialPort(cable.path, 115200)
    os.write(cable.master, b"K,1,1,0*0068\n")
    begun_s = time.monotonic()
    assert port.read(30.0).startswith(b"K,1")
    assert time.monotonic() - begun_s < 10.0
    port.close()


def test_unplugged_while_reading(cable: Cable) -> None:
    """A cable pulled out is told by its path, with the question that leads on."""
    port = SerialPort(cable.path, 115200)
    cable.unplug()
    with pytest.raises(PortError) as told:
        _read_on(port, 3)
    assert str(told.value).startswith(f"the line {cable.path} broke off: unplugged")
    port.close()
    port.close()


def test_unplugged_while_writing(cable: Cable) -> None:
    """Writing into a cable that was pulled out is told in the same words."""
    port = SerialPort(cable.path, 115200)
    cable.unplug()
    with pytest.raises(PortError, match="broke off: unplugged"):
        port.write(b"K,1,1,0*0068\n")
    port.close()


def test_reading_a_closed_port(cable: Cable) -> None:
    """A port closed under its reader is a line that broke off, not a riddle from the library."""
    port = SerialPort(cable.path, 115200)
    port.close()
    for use in (lambda: port.read(0.1), lambda: port.write(b"x")):
        with pytest.raises(PortError, match="broke off"):
            use()


def test_in_use(cable: Cable) -> None:
    """A port that another program has open is said to be in use; when that one lets go it opens."""
    first = SerialPort(cable.path, 115200)
    with pytest.raises(PortError) as told:
        SerialPort(cable.path, 115200)
    assert str(told.value) == f"the port {cable.path} is in use by another program: close that one first"
    first.close()
    SerialPort(cable.path, 115200).close()


def test_no_such_port(tmp_path: Path) -> None:
    """A path that is not there is said to be not there, with what to look at."""
    path = tmp_path / "ttyNONE"
    with pytest.raises(PortError) as told:
        SerialPort(str(path), 115200)
    assert str(told.value) == f"there is no port {path}: is the board plugged in, and is the path right?"


def test_no_right_to_the_port(tmp_path: Path) -> None:
    """A port that this account may not open is said so."""
    path = tmp_path / "tty"
    path.touch(mode=0o000)
    said, say = os.pipe()
    child = os.fork()
    if child == 0:  # root may open everything: ask as somebody who may not
        if os.geteuid() == 0:
            os.setuid(65534)
        try:
            SerialPort(str(path), 115200)
        except PortError as why:
            os.write(say, str(why).encode())
        finally:
            os._exit(0)
    os.close(say)
    os.waitpid(child, 0)
    with os.fdopen(said) as pipe:
        assert pipe.read() == f"the port {path} may not be opened: this account has no right to serial ports"


@pytest.mark.parametrize("path", ["/dev/null", "nosuch://board", "socket://127.0.0.1:1", ""])
def test_what_is_no_serial_port(path: str) -> None:
    """Something else in a port's place is refused in one sentence with its name."""
    with pytest.raises(PortError) as told:
        SerialPort(path, 115200)
    assert path in str(told.value)
    assert "\n" not in str(told.value)


def test_a_file_is_no_serial_port(tmp_path: Path) -> None:
    """A file named by mistake is called none, without the system's own jargon."""
    path = tmp_path / "run.toml"
    path.touch()
    with pytest.raises(PortError, match=r"run\.toml is no serial port: is the path right\?$"):
        SerialPort(str(path), 115200)


def test_a_port_that_failed_to_open_is_let_go(tmp_path: Path) -> None:
    """A path that opens but is no serial line leaves no file open behind, however often it is tried."""
    path = tmp_path / "plain"
    path.touch()
    before = _open_files()
    for _ in range(50):
        with pytest.raises(PortError):
            SerialPort(str(path), 115200)
    assert _open_files() <= before + 1


def test_a_board_that_takes_no_bytes(cable: Cable) -> None:
    """A board that stopped reading is told after half a second, and never blocks the run."""
    port = SerialPort(cable.path, 115200)
    begun_s = time.monotonic()
    with pytest.raises(PortError, match="takes no bytes: is it hung"):
        port.write(b"x" * 400_000)
    assert time.monotonic() - begun_s < 10.0
    port.close()


def test_any_url_of_the_library() -> None:
    """A URL that the library knows opens like a path: here its loop-back, which has no file behind it."""
    port = SerialPort("loop://", 115200)
    port.write(b"S,7\n")
    assert port.read(0.5) == b"S,7\n"
    assert port.read(0.05) == b""
    port.close()


def test_what_lay_in_the_buffer_is_not_read(cable: Cable) -> None:
    """Bytes from before the opening are thrown away: they would look as if they had just arrived."""
    held = os.open(cable.path, os.O_RDWR | os.O_NOCTTY)
    os.write(cable.master, b"S,old\n")
    time.sleep(0.05)
    port = SerialPort(cable.path, 115200)
    assert port.read(0.05) == b""
    port.close()
    os.close(held)
