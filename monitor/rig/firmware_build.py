"""Build the firmware's image and its simulator, if they are older than their sources.

Promise: whatever is missing is said in one sentence that names the packages to install; two processes that build at
once do not disturb each other.
"""

from __future__ import annotations

import contextlib
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

NOTES: Final = Path(__file__).resolve().parents[2] / "firmware_notes"
PACKAGES: Final = "gcc, make, gcc-avr, avr-libc and libsimavr-dev"


class FirmwareToolsMissing(RuntimeError):  # noqa: N818  the name is the sentence
    """What is needed to build or run the firmware is not on this machine; the sentence names the packages."""


class FirmwareFailed(RuntimeError):  # noqa: N818  the name is the sentence
    """The build failed, the simulator ended, or an injection made no sense to it."""


@dataclass(frozen=True, slots=True)
class Built:
    """The two files that a build makes."""

    image: Path
    simulator: Path


def build(build_dir: Path | None = None, *, ms_start: int = 0) -> Built:
    """Build the image and the simulator if they are older than their sources.

    `build_dir`: where to; by default `build` beside each source. `ms_start`: where the board's milliseconds begin,
    for a test of their wrap. Raises FirmwareToolsMissing or FirmwareFailed.
    """
    _look_for_tools()
    board_dir = build_dir / "board" if build_dir else NOTES / "board" / "build"
    simulator_dir = build_dir / "simulator" if build_dir else NOTES / "simulator" / "build"
    if ms_start:
        board_dir = board_dir / f"ms-{ms_start}"
    with _locked(simulator_dir):
        _make(NOTES / "board", board_dir, f"MS_START={ms_start}")
        _make(NOTES / "simulator", simulator_dir)
    return Built(board_dir / "board.elf", simulator_dir / "simulator")


def _look_for_tools() -> None:
    if not (NOTES / "board" / "Makefile").is_file():
        raise FirmwareToolsMissing(
            f"The firmware's sources are not at {NOTES}: run from a checkout of the project, not an installed copy."
        )
    missing = [tool for tool in ("make", "gcc", "avr-gcc") if shutil.which(tool) is None]
    files = {"avr-libc": "/usr/lib/avr/include/avr/io.h", "libsimavr-dev": "/usr/include/simavr/sim_avr.h"}
    missing += [name for name, path in files.items() if not Path(path).is_file()]
    if missing:
        raise FirmwareToolsMissing(
            f"The real firmware cannot be built here: {', '.join(missing)} not found. "
            f"On Debian install {PACKAGES}, or use the board in Python instead."
        )


@contextlib.contextmanager
def _locked(directory: Path) -> Iterator[None]:
    """Let one process build at a time."""
    import fcntl

    directory.mkdir(parents=True, exist_ok=True)
    with (directory / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _make(source: Path, target: Path, *variables: str) -> None:
    done = subprocess.run(
        ["make", "-C", str(source), f"BUILD={target}", *variables], capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        raise FirmwareFailed(f"make in {source} failed: {done.stderr.strip() or done.stdout.strip()}")
