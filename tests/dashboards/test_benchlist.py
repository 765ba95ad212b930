"""The page of many benches, as far as it can be told without a browser."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from dashboards import benchlist, benchsheet
from monitor.benches.levels import Level
from monitor.benches.picture import LIST_NAME, BrokerSeen, Picture, decoded, encoded
from monitor.benches.roll import Message, Roll
from monitor.core.events import AlarmState, Metering, Phase, Priority
from tests.benches.words import alarm, at, change, live, payload, run, speak, voice
from tests.edges.mqtt_host import UTC_S
from tests.edges.test_mqtt_payloads import FULL

HIGH = Priority.HIGH
AWAY = BrokerSeen("broker.lab:1883", False, 95.0, UTC_S, "nobody listens at broker.lab:1883")


def picture(roll: Roll, now_s: float, broker: BrokerSeen | None = None) -> Picture:
    return decoded(encoded(roll, now_s, UTC_S + now_s, broker))


def room() -> Roll:
    roll = Roll()
    speak(roll, "hood-1", 100.0)
    speak(roll, "hood-2", 100.0, alarm("GAS-HIGH", HIGH))
    return roll


def test_when_nobody_listens_no_bench_counts_as_heard() -> None:
    """A list that is not renewed any more shows every bench as not heard from, and says so first."""
    seen = picture(room(), 100.0)
    assert list(benchlist.warnings(seen.whole, 104.0)) == []
    assert benchlist.counts(seen.whole, 104.0)[Level.QUIET] == 1
    (words,) = benchlist.warnings(seen.whole, 105.1)
    assert words.startswith("NOBODY LISTENS: the program that listens has stopped")
    counts = benchlist.counts(seen.whole, 105.1)
    assert (counts[Level.NOT_HEARD], sum(counts.values())) == (2, 2)
    rows = benchlist.drawn_rows(seen, 60, 105.1)
    assert {(c.word, c.what, c.gas) for c in rows} == {("not heard from", benchlist.STOPPED, "unknown")}
    one = benchlist.one(seen, "hood-2", 105.1)
    assert one is not None
    assert one.numbers == ()
    assert not one.alarms[0].stands


def test_a_list_from_before_this_machine_was_started_is_old() -> None:
    """A list whose moment lies ahead of this machine's clock is as little renewed as an old one."""
    assert benchlist.stopped(picture(room(), 100.0).whole, 3.0)


def test_the_brokers_absence_is_said_with_its_beginning() -> None:
    """A broker that is away is named, with the reason and since when."""
    (words,) = benchlist.warnings(picture(room(), 100.0, AWAY).whole, 101.0)
    assert re.match(r"THE BROKER IS AWAY since \d\d:\d\d:\d\d, for 6 s\.", words)
    assert words.endswith("nobody listens at broker.lab:1883")


def test_all_kinds_are_always_counted() -> None:
    """The tally names every kind, also those with none, whatever part of the list is drawn."""
    html = benchsheet.tally(benchlist.counts(picture(room(), 100.0).whole, 100.0))
    assert html.count("<li ") == len(Level)
    assert '<li class="high-waiting"><b>1</b>' in html
    assert '<li class="not-heard none"><b>0</b>' in html


