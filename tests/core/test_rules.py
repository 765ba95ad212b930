"""Every condition of the rules, raised and gone at its moment, by crafted frames. Times are the alarm table's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from monitor.core.dropaccount import DropAccount
from monitor.core.events import AlarmState
from monitor.terms import ReceiverTerms, RunTerms
from tests.core.lines import DARK, GAS, OVERHEAT, BoardScript, tc_word
from tests.core.runs import BENCH, DRIP, LIMITS, SMALL, Run, alarms, instant, ppm_sum, raised, returned, warm
from tests.core.test_weighings import BUBBLES

Setting = Callable[[BoardScript], None]


def gas(ppm: float) -> Setting:
    def do(board: BoardScript) -> None:
        board.gas_sum = ppm_sum(ppm) if ppm >= 0.0 else 8410

    return do


def plate(reported_c: float) -> Setting:
    def do(board: BoardScript) -> None:
        board.tc = tc_word(reported_c)

    return do


def tags(run: Run) -> list[str]:
    return [tag for tag, _ in raised(run.events)]


def when(run: Run, tag: str) -> float:
    """When a tag was raised; fails unless it was, once."""
    (t_s,) = (t for name, t in raised(run.events) if name == tag)
    return t_s


# --- limits on readings ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("tag", "limit_ppm"), [("GAS-HIGH", 2.0), ("GAS-HIGH-HIGH", 5.0)])
def test_gas_limits(tag: str, limit_ppm: float) -> None:
    """A gas limit is raised at the third sample in a row at or over it; two and one under raise nothing."""
    run = Run()
    run.samples(1.0, gas(0.1))
    for _ in range(5):
        run.samples(0.2, gas(limit_ppm))
        run.sample_with(gas(limit_ppm - 0.01))
    assert tag not in tags(run)
    start_s = run.t_s
    run.samples(2.0, gas(limit_ppm))
    assert when(run, tag) == pytest.approx(start_s + 0.3)


@pytest.mark.parametrize("tag", ["GAS-HIGH", "GAS-HIGH-HIGH"])
def test_gas_returns_under_its_deadband_after_its_delay(tag: str) -> None:
    """Gas has gone when it is under the limit by 20 % of it, for 60 s (twice T90); within the band it has not."""
    limit_ppm = {"GAS-HIGH": 2.0, "GAS-HIGH-HIGH": 5.0}[tag]
    run = Run()
    run.samples(1.0, gas(limit_ppm + 0.1))
    run.samples(100.0, gas(0.81 * limit_ppm))
    assert returned(run.events, tag) == []
    start_s = run.t_s
    run.samples(70.0, gas(0.79 * limit_ppm))
    (t_s,) = returned(run.events, tag)
    assert start_s + 60.0 <= t_s <= start_s + 60.7


def test_a_slow_sensor_returns_later() -> None:
    """With T90 of 45 s gas has gone after 90 s, twice T90."""
    run = Run(bench=replace(BENCH, gas=replace(BENCH.gas, t90_s=45.0)))
    run.samples(1.0, gas(2.5))
    start_s = run.t_s
    run.samples(100.0, gas(0.1))
    (t_s,) = returned(run.events, "GAS-HIGH")
    assert start_s + 90.0 <= t_s <= start_s + 90.7


def test_over_range_counts_as_gas() -> None:
    """A sensor over its range is at least there: both limits are raised at the third sample, and it is no fault."""
    run = Run()
    run.samples(1.0, gas(0.1))
    start_s = run.t_s
    run.samples(2.0, gas(21.0))
    assert when(run, "GAS-HIGH-HIGH") == pytest.approx(start_s + 0.3)
    assert "over 20 ppm" in next(c.detail for c in alarms(run.events) if c.tag == "GAS-HIGH-HIGH")
    assert "GAS-FAULT" not in tags(run)


@pytest.mark.parametrize(
    "unknown",
    [
        lambda b: setattr(b, "gas_sum", 65472),
        lambda b: setattr(b, "gas_sum", 0),
        lambda b: setattr(b, "gas_sum", 8000),
    ],
    ids=["top", "bottom", "under"],
)
def test_an_unknown_reading_is_never_gas(unknown: Setting) -> None:
    """A reading that must not be believed raises no gas limit and ends none: the fault alarm speaks of it."""
    run = Run()
    run.samples(5.0, unknown)
    assert tags(run) == ["GAS-FAULT"]
    other = Run()
    other.samples(1.0, gas(2.5))
    other.samples(200.0, unknown)
    assert returned(other.events, "GAS-HIGH") == []


@pytest.mark.parametrize("word", [0, 0xFFFFFFFF, tc_word(0.0, 25.0, 1), tc_word(400.0, 25.0, 4)])
def test_an_unknown_temperature_is_never_heat(word: int) -> None:
    """A thermocouple that must not be believed raises no plate limit and ends none."""
    run = Run()
    run.samples(5.0, lambda board: setattr(board, "tc", word))
    assert tags(run) == ["PLATE-FAULT"]
    other = Run()
    other.samples(2.0, plate(345.0))
    other.samples(200.0, lambda board: setattr(board, "tc", word))
    assert returned(other.events, "PLATE-HIGH-HIGH") == []


def test_gas_fault_is_raised_at_the_third_sample_and_returns_after_ten_seconds() -> None:
    """An impossible reading is a fault at the third sample (0.5 s at the latest), and gone 10 s after a good one."""
    run = Run()
    run.samples(1.0)
    run.samples(1.0, lambda board: setattr(board, "gas_sum", 0))
    assert when(run, "GAS-FAULT") == pytest.approx(1.3)
    run.samples(12.0, gas(0.1))
    (t_s,) = returned(run.events, "GAS-FAULT")
    assert 12.1 <= t_s <= 12.6


def test_frozen_gas_is_a_fault_within_two_seconds() -> None:
    """A channel that does not stir is a fault at the twentieth sample, 2 s."""
    run = Run()
    run.samples(1.0)
    run.samples(5.0, lambda board: setattr(board, "gas_span", 0))
    assert when(run, "GAS-FAULT") == pytest.approx(3.0)


@pytest.mark.parametrize("unknown", [2, 1], ids=["two in three", "one in three"])
def test_a_loose_plug_is_a_fault(unknown: int) -> None:
    """A reading that comes and goes is told, of either sensor, and the permit goes; one in six without it is not."""
    for tag, bad, good in (("GAS-FAULT", gas_end, gas(0.0)), ("PLATE-FAULT", open_wire, plate(22.0))):
        run = Run()
        run.samples(1.0)
        run.permit()
        for n in range(300):
            run.sample_with(bad if n % 6 == 0 else good)
        assert tags(run) == []
        start_s = run.t_s
        for n in range(180):
            run.sample_with(bad if n % 3 < unknown else good)
        assert when(run, tag) - start_s < (2.0 if unknown == 2 else 6.0)
        assert next(c.detail for c in alarms(run.events) if c.tag == tag).startswith("reading comes and goes")
        assert not run.permit_on
        run.samples(15.0, good)
        assert len(returned(run.events, tag)) == 1


def gas_end(board: BoardScript) -> None:
    board.gas_sum = 65472


def open_wire(board: BoardScript) -> None:
    board.tc = tc_word(0.0, 25.0, 1)


def test_another_fault_before_the_first_has_gone_is_told() -> None:
    """The words of a standing alarm follow what is wrong now: another fault, a second trip, a gate gone dark."""
    run = generating()
    open_wire(run.board)
    gas_end(run.board)
    run.samples(2.0)
    for _ in range(12):
        run.board.rejects += 1
        run.sample()
    run.samples(1.0, lambda b: setattr(b, "io", b.io | OVERHEAT))
    said = {a.tag: a.detail for a in run.bench.overview().alarms}
    assert said["PLATE-FAULT"] == "thermocouple open circuit"
    assert said["GAS-FAULT"].endswith("top of its converter")
    assert "splashes against 0 drops" in said["DRIP-BLOCKED"]
    assert said["TRIP-LATCHED"] == "the board saw overheat"
    run.board.tc = run.board.gas_sum = 0
    run.samples(1.0, lambda b: setattr(b, "io", b.io | GAS | DARK))
    said = {a.tag: a.detail for a in run.bench.overview().alarms}
    assert said["PLATE-FAULT"] == "thermocouple converter does not answer"
    assert said["GAS-FAULT"].endswith("bottom of its converter")
    assert said["DRIP-BLOCKED"] == "the gate is dark"
    assert said["TRIP-LATCHED"] == "the board saw overheat and gas"


def test_plate_high() -> None:
    """PLATE-HIGH needs a second at or over its limit, and goes 3.2 °C (1 %) under it for a minute."""
    run = Run()
    run.samples(0.9, plate(321.0))  # 324.6 °C by ITS-90
    run.samples(2.0, plate(300.0))
    assert tags(run) == []
    start_s = run.t_s
    run.samples(5.0, plate(321.0))
    assert start_s + 1.0 <= when(run, "PLATE-HIGH") <= start_s + 1.6
    run.samples(70.0, plate(314.0))  # 317.5 °C: within the deadband
    assert returned(run.events, "PLATE-HIGH") == []
    start_s = run.t_s
    run.samples(70.0, plate(312.0))  # 315.5 °C
    (t_s,) = returned(run.events, "PLATE-HIGH")
    assert start_s + 60.0 <= t_s <= start_s + 60.7


def test_plate_high_high_at_the_third_sample() -> None:
    """PLATE-HIGH-HIGH is raised at the third sample in a row; a single one, a spike, is none."""
    run = Run()
    run.samples(1.0, plate(300.0))
    run.samples(0.2, plate(345.0))
    run.samples(1.0, plate(300.0))
    run.samples(0.3, plate(345.0))
    assert tags(run) == ["PLATE-HIGH-HIGH"]
    assert when(run, "PLATE-HIGH-HIGH") == pytest.approx(2.5)


def test_exposure_limits() -> None:
    """GAS-STEL comes when the 15-minute average reaches its limit: at 0.5 ppm, against 0.25, after 7.5 minutes."""
    run = Run()
    run.samples(500.0, gas(0.5))
    # 0.5 ppm is the next count above, 0.5026 ppm: 900 s × 0.25/0.5026 = 447.7 s.
    assert when(run, "GAS-STEL") == pytest.approx(447.7, abs=1.5)
    assert "GAS-TWA" not in tags(run)


def test_eight_hour_limit() -> None:
    """GAS-TWA comes when the 8-hour average reaches its limit: at 1.9 ppm, against 0.5, after 2.1 hours."""
    run = Run()
    for second in range(8000):  # one sample a second here: ten would say the same
        run.board.ms, run.board.gas_sum = 1000 * second, ppm_sum(1.9) + second % 3
        run.events += run.bench.receive(run.board.sample(), instant(float(second)))
    assert when(run, "GAS-TWA") == pytest.approx(28800 * 0.5 / 1.9, rel=0.004)


# --- the line and the board -----------------------------------------------------------------------------------


def test_link_lost_after_three_seconds() -> None:
    """LINK-LOST comes when no valid sample came for more than 3 s, and goes with the next one."""
    run = Run()
    run.samples(2.0)
    run.silence(2.9)
    run.samples(1.0)
    assert tags(run) == []
    start_s = run.t_s
    run.silence(6.0)
    assert start_s + 3.0 < when(run, "LINK-LOST") <= start_s + 3.6
    start_s = run.t_s
    run.samples(1.0)
    (t_s,) = returned(run.events, "LINK-LOST")
    assert start_s < t_s <= start_s + 0.6


def test_link_lost_when_nothing_was_ever_heard() -> None:
    """A board that never says a word is a lost line 3 s into the run."""
    run = Run()
    run.silence(10.0)
    assert 3.0 < when(run, "LINK-LOST") <= 3.5


@pytest.mark.parametrize(("every", "noisy"), [(15, True), (25, False)])
def test_link_noisy_by_spoiled_lines(every: int, noisy: bool) -> None:
    """One line in fifteen spoiled (6.7 %) is a noisy line, one in twenty-five (4 %) is none."""
    run = Run()
    for n in range(700):
        run.sample()
        if n % every == 0:
            run.bytes(b"S,7,1*0000\n")
    assert ("LINK-NOISY" in tags(run)) == noisy


def test_link_noisy_by_lost_samples() -> None:
    """One sample in ten missing is a noisy line; when a clean minute and the delay have passed it is none."""
    run = Run()
    for _ in range(60):
        run.samples(0.9)
        run.silence(0.1)
    assert tags(run) == ["LINK-NOISY"]
    start_s = run.t_s
    run.samples(130.0)
    (t_s,) = returned(run.events, "LINK-NOISY")
    assert start_s + 60.0 < t_s < start_s + 121.0


def test_an_outage_is_not_noise() -> None:
    """A cable that was out, or a monitor that was, is LINK-LOST; when it is back nobody is sent to look for noise."""
    run = Run()
    run.samples(60.0)
    run.silence(30.0)
    run.samples(60.0)
    assert tags(run) == ["LINK-LOST"]


def test_board_restarted() -> None:
    """A new boot number is BOARD-RESTARTED at its first sample, says which start, and goes by itself after 5 s."""
    run = Run()
    run.samples(2.0)
    run.board.restart()
    run.samples(10.0)
    assert when(run, "BOARD-RESTARTED") == pytest.approx(2.1)
    assert "start 8" in next(c.detail for c in alarms(run.events) if c.tag == "BOARD-RESTARTED")
    (t_s,) = returned(run.events, "BOARD-RESTARTED")
    assert 7.1 <= t_s <= 7.6
    assert run.bench.counts.restarts == 1


def test_an_exchanged_board_is_a_restart() -> None:
    """Another board under the same boot number is BOARD-RESTARTED too, and takes none of the drops with it."""
    run = Run(SMALL)
    run.board.drop(40)
    run.samples(20.0)
    run.board = BoardScript(drops=3)
    run.samples(3.0)
    run.board.drop(2)
    run.samples(1.0)
    assert tags(run) == ["BOARD-RESTARTED"]
    assert (run.bench.drops, run.bench.counts.restarts, run.bench.counts.counter_faults) == (2, 1, 19)


@pytest.mark.parametrize(
    ("bits", "words"), [(OVERHEAT, "overheat"), (GAS, "gas"), (OVERHEAT | GAS, "overheat and gas")]
)
def test_trip_latched(bits: int, words: str) -> None:
    """The board's own latch is TRIP-LATCHED at the first sample that shows it, naming the cause."""
    run = Run()
    run.samples(1.0)
    run.samples(1.0, lambda board: setattr(board, "io", board.io | bits))
    assert when(run, "TRIP-LATCHED") == pytest.approx(1.1)
    assert alarms(run.events)[-1].detail == f"the board saw {words}"


