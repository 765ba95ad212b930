"""run.toml to the validated, frozen terms of one generation."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any, cast, get_args

from monitor.chemistry import acids, bases, receivers
from monitor.chemistry.gas import ATMOSPHERE_PA, water_vapour_pressure_pa
from monitor.chemistry.prices import dripped_kg_per_l, sulfuric_kg_per_l
from monitor.quantities import parse_price, parse_quantity
from monitor.settings_table import SPREAD, Table, refuse, shown
from monitor.terms import (
    Acid,
    AcidOnSulfurTerms,
    BurnerTerms,
    DripTerms,
    LearnedTerms,
    Measured,
    Meter,
    PlanTerms,
    PriceTerms,
    ReceiverTerms,
    Route,
    RunTerms,
    Salt,
    ScrubberTerms,
)

MOST_VAPOUR = 0.9  # of the pressure; with more of it there is no gas left to reckon with (`liquor`)
LEAST_RUNS = 3  # fewer teach nothing: see `monitor.learning`
TITLE = r"[^\x00-\x08\x0a-\x1f\x7f-\x9f\u2028\u2029]{1,200}"  # nothing that ends a line or steers a terminal
BASE_MAX_MOL_PER_L = 20.0  # 50 % caustic soda is 19.1 mol/L; stronger is sold solid

# Pairs of route and meter that make no sense, and what is wanted instead.
SENSELESS_METERS: dict[tuple[Route, Meter], str] = {
    ("acid-on-sulfur", "drops"): '"bubbles" or "weighings", for no acid drips',
    ("burner", "drops"): '"weighings", for no acid drips',
    ("burner", "bubbles"): '"weighings", for the gas is mostly air',
}


def run_from(data: dict[str, Any], file: str) -> RunTerms:
    """Validate the contents of run.toml.

    Raises:
        SettingsError: with every mistake.
    """
    wrong: list[str] = []
    top = Table(file, "", data, wrong)
    title = top.text("title", TITLE, "a title of 1 to 200 characters on one line")
    g = top.table("generator", required=True)
    if g is None:
        refuse(wrong)
        raise AssertionError  # it has raised
    route = cast(Route, g.choice("route", get_args(Route)))
    meter = cast(Meter, g.choice("meter", get_args(Meter)))
    if (route, meter) in SENSELESS_METERS:
        g.say("meter", repr(meter), f"{SENSELESS_METERS[route, meter]} on the {route} route")
    bubbles = meter == "bubbles"
    bubble = g.measured("bubble_volume", "microliter", above=0.0, high=10000.0) if bubbles else None
    bubble_day = g.day("bubble_calibrated") if bubbles else None
    for key in ("bubble_volume", "bubble_calibrated"):
        if not bubbles and g.has(key):
            g.say(key, "this key", 'it only beside meter = "bubbles"')
    builders: dict[str, Callable[[Table], DripTerms | AcidOnSulfurTerms | BurnerTerms]] = {
        "acid-drip": _drip,
        "acid-on-sulfur": _acid_on_sulfur,
        "burner": _burner,
    }
    charge = builders[route](g)
    g.finish()
    receiver = scrubber = None
    t = top.table("receiver", required=False)
    if t is not None:
        receiver = _receiver(t, charge.temperature_c)
        t.finish()
    t = top.table("scrubber", required=False)
    if t is not None:
        scrubber = _scrubber(t)
        t.finish()
    planned, prices, learned = PlanTerms(), PriceTerms(), None
    t = top.table("plan", required=False)
    if t is not None:
        planned = _planned(t)
        t.finish()
    t = top.table("prices", required=False)
    if t is not None:
        prices = _prices(t, charge)
        t.finish()
    t = top.table("learned", required=False)
    if t is not None:
        learned = _learned(t)
        t.finish()
    top.finish()
    refuse(wrong)
    return RunTerms(title, route, meter, charge, receiver, scrubber, bubble, bubble_day, planned, prices, learned)


def _surroundings(g: Table) -> tuple[float, float]:
    before = len(g.wrong)
    t_c = g.value("temperature", "degC", low=0.0, high=100.0, default="22 degC", bounds="from 0 to 100 degC")
    p_pa = g.value("pressure", "pascal", low=5e4, high=1.2e5, default="1 atm", bounds="from 0.5 to 1.2 atm")
    if len(g.wrong) == before and water_vapour_pressure_pa(t_c) > MOST_VAPOUR * p_pa:
        g.say(
            "temperature", f"{t_c:g} degC", f"well under the boiling point of water at {p_pa / ATMOSPHERE_PA:.3g} atm"
        )
    return t_c, p_pa


def _strength(g: Table, key: str, acid: Acid) -> tuple[Measured, Measured]:
    """Strength as mol/L and as mass fraction, whichever of the two was given."""
    example = 'a text like "30 %" or "9.5 mol/L"'
    raw = g.raw(key, None, example)
    nothing = Measured(1.0), Measured(0.1)
    if raw is None:
        return nothing
    by_mass = isinstance(raw, str) and ("%" in raw or "percent" in raw)
    try:
        given = parse_quantity(raw, "dimensionless" if by_mass else "mole / liter")
    except ValueError:
        g.say(key, shown(raw), example)
        return nothing
    convert = acids.mol_per_l_from_mass_fraction if by_mass else acids.mass_fraction_from_mol_per_l
    try:
        other = _carried(convert, acid, given)
    except ValueError as why:
        g.say(key, shown(raw), f"a strength that the tables hold: {why}")
        return nothing
    if given.u >= given.value:
        g.say(key, shown(raw), SPREAD)
    return (other, given) if by_mass else (given, other)


def _carried(convert: Callable[[Acid, float], float], acid: Acid, given: Measured) -> Measured:
    """A strength converted, its uncertainty with it by the same proportion (the two are nearly proportional)."""
    value = convert(acid, given.value)
    return Measured(value, given.u * value / given.value)


def _drip(g: Table) -> DripTerms:
    before = len(g.wrong)
    acid = cast(Acid, g.choice("acid", get_args(Acid)))
    molar, mass = _strength(g, "acid_strength", acid)
    t_c, p_pa = _surroundings(g)
    charge = DripTerms(
        salt=cast(Salt, g.choice("salt", get_args(Salt))),
        salt_mass_g=g.measured("salt_mass", "gram", above=0.0, high=1e5),
        salt_purity=g.measured("salt_purity", "dimensionless", above=0.0, high=1.0, default="97 +/- 1 %"),
        water_ml=g.value("water", "milliliter", above=0.0, high=1e6),
        acid=acid,
        acid_mol_per_l=molar,
        acid_mass_fraction=mass,
        acid_volume_ml=g.value("acid_volume", "milliliter", above=0.0, high=1e6),
        flask_volume_ml=g.value("flask_volume", "milliliter", above=0.0, high=1e6),
        temperature_c=t_c,
        pressure_pa=p_pa,
    )
    filled = charge.water_ml + charge.acid_volume_ml
    if len(g.wrong) == before and filled >= charge.flask_volume_ml:
        g.say("flask_volume", f"{charge.flask_volume_ml:g} mL", f"more than water and acid together, {filled:g} mL")
    return charge


def _acid_on_sulfur(g: Table) -> AcidOnSulfurTerms:
    acid = cast(Acid, g.choice("acid", ("H2SO4",), "H2SO4"))
    molar, mass = _strength(g, "acid_strength", acid)
    t_c, p_pa = _surroundings(g)
    raw = g.raw("window", ["280 degC", "330 degC"])
    low = high = 0.0
    try:
        low, high = (parse_quantity(v, "degC").value for v in raw)
        if not 0.0 <= low < high <= 1300.0:
            raise ValueError
    except (ValueError, TypeError):
        wanted = 'two rising temperatures from 0 to 1300 degC like ["280 degC", "330 degC"]'
        g.say("window", shown(raw), wanted)
    return AcidOnSulfurTerms(
        sulfur_mass_g=g.measured("sulfur_mass", "gram", above=0.0, high=1e5),
        acid_mol_per_l=molar,
        acid_mass_fraction=mass,
        acid_volume_ml=g.value("acid_volume", "milliliter", above=0.0, high=1e6),
        window_c=(low, high),
        flask_volume_ml=g.value("flask_volume", "milliliter", above=0.0, high=1e6, default="500 mL"),
        temperature_c=t_c,
        pressure_pa=p_pa,
    )


def _burner(g: Table) -> BurnerTerms:
    t_c, p_pa = _surroundings(g)
    return BurnerTerms(
        sulfur_mass_g=g.measured("sulfur_mass", "gram", above=0.0, high=1e5),
        draw_l_per_min=g.value("draw", "liter / minute", above=0.0, high=1000.0),
        temperature_c=t_c,
        pressure_pa=p_pa,
    )


def _receiver(t: Table, temperature_c: float) -> ReceiverTerms:
    excess = t.value("excess", "dimensionless", low=0.0, high=10.0, default="0 %")
    if t.has("need"):
        for key in ("reaction", "amount"):
            if t.has(key):
                t.say(key, "this beside need", "either need, or reaction and amount")
        return ReceiverTerms(None, t.value("need", "mole", above=0.0, high=1e4) * (1.0 + excess), excess)
    reaction = t.choice("reaction", tuple(receivers.REACTIONS))
    raw = t.raw("amount", None, 'a text like "12 g" or "0.3 mol"')
    if raw is None:
        return ReceiverTerms(reaction, 1.0, excess)
    for unit, name in (("gram", "amount_g"), ("mole", "amount_mol")):
        try:
            amount = parse_quantity(raw, unit).value
        except ValueError:
            continue
        if 0.0 < amount <= 1e5:
            need = receivers.need_mol(reaction, excess=excess, temperature_c=temperature_c, **{name: amount})
            return ReceiverTerms(reaction, need, excess)
    t.say("amount", shown(raw), 'a positive amount like "12 g" or "0.3 mol", at most 100000 of either')
    return ReceiverTerms(reaction, 1.0, excess)


def _scrubber(t: Table) -> ScrubberTerms:
    base = t.choice("base", ("NaOH", "Na2CO3"))
    volume_l = t.value("volume", "liter", above=0.0, high=1e4)
    example = 'a text like "10 %" or "2.8 mol/L"'
    raw = t.raw("strength", None, example)
    molar = 1.0
    if raw is not None:
        by_mass = isinstance(raw, str) and ("%" in raw or "percent" in raw)
        try:
            given = parse_quantity(raw, "dimensionless" if by_mass else "mole / liter").value
        except ValueError:
            t.say("strength", shown(raw), example)
            return ScrubberTerms(cast(Any, base), molar, volume_l)
        try:
            molar = bases.mol_per_l_from_mass_fraction(base, given) if by_mass else given
        except ValueError as why:
            t.say("strength", shown(raw), str(why))
        if not 0.0 < molar <= BASE_MAX_MOL_PER_L:
            t.say("strength", shown(raw), f"more than 0 and at most {BASE_MAX_MOL_PER_L:g} mol/L")
    return ScrubberTerms(cast(Any, base), molar, volume_l)


def _planned(t: Table) -> PlanTerms:
    rate = t.value("rate", "1 / minute", above=0.0, high=3000.0) if t.has("rate") else None
    return PlanTerms(rate, t.value("warm", "degC", low=0.0, high=100.0, default="60 degC"))


def _prices(t: Table, charge: DripTerms | AcidOnSulfurTerms | BurnerTerms) -> PriceTerms:
    whole = len(t.wrong) == 0  # else the charge may be none, and has no density
    got: dict[str, float] = {}
    currencies: dict[str, str] = {}
    liquids = {
        "acid": dripped_kg_per_l(charge) if whole else 1.0,
        "sulfuric": sulfuric_kg_per_l(charge) if whole else 1.0,
    }
    for key in ("salt", "acid", "sulfuric", "sulfur"):
        if not t.has(key):
            continue
        raw = t.data[key]
        try:
            per, currency = parse_price(raw, liquids.get(key))
        except ValueError as why:
            t.say(key, shown(raw), str(why))
            continue
        got[f"{key}_per_l" if key in liquids else f"{key}_per_kg"] = per
        currencies.setdefault(currency, key)
        if len(currencies) > 1:
            first = next(iter(currencies))
            t.say(key, f"a price in {currency}", f"one in {first}, as {currencies[first]} is: nothing is converted")
            currencies.pop(currency)
    return PriceTerms(**got, currency=next(iter(currencies), ""))


def _learned(t: Table) -> LearnedTerms:
    share = t.measured("yield", "dimensionless", low=0.1, high=1.5, bounds="from 10 to 150 %")
    runs = int(t.number("runs", LEAST_RUNS, 10_000))
    days: dict[str, date] = {}
    for key in ("since", "fitted"):
        day = t.day(key)
        if day is None and not t.has(key):
            t.say(key, "nothing", "a date like 2026-11-20, without quotes")
        days[key] = day or date.min
    return LearnedTerms(share, runs, days["since"], days["fitted"])
