"""Recordings of simulated runs, and the demonstration's files."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from monitor.rig import scenario
from monitor.rig.bench import SimulatedBench
from monitor.rig.recordings import Keeper, record, write_recording
from monitor.rig.timeline import parse_timeline
from monitor.settings import load_bench, load_run
from monitor.terms import DripTerms
from tests.rig.lines import samples
from tests.rig.terms import BENCH, drip_run

STORY = parse_timeline("0 plate 60\n 2 tap 60\n 30 reset\n 40 fault line-noise 0.01\n 50 mend line-noise")


def test_a_recording_is_seconds_and_frames_and_repeats(tmp_path: Path) -> None:
    """Each line is a time and what came then, times never fall, and the same seed writes the same file."""
    paths = tmp_path / "a.txt", tmp_path / "b.txt"
    for path in paths:
        assert write_recording(path, SimulatedBench(BENCH, drip_run(), 9, STORY), Keeper(BENCH), 60.0) > 600
    assert paths[0].read_bytes() == paths[1].read_bytes()
    times = []
    for line in paths[0].read_bytes().split(b"\n")[:-1]:
        seconds, space, _ = line.partition(b" ")
        assert space
        times.append(float(seconds))
    assert times == sorted(times)
    assert times[-1] == 60.0


def test_a_recording_holds_what_the_board_sent() -> None:
    """Without a fault, the frames in it are valid, ten a second, and count the drops that fell."""
    bench = SimulatedBench(BENCH, drip_run(), 9, parse_timeline("0 tap 60"))
    frames = [line.split(b" ", 1)[1] for line in record(bench, Keeper(BENCH), 60.0)]
    seen = samples(b"".join(frames))
    assert len(seen) == 601
    assert seen[-1].drops == bench.truth().drops > 55


def test_a_keeper_gives_limits_again_after_a_start() -> None:
    """A board that restarts has its limits again within a sample, and the permit with the next keep-alive."""
    bench = SimulatedBench(BENCH, drip_run(), 9, STORY)
    lines = list(record(bench, Keeper(BENCH), 32.0))
    assert (bench.board.tc_trip, bench.board.gas_trip) == (1360, round(8410 + 5.0 / 0.00412))
    assert sum(b" A,L," in line for line in lines) == 2
    assert bench.board.permit


def test_nobody_at_the_other_end_means_no_permit() -> None:
    """With no keeper the board records that nothing runs."""
    bench = SimulatedBench(BENCH, drip_run(), 9, STORY)
    for _ in record(bench, None, 20.0):
        assert not bench.contact
    assert bench.truth().drops == 0


def demo_terms(tmp_path: Path) -> tuple[Path, Path]:
    bench, run = tmp_path / "bench.toml", tmp_path / "run.toml"
    bench.write_text(scenario.bench_toml(str(tmp_path / "port"), date(2027, 3, 1)), "utf-8")
    run.write_text(scenario.run_toml(), "utf-8")
    return bench, run


def test_the_demonstrations_files_are_accepted(tmp_path: Path) -> None:
    """The files are valid settings, with the port and the dates of the day put in, and marked as invented."""
    bench_path, run_path = demo_terms(tmp_path)
    bench, _ = load_bench(bench_path)
    run, _ = load_run(run_path)
    assert bench.name == "hood-2"
    assert bench.port.path == str(tmp_path / "port")
    assert bench.drops.calibrated == date(2027, 2, 25)
    assert bench.gas.bump_tested == date(2027, 3, 1)
    assert isinstance(run.charge, DripTerms)
    assert "INVENTED" in bench_path.read_text("utf-8")
    assert "INVENTED" in run_path.read_text("utf-8")
    # 12 g of selenium (78.971 g/mol, CIAAW 2021), 2 mol of SO2 a mol, and a tenth more
    assert run.receiver is not None
    assert run.receiver.need_mol == pytest.approx(12.0 / 78.971 * 2.0 * 1.1, rel=1e-3)


def test_the_story_is_told(tmp_path: Path) -> None:
    """In 40 minutes the gas is made, the plate is warm, the room was over 2 ppm once, and the drip stalled once."""
    bench_path, run_path = demo_terms(tmp_path)
    terms, run = load_bench(bench_path)[0], load_run(run_path)[0]
    bench = SimulatedBench(terms, run, scenario.SEED, scenario.timeline())
    keeper = Keeper(terms)
    room, drops = [], []
    for minute_line in record(bench, keeper, 2400.0):
        assert minute_line
        room.append(bench.truth().room_ppm)
        drops.append(bench.truth().drops)
    truth = bench.truth()
    assert 2.0 < max(room) < 5.0
    assert room[-1] < 0.1
    assert truth.plate_c == pytest.approx(80.0, abs=2.0)
    assert truth.delivered_mol > 0.30
    at_s = 10
    assert drops[1049 * at_s] - drops[961 * at_s] == 0
