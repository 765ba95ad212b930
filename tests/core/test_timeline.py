"""Run time and drop counts, against a plain model of a board that is honest about what it counted.

The model keeps a list of drops with their true times. What the timeline may say follows from the protocol's words:
within one boot the count only grows; a smaller one without a new boot number is not believed; with a new boot number
every drop of the new count is new; the first sample of a run sets the zero.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.frames import SampleFrame
from monitor.core.timeline import BELIEVE_AFTER, LATEST_S, Place, Timeline

WRAP = 1 << 32


def sample(boot: int, seq: int, ms: int, drops: int) -> SampleFrame:
    return SampleFrame(boot, seq, ms % WRAP, drops, 0, 0, 0x01601600, 8410, 5, 8)


@dataclass
class Story:
    """What happened to a bench, one event after another, and the frames and arrivals that came of it."""

    boot: int
    ms_at_start: int
    clock: float  # board seconds a true second
    true_s: float = 0.0
    seq: int = 0
    drops: int = 0
    arrivals: list[tuple[SampleFrame, float, float]] = field(default_factory=list)  # frame, true time, arrival
    held_back: list[tuple[SampleFrame, float]] = field(default_factory=list)

    def frame(self) -> SampleFrame:
        return sample(self.boot, self.seq, self.ms_at_start + self.seq * 100, self.drops)

    def tick(self, *, fell: int, lost: bool, held: bool) -> None:
        """One sample interval of the board; its frame arrives, waits in a buffer, or is lost."""
        self.true_s += 0.1 / self.clock
        self.seq += 1
        self.drops += fell
        if lost:
            return
        self.held_back.append((self.frame(), self.true_s))
        if not held:
            self.deliver()

    def deliver(self) -> None:
        """All that waits in a buffer arrives at once."""
        self.arrivals += [(f, true_s, self.true_s) for f, true_s in self.held_back]
        self.held_back.clear()

    def restart(self) -> None:
        """A new boot number; the board's counters begin anew. Drops since the last frame are gone with it."""
        self.deliver()
        self.boot = (self.boot + 1) % 65536
        self.ms_at_start = 0
        self.seq = self.drops = 0
        self.true_s += 0.4


def expected_drops(frames: list[SampleFrame]) -> list[int]:
    """New drops for each frame, by the protocol's words; frames of an honest board only (no glitch, no exchange)."""
    out = [0] * min(1, len(frames))
    for before, now in pairwise(frames):
        out.append(now.drops - before.drops if now.boot == before.boot else now.drops)
    return out


_STEP = st.tuples(
    st.integers(0, 3),  # drops that fall
    st.sampled_from(["come", "come", "come", "lose", "hold"]),
    st.sampled_from(["go on"] * 30 + ["restart"]),
)
_STORY = st.builds(
    Story,
    boot=st.sampled_from([0, 7, 65535]),
    ms_at_start=st.sampled_from([0, 5000, WRAP - 500, WRAP - 3050]),
    clock=st.floats(0.995, 1.005),
)


@given(_STORY, st.lists(_STEP, min_size=2, max_size=150))
def test_no_drop_is_lost_or_doubled(story: Story, steps: list[tuple[int, str, str]]) -> None:
    """Over loss, buffers, wraps and restarts, every drop that a frame tells of is counted once."""
    for fell, fate, then in steps:
        story.tick(fell=fell, lost=fate == "lose", held=fate == "hold")
        if then == "restart":
            story.restart()
    story.deliver()
    timeline = Timeline()
    places = [timeline.place(f, arrival) for f, _, arrival in story.arrivals]
    assert [p.new_drops for p in places] == expected_drops([f for f, _, _ in story.arrivals])


@given(_STORY, st.lists(_STEP, min_size=2, max_size=150))
def test_run_time_is_monotone_and_within_bounds(story: Story, steps: list[tuple[int, str, str]]) -> None:
    """Run time never goes back, is never after the arrival, and never more than the stated bound before it."""
    for fell, fate, then in steps:
        story.tick(fell=fell, lost=fate == "lose", held=fate == "hold")
        if then == "restart":
            story.restart()
    story.deliver()
    timeline = Timeline()
    before_s = 0.0
    for frame, _, arrival_s in story.arrivals:
        t_s = timeline.place(frame, arrival_s).t_s
        assert before_s <= t_s <= arrival_s
        assert t_s >= arrival_s - LATEST_S
        before_s = t_s


@given(_STORY, st.lists(_STEP, min_size=2, max_size=150))
def test_every_lost_sample_is_counted(story: Story, steps: list[tuple[int, str, str]]) -> None:
    """Samples missing between two of the same start are counted, neither more nor fewer."""
    for fell, fate, _ in steps:
        story.tick(fell=fell, lost=fate == "lose", held=fate == "hold")
    story.deliver()
    if not story.arrivals:
        return
    timeline = Timeline()
    lost = sum(timeline.place(f, arrival).lost for f, _, arrival in story.arrivals)
    first, last = story.arrivals[0][0], story.arrivals[-1][0]
    assert lost == last.seq - first.seq + 1 - len(story.arrivals)


@pytest.mark.parametrize("clock", [0.995, 1.0, 1.005])
@pytest.mark.parametrize("bunch", [1, 5, 20])
def test_bunched_arrivals_are_spread_again(clock: float, bunch: int) -> None:
    """With frames arriving in bunches of up to 2 s and a board clock off by 0.5 %, run time follows true time.

    The bound is the promised clock error over the gap between two prompt frames, plus the resonator's own half
    percent over it: 0.05 s, where arrival times alone err by up to 2 s.
    """
    story = Story(boot=7, ms_at_start=0, clock=clock)
    for n in range(6000):
        story.tick(fell=0, lost=False, held=n % bunch != bunch - 1)
    story.deliver()
    timeline = Timeline()
    worst_s = 0.0
    for frame, true_s, arrival_s in story.arrivals:
        t_s = timeline.place(frame, arrival_s).t_s
        if true_s > 10.0:
            worst_s = max(worst_s, abs(t_s - true_s))
    assert worst_s < 0.05