# --- the drip -------------------------------------------------------------------------------------------------


def dripping(per_min: float) -> Setting:
    """A steady drip."""
    since = 0.0

    def do(board: BoardScript) -> None:
        nonlocal since
        since += per_min / 600.0
        if since >= 1.0:
            since -= 1.0
            board.drop()

    return do


def generating(terms: object = DRIP) -> Run:
    """A run in the generating phase, acid about to drip."""
    run = Run(SMALL if terms is SMALL else DRIP)
    run.samples(1.0)
    run.ask("phase", phase="generating")
    return run


def test_drip_fast() -> None:
    """DRIP-FAST comes when 20 s hold drops for 90 a minute, and goes 15 s after they hold 5 % fewer; 84 is none."""
    run = generating()
    run.samples(60.0, dripping(84.0))
    assert tags(run) == []
    start_s = run.t_s
    run.samples(60.0, dripping(120.0))
    assert start_s + 3.0 <= when(run, "DRIP-FAST") <= start_s + 20.0
    start_s = run.t_s
    run.samples(60.0, dripping(60.0))
    (t_s,) = returned(run.events, "DRIP-FAST")
    assert start_s + 15.0 <= t_s <= start_s + 36.0


def test_drip_stalled() -> None:
    """DRIP-STALLED comes 60 s after the newest drop, in the generating phase alone, and goes with the next drop."""
    run = generating()
    run.samples(120.0)  # no drop yet: nothing has stalled
    assert tags(run) == []
    run.board.drop()
    run.sample()
    start_s = run.t_s
    run.samples(65.0)
    assert start_s + 59.9 <= when(run, "DRIP-STALLED") <= start_s + 60.6
    run.board.drop()
    start_s = run.t_s
    run.samples(2.0)
    (t_s,) = returned(run.events, "DRIP-STALLED")
    assert start_s < t_s <= start_s + 0.7


