"""Replaying: a run's own log gives the run again to the last digit, and a text recording gives what it can."""

from __future__ import annotations

import json
import shutil
import time
from pathlib import Path
from typing import Any

import pytest

from monitor.core.bench import Bench
from monitor.core.events import AlarmChanged, AlarmState, Event, Priority
from monitor.edges.logreader import LogReader
from monitor.errors import RecordingError
from monitor.replay import Tally, is_run_log, replay_log, replay_text, summary
from monitor.service import begin
from monitor.terms import RunTerms
from tests.core.lines import BoardScript, line, tc_word
from tests.core.runs import BENCH, BURNER, DRIP, SMALL, ppm_sum, told
from tests.scripted import SPEED, ScriptedPort, terms, watch

pytestmark = pytest.mark.live


def eventful(board: BoardScript, n: int) -> bytes | None:
    """A minute in which the board drips, warms up, sees gas, talks rubbish, restarts and falls silent for a while."""
    if n > 600:
        return None
    board.tc = tc_word(20.0 + 0.6 * n)
    board.gas_sum = ppm_sum(2.6) if 200 < n < 240 else ppm_sum(0.05) + n % 3
    if n > 60 and n % 8 == 0:
        board.drop()
    if n == 400:
        board.restart()
    sample = board.sample()
    if 300 < n <= 345:
        return b""
    return sample[:20] + b"\xfe\n" if n % 50 == 0 else sample


ASKS: list[tuple[int, str, dict[str, object]]] = [
    (20, "permit", {"on": True}),
    (150, "note", {"text": "tap opened"}),
    (230, "acknowledge", {"tag": "*"}),
    (300, "shelve", {"tag": "DRIP-FAST", "minutes": 1, "reason": "a test"}),
    (450, "permit", {"on": True}),
    (500, "explode", {}),
]


def same(path: Path, live: Bench, events: list[Event]) -> None:
    """A log's replay is the live run to the last digit: its figures, its alarms, every event."""
    bench, _, run, _ = terms()
    replayed, tally = replay_log(path, bench, run)
    tally_live = Tally()
    tally_live.add(events)
    assert summary(replayed, tally) == summary(live, tally_live)
    assert replayed.overview() == live.overview()
    assert replayed.counts == live.counts
    again = Bench(bench, run, LogReader(path).header().start)
    got: list[Event] = []
    for at, data in LogReader(path).inputs():
        got += again.receive(data, at) if isinstance(data, bytes) else again.command(data, at)
    got += again.tick(live.now)
    assert list(told(got)) == list(told(events))


def test_a_run_is_replayed_to_the_last_digit(tmp_path: Path) -> None:
    """A live run, asked things as it goes, and taken up again twice: its log replays to every event of it.

    The second time it is taken up from what a crash leaves: the files as they lie in mid-run.
    """
    log = tmp_path / "run.so2log"
    board = BoardScript()
    first = begin(log, *terms(), speed=SPEED)
    events = watch(first, ScriptedPort(board, eventful), ASKS)
    same(log, first.bench, events)
    assert {e.tag for e in events if isinstance(e, AlarmChanged)} >= {"GAS-HIGH", "LINK-LOST", "BOARD-RESTARTED"}
    assert first.bench.drops > 30

    second = begin(log, *terms(), speed=SPEED)
    assert second.taken_up
    assert second.bench.overview() == first.bench.overview()
    board.drop(7)  # while nobody watched
    drops = second.bench.drops
    events += watch(second, ScriptedPort(board, eventful), [(100, "note", {"text": "again"})])
    assert second.bench.drops >= drops + 7
    same(log, second.bench, events)


def test_a_crashed_run_is_taken_up(tmp_path: Path) -> None:
    """What a crash leaves is taken up: the account goes on from where the record ends, and replays to the same."""
    log, crashed = tmp_path / "run.so2log", tmp_path / "crashed.so2log"
    board = BoardScript()
    run = begin(log, *terms(), speed=SPEED)

    def script(board: BoardScript, n: int) -> bytes | None:
        if n == 500:
            time.sleep(1.0)  # the promise: what was given a second ago is on the disk
            for suffix in ("", "-wal"):
                shutil.copyfile(log.with_name(log.name + suffix), crashed.with_name(crashed.name + suffix))
            crashed_drops.append(run.bench.drops)
        return eventful(board, n) if n <= 500 else None

    crashed_drops: list[int] = []
    watch(run, ScriptedPort(board, script), ASKS[:2])
    again = begin(crashed, *terms(), speed=SPEED)
    assert again.taken_up
    assert again.bench.drops == crashed_drops[0]
    watch(again, ScriptedPort(board, eventful), [])
    bench, _, terms_, _ = terms()
    replayed, _ = replay_log(crashed, bench, terms_)
    assert replayed.overview() == again.bench.overview()


