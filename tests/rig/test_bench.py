"""The simulated bench as a whole: it repeats, it obeys the permit, and each fault does what its row says."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.rig.bench import SimulatedBench
from monitor.rig.faults import FAULTS
from monitor.rig.reality import Reality
from monitor.rig.timeline import parse_action, parse_timeline
from tests.rig.lines import Sample, bodies, command, samples
from tests.rig.terms import BENCH, burner_run, drip_run

STORY = """
  0   plate 60
  2   tap 80
 10   leak-share 5
 20   fault line-noise 0.01
 30   mend line-noise
 40   leak 100
"""


def told(bench: SimulatedBench, seconds: float, permit: bool = True) -> bytes:
    """Run on with a keep-alive twice a second."""
    out = b""
    for n in range(round(seconds * 2)):
        bench.write(command(f"K,{n},{int(permit)},0"))
        out += bench.step(0.5)
    return out


def warm(seconds: float = 60.0, **reality: float) -> SimulatedBench:
    """A bench that drips 60 a minute over a plate at 60 °C, run for a while."""
    bench = SimulatedBench(BENCH, drip_run(), seed=5, reality=Reality(**reality))  # type: ignore[arg-type]
    bench.do("tap 60")
    bench.do("plate 60")
    told(bench, seconds)
    return bench


def after(fault: str, seconds: float = 10.0) -> tuple[list[Sample], list[Sample]]:
    """The samples of ten seconds before a fault, and those after it has started."""
    bench = warm()
    before = samples(told(bench, 10.0))
    bench.do(f"fault {fault}")
    return before, samples(told(bench, seconds))


def test_a_run_repeats_exactly() -> None:
    """The same settings, seed and story give the same bytes; another seed gives others."""
    runs = [
        told(SimulatedBench(BENCH, drip_run(), seed, parse_timeline(STORY)), 60.0, permit=True) for seed in (1, 1, 2)
    ]
    assert runs[0] == runs[1]
    assert runs[0] != runs[2]


@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(0.001, 3.0), min_size=1, max_size=15))
def test_it_does_not_matter_how_time_is_cut(steps: list[float]) -> None:
    """Whole or in any pieces, the same time gives the same bytes."""
    whole = SimulatedBench(BENCH, drip_run(), 4, parse_timeline(STORY)).step(sum(steps))
    bench = SimulatedBench(BENCH, drip_run(), 4, parse_timeline(STORY))
    pieces = b"".join(bench.step(step) for step in steps)
    pieces += bench.step(1e-7)  # a sum of many steps may end a rounding short of the last tick
    short = SimulatedBench(BENCH, drip_run(), 4, parse_timeline(STORY)).step(sum(steps) + 1e-7)
    assert pieces in (whole, short)


def test_nothing_heats_or_drips_without_the_permit() -> None:
    """A bench that no host asks for the permit stays cold and dry."""
    bench = SimulatedBench(BENCH, drip_run(), 5, parse_timeline(STORY))
    told(bench, 120.0, permit=False)
    truth = bench.truth()
    assert truth.drops == 0
    assert truth.plate_c == pytest.approx(22.0)


def test_a_host_that_falls_silent_stops_the_bench() -> None:
    """3 s after the last keep-alive the relay opens: heat and drip end within a tick and the relay's delay."""
    bench = warm()
    bench.step(3.1)
    drops = bench.truth().drops
    assert not bench.contact
    bench.step(60.0)
    assert bench.truth().drops == drops


def test_drops_on_the_line_are_the_drops_that_fell() -> None:
    """With no fault the count is exact, and each drop is dated within a millisecond of its fall."""
    bench = warm()
    last = samples(told(bench, 120.0))[-1]
    assert last.drops == bench.truth().drops
    assert last.rejects <= last.drops * 0.05
    assert 0 <= last.ms - last.drop_ms < 2000


def test_the_contact_follows_the_command_within_a_sample() -> None:
    """The relay's contact closes and opens within 100 ms of the permit, so no sample after that disagrees."""
    bench = warm(5.0)
    for s in samples(told(bench, 10.0)):
        assert bool(s.io & 1) == bool(s.io & 2)


