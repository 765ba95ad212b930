"""The serial port: bytes both ways, and every trouble with it in one plain sentence.

Promise: reading waits no longer than it was told to; unplugging shows as `PortError`, whatever the library, the
driver and the moment make of it. It knows nothing of frames.
"""

from __future__ import annotations

import errno
from pathlib import Path
from typing import Protocol

import serial

from monitor.errors import PortError

try:
    import fcntl
    import termios
except ImportError:  # not on Windows, where an open port is exclusive anyway
    fcntl = None  # type: ignore[assignment]
    termios = None  # type: ignore[assignment]

WRITE_TIMEOUT_S = 0.5  # a board that does not take a 20-byte line in half a second is gone
MAX_READ = 4096

# TypeError: closed under the reader; termios.error is no OSError.
_TROUBLE: tuple[type[Exception], ...] = (OSError, TypeError, *((termios.error,) if termios is not None else ()))
_OPENING_TROUBLE: tuple[type[Exception], ...] = (*_TROUBLE, ValueError)


class Port(Protocol):
    """What the service needs of a line to the board."""

    def read(self, timeout_s: float) -> bytes:
        """Bytes, as soon as there are any; nothing after `timeout_s`. Raises PortError when the line is gone."""

    def write(self, data: bytes) -> None:
        """Send all of `data`. Raises PortError when the line is gone."""

    def close(self) -> None:
        """Let go of the line; never raises."""


class SerialPort:
    """A port that the serial library opens: a device path or any of its URLs."""

    def __init__(self, path: str, baud: int) -> None:
        """Open it.

        Raises:
            PortError: not there, not allowed, or in use.
        """
        self._path = path
        try:
            self._serial = serial.serial_for_url(
                path, baudrate=baud, timeout=0.0, write_timeout=WRITE_TIMEOUT_S, do_not_open=True
            )
            if hasattr(self._serial, "exclusive"):
                self._serial.exclusive = True
            self._serial.open()
            self._claim()
            self._serial.reset_input_buffer()
        except _OPENING_TROUBLE as why:
            raise PortError(_opening_words(path, why)) from why
        self._timeout_s = 0.0

    def _claim(self) -> None:
        """Keep other programs out, and a later reopening from resetting the board."""
        fd = getattr(self._serial, "fd", None)
        if fd is None or termios is None:
            return
        fcntl.ioctl(fd, termios.TIOCEXCL)
        attributes = termios.tcgetattr(fd)
        attributes[2] &= ~termios.HUPCL
        termios.tcsetattr(fd, termios.TCSANOW, attributes)

    def read(self, timeout_s: float) -> bytes:
        """See `Port.read`."""
        try:
            if timeout_s != self._timeout_s:
                self._serial.timeout = self._timeout_s = timeout_s
            data: bytes = self._serial.read(self._serial.in_waiting or 1)
            if data and (more := self._serial.in_waiting):
                data += self._serial.read(min(more, MAX_READ))
        except _TROUBLE as why:
            raise PortError(self._lost_words(why)) from why
        return data

    def write(self, data: bytes) -> None:
        """See `Port.write`."""
        try:
            self._serial.write(data)
        except serial.SerialTimeoutException as why:
            raise PortError(f"the board on {self._path} takes no bytes: is it hung?") from why
        except _TROUBLE as why:
            raise PortError(self._lost_words(why)) from why

    def close(self) -> None:
        """See `Port.close`."""
        try:
            self._serial.close()
        except _TROUBLE:
            return

    def _lost_words(self, why: BaseException) -> str:
        if "multiple access" in str(why) and Path(self._path).exists():
            return f"the line {self._path} broke off: unplugged, or a second program reads it"
        return f"the line {self._path} broke off: unplugged?"


def _opening_words(path: str, why: BaseException) -> str:
    number = getattr(why, "errno", None)
    if number == errno.ENOENT or "No such file" in str(why):
        return f"there is no port {path}: is the board plugged in, and is the path right?"
    if number in (errno.EACCES, errno.EPERM) or "Permission denied" in str(why):
        return f"the port {path} may not be opened: this account has no right to serial ports"
    if number in (errno.EBUSY, errno.EAGAIN) or "exclusively lock" in str(why) or "busy" in str(why):
        return f"the port {path} is in use by another program: close that one first"
    if isinstance(why, ValueError):
        return f"the port '{path}' is not understood: {why}"
    if "Inappropriate ioctl" in str(why):
        return f"{path} is no serial port: is the path right?"
    return f"the port {path} cannot be opened: {why}"
