"""The driver and the simulator's own refusals."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from monitor.rig.firmware import Firmware, FirmwareFailed, FirmwareToolsMissing, build
from monitor.rig.firmware_build import Built
from tests.firmware.lines import samples


def test_missing_tools_are_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Without the compiler one sentence says what is missing and which packages bring it."""
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(FirmwareToolsMissing, match=r"avr-gcc.* not found\. On Debian install gcc, make, gcc-avr"):
        build(tmp_path / "build")


@pytest.mark.firmware
def test_a_build_in_another_directory(tmp_path: Path) -> None:
    """A build directory of one's own gets the image and the simulator, and they run."""
    with Firmware(lockstep=True, build_dir=tmp_path / "build") as board:
        board.run_ms(150)
        assert len(samples(board.received())) == 1


@pytest.mark.firmware
def test_an_unknown_variable_is_refused(board: Firmware) -> None:
    """Asking for a variable that the image has not is an error that quotes the request."""
    with pytest.raises(FirmwareFailed, match="peek no_such_thing 2"):
        board.peek("no_such_thing", 2)


@pytest.mark.firmware
def test_too_much_at_once_is_refused(board: Firmware) -> None:
    """More bytes than may wait for the line are an error at the next run, not lost in silence."""
    board.send(b"x" * 10_000)
    with pytest.raises(FirmwareFailed, match="cannot do: send"):
        board.run_ms(1)


@pytest.mark.firmware
def test_an_injection_after_the_end(built: Built) -> None:
    """A closed board says that its simulator has ended."""
    board = Firmware(lockstep=True)
    board.close()
    with pytest.raises(FirmwareFailed, match="has ended"):
        board.drop()


@pytest.mark.firmware
def test_gas_reads_as_injected(board: Firmware) -> None:
    """Over 10 s the mean of gas_sum is the sum asked for to within 1 part in 1000 of scale, its span as the noise."""
    for total in (0.0, 8410.0, 33_333.0, 65_472.0):
        board.gas_sum(total)
        board.run_ms(200)
        board.received()
        board.run_ms(10_000)
        got = samples(board.received())
        assert sum(s.gas_sum for s in got) / len(got) == pytest.approx(total, abs=65)
        assert all(s.gas_span <= 12 for s in got)


@pytest.mark.firmware
def test_gas_without_noise_is_exact(board: Firmware) -> None:
    """With no noise asked for, all 64 readings are the same."""
    board.gas_sum(64 * 100, noise_counts=0)
    board.run_ms(310)
    newest = samples(board.received())[-1]
    assert (newest.gas_sum, newest.gas_span) == (6400, 0)


def run_image(built: Built, directory: Path, source: str, injections: str) -> subprocess.CompletedProcess[str]:
    """Build a small image of its own and run it in the simulator."""
    (directory / "image.c").write_text(source)
    image = directory / "image.elf"
    subprocess.run(
        ["avr-gcc", "-mmcu=atmega328p", "-Os", str(directory / "image.c"), "-o", str(image)], check=True, timeout=60
    )
    return subprocess.run(
        [str(built.simulator), "--image", str(image), "--lockstep"],
        input=injections,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.mark.firmware
def test_sleep_without_interrupts_is_a_failure(built: Built, tmp_path: Path) -> None:
    """An image that goes to sleep with interrupts off can never wake: the simulator says so and ends with 3."""
    source = "#include <avr/sleep.h>\n#include <avr/interrupt.h>\nint main(void) { cli(); for (;;) sleep_mode(); }\n"
    done = run_image(built, tmp_path, source, "run 100\n")
    assert done.returncode == 3
    assert "stopped asleep with interrupts off" in done.stdout


@pytest.mark.firmware
def test_a_slow_receiver_is_overrun(built: Built, tmp_path: Path) -> None:
    """An image that never reads the line loses what a real part, with room for two bytes and one more, would lose."""
    source = "#include <avr/io.h>\nint main(void) { UCSR0A = 2; UBRR0 = 16; UCSR0B = 1 << RXEN0; for (;;) ; }\n"
    done = run_image(built, tmp_path, source, "run 1\nsend 41424344454647\nrun 5\n")
    assert [text.split()[1] for text in done.stdout.splitlines()].count("overrun") == 4