def test_a_cable_pulled_out_loses_the_frames_and_not_the_drops() -> None:
    """Without a cable nothing arrives; after it the count goes on, the drops of the keep-alive's last 3 s with it."""
    bench = warm()
    before = samples(told(bench, 1.0))[-1]
    bench.do("unplug")
    assert told(bench, 10.0) == b""
    bench.do("plug")
    later = samples(told(bench, 1.0))[0]
    assert later.boot == before.boot
    assert later.seq - before.seq == 101
    assert later.drops - before.drops in (2, 3, 4)


def test_board_actions_are_seen_on_the_line() -> None:
    """Reset, power, hang and swap each bring a B with its cause, and a boot number that tells them apart."""
    bench = warm(5.0)
    seen = []
    for action, wait_s in (("reset", 1.0), ("hang", 2.0), ("power-off", 1.0), ("power-on", 1.0), ("swap 300", 1.0)):
        bench.do(action)
        seen += [(action, *b.split(",")[1:5:3]) for b in bodies(told(bench, wait_s)) if b.startswith("B")]
    assert seen == [("reset", "2", "02"), ("hang", "3", "08"), ("power-on", "4", "01"), ("swap 300", "300", "01")]


def test_a_reset_starts_no_board_without_power() -> None:
    """A board whose supply is off stays silent when its button is pressed or its port opened, until power is back."""
    bench = SimulatedBench(BENCH, drip_run())
    bench.step(1.0)
    bench.do("power-off")
    bench.do("reset")
    assert bench.step(2.0) == b""
    bench.do("power-on")
    assert samples(bench.step(1.0))


@pytest.mark.parametrize(
    ("fault", "bits"), [("tc-open", 0x1_0001), ("tc-short-ground", 0x1_0002), ("tc-short-supply", 0x1_0004)]
)
def test_a_faulty_thermocouple_shows_in_its_bits_and_trips_the_board(fault: str, bits: int) -> None:
    """The converter's bits tell the fault; the cold junction lives on; the board trips after three samples."""
    before, later = after(fault)
    assert all(s.tc & 0x1_0007 == 0 for s in before)
    assert all(s.tc & 0xFFFF_0007 == bits for s in later[1:])
    assert all(s.tc & 0xFFF0 for s in later)
    assert later[-1].io & 0x10


@pytest.mark.parametrize(("fault", "word"), [("tc-silent", 0), ("tc-silent 1", 0xFFFF_FFFF)])
def test_a_silent_converter_is_one_of_two_words(fault: str, word: int) -> None:
    """A converter that does not answer reads all zeros or all ones."""
    assert {s.tc for s in after(fault)[1][1:]} == {word}


def test_a_frozen_converter_repeats_a_word_that_a_live_one_does_not() -> None:
    """Live, the word moves within ten seconds; frozen, it never does."""
    before, later = after("tc-frozen", 70.0)
    assert len({s.tc for s in before}) > 3
    assert len({s.tc for s in later}) == 1


def test_a_jump_is_faster_than_any_plate() -> None:
    """The reading rises by 120 °C from one sample to the next, and stays up."""
    before, later = after("tc-jump")
    rise_c = ((later[1].tc >> 18) - (before[-1].tc >> 18)) * 0.25
    assert rise_c == pytest.approx(120.0, abs=2.0)
    assert (later[-1].tc >> 18) * 0.25 > 150.0


def test_off_the_plate_the_reading_sinks_while_the_heater_heats() -> None:
    """The thermocouple in the air reads the room; the plate itself is where it was."""
    bench = warm(180.0)
    bench.do("fault tc-off-plate")
    last = samples(told(bench, 30.0))[-1]
    assert (last.tc >> 18) * 0.25 < 25.0
    assert bench.truth().plate_c > 55.0


@pytest.mark.parametrize(
    ("fault", "sums"), [("gas-over", {65472}), ("gas-under", {0}), ("gas-railed", {65280}), ("gas-railed 0", {65472})]
)
def test_a_gas_channel_at_an_end_has_no_spread(fault: str, sums: set[int]) -> None:
    """Over range, under range or at the amplifier's rail the sum stands still and the span is 0."""
    later = after(fault)[1][1:]
    assert {s.gas_sum for s in later} == sums
    assert {s.gas_span for s in later} == {0}


