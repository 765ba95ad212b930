"""Settings for the rig's tests, built by hand: the numbers are invented."""

from __future__ import annotations

from dataclasses import replace

from monitor.terms import (
    Acid,
    AcidOnSulfurTerms,
    BenchTerms,
    BurnerTerms,
    DripTerms,
    DropTerms,
    GasTerms,
    LimitTerms,
    Measured,
    PortTerms,
    RoomTerms,
    RunTerms,
    Salt,
    ThermocoupleTerms,
)

BENCH = BenchTerms(
    name="hood-2",
    port=PortTerms("/dev/null"),
    drops=DropTerms(Measured(38.4, 0.6)),
    thermocouple=ThermocoupleTerms(Measured(0.4, 0.8)),
    gas=GasTerms(zero_sum=8410.0, ppm_per_sum=0.00412, range_ppm=20.0),
    room=RoomTerms(60.0, 600.0),
    limits=LimitTerms(2.0, 5.0, 0.25, 2.0, 320.0, 340.0, 90.0, 60.0),
)

# per litre and mass fraction: CRC Handbook 102nd ed., 20 °C (30 % HCl; 96 % H2SO4)
ACIDS: dict[Acid, tuple[float, float]] = {"HCl": (9.456, 0.30), "H2SO4": (17.966, 0.96)}


def drip_run(salt: Salt = "Na2S2O5", acid: Acid = "HCl", salt_g: float = 80.0, acid_ml: float = 110.0) -> RunTerms:
    molar, fraction = ACIDS[acid]
    charge = DripTerms(
        salt=salt,
        salt_mass_g=Measured(salt_g, 0.5),
        salt_purity=Measured(0.97, 0.01),
        water_ml=120.0,
        acid=acid,
        acid_mol_per_l=Measured(molar),
        acid_mass_fraction=Measured(fraction),
        acid_volume_ml=acid_ml,
        flask_volume_ml=500.0,
    )
    return RunTerms("a test", "acid-drip", "drops", charge)


def bubble_run() -> RunTerms:
    return replace(drip_run(), meter="bubbles", bubble_volume_ul=Measured(150.0, 3.0))


def sulfur_run() -> RunTerms:
    charge = AcidOnSulfurTerms(
        Measured(16.03), Measured(17.966), Measured(0.96), 120.0, (280.0, 330.0), 500.0
    )  # half a mole of sulfur
    return RunTerms("a test", "acid-on-sulfur", "weighings", charge)


def burner_run() -> RunTerms:
    return RunTerms("a test", "burner", "weighings", BurnerTerms(Measured(3.206), 4.0))  # a tenth of a mole