def test_no_stall_in_another_phase() -> None:
    """With the phase gone on to running out, a drip that stands still is no alarm, and one standing is set aside."""
    run = generating()
    run.board.drop()
    run.samples(70.0)
    assert run.state("DRIP-STALLED") is AlarmState.UNACKNOWLEDGED
    run.ask("phase", phase="running out")
    assert run.state("DRIP-STALLED") is AlarmState.SUPPRESSED


def test_no_stall_before_a_phase_begun_anew_has_had_its_time() -> None:
    """After a pause the drops of before have not stalled: DRIP-STALLED comes 60 s after generating is begun anew."""
    run = generating()
    run.board.drop()
    run.samples(10.0)
    run.ask("phase", phase="running out")
    run.samples(300.0)
    run.ask("phase", phase="generating")
    start_s = run.t_s
    run.samples(65.0)
    assert start_s + 59.9 <= when(run, "DRIP-STALLED") <= start_s + 60.6


def test_a_lost_line_is_no_stalled_drip() -> None:
    """While the line is lost nobody knows of drops: LINK-LOST says so, and DRIP-STALLED does not come."""
    run = generating()
    run.board.drop()
    run.samples(10.0)
    run.silence(120.0)
    assert tags(run) == ["LINK-LOST"]


def test_drip_blocked_by_darkness() -> None:
    """A dark gate is DRIP-BLOCKED at the next half second, and gone 10 s after it is light."""
    run = generating()
    run.samples(1.0, lambda board: setattr(board, "io", board.io | DARK))
    assert 1.1 <= when(run, "DRIP-BLOCKED") <= 1.6
    start_s = run.t_s
    run.samples(15.0, lambda board: setattr(board, "io", board.io & ~DARK))
    (t_s,) = returned(run.events, "DRIP-BLOCKED")
    assert start_s + 10.0 <= t_s <= start_s + 11.1