def test_progress_is_told(tmp_path: Path) -> None:
    """Replaying says how far it has got, from nothing to all."""
    log = tmp_path / "run.so2log"
    run = begin(log, *terms(), speed=SPEED)
    watch(run, ScriptedPort(BoardScript(), lambda board, n: board.sample() if n < 50 else None), [])
    bench, _, terms_, _ = terms()
    heard: list[float] = []
    replay_log(log, bench, terms_, heard.append)
    assert heard[0] == 0.0
    assert heard[-1] == 1.0


# --- text recordings ------------------------------------------------------------------------------------------


def recording(path: Path, *lines: bytes) -> Path:
    path.write_bytes(b"".join(lines))
    return path


def steady(seconds: float, board: BoardScript | None = None, start_s: float = 0.0) -> list[bytes]:
    """A quiet recording."""
    board = board or BoardScript()
    return [b"%.1f " % (start_s + 0.1 * n) + board.sample() for n in range(round(seconds * 10))]


def replayed(path: Path, run: RunTerms = BURNER) -> dict[str, Any]:
    live, tally, _ = replay_text(path, BENCH, run)
    got: dict[str, Any] = json.loads(json.dumps(summary(live, tally), allow_nan=False))
    return got


def test_the_summary_has_the_keys_that_were_promised(tmp_path: Path) -> None:
    """`replay --json` has at least the promised keys, and is JSON without a NaN."""
    board = BoardScript()
    lines = steady(5.0, board)
    board.drop()
    board.gas_sum = ppm_sum(3.0)
    lines += steady(5.0, board, 5.0)
    got = replayed(recording(tmp_path / "r.txt", *lines, b"9.95 rubbish\n"), SMALL)
    assert {"frames", "restarts", "drops", "account", "exposure", "plate", "gas", "alarms"} <= set(got)
    assert got["frames"]["accepted"] == 100
    assert got["frames"]["rejected"] == {"no_crc": 1}
    assert (got["restarts"], got["drops"]) == (0, 1)
    assert {"generated_mol", "held_mol", "delivered_mol", "locked_mol"} <= set(got["account"])
    assert {"stel_max_ppm", "twa_ppm", "unknown_s"} <= set(got["exposure"])
    assert {"last_c", "max_c"} <= set(got["plate"])
    assert {"last_ppm", "max_ppm"} <= set(got["gas"])
    (alarm,) = (a for a in got["alarms"] if a["tag"] == "GAS-HIGH")
    assert {"tag", "priority", "raised_s", "returned_s", "acknowledged_s"} <= set(alarm)
    assert alarm["priority"] == "high"
    assert alarm["raised_s"] == pytest.approx(5.2)
    assert (alarm["returned_s"], alarm["acknowledged_s"]) == (None, None)


def test_times_count_from_the_first_line(tmp_path: Path) -> None:
    """A recording that begins at noon is told in seconds from its first line, also a line that is no frame."""
    board = BoardScript()
    lines = [b"43200.0 no frame\n", *steady(3.0, board, 43200.1)]
    board.gas_sum = ppm_sum(6.0)
    lines += steady(1.0, board, 43203.1)
    got = replayed(recording(tmp_path / "r.txt", *lines))
    raised_s = {a["tag"]: a["raised_s"] for a in got["alarms"]}
    assert (raised_s["GAS-HIGH"], raised_s["GAS-HIGH-HIGH"]) == pytest.approx((3.3, 3.3))
    assert got["duration_s"] == pytest.approx(4.0)


def test_alarms_are_in_the_order_raised_with_their_returns(tmp_path: Path) -> None:
    """Alarms stand in the order raised, each occurrence by itself; one that returned says when, one standing null."""
    board = BoardScript()
    lines: list[bytes] = []
    for n, ppm in enumerate((0.1, 2.5, 0.1, 2.5, 0.1, 6.0)):
        board.gas_sum = ppm_sum(ppm)
        lines += steady(80.0, board, 80.0 * n)
    got = replayed(recording(tmp_path / "r.txt", *lines))
    high = [a for a in got["alarms"] if a["tag"] == "GAS-HIGH"]
    assert [round(a["raised_s"]) for a in high] == [80, 240, 400]
    assert [a["returned_s"] and round(a["returned_s"]) for a in high] == [220, 380, None]
    raised = [a["raised_s"] for a in got["alarms"]]
    assert raised == sorted(raised)


