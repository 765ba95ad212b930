"""What a run is run under, as plain numbers: the two settings files after their units are gone.

Every field carries its unit in its name; a `Measured` carries its standard uncertainty in the same unit.
This module imports nothing of the project, so the pure parts can speak of settings without knowing files
or a units library. `monitor.settings` builds these values and is the only place that refuses bad ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

Route = Literal["acid-drip", "acid-on-sulfur", "burner"]
Meter = Literal["drops", "bubbles", "weighings"]
Salt = Literal["Na2S2O5", "K2S2O5", "NaHSO3", "Na2SO3", "K2SO3"]
Acid = Literal["HCl", "H2SO4"]


COVERAGE = 2.0  # expanded uncertainty, k = 2, over a standard one: about 95 % (JCGM 100:2008, 6.3)


@dataclass(frozen=True, slots=True)
class Measured:
    """A value with its standard uncertainty (k = 1), both in the unit that the field's name says."""

    value: float
    u: float = 0.0


@dataclass(frozen=True, slots=True)
class PortTerms:
    """Where the board is: a device path or any URL that the serial library opens; speed in baud."""

    path: str
    baud: int = 115200


@dataclass(frozen=True, slots=True)
class DropTerms:
    """The drop counter's calibration."""

    volume_ul: Measured
    calibrated: date | None = None


@dataclass(frozen=True, slots=True)
class ThermocoupleTerms:
    """The offset (a temperature difference, °C) is added after linearisation."""

    offset_c: Measured = Measured(0.0, 2.2)  # class 2 type K tolerance, IEC 60584-1: 2.5 °C or 0.75 %
    calibrated: date | None = None


@dataclass(frozen=True, slots=True)
class GasTerms:
    """The SO2 sensor: ppm = (gas_sum − zero_sum) × ppm_per_sum. `noise_ppm` is long-run, in a 1 s mean."""

    zero_sum: float
    ppm_per_sum: float
    range_ppm: float
    relative_u: float = 0.05
    t90_s: float = 30.0
    noise_ppm: float = 0.05
    calibrated: date | None = None
    bump_tested: date | None = None


@dataclass(frozen=True, slots=True)
class RoomTerms:
    """The room that a leak goes into."""

    volume_m3: float
    ventilation_m3_per_h: float


@dataclass(frozen=True, slots=True)
class LimitTerms:
    """Alarm limits. The defaults' sources stand beside `monitor.settings.DEFAULT_LIMITS`."""

    gas_high_ppm: float
    gas_high_high_ppm: float
    gas_stel_ppm: float
    gas_twa_ppm: float
    plate_high_c: float
    plate_high_high_c: float
    drip_fast_per_min: float
    drip_stalled_s: float
    open_below_ppm: float = 0.25  # these three: when a flask that is closed down may be opened
    open_hold_s: float = 600.0
    open_plate_c: float = 45.0
    gas_fast_l_per_min: float = 0.5  # by its bubbles


@dataclass(frozen=True, slots=True)
class MqttTerms:
    """Where state and alarms go; the password is in the named environment variable, never here."""

    url: str
    password_env: str | None = None
    ca_file: str | None = None  # PEM file of the authority that signed the broker's certificate
    acknowledge: bool = False  # whether alarms may be acknowledged by a message through the broker


Told = Literal["high", "medium", "low"]  # the lowest priority of alarms that people are told of


@dataclass(frozen=True, slots=True)
class NotifyTerms:
    """The name of the environment variable that holds the notification URLs, the lowest priority that is told, and
    how often it is told again until it is acknowledged.
    """

    urls_env: str
    lowest: Told = "medium"
    repeat_s: float = 300.0


@dataclass(frozen=True, slots=True)
class BenchTerms:
    """The apparatus, changed rarely: bench.toml."""

    name: str
    port: PortTerms
    drops: DropTerms
    thermocouple: ThermocoupleTerms
    gas: GasTerms
    room: RoomTerms
    limits: LimitTerms
    mqtt: MqttTerms | None = None
    notify: NotifyTerms | None = None


def secret_names(bench: BenchTerms) -> tuple[str, ...]:
    """The environment variables that hold this bench's passwords."""
    named = (bench.mqtt and bench.mqtt.password_env, bench.notify and bench.notify.urls_env)
    return tuple(name for name in named if name)


@dataclass(frozen=True, slots=True)
class DripTerms:
    """Acid dripping onto a sulfite salt that lies in water."""

    salt: Salt
    salt_mass_g: Measured
    salt_purity: Measured  # mass fraction, 0 to 1
    water_ml: float
    acid: Acid
    acid_mol_per_l: Measured
    acid_mass_fraction: Measured  # the same strength, the other way
    acid_volume_ml: float
    flask_volume_ml: float
    temperature_c: float = 22.0
    pressure_pa: float = 101325.0


@dataclass(frozen=True, slots=True)
class AcidOnSulfurTerms:
    """Hot sulfuric acid on sulfur, run inside a window of plate temperature."""

    sulfur_mass_g: Measured
    acid_mol_per_l: Measured
    acid_mass_fraction: Measured
    acid_volume_ml: float
    window_c: tuple[float, float]
    flask_volume_ml: float
    temperature_c: float = 22.0
    pressure_pa: float = 101325.0


@dataclass(frozen=True, slots=True)
class BurnerTerms:
    """Sulfur burnt in air that an aspirator draws."""

    sulfur_mass_g: Measured
    draw_l_per_min: float
    temperature_c: float = 22.0
    pressure_pa: float = 101325.0


@dataclass(frozen=True, slots=True)
class ReceiverTerms:
    """What takes the gas. `need_mol` is the SO2 wanted, excess included."""

    reaction: str | None
    need_mol: float
    excess: float = 0.0  # fraction


@dataclass(frozen=True, slots=True)
class ScrubberTerms:
    """What takes the rest."""

    base: Literal["NaOH", "Na2CO3"]
    base_mol_per_l: float
    volume_l: float


@dataclass(frozen=True, slots=True)
class PlanTerms:
    """What a plan is asked with: drops a minute (None: the highest sensible rate), and warming at the end, °C."""

    drip_rate_per_min: float | None = None
    warm_to_c: float = 60.0


@dataclass(frozen=True, slots=True)
class PriceTerms:
    """The user's own prices in one currency, None where not given: solids a kilogram, acids a litre."""

    salt_per_kg: float | None = None
    acid_per_l: float | None = None
    sulfuric_per_l: float | None = None
    sulfur_per_kg: float | None = None
    currency: str = ""


@dataclass(frozen=True, slots=True)
class LearnedTerms:
    """What past runs of this bench gave of their plan, as a share (`u`: how far one run lies off); and which runs."""

    yield_share: Measured
    runs: int
    since: date
    fitted: date


@dataclass(frozen=True, slots=True)
class RunTerms:
    """One generation: run.toml. `bubble_volume_ul` and its date are there when the meter counts bubbles."""

    title: str
    route: Route
    meter: Meter
    charge: DripTerms | AcidOnSulfurTerms | BurnerTerms
    receiver: ReceiverTerms | None = None
    scrubber: ScrubberTerms | None = None
    bubble_volume_ul: Measured | None = None
    bubble_calibrated: date | None = None
    plan: PlanTerms = PlanTerms()
    prices: PriceTerms = PriceTerms()
    learned: LearnedTerms | None = None
