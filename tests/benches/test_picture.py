"""The list as bytes for who looks, and as words for who reads."""

from __future__ import annotations

import json

import pytest
from hypothesis import given

from monitor.benches.cells import UNKNOWN, cells_of
from monitor.benches.levels import Level
from monitor.benches.picture import BrokerSeen, Picture, decoded, encoded
from monitor.benches.roll import Message, Roll
from monitor.benches.said import understood
from monitor.benches.table import table_lines
from monitor.core.events import AlarmState, Metering, Phase, Priority, Reading
from monitor.invented import HUNG, HUNG_AT_S, LOST, LOST_AT_S, invented_room
from tests.benches.test_roll import STEPS, Step
from tests.benches.words import alarm, at, change, live, run, speak, voice
from tests.edges.mqtt_host import UTC_S
from tests.edges.test_mqtt_payloads import FULL, message_faults

HIGH, MEDIUM = Priority.HIGH, Priority.MEDIUM


def picture(roll: Roll, now_s: float, broker: BrokerSeen | None = None) -> Picture:
    return decoded(encoded(roll, now_s, UTC_S + now_s, broker))


@given(STEPS)
def test_what_is_read_is_what_was_heard(steps: list[Step]) -> None:
    """Every bench comes through the bytes in its place, with its judgement and its words."""
    roll, now_s = Roll(), 100.0
    for step in steps:
        now_s += step.wait_s
        roll.hear(step.message, at(now_s))
    got, judged = picture(roll, now_s), roll.look(now_s)
    assert [row.judged for row in got.rows(0, len(judged))] == judged
    assert sum(got.whole.counts.values()) == len(judged)
    assert got.whole.refused == {cause: count for cause, count in roll.refused.items() if count}
    for row in got.rows(0, len(judged)):
        name = row.judged.name
        state = roll.payload(name, "state")
        assert row.state == (understood(f"so2bench/{name}/state", state)[1] if state else None)
        assert row == got.one(name)


def test_a_payload_in_several_lines_stays_one() -> None:
    """JSON written with line ends and tabs between its parts is taken, and takes no other bench's line."""
    roll = Roll()
    speak(roll, "hood-1", 100.0)
    spread = json.dumps(json.loads(voice().state(FULL, 9, 0).payload), indent="\t").replace("\n", "\r\n").encode()
    assert roll.hear(Message("so2bench/hood-2/state", spread), at(100.0)) is None
    assert roll.hear(live(voice().alarm(change(1), 1)), at(100.0)) is None
    row = picture(roll, 100.0).one("hood-2")
    assert row is not None
    assert row.state is not None
    assert row.state.account == FULL.account
    assert [c.seq for c in row.changes] == [1]


@pytest.mark.parametrize("data", [b"", b"{}", b"[]", b"SQLite format 3\x00", b'{"broker": 3}', b"null\n", b"\xff"])
def test_other_bytes_are_no_list(data: bytes) -> None:
    """What is not a list is said to be none, and nothing is guessed."""
    with pytest.raises(ValueError):  # noqa: PT011 - the kind is the promise
        decoded(data)


def test_no_old_number_stands_as_though_it_were_now() -> None:
    """Readings of a bench that is silent, or whose state is older than its life, are unknown; its alarms stay."""
    roll = Roll()
    speak(roll, "hood-2", 100.0, alarm("GAS-HIGH", HIGH))
    (row,) = picture(roll, 105.0).rows(0, 1)
    fresh = cells_of(row, 105.0)
    assert (fresh.known, fresh.plate, fresh.phase) == (True, "22 °C", "generating")
    assert fresh.gas == UNKNOWN  # the bench itself does not believe it
    old = cells_of(row, 110.001)
    assert (old.known, old.plate, old.gas, old.rate, old.over) == (False, *[UNKNOWN] * 4)
    assert (old.phase, old.word, old.what) == ("was generating", "high alarm, not acknowledged", "SO2 in the air")
    (row,) = picture(roll, 140.0).rows(0, 1)
    gone = cells_of(row, 140.0)
    assert (gone.word, gone.what, gone.since) == ("not heard from", "no word from its monitor", "last heard 40 s ago")


@pytest.mark.parametrize(
    ("age_s", "plate", "rate"), [(3.0, "22 °C", "58/min"), (3.1, UNKNOWN, UNKNOWN), (None, UNKNOWN, UNKNOWN)]
)
def test_a_watched_bench_with_a_silent_board_has_no_readings(age_s: float | None, plate: str, rate: str) -> None:
    """The monitor speaks each second, but its board has not for 3 s: what was measured before is not what is now."""
    roll, v = Roll(), voice()
    seen = FULL._replace(alarms=(), sample_age_s=age_s)
    for sent in (v.watched(seen), v.standing(seen, 0), v.state(seen, 1, 0)):
        roll.hear(live(sent), at(100.0))
    (row,) = picture(roll, 100.0).rows(0, 1)
    cells = cells_of(row, 100.0)
    assert (cells.plate, cells.rate, cells.over) == (plate, rate, "0.350 of 0.334 mol")


def test_a_quiet_bench_whose_air_is_not_known_says_so() -> None:
    """No alarm stands, since it is out of service, and still the row does not pass for known air."""
    roll, v = Roll(), voice()
    seen = FULL._replace(alarms=(), sample_age_s=0.1, gas=Reading(None, why="no change at all: frozen"))
    for sent in (v.watched(seen), v.standing(seen, 0), v.state(seen, 1, 0)):
        roll.hear(live(sent), at(100.0))
    (row,) = picture(roll, 100.0).rows(0, 1)
    cells = cells_of(row, 100.0)
    assert (cells.level, cells.what) == (Level.QUIET, "air not known: no change at all: frozen")