def test_a_recording_knows_no_phases_but_its_first_drop(tmp_path: Path) -> None:
    """Before its first drop a recording is getting ready, from it on generating: a stall is told, no drop unasked."""
    board = BoardScript()
    lines = steady(100.0, board)
    board.drop()
    lines += steady(100.0, board, 100.0)
    got = replayed(recording(tmp_path / "r.txt", *lines), DRIP)
    assert [a["tag"] for a in got["alarms"]] == ["DRIP-STALLED"]
    assert got["alarms"][0]["raised_s"] == pytest.approx(160.0, abs=0.6)


def test_a_lost_line_in_a_recording(tmp_path: Path) -> None:
    """A hole of ten seconds in a recording is a lost line three seconds into it."""
    board = BoardScript()
    lines = steady(10.0, board)
    for _ in range(100):
        board.sample()
    lines += steady(10.0, board, 20.0)
    got = replayed(recording(tmp_path / "r.txt", *lines))
    first = got["alarms"][0]
    assert (first["tag"], first["returned_s"] is not None) == ("LINK-LOST", True)
    assert first["raised_s"] == pytest.approx(13.0, abs=0.6)
    assert got["frames"]["lost"] == 100


def test_rubbish_stops_nothing(tmp_path: Path) -> None:
    """Lines without a time are skipped and counted, frames spoiled are counted by cause, and the rest is taken."""
    board = BoardScript()
    lines = steady(5.0, board)
    lines[10:10] = [
        b"# a remark\n",
        b"\n",
        b"   \n",
        b"noon S,7,1\n",
        b"nan " + board.sample(),
        b"1e400 " + board.sample(),
        b"inf x\n",
        b"\xff\xfe\x00\n",
        b"x" * 10_000 + b"\n",
        b"1.0 S,7,1*0000\n",
        b"1.0 X,1*D960\n",
        b"1.0\n",
        b"1.0 " + b"S" * 300 + b"\n",
    ]
    live, tally, skipped = replay_text(recording(tmp_path / "r.txt", *lines), BENCH, BURNER)
    assert live.counts.accepted == 50
    assert live.counts.rejected == {"wrong_crc": 2, "no_crc": 1, "too_long": 1}
    # The line of 10,000 signs is looked at in pieces of 4096, so it counts as three.
    assert (skipped.lines, skipped.first) == (8, 14)
    assert tally.occurrences == []


def test_carriage_returns_are_taken(tmp_path: Path) -> None:
    """A recording with the line ends of another system is the same recording."""
    lines = [text.replace(b"\n", b"\r\n") for text in steady(5.0)]
    assert replayed(recording(tmp_path / "r.txt", *lines))["frames"]["accepted"] == 50


def test_a_line_cut_off_at_the_end(tmp_path: Path) -> None:
    """A last line that was cut off is a spoiled frame and no more."""
    lines = steady(5.0)
    got = replayed(recording(tmp_path / "r.txt", *lines[:-1], lines[-1][:20]))
    assert got["frames"] == {"accepted": 49, "rejected": {"no_crc": 1}, "lost": 0}


def test_time_that_goes_back_stands_still(tmp_path: Path) -> None:
    """A line whose time lies before one already seen counts as at that one; no drop is lost by it."""
    board = BoardScript()
    lines = steady(5.0, board)
    board.drop(2)
    lines += [b"1.0 " + board.sample(), b"5.0 " + board.sample()]
    got = replayed(recording(tmp_path / "r.txt", *lines))
    assert (got["drops"], got["frames"]["accepted"]) == (2, 52)
    assert got["duration_s"] == pytest.approx(5.0)


def test_a_wild_time_is_no_time(tmp_path: Path) -> None:
    """A time days ahead of its neighbours is skipped like one that is none, and the replay does not wait for it."""
    board = BoardScript()
    lines = steady(5.0, board)
    lines[20] = b"7" + b"0" * 9 + lines[20]
    begun_s = time.monotonic()
    live, _, skipped = replay_text(recording(tmp_path / "r.txt", *lines), BENCH, BURNER)
    assert time.monotonic() - begun_s < 10.0
    assert (skipped.lines, skipped.first) == (1, 21)
    assert live.now.mono_s == pytest.approx(4.9)
    assert live.counts.accepted == 49


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"", "an empty file"), (b"\n\n# nothing\n", "an empty file"), (b"dear diary\n" * 3, "3 lines without a time")],
)
def test_a_file_that_is_no_recording(tmp_path: Path, content: bytes, words: str) -> None:
    """A file without a single line of the form is refused, with what was found and what is wanted."""
    path = recording(tmp_path / "r.txt", content)
    with pytest.raises(RecordingError) as refused:
        replay_text(path, BENCH, BURNER)
    assert str(refused.value).startswith(f"{path}: found {words}, wanted a run log or text lines")


