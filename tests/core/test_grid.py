"""What the bench says depends on what it was given, not on how often its caller called."""

from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st

from monitor.core.bench import Bench
from monitor.core.events import AlarmState, Event, Instant, Overview, Taken
from monitor.terms import RunTerms
from tests.core.lines import BoardScript, tc_word
from tests.core.runs import BENCH, BURNER, SMALL, UTC_ZERO_S, alarms, instant, ppm_sum, request, told
from tests.examples import examples


def _history(seed: int, seconds: int) -> list[tuple[float, bytes]]:
    """Lines with their arrivals: a board that drips, warms, sniffs gas, restarts, falls silent and talks rubbish."""
    rng = random.Random(seed)
    board = BoardScript()
    out: list[tuple[float, bytes]] = []
    arrival_s = 0.0
    silent_until_s = 0.0
    for n in range(seconds * 10):
        board.tc = tc_word(20.0 + 0.35 * n, 25.0, rng.choice([0] * 40 + [1]))
        board.gas_sum = ppm_sum(rng.uniform(0.0, 3.0)) if n % 300 < 60 else ppm_sum(0.1) + rng.randrange(3)
        if rng.random() < 0.15:
            board.drop()
        board.rejects += rng.random() < 0.05
        if rng.random() < 0.004:
            board.restart()
        if rng.random() < 0.005:
            silent_until_s = n * 0.1 + rng.uniform(0.5, 6.0)
        line = board.sample()
        arrival_s = max(arrival_s, n * 0.1 + rng.choice([0.001, 0.004, 0.02, 0.15]))
        if n * 0.1 < silent_until_s:
            continue
        if rng.random() < 0.02:
            line = line[: rng.randrange(len(line))] + rng.randbytes(3) + b"\n"
        out.append((arrival_s, line))
    return out


def _requests(bench: Bench, done: set[str], t_s: float) -> list[Event]:
    out: list[Event] = []
    for when_s, kind, args in (
        (5.0, "permit", {"on": True}),
        (33.0, "acknowledge", {"tag": "*"}),
        (40.0, "note", {"text": "a test"}),
        (60.0, "shelve", {"tag": "DRIP-FAST", "minutes": 0.2, "reason": "a test"}),
    ):
        if t_s >= when_s and kind not in done:
            done.add(kind)
            out += bench.command(request(kind, **args), instant(when_s))
    return out


@examples(15)
@given(
    st.integers(0, 5),
    st.lists(st.floats(0.0, 100.0), max_size=60),
    st.integers(1, 40),
    st.floats(-3.0, 3.0),
    st.sampled_from([BURNER, SMALL]),
)
def test_ticks_and_chunks_change_nothing(
    seed: int, ticks_s: list[float], cut: int, utc_off_s: float, terms: RunTerms
) -> None:
    """Any pattern of ticks, and any cutting of the same bytes at the same instants, gives the same events.

    The ticks' UTC may be off, as after a step of the computer's clock: a replay, which has no ticks, has to say
    the same. What was sent to the board is left out: a keep-alive that is late is not sent at all.
    """
    history = _history(seed, 100)
    plain, ticked = Bench(BENCH, terms, instant(0.0)), Bench(BENCH, terms, instant(0.0))
    expected: list[Event] = []
    got: list[Event] = []
    done_plain: set[str] = set()
    done_ticked: set[str] = set()
    waiting = sorted(ticks_s)
    for at_s, data in history:
        expected += _requests(plain, done_plain, at_s) + plain.receive(data, instant(at_s))
        while waiting and waiting[0] < at_s:
            tick_s = waiting.pop(0)
            got += _requests(ticked, done_ticked, tick_s)
            got += ticked.tick(Instant(tick_s, UTC_ZERO_S + tick_s + utc_off_s))
        got += _requests(ticked, done_ticked, at_s)
        for start in range(0, len(data), cut):
            got += ticked.receive(data[start : start + cut], instant(at_s))
    expected += plain.tick(instant(101.0))
    got += ticked.tick(instant(101.0))
    assert list(told(got)) == list(told(expected))
    assert any(c.after is AlarmState.UNACKNOWLEDGED for c in alarms(got))


def test_an_overview_every_second_wherever_a_run_begins() -> None:
    """There is an overview at every whole second, also for a run whose clock does not begin at one."""
    for start_s in (0.0, 0.3, 17.75):
        bench = Bench(BENCH, BURNER, instant(start_s))
        got = [e.t_s for e in bench.tick(instant(start_s + 10.0)) if isinstance(e, Overview)]
        assert got == [float(s) for s in range(int(start_s) + 1, int(start_s + 10.0) + 1)]


def test_time_does_not_go_back() -> None:
    """An instant before one already seen counts as that one."""
    bench = Bench(BENCH, BURNER, instant(0.0))
    bench.tick(instant(10.0))
    got = bench.receive(BoardScript().sample(), instant(4.0))
    assert all(e.t_s >= 0.0 for e in got if isinstance(e, Overview))
    assert bench.now.mono_s == 10.0
    assert [e.at.mono_s for e in got if isinstance(e, Taken)] == [10.0]