def test_drip_blocked_by_splashes() -> None:
    """Rejected edges that outnumber the drops of a minute, five at least, are DRIP-BLOCKED; half as many are not."""
    run = generating()
    for n in range(60):
        run.board.drop()
        run.board.rejects += n % 2
        run.samples(1.0)
    assert tags(run) == []
    for _ in range(100):
        run.board.rejects += 1
        run.samples(0.5)
    assert tags(run) == ["DRIP-BLOCKED", "SUCK-BACK"]  # for the drops have ended


def test_rejects_wrap_and_begin_anew() -> None:
    """The rejects' wrap at 65536, a restart, a glitch and an exchanged board are no splashes."""
    run = Run(DRIP)
    run.board.rejects = 65534
    run.samples(2.0)
    run.board.rejects = 1  # three more, over the wrap
    run.samples(2.0)
    run.board.rejects = 300
    run.board.restart()
    run.samples(10.0)
    now = run.board
    run.board = BoardScript(boot=now.boot, seq=3, rejects=9)  # a glitch: counters of another time
    run.sample()
    run.board = now
    run.samples(5.0)
    run.board = BoardScript(boot=now.boot)  # another board under the same number
    run.samples(5.0)
    assert "DRIP-BLOCKED" not in tags(run)


def test_drip_unasked() -> None:
    """The third drop in a phase with the tap shut is DRIP-UNASKED; two are the last from the tip."""
    run = Run(DRIP)
    run.samples(1.0)
    run.board.drop(2)
    run.samples(30.0)
    assert tags(run) == []
    run.board.drop()
    start_s = run.t_s
    run.samples(1.0)
    assert start_s < when(run, "DRIP-UNASKED") <= start_s + 0.7
    start_s = run.t_s
    run.samples(60.0)
    (t_s,) = returned(run.events, "DRIP-UNASKED")
    assert start_s + 48.0 <= t_s <= start_s + 51.0  # 20 s without a drop, and 30 s of delay