def test_a_frozen_gas_channel_repeats_itself() -> None:
    """Live, neighbours differ and spread; frozen, the last sum stays and the span is 0."""
    before, later = after("gas-frozen")
    assert len({s.gas_sum for s in before}) > 20
    assert min(s.gas_span for s in before) > 0
    assert len({(s.gas_sum, s.gas_span) for s in later[1:]}) == 1
    assert later[-1].gas_span == 0


def test_quiet_noise_is_a_tenth_of_the_variance() -> None:
    """With 0.3 of the noise left, the variance of 300 samples falls to about 0.09 of what it was.

    A dither of 0.3 counts no longer smooths the converter's steps: they pass up to 1.34 times the slope, 1.8 times
    the variance.
    """
    bench = warm()
    before = np.var([s.gas_sum for s in samples(told(bench, 30.0))])
    bench.do("fault gas-quiet")
    assert np.var([s.gas_sum for s in samples(told(bench, 30.0))]) == pytest.approx(0.12 * before, rel=0.5)


@pytest.mark.parametrize(("fault", "ppm"), [("gas-drift 60", 1.0), ("gas-interference -1.5", -1.5)])
def test_zero_faults_move_the_zero_by_what_they_say(fault: str, ppm: float) -> None:
    """60 ppm an hour is 1 ppm after a minute; an interference stands at once. The true air is clean."""
    bench = warm(5.0)
    bench.do(f"fault {fault}")
    told(bench, 55.0)
    shown = np.mean([s.gas_sum for s in samples(told(bench, 10.0))])
    assert (shown - 8410.0) * 0.00412 == pytest.approx(ppm, abs=0.1)
    assert bench.truth().room_ppm == 0.0


def test_a_blocked_gate_counts_nothing_and_says_so() -> None:
    """Drops fall unseen, and bit 6 stands from 2 s on."""
    bench = warm()
    bench.do("fault gate-blocked")
    true = bench.truth().drops
    seen = samples(told(bench, 10.0))
    assert bench.truth().drops - true >= 9
    assert seen[-1].drops - seen[0].drops <= 1
    assert [bool(s.io & 0x40) for s in seen].index(True) in (20, 21, 22)


@pytest.mark.parametrize(("fault", "low", "high"), [("gate-double 0.5", 1.35, 1.65), ("gate-missed 0.3", 0.6, 0.8)])
def test_a_miscounting_gate_miscounts_by_its_share(fault: str, low: float, high: float) -> None:
    """Half of the drops counted twice, or three in ten missed, within the scatter of 300 drops."""
    bench = warm()
    bench.do(f"fault {fault}")
    counted, true = bench.board.drops, bench.truth().drops
    told(bench, 300.0)
    assert low < (bench.board.drops - counted) / (bench.truth().drops - true) < high


def test_lost_frames_are_gaps_and_nothing_else() -> None:
    """A fifth of the frames does not arrive; what arrives is whole, and the drops in the end are right."""
    bench = warm()
    bench.do("fault line-lost 0.2")
    seen = samples(told(bench, 100.0))
    assert len(seen) == pytest.approx(800, rel=0.08)
    bench.do("mend line-lost")
    assert samples(told(bench, 1.0))[-1].drops == bench.truth().drops


def test_line_noise_spoils_about_its_share_of_bytes() -> None:
    """At 0.002 a byte, about a tenth of lines of 55 bytes are spoilt."""
    bench = warm()
    bench.do("fault line-noise 0.002")
    noisy = told(bench, 100.0)
    bench = warm()
    clean = told(bench, 100.0)
    assert len(noisy) == pytest.approx(len(clean), rel=0.01)
    spoilt = set(clean.split(b"\n")) - set(noisy.split(b"\n"))
    assert 0.05 < len(spoilt) / 1000.0 < 0.2


def test_a_stuck_and_a_welded_relay_disobey() -> None:
    """Stuck open, the contact stays off under the command; welded, it stays on without."""
    _, stuck = after("relay-stuck")
    assert stuck[-1].io & 0x03 == 0x01
    bench = warm()
    bench.do("fault relay-welded")
    assert samples(told(bench, 5.0, permit=False))[-1].io & 0x03 == 0x02


