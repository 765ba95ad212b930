"""What a run was run with: the apparatus, its calibrations and how old they were, and the charge. Pure."""

from __future__ import annotations

from datetime import UTC, date, datetime

from monitor.report.facts import Facts
from monitor.report.pieces import Html, pairs, table
from monitor.report.words import UNKNOWN, number, with_u
from monitor.terms import AcidOnSulfurTerms, BurnerTerms, DripTerms

PA_PER_KPA = 1000.0


def apparatus(f: Facts) -> Html:
    """Calibrations with their dates, as bench.toml and run.toml had them."""
    b = f.bench
    day = datetime.fromtimestamp(f.header.start.utc_s, tz=UTC).date()
    rows = [
        ("Drop volume", with_u(b.drops.volume_ul.value, b.drops.volume_ul.u, "µL"), _aged(b.drops.calibrated, day)),
        (
            "Thermocouple offset",
            with_u(b.thermocouple.offset_c.value, b.thermocouple.offset_c.u, "°C"),
            _aged(b.thermocouple.calibrated, day),
        ),
        (
            "Gas sensor",
            f"zero {b.gas.zero_sum:g}, {b.gas.ppm_per_sum:g} ppm a count, ± {200.0 * b.gas.relative_u:.0f} %, "
            f"range {b.gas.range_ppm:g} ppm, T90 {b.gas.t90_s:g} s",
            _aged(b.gas.calibrated, day),
        ),
        ("Bump test", "", _aged(b.gas.bump_tested, day)),
        ("Room", f"{b.room.volume_m3:g} m³, ventilated with {b.room.ventilation_m3_per_h:g} m³ an hour", ""),
    ]
    if f.run.bubble_volume_ul is not None:
        bubble = f.run.bubble_volume_ul
        rows.insert(1, ("Bubble volume", with_u(bubble.value, bubble.u, "µL"), _aged(f.run.bubble_calibrated, day)))
    return table(("", "value (± is k = 2)", "calibrated"), rows)


def _aged(done: date | None, day: date) -> str:
    if done is None:
        return "no date"
    days = (day - done).days
    if days < 0:
        return f"{done.isoformat()}, after the day of this run"
    before = "the same day" if days == 0 else "1 day before" if days == 1 else f"{days} days before"
    return f"{done.isoformat()}, {before}"


def charge(f: Facts) -> Html:
    """The charge, its receiver and scrubber, with their uncertainties."""
    c, run = f.run.charge, f.run
    rows: list[tuple[object, object]] = [("Route", run.route), ("Metered by", run.meter)]
    if isinstance(c, DripTerms):
        purity = with_u(100.0 * c.salt_purity.value, 100.0 * c.salt_purity.u, "%")
        rows += [
            ("Salt", f"{c.salt}, {with_u(c.salt_mass_g.value, c.salt_mass_g.u, 'g')}, purity {purity}"),
            ("Water", number(c.water_ml, 3, "mL")),
            ("Acid", f"{c.acid}, {number(c.acid_volume_ml, 3, 'mL')} of {_strength(c)}"),
            ("Flask", number(c.flask_volume_ml, 3, "mL")),
        ]
    elif isinstance(c, AcidOnSulfurTerms):
        low, high = c.window_c
        rows += [
            ("Sulfur", with_u(c.sulfur_mass_g.value, c.sulfur_mass_g.u, "g")),
            ("Acid", f"H2SO4, {number(c.acid_volume_ml, 3, 'mL')} of {_strength(c)}"),
            ("Plate window", f"{low:g} to {high:g} °C"),
            ("Flask", number(c.flask_volume_ml, 3, "mL")),
        ]
    elif isinstance(c, BurnerTerms):
        rows += [
            ("Sulfur", with_u(c.sulfur_mass_g.value, c.sulfur_mass_g.u, "g")),
            ("Air drawn", f"{c.draw_l_per_min:g} L a minute"),
        ]
    rows.append(("Conditions", f"{c.temperature_c:g} °C, {c.pressure_pa / PA_PER_KPA:.1f} kPa"))
    r, s = run.receiver, run.scrubber
    if r is None:
        rows.append(("Receiver", UNKNOWN))
    else:
        of = f" by {r.reaction}" if r.reaction else ""
        rows.append(("Receiver", f"{number(r.need_mol)} mol SO2 wanted{of}, excess {100.0 * r.excess:g} % in it"))
    rows.append(("Scrubber", UNKNOWN if s is None else f"{s.base}, {s.volume_l:g} L of {s.base_mol_per_l:.2f} mol/L"))
    if run.learned is not None:
        share = with_u(100.0 * run.learned.yield_share.value, 100.0 * run.learned.yield_share.u, "%")
        of = f"{run.learned.runs} runs since {run.learned.since.isoformat()}, fitted {run.learned.fitted.isoformat()}"
        rows.append(("Planned with a past yield", f"{share}, of {of}; the account does not use it"))
    return pairs(rows)


def _strength(c: DripTerms | AcidOnSulfurTerms) -> str:
    percent = with_u(100.0 * c.acid_mass_fraction.value, 100.0 * c.acid_mass_fraction.u, "%")
    return f"{percent} by mass, {with_u(c.acid_mol_per_l.value, c.acid_mol_per_l.u, 'mol/L')}"