def test_what_a_bench_says_is_never_markup() -> None:
    """Texts from a broker are escaped wherever they are drawn."""
    evil = "<img src=x onerror=alert(1)>"
    roll, v = Roll(), voice()
    seen = run(5.0, alarm("GAS-HIGH", HIGH)._replace(detail=evil))
    roll.hear(live(v.watched(seen)), at(100.0))
    standing = v.standing(seen, 0)
    titled = payload(standing).replace(b"SO2 in the air", evil.encode())
    roll.hear(Message(standing.topic, titled, False, 30.0), at(100.0))
    said = payload(v.alarm(change(1), 1), response=evil, detail=evil, who=evil, title=evil, cause=evil)
    roll.hear(Message("so2bench/hood-2/alarm", said), at(100.0))
    state = payload(v.state(FULL, 1, 0), permit_why=evil)
    roll.hear(Message("so2bench/hood-2/state", state, False, 10.0), at(100.0))
    got = picture(roll, 100.0)
    one = benchlist.one(got, "hood-2", 100.0)
    assert one is not None
    html = benchsheet.one_head(one.cells) + benchsheet.one_alarms(one) + benchsheet.one_numbers(one)
    html += benchsheet.one_rest(one) + "".join(map(benchsheet.row, benchlist.drawn_rows(got, 9, 100.0)))
    assert "<img" not in html
    assert html.count("&lt;img src=x onerror=alert(1)&gt;") >= 5


def test_what_to_do_comes_from_the_bench_itself() -> None:
    """A response is the bench's own words; else the catalogue's; an alarm that neither knows says so."""
    roll, v = Roll(), voice()
    seen = run(5.0, alarm("DRIP-FAST", Priority.MEDIUM), alarm("GAS-HIGH", HIGH))
    roll.hear(live(v.watched(seen)), at(100.0))
    standing = v.standing(seen, 0)
    strange = payload(standing).replace(b'"GAS-HIGH"', b'"ICE-AGE"')
    roll.hear(Message(standing.topic, strange, False, 30.0), at(100.0))
    roll.hear(Message("so2bench/hood-2/alarm", payload(v.alarm(change(1), 1), response="Whistle.")), at(100.0))
    one = benchlist.one(picture(roll, 100.0), "hood-2", 100.0)
    assert one is not None
    assert {a.tag: a.response for a in one.alarms} == {"DRIP-FAST": "Whistle.", "ICE-AGE": benchlist.NOT_KNOWN_HERE}
    speak(roll, "hood-3", 100.0, alarm("GAS-HIGH", HIGH, AlarmState.ACKNOWLEDGED))
    other = benchlist.one(picture(roll, 100.0), "hood-3", 100.0)
    assert other is not None
    assert other.alarms[0].response.startswith("Stop the gas: tap shut, heat off, or flame smothered.")
    candle = Metering("burner", "weighings", None, None, None, None, 0, None)
    roll.hear(live(voice("hood-3").state(seen._replace(metering=candle), 100_002, 0)), at(100.0))
    other = benchlist.one(picture(roll, 100.0), "hood-3", 100.0)
    assert other is not None
    assert other.alarms[0].response.startswith("Smother the burning sulfur")


def test_one_bench_in_full() -> None:
    """Its numbers carry their uncertainty, what is not believed says why, and its clock stands beside ours."""
    roll, v = Roll(), voice()
    seen = FULL._replace(alarms=(), utc_s=UTC_S + 130.0, phase=Phase.GENERATING, sample_age_s=0.1)
    for sent in (v.watched(seen), v.standing(seen, 0), v.state(seen, 1, 0)):
        roll.hear(live(sent), at(100.0))
    one = benchlist.one(picture(roll, 101.0), "hood-2", 101.0)
    assert one is not None
    numbers = dict(one.numbers)
    assert numbers["Gone over"] == "0.350 ± 0.020 mol"
    assert numbers["SO2 at the sensor"] == "unknown, over 20.0 ppm: over range"
    assert numbers["Leak"] == "38.0 ± 9.00 mg/min"
    assert "Its clock is 30 s ahead of this machine's." in one.hearing
    assert one.hearing[0] == "Last heard 1 s ago."


@pytest.mark.parametrize("data", [None, b"", b"\x00" * 100])
def test_no_list_is_no_list(data: bytes | None, tmp_path: Path) -> None:
    """A missing or spoilt file is an error of a kind that the page shows in words."""
    if data is not None:
        (tmp_path / LIST_NAME).write_bytes(data)
    with pytest.raises((OSError, ValueError)):
        benchlist.read(tmp_path)