def test_the_first_drop_with_a_permit_begins_generating() -> None:
    """With the permit on, the first drop begins the generating phase, and is not unasked."""
    run = Run(DRIP)
    run.samples(1.0)
    run.permit()
    run.samples(20.0, dripping(60.0))
    assert run.bench.phase.value == "generating"
    assert tags(run) == []


def test_acid_and_charge_and_enough() -> None:
    """ACID-LOW comes with 10 % of the acid left, CHARGE-SPENT with the limiting reagent used up, each at its drop.

    11 mL are 286.5 drops of 38.4 µL: low at the 258th. Half of what is charged in 8 g (0.0816 mol of sulfur(IV), 30 %
    HCl at 9.456 mol/L takes 8.63 mL) is spent at the 225th. ENOUGH-DELIVERED comes when the account says 0.03 mol.
    """
    run = generating(SMALL)
    at: dict[str, int] = {}
    for _ in range(300):
        run.board.drop()
        for tag, _t in raised(run.samples(1.0)):
            at[tag] = run.bench.drops
    account = run.bench.account
    assert isinstance(account, DropAccount)
    need_ml = account.course.acid_ml_for_delivered(0.03)
    assert need_ml is not None
    assert at == {
        "ENOUGH-DELIVERED": int(need_ml / 0.0384) + 1,
        "CHARGE-SPENT": int(0.0816353 / 9.456 * 1000 / 0.0384) + 1,
        "SUCK-BACK": 237,  # a few drops on, what they bring is under a tenth of the usual
        "ACID-LOW": 258,
    }