def test_a_leaking_valve_drips_without_the_permit() -> None:
    """The drip goes on though the permit is off, which is a fault of the valve and not of the board."""
    bench = warm()
    bench.do("fault valve-leaks")
    drops = bench.truth().drops
    told(bench, 30.0, permit=False)
    assert bench.truth().drops - drops >= 28


@pytest.mark.parametrize("fault", FAULTS)
def test_a_mended_fault_is_gone(fault: str) -> None:
    """After mending, the bench sends what a healthy one sends: whole frames, a live converter and gas channel."""
    bench = warm()
    bench.do(f"fault {fault}")
    told(bench, 3.0)
    bench.do(f"mend {fault}")
    told(bench, 30.0)
    assert not bench.faults.standing
    last = samples(told(bench, 10.0))
    assert len(last) == 100
    assert all(s.tc & 0x1_0007 == 0 and not s.io & 0x40 for s in last)
    assert len({s.gas_sum for s in last}) > 20
    assert all(s.gas_span > 0 for s in last)


@pytest.mark.parametrize(
    "text", ["tap 60", "leak 0", "swap", "swap 7", "fault tc-jump", "fault tc-jump 90", "mend gas-over"]
)
def test_actions_are_words_and_numbers(text: str) -> None:
    """These are actions as a person types them."""
    assert parse_action(text).word == text.split()[0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "wanted one of tap"),
        ("tapp 60", "'tapp 60'"),
        ("tap", "one number, drops a minute"),
        ("tap sixty", "one number, drops a minute"),
        ("tap 60 70", "one number, drops a minute"),
        ("plug 1", "nothing after 'plug'"),
        ("fault", "one of tc-open"),
        ("fault tc-opne", "one of tc-open"),
        ("mend tc-open 3", "nothing after 'mend tc-open'"),
    ],
)
def test_a_bad_action_gets_one_clear_sentence(text: str, said: str) -> None:
    """What was found and what is wanted."""
    with pytest.raises(ValueError, match="found") as caught:
        parse_action(text)
    assert said in str(caught.value)


def test_a_timeline_names_its_bad_line() -> None:
    """The line of the mistake is told, and times must not go back."""
    with pytest.raises(ValueError, match="line 2 of the timeline: found the action"):
        parse_timeline("0 tap 60\n5 trap 60")
    with pytest.raises(ValueError, match="line 3 of the timeline: found 4 s after 5 s"):
        parse_timeline("0 tap 60\n5 tap 0  # shut\n4 tap 60")


def test_an_action_for_another_route_is_refused() -> None:
    """A burner has no tap, a flask is not lit."""
    with pytest.raises(ValueError, match="this run's route has nothing for it"):
        SimulatedBench(BENCH, burner_run()).do("tap 60")
    with pytest.raises(ValueError, match="this run's route has nothing for it"):
        SimulatedBench(BENCH, drip_run()).do("light")


def test_a_repeating_story_repeats() -> None:
    """What stands after `repeat_from_s` comes again each period, for ever."""
    story = parse_timeline("0 plate 60\n 10 leak 60\n 12 leak 0", repeat_from_s=10.0, repeat_s=20.0)
    bench = SimulatedBench(BENCH, drip_run(), 1, story)
    leaking = []
    for second in range(80):
        bench.step(1.0)
        if bench.plant.leak_mg_per_min:
            leaking.append(second + 1)
    assert leaking == [10, 11, 30, 31, 50, 51, 70, 71]


def test_cap_and_bath_are_for_calibration_and_leave_nothing_behind() -> None:
    """The cap gives the sensor its gas, a bath the junction its heat; off and out, they have the bench's again."""
    bench = warm(60.0)
    bench.do("cap 10")
    bench.do("dip 0")
    told(bench, 120.0)
    assert bench.truth().sensor_ppm == pytest.approx(10.0, abs=0.01)
    assert bench.truth().room_ppm == 0.0
    assert bench.plant.plate.junction_c == pytest.approx(0.0, abs=0.01)
    bench.do("cap-off")
    bench.do("dip-out")
    told(bench, 120.0)
    assert bench.truth().sensor_ppm == pytest.approx(0.0, abs=0.01)
    assert bench.plant.plate.junction_c == pytest.approx(bench.truth().plate_c, abs=1.0)
