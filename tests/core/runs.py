"""Runs for tests: settings built by hand (all figures invented), and a bench with a scripted board on its line."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date

from monitor.core.bench import Bench
from monitor.core.events import (
    AlarmChanged,
    AlarmState,
    Answered,
    Event,
    Instant,
    PermitChanged,
    Request,
    Sampled,
    Send,
    Taken,
)
from monitor.core.requests import make_request
from monitor.terms import (
    BenchTerms,
    BurnerTerms,
    DripTerms,
    DropTerms,
    GasTerms,
    LimitTerms,
    Measured,
    PortTerms,
    ReceiverTerms,
    RoomTerms,
    RunTerms,
    ThermocoupleTerms,
)
from tests.core.lines import CONTACT, PERMIT, QUIET_SUM, BoardScript, tc_word

UTC_ZERO_S = 1.8e9
DAY = date(2027, 1, 15)  # of that moment
LIMITS = LimitTerms(
    gas_high_ppm=2.0,
    gas_high_high_ppm=5.0,
    gas_stel_ppm=0.25,
    gas_twa_ppm=0.5,
    plate_high_c=320.0,
    plate_high_high_c=340.0,
    drip_fast_per_min=90.0,
    drip_stalled_s=60.0,
)
BENCH = BenchTerms(
    name="hood-2",
    port=PortTerms("/dev/null"),
    drops=DropTerms(Measured(38.4, 0.6), DAY),
    thermocouple=ThermocoupleTerms(Measured(0.0, 0.8), DAY),
    gas=GasTerms(zero_sum=float(QUIET_SUM), ppm_per_sum=0.00412, range_ppm=20.0, calibrated=DAY, bump_tested=DAY),
    room=RoomTerms(60.0, 600.0),
    limits=LIMITS,
)
# 30 % HCl is 9.456 mol/L: CRC Handbook 102nd ed., concentrative properties, 20 °C
CHARGE = DripTerms(
    salt="Na2S2O5",
    salt_mass_g=Measured(80.0, 0.5),
    salt_purity=Measured(0.97, 0.01),
    water_ml=120.0,
    acid="HCl",
    acid_mol_per_l=Measured(9.456, 0.1),
    acid_mass_fraction=Measured(0.30, 0.003),
    acid_volume_ml=110.0,
    flask_volume_ml=500.0,
)
DRIP = RunTerms("a test", "acid-drip", "drops", CHARGE)
SMALL = RunTerms(  # a few hundred drops and it is spent
    "a test",
    "acid-drip",
    "drops",
    replace(
        CHARGE,
        salt_mass_g=Measured(8.0, 0.05),
        water_ml=12.0,
        acid_volume_ml=11.0,
        flask_volume_ml=50.0,
    ),
    ReceiverTerms(None, 0.03),
)
BURNER = RunTerms("a test", "burner", "weighings", BurnerTerms(Measured(3.2), 4.0))  # no account: quick to build


def ppm_sum(ppm: float) -> int:
    """The gas_sum of the first count at or over so many ppm on the test bench."""
    return QUIET_SUM + int(ppm / 0.00412) + 1


def instant(t_s: float) -> Instant:
    """A moment of a run, with a UTC beside it."""
    return Instant(t_s, UTC_ZERO_S + t_s)


def request(kind: str, **args: object) -> Request:
    """Something that Ada asks."""
    return make_request(kind, "Ada", args, "r1")


class Run:
    """A bench under test with a scripted board on its line; keeps every event."""

    def __init__(self, terms: RunTerms = BURNER, bench: BenchTerms = BENCH, *, recording: bool = False) -> None:
        self.bench = Bench(bench, terms, instant(0.0), recording=recording)
        self.board = BoardScript()
        self.events: list[Event] = []
        self.t_s = 0.0
        self._steps = 0
        self.obeys = True  # the board's permit and its contact follow the host's word

    def keep(self, events: list[Event]) -> list[Event]:
        self.events += events
        for e in events:
            if isinstance(e, Send) and e.data.startswith(b"K,") and self.obeys:
                on = e.data.split(b",")[2] == b"1"
                self.board.io = self.board.io & ~(PERMIT | CONTACT) | (PERMIT | CONTACT if on else 0)
        return events

    def samples(self, seconds: float, each: Callable[[BoardScript], None] | None = None) -> list[Event]:
        """So many seconds of samples, ten a second; `each` is called before every one."""
        out: list[Event] = []
        for _ in range(round(seconds * 10)):
            self._step()
            if each is not None:
                each(self.board)
            out += self.keep(self.bench.receive(self.board.sample(), instant(self.t_s)))
        return out

    def sample(self) -> list[Event]:
        """One sample."""
        return self.samples(0.1)

    def sample_with(self, setting: Callable[[BoardScript], None]) -> list[Event]:
        """One sample of a board set so."""
        return self.samples(0.1, setting)

    def silence(self, seconds: float) -> list[Event]:
        """So many seconds in which nothing arrives; the board goes on."""
        out: list[Event] = []
        for _ in range(round(seconds * 10)):
            self._step()
            self.board.sample()
            out += self.keep(self.bench.tick(instant(self.t_s)))
        return out

    def bytes(self, data: bytes) -> list[Event]:
        """Any bytes, now."""
        return self.keep(self.bench.receive(data, instant(self.t_s)))

    def ask(self, kind: str, **args: object) -> Answered:
        """Ask for something now; gives the answer."""
        got = self.keep(self.bench.command(request(kind, **args), instant(self.t_s)))
        (answer,) = (e for e in got if isinstance(e, Answered))
        return answer

    def permit(self) -> None:
        """Have the permit asked for; fails if it is refused."""
        answer = self.ask("permit", on=True)
        assert answer.accepted, answer.text

    @property
    def permit_on(self) -> bool:
        return self.bench.overview().permit_on

    def state(self, tag: str) -> AlarmState:
        """The state of an alarm, as the events tell it."""
        return [AlarmState.NORMAL, *(c.after for c in alarms(self.events) if c.tag == tag)][-1]

    def _step(self) -> None:
        self._steps += 1
        self.t_s = self._steps * 0.1


def alarms(events: list[Event]) -> list[AlarmChanged]:
    """The alarm changes among events."""
    return [e for e in events if isinstance(e, AlarmChanged)]


def raised(events: list[Event]) -> list[tuple[str, float]]:
    """What was raised, and when."""
    return [(c.tag, c.t_s) for c in alarms(events) if c.after is AlarmState.UNACKNOWLEDGED]


def returned(events: list[Event], tag: str) -> list[float]:
    """When an alarm's condition went."""
    return [c.t_s for c in alarms(events) if c.tag == tag and c.cause == "condition false"]


def warm(run: Run, to_c: float) -> None:
    """The plate rises to what the converter reports as `to_c`, at 50 °C/s: a quicker rise is no plate's."""
    at_c = (run.board.tc >> 18) * 0.25
    while at_c < to_c:
        at_c = min(at_c + 5.0, to_c)
        run.board.tc = tc_word(at_c)
        run.sample()
    run.samples(1.5)


def permits(events: list[Event]) -> list[PermitChanged]:
    """The changes of the permit among events."""
    return [e for e in events if isinstance(e, PermitChanged)]


def sampled(events: list[Event]) -> list[Sampled]:
    """The samples among events."""
    return [e for e in events if isinstance(e, Sampled)]


def told(events: list[Event]) -> Iterator[Event]:
    """The events that do not hang on how the caller cut bytes or called: all but what was sent and taken."""
    return (e for e in events if not isinstance(e, (Send, Taken)))