def test_the_worst_alarm_and_since_when() -> None:
    """A row says the worst alarm, for how long, and what waits beside it; by its run time, then by ours."""
    roll, v = Roll(), voice()
    old = alarm("GAS-HIGH", HIGH, AlarmState.ACKNOWLEDGED)
    seen = run(61.0, alarm("DRIP-FAST", MEDIUM), old._replace(since_s=31.0))
    for sent in (v.watched(seen), v.standing(seen, 2)):
        roll.hear(live(sent), at(100.0))
    (row,) = picture(roll, 104.0).rows(0, 1)
    cells = cells_of(row, 104.0)
    assert (cells.what, cells.since) == ("SO2 in the air (+1 more, 1 not acknowledged)", "for 34 s")
    assert cells.since_utc_s == UTC_S + 31.0


def test_amounts_by_what_they_are_metered() -> None:
    """Bubbles and drops have a rate; a run that is weighed has none, and no amount before the first weighing."""
    roll = Roll()
    wanted = [("58/min", "0.350 of 0.334 mol"), ("weighed", "not weighed of 0.334 mol"), ("58/min", "not counted")]
    weighed = Metering("burner", "weighings", None, None, None, None, 0, None)
    v = voice()
    for number, seen in enumerate((FULL, FULL._replace(metering=weighed), FULL._replace(account=None))):
        seen = seen._replace(alarms=(), sample_age_s=0.1, gas=Reading(None, why="over range", at_least=20.0))
        for sent in (v.watched(seen), v.standing(seen, 0), v.state(seen, number + 1, 0)):
            roll.hear(live(sent), at(100.0))
        (row,) = picture(roll, 100.0).rows(0, 1)
        cells = cells_of(row, 100.0)
        assert cells.gas == "over 20.0 ppm"
        wanted = [
            ("58/min", "0.350 of 0.334 mol"),
            ("weighed", "not weighed of 0.334 mol"),
            ("58/min", "not counted"),
        ]
        assert (cells.rate, cells.over) == wanted[number]


def test_the_table_says_what_counts_first() -> None:
    """Terminal lines: the broker's absence, how many of each kind, what was left out, then benches worst first."""
    roll = Roll()
    speak(roll, "hood-2", 100.0)
    speak(roll, "hood-10", 100.0, alarm("PLATE-HIGH", MEDIUM))
    roll.hear(Message("so2bench/hood-3/state", b"21.5"), at(100.0))
    away = BrokerSeen("broker.lab:1883", False, 95.0, UTC_S, "nobody listens at broker.lab:1883")
    lines = list(table_lines(picture(roll, 101.0, away), 101.0, "12:00:00"))
    assert lines[0].startswith("THE BROKER IS AWAY, for 6 s. Until")
    assert lines[0].endswith("no bench can be heard: nobody listens at broker.lab:1883")
    assert lines[1] == "12:00:00  2 benches: 1 !! medium alarm, not acknowledged · 1 ○ no alarm"
    assert lines[2] == "Messages that are none of a bench's: 1 not a JSON object."
    assert [line.split()[1] for line in lines[4:]] == ["hood-10", "hood-2"]
    short = list(table_lines(picture(roll, 101.0), 101.0, "12:00:00", most=1))
    assert [line.split()[1] for line in short[3:]] == ["hood-10", "1"]
    assert short[-1] == "and 1 more, none of them louder"
    assert next(iter(table_lines(picture(Roll(), 1.0), 1.0, "12:00:00"))) == "12:00:00  0 benches"


def test_names_are_found_by_a_part() -> None:
    """A part of a name, in capitals or not, finds the benches that have it, still worst first."""
    roll = Roll()
    for name in ("Hood-1", "hood-11", "kiln"):
        speak(roll, name, 100.0)
    speak(roll, "hood-11", 101.0, alarm("PLATE-HIGH", MEDIUM))
    found = picture(roll, 101.0).named("hood-1")
    assert [row.judged.name for row in found.rows(0, 9)] == ["hood-11", "Hood-1"]
    assert picture(roll, 101.0).one("hood") is None


def test_the_invented_room_says_what_benches_say() -> None:
    """Every message of the invented benches is valid by the published schema, and the room has its silences."""
    roll, room = Roll(), invented_room(30, UTC_S)
    levels: dict[int, dict[str, Level]] = {}
    for second in range(HUNG_AT_S + 41):
        for bench in room:
            for sent in bench.says(second):
                assert second > 70 or message_faults(sent) == []
                assert roll.hear(live(sent), at(float(second))) is None
        levels[second] = {j.name: j.level for j in roll.look(float(second))}
    assert levels[LOST_AT_S - 1][f"hood-{LOST}"] is Level.QUIET
    assert levels[LOST_AT_S][f"hood-{LOST}"] is Level.NOT_HEARD
    assert levels[HUNG_AT_S + 40][f"hood-{HUNG}"] is Level.NOT_HEARD
    assert set(levels[30].values()) >= {Level.HIGH_WAITING, Level.MEDIUM_WAITING, Level.LOW, Level.QUIET, Level.ENDED}
    assert all(j.states_missed == 0 and j.changes_missed == 0 for j in roll.look(float(HUNG_AT_S + 40)))
    assert Phase.GENERATING in {row.state.phase for row in picture(roll, 220.0).rows(0, 30) if row.state is not None}