def test_limits_are_those_of_the_settings() -> None:
    """Every limit is taken from the settings: others raise at other values."""
    limits = replace(LIMITS, gas_high_ppm=1.0, plate_high_c=100.0, drip_fast_per_min=30.0, drip_stalled_s=10.0)
    run = Run(DRIP, replace(BENCH, limits=limits))
    run.samples(1.0)
    run.ask("phase", phase="generating")
    run.samples(30.0, dripping(36.0))
    warm(run, 60.0)
    run.samples(12.0, lambda board: (gas(1.1)(board), plate(110.0)(board))[0])
    leak = {"GAS-RISING", "GAS-LEAK"}  # a step is one too, whatever the limits
    assert [t for t in tags(run) if t not in leak] == ["DRIP-FAST", "GAS-HIGH", "PLATE-HIGH", "DRIP-STALLED"]


def bubbling(per_min: float, terms: RunTerms = BUBBLES) -> Run:
    """A minute of so many bubbles a minute in the generating phase."""
    run = Run(terms)
    run.samples(1.0)
    run.ask("phase", phase="generating")
    run.samples(60.0, dripping(per_min))
    return run


def test_bubbles_too_fast() -> None:
    """DRIP-FAST of a bubble run is half a litre of gas a minute: 200 bubbles of 2.5 mL, and 180 are none."""
    assert "DRIP-FAST" not in tags(bubbling(180.0))
    run = bubbling(220.0)
    assert "DRIP-FAST" in tags(run)
    (change,) = (c for c in alarms(run.events) if c.tag == "DRIP-FAST")
    assert change.detail.endswith("L/min of gas, limit 0.5 L/min of gas")