def test_a_recording_that_cannot_be_read(tmp_path: Path) -> None:
    """A file that is not there, or a folder, is refused in a sentence; a log is known by its first bytes."""
    for path, words in ((tmp_path / "none", "cannot be read"), (tmp_path, "found a folder")):
        with pytest.raises(RecordingError, match=words):
            is_run_log(path)
        with pytest.raises(RecordingError, match="cannot be read"):
            replay_text(path, BENCH, BURNER)
    assert not is_run_log(recording(tmp_path / "r.txt", b"0.0 S\n"))
    assert is_run_log(recording(tmp_path / "r.db", b"SQLite format 3\x00 and more"))


def test_two_boards_in_one_recording(tmp_path: Path) -> None:
    """Drops of a board and of its next start are added, and its hello frames are no samples."""
    board = BoardScript()
    lines = steady(5.0, board)
    board.drop(3)
    lines += steady(5.0, board, 5.0)
    board.restart()
    lines.append(b"10.0 " + line("B,8,1,1,08,100,20"))
    board.drop(4)
    lines += steady(5.0, board, 10.0)
    got = replayed(recording(tmp_path / "r.txt", *lines))
    assert (got["restarts"], got["drops"], got["frames"]["accepted"]) == (1, 7, 150)


# --- the tally ------------------------------------------------------------------------------------------------


def changed(t_s: float, before: AlarmState, after: AlarmState, cause: str, who: str = "") -> AlarmChanged:
    return AlarmChanged(t_s, t_s, "DRIP-FAST", Priority.MEDIUM, before, after, cause, who, "")


def test_the_tally_says_who_acknowledged_and_when() -> None:
    """An occurrence keeps its first acknowledgement, also one after the return."""
    s = AlarmState
    tally = Tally()
    tally.add(
        [
            changed(1.0, s.NORMAL, s.UNACKNOWLEDGED, "condition true"),
            changed(2.0, s.UNACKNOWLEDGED, s.ACKNOWLEDGED, "acknowledged", "Ada"),
            changed(3.0, s.ACKNOWLEDGED, s.NORMAL, "condition false"),
            changed(4.0, s.NORMAL, s.UNACKNOWLEDGED, "condition true"),
            changed(5.0, s.UNACKNOWLEDGED, s.RETURNED_UNACKNOWLEDGED, "condition false"),
            changed(6.0, s.RETURNED_UNACKNOWLEDGED, s.NORMAL, "acknowledged", "Bo"),
        ]
    )
    assert [(o.raised_s, o.returned_s, o.acknowledged_s, o.acknowledged_by) for o in tally.occurrences] == [
        (1.0, 3.0, 2.0, "Ada"),
        (4.0, 5.0, 6.0, "Bo"),
    ]


def test_an_alarm_set_aside_no_longer_stands() -> None:
    """An occurrence ends when the alarm is set aside, by a phase or on a shelf: it is not standing at the end."""
    s = AlarmState
    tally = Tally()
    tally.add(
        [
            changed(1.0, s.NORMAL, s.UNACKNOWLEDGED, "condition true"),
            changed(2.0, s.UNACKNOWLEDGED, s.SHELVED, "shelved", "Ada"),
            changed(9.0, s.SHELVED, s.UNACKNOWLEDGED, "unshelved"),
        ]
    )
    assert [(o.raised_s, o.returned_s) for o in tally.occurrences] == [(1.0, 2.0), (9.0, None)]


def test_extremes_come_from_believed_readings(tmp_path: Path) -> None:
    """The greatest gas and plate are of valid readings; the last is null when the last sample has none."""
    board = BoardScript()
    board.gas_sum, board.tc = ppm_sum(1.5), tc_word(100.0)
    lines = steady(1.0, board)
    board.gas_sum, board.tc = 65472, 0
    lines += steady(1.0, board, 1.0)
    got = replayed(recording(tmp_path / "r.txt", *lines))
    assert got["gas"]["max_ppm"] == pytest.approx(1.5, abs=0.005)
    assert got["plate"]["max_c"] == pytest.approx(100.0, abs=0.3)
    assert (got["gas"]["last_ppm"], got["plate"]["last_c"]) == (None, None)