@given(st.integers(0, 200), st.integers(1, 5))
def test_a_glitch_is_not_believed(at: int, glitches: int) -> None:
    """Frames whose count goes back, fewer than two seconds of them, change no count and are called odd."""
    timeline = Timeline()
    total = 0
    for n in range(300):
        total += timeline.place(sample(7, n, n * 100, 50 + n), n * 0.1).new_drops
        if n == at:
            for _ in range(glitches):
                place = timeline.place(sample(7, n, n * 100, 3), n * 0.1)
                assert (place.new_drops, place.odd) == (0, "counter")
    assert total == 299


def test_rounding_puts_no_sample_after_its_arrival() -> None:
    """A prompt frame lies at its arrival or before it, to the last digit, wherever in a day the board started."""
    for start in range(1000):
        timeline = Timeline()
        for n in range(60):
            arrival_s = start * 86.437 + n * 0.1 * 0.995
            assert timeline.place(sample(7, n, n * 100, 0), arrival_s).t_s <= arrival_s


def _exchange(new_from: int, new_frames: int) -> list[Place]:
    timeline = Timeline()
    for n in range(100):
        timeline.place(sample(7, n, n * 100, 40), n * 0.1)
    return [timeline.place(sample(7, n, n * 100, new_from + n), 10.0 + n * 0.1) for n in range(new_frames)]


def test_an_exchanged_board_is_believed_after_two_seconds() -> None:
    """Another board under the same boot number sets its own zero; drops since its first frame are counted once."""
    places = _exchange(new_from=5, new_frames=60)
    assert [p.odd for p in places] == ["counter"] * (BELIEVE_AFTER - 1) + ["exchange"] + [None] * 40
    assert sum(p.new_drops for p in places) == 59
    assert BELIEVE_AFTER * 0.1 == 2.0


def test_an_exchange_among_losses_is_still_believed() -> None:
    """Another board whose frames arrive with gaps is believed too, and no drop of it since its first is lost."""
    timeline = Timeline()
    for n in range(100):
        timeline.place(sample(7, n, n * 100, 40), n * 0.1)
    got = [timeline.place(sample(7, n, n * 100, 5 + n), 10.0 + n * 0.1) for n in range(0, 60, 2)]
    assert [p.odd for p in got].count("exchange") == 1
    assert sum(p.new_drops for p in got) == 58


def test_a_stuck_board_is_never_believed() -> None:
    """The same frame over and over is no new board: nothing is counted from it."""
    timeline = Timeline()
    timeline.place(sample(7, 100, 10_000, 40), 0.0)
    for n in range(200):
        place = timeline.place(sample(7, 100, 10_000, 40), 0.1 * n)
        assert (place.new_drops, place.odd) == (0, "counter")


def test_a_restart_counts_every_drop_of_the_new_count() -> None:
    """With a new boot number every drop of the new count is new, and the first sample of a run sets the zero."""
    timeline = Timeline()
    assert timeline.place(sample(7, 900, 90_000, 123), 0.0) == Place(0.0, 0, 0, 0, "first")
    assert timeline.place(sample(7, 901, 90_100, 125), 0.1).new_drops == 2
    place = timeline.place(sample(8, 4, 400, 3), 0.9)
    assert (place.new_drops, place.odd) == (3, "restart")


def test_rejects_follow_their_board() -> None:
    """Rejected edges are counted over their wrap at 65536 and over a restart; a frame not believed brings none."""
    timeline = Timeline()
    got = [
        timeline.place(sample(7, n, n * 100, 9)._replace(rejects=rejects), n * 0.1).new_rejects
        for n, rejects in enumerate((65530, 65534, 65534, 2))
    ]
    assert got == [0, 4, 0, 4]
    assert timeline.place(sample(7, 0, 0, 1)._replace(rejects=900), 0.4).new_rejects == 0
    assert timeline.place(sample(7, 9, 900, 9)._replace(rejects=3), 0.5).new_rejects == 1
    assert timeline.place(sample(8, 2, 200, 0)._replace(rejects=5), 0.6).new_rejects == 5


def test_milliseconds_wrap() -> None:
    """The board's milliseconds may wrap at 2^32 (49.7 days) without a word being lost or a moment going back."""
    timeline = Timeline()
    for n in range(100):
        place = timeline.place(sample(7, n, WRAP - 5000 + n * 100, n), n * 0.1)
        assert place.odd in (None, "first")
        assert place.t_s == pytest.approx(n * 0.1, abs=1e-6)


def test_a_board_clock_that_stands_still_is_not_followed() -> None:
    """A board whose milliseconds hardly move cannot hold the run's time back by more than the stated bound."""
    timeline = Timeline()
    for n in range(300):
        arrival_s = float(n)
        t_s = timeline.place(sample(7, n, n, n), arrival_s).t_s
        assert arrival_s - LATEST_S <= t_s <= arrival_s


def test_a_host_that_was_away_misses_no_drop() -> None:
    """After hours without a frame, the next one brings every drop that fell meanwhile."""
    timeline = Timeline()
    timeline.place(sample(7, 10, 1000, 4), 0.0)
    place = timeline.place(sample(7, 10 + 36_000, 1000 + 3_600_000, 4 + 3000), 3600.0)
    assert (place.new_drops, place.lost, place.odd) == (3000, 35_999, None)
    assert place.t_s == pytest.approx(3600.0)