def test_bubbles_unasked() -> None:
    """Gas before anybody began is unasked; gas that runs out, or is swept or warmed out, is not."""
    run = Run(BUBBLES)
    run.samples(20.0, dripping(30.0))
    (change,) = (c for c in alarms(run.events) if c.tag == "DRIP-UNASKED")
    assert change.detail == "bubbles come in the phase 'getting ready'"
    for phase in ("generating", "running out", "closing down"):
        run = Run(BUBBLES)
        run.samples(1.0)
        run.ask("phase", phase=phase)
        run.samples(30.0, dripping(30.0))
        assert "DRIP-UNASKED" not in tags(run)


def test_bubbles_that_stop() -> None:
    """DRIP-STALLED and SUCK-BACK of a bubble run speak of bubbles."""
    run = bubbling(60.0)
    run.samples(300.0, dripping(60.0))
    run.samples(70.0)
    details = {c.tag: c.detail for c in alarms(run.events) if c.after is AlarmState.UNACKNOWLEDGED}
    assert details["DRIP-STALLED"] == "no bubble for 60 s"
    assert details["SUCK-BACK"].startswith("no bubble for 15 s")


def test_enough_counts_what_will_still_come() -> None:
    """A hot flask goes on for about a minute: what is over and what will come by then is enough; said once."""
    run = Run(replace(BUBBLES, receiver=ReceiverTerms(None, 0.1)))
    run.samples(1.0)
    run.ask("phase", phase="generating")
    begun: list[float] = []

    def look(board: BoardScript) -> None:
        dripping_on(board)
        if not begun and any(tag == "ENOUGH-DELIVERED" for tag, _ in raised(run.events)):
            begun.append(run.bench.account.delivered_mol)

    dripping_on = dripping(120.0)
    run.samples(900.0, look)
    to_come_mol = run.bench.account.forecast(run.t_s).still_to_come_mol
    assert to_come_mol > 0.005
    assert begun[0] == pytest.approx(0.1 - to_come_mol, abs=0.002)
    (change,) = (c for c in alarms(run.events) if c.tag == "ENOUGH-DELIVERED")
    assert "mol still to come of 0.100 mol wanted" in change.detail


def test_a_hot_plate_under_its_window() -> None:
    """PLATE-LOW a second into generating under the window, gone 2 °C over its edge for a minute; in no other."""
    run = Run(BUBBLES)
    run.samples(1.0)
    run.ask("phase", phase="generating")
    start_s = run.t_s
    run.samples(2.0)
    assert start_s + 1.0 <= when(run, "PLATE-LOW") <= start_s + 1.6
    warm(run, 275.0)
    run.samples(62.0)
    assert len(returned(run.events, "PLATE-LOW")) == 1
    run = Run(BUBBLES)
    run.samples(5.0)
    assert "PLATE-LOW" not in tags(run)


def test_a_thermocouple_never_on_the_hot_plate() -> None:
    """PLATE-FAULT 30 s into generating on a route that needs heat; the permit goes 10 s later (alarm table).

    On the drip route, which needs none, the same plate is believed.
    """
    for terms, told in ((BUBBLES, True), (DRIP, False)):
        run = Run(terms)
        run.samples(1.0)
        run.permit()
        run.ask("phase", phase="generating")
        run.samples(29.0)
        assert "PLATE-FAULT" not in tags(run)
        run.samples(2.0)
        assert ("PLATE-FAULT" in tags(run)) is told
        run.samples(10.5)
        assert run.permit_on is not told
