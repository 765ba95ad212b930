"""The simulated port, opened with the serial library that the monitor uses."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import serial

from monitor.rig.bench import SimulatedBench
from monitor.rig.serve import BenchServer
from monitor.rig.timeline import parse_timeline
from tests.rig.lines import bodies, command
from tests.rig.terms import BENCH, drip_run

pytestmark = pytest.mark.live


def server(link: Path, speed: float = 20.0, *, restarts_on_open: bool = False) -> BenchServer:
    return BenchServer(SimulatedBench(BENCH, drip_run(), 1), link, speed, restarts_on_open=restarts_on_open)


def until(found: Callable[[], bool], limit_s: float = 20.0) -> bool:
    """Whether `found` comes true before the limit: the port's other end lives on the wall clock."""
    end_s = time.monotonic() + limit_s
    while not found():
        if time.monotonic() > end_s:
            return False
        time.sleep(0.005)
    return True


def read_lines(port: serial.Serial, wanted: int) -> list[bytes]:
    """So many lines at least, up to the end of one; the first may have lost its beginning."""
    data = b""
    while data.count(b"\n") < wanted or not data.endswith(b"\n"):
        data += port.read(max(port.in_waiting, 1))
    return data.split(b"\n")[:-1]


def test_frames_come_out_and_commands_go_in(tmp_path: Path) -> None:
    """A port opened by its link gives valid frames; what is written to it reaches the board and is not echoed."""
    link = tmp_path / "port"
    with server(link) as served, serial.Serial(str(link), 115200, timeout=5) as port:
        assert all(body[0] in "SB" for body in bodies(b"\n".join(read_lines(port, 10)[1:]) + b"\n"))
        port.write(command("L,17,1200,9000") + command("K,1,1,0"))
        lines = read_lines(port, 60)
        assert served.bench.board.tc_trip == 1200
        assert any(line.startswith(b"A,L,17,0*") for line in lines)
        assert not any(line.startswith((b"L", b"K")) for line in lines)


def test_time_runs_at_the_speed_asked_for(tmp_path: Path) -> None:
    """At 20 times the speed, simulated and wall seconds stand 20 to 1 within a quarter."""
    with server(tmp_path / "port", 20.0) as served:
        assert until(lambda: served.time_s > 0.0)
        sim_s, wall_s = served.time_s, time.monotonic()
        assert until(lambda: served.time_s > sim_s + 20.0)
        assert (served.time_s - sim_s) / (time.monotonic() - wall_s) == pytest.approx(20.0, rel=0.25)


def test_nobody_listening_holds_nothing_up(tmp_path: Path) -> None:
    """Unopened, the port throws its output away and the bench goes on; who opens it later gets fresh frames."""
    link = tmp_path / "port"
    with server(link, 100.0) as served:
        assert until(lambda: served.time_s > 60.0)
        assert served.dropped_bytes > 20_000
        with serial.Serial(str(link), 115200, timeout=5) as port:
            opened_s = served.time_s
            (line,) = bodies(read_lines(port, 2)[-1] + b"\n")
            assert int(line.split(",")[3]) >= (opened_s - 1.0) * 1000


def test_a_slow_reader_loses_bytes_and_not_the_bench(tmp_path: Path) -> None:
    """An open port that nobody reads fills and drops; the bench does not wait for it."""
    link = tmp_path / "port"
    with server(link, 100.0) as served, serial.Serial(str(link), 115200, timeout=5):
        assert until(lambda: served.dropped_bytes > 0)
        at_s = served.time_s
        assert until(lambda: served.time_s > at_s + 60.0)


def test_a_pulled_cable_looks_like_one_and_a_new_one_works(tmp_path: Path) -> None:
    """Unplugged, reads raise and the link is gone; plugged in, the same path opens and the same board is there."""
    link = tmp_path / "port"
    with server(link) as served:
        port = serial.Serial(str(link), 115200, timeout=5)
        boot = bodies(read_lines(port, 2)[-1] + b"\n")[0].split(",")[1]
        served.do("unplug")
        assert not link.is_symlink()
        with pytest.raises(OSError, match=r"disconnected|Input/output error"):
            read_lines(port, 10_000)  # what is still in the buffer, then the error
        port.close()
        served.do("plug")
        with serial.Serial(str(link), 115200, timeout=5) as again:
            assert bodies(read_lines(again, 3)[-1] + b"\n")[0].split(",")[1] == boot


def test_a_cable_in_the_story_moves_the_port_too(tmp_path: Path) -> None:
    """An unplug that the timeline does takes the link away, and its plug brings it back."""
    link = tmp_path / "port"
    bench = SimulatedBench(BENCH, drip_run(), 1, parse_timeline("2 unplug\n 20 plug"))
    with BenchServer(bench, link, 20.0):
        assert until(lambda: not link.is_symlink())
        assert until(link.is_symlink)


def test_a_board_may_restart_when_its_port_is_opened(tmp_path: Path) -> None:
    """If asked for, each opening of the port is a new start, as with a common hobby board."""
    link = tmp_path / "port"
    with server(link, restarts_on_open=True) as served:
        for boot in (2, 3):
            with serial.Serial(str(link), 115200, timeout=5):
                assert until(lambda boot=boot: served.bench.board.boot == boot)  # type: ignore[misc]
            seen_s = served.time_s
            assert until(lambda seen_s=seen_s: served.time_s > seen_s + 1.0)  # type: ignore[misc]


def test_stopping_leaves_nothing_behind(tmp_path: Path) -> None:
    """After stop there is no thread, no link and no open file more than before; stopping works with the port open."""
    link = tmp_path / "port"
    files, threads = len(os.listdir("/proc/self/fd")), threading.active_count()  # noqa: PTH208 - counts, reads nothing
    served = server(link)
    served.start()
    with serial.Serial(str(link), 115200, timeout=5) as port:
        read_lines(port, 1)
        served.stop()
    assert not link.exists()
    assert not link.is_symlink()
    assert threading.active_count() == threads
    assert len(os.listdir("/proc/self/fd")) == files  # noqa: PTH208


def test_a_stale_link_is_replaced_and_a_file_is_not(tmp_path: Path) -> None:
    """A link left by a crash is taken over; a file in the way is refused and stays as it was."""
    link = tmp_path / "port"
    link.symlink_to(tmp_path / "gone")
    with server(link), serial.Serial(str(link), 115200, timeout=5) as port:
        assert read_lines(port, 1)
    link.write_text("mine")
    with pytest.raises(FileExistsError, match="wanted a free path"):
        server(link).start()
    assert link.read_text() == "mine"


def test_a_failure_in_the_bench_comes_out_of_stop(tmp_path: Path) -> None:
    """If the simulation breaks, `stop` says so instead of ending quietly."""
    served = server(tmp_path / "port")
    served.bench.plant.tap = None
    served.bench.plant.room.ppm = "gone"  # type: ignore[assignment]
    served.start()
    assert until(lambda: served._failure is not None)
    with pytest.raises(TypeError):
        served.stop()


def test_a_speed_of_nothing_is_refused(tmp_path: Path) -> None:
    """Time cannot stand still or run back."""
    with pytest.raises(ValueError, match="wanted a number over 0"):
        server(tmp_path / "port", 0.0)
