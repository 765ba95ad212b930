"""What to beware of in a planned run, in plain sentences, the worst first.

An aid: it knows only what the settings files say. The last caution says who has the last word.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum

from monitor.chemistry.coil import COIL_LEAVES_AT_C, USUAL_FRACTION, coil_exit_c
from monitor.chemistry.substances import SALTS
from monitor.terms import AcidOnSulfurTerms, BenchTerms, BurnerTerms, DripTerms, RunTerms

IDLH_PPM = 100.0  # immediately dangerous to life or health: NIOSH IDLH documentation, SO2, 7446-09-5 (1994)
SCRUBBER_RESERVE = 0.20  # wanted left over after the whole charge; common practice, no source
FLASK_FILL = 2.0 / 3.0  # fullest that leaves room for foam; common practice, no source
LARGE_ACID_EXCESS = 0.30  # more than this does nothing but fume; common practice, no source
FUMING_HCL_FRACTION = 0.20  # hydrochloric acid stronger than its azeotrope (20.2 %, CRC Handbook) fumes
STRONG_H2SO4_FRACTION = 0.70  # above this it spits and heats sharply when it meets water; common practice, no source
MODEL_RANGE_C = (5.0, 60.0)  # Goldberg & Parker (1985) begin at 5 °C; over 60 °C water vapour and foam take over
H2SO4_BOILING_C = 337.0  # 98.3 % azeotrope, CRC Handbook
H2SO4_DECOMPOSING_C = 300.0  # it begins to give off sulfur trioxide and water; from memory of handbooks
SULFUR_MELTING_C = 115.2  # CRC Handbook


class Weight(IntEnum):
    """How bad: the order of the sentences."""

    DANGER = 0
    FAULT = 1
    CARE = 2
    NOTE = 3
    ALWAYS = 4


@dataclass(frozen=True, slots=True)
class Facts:
    """What the plan has found; None where unknown."""

    run: RunTerms
    bench: BenchTerms | None
    most_so2_mol: float
    acid_excess: float | None
    held_mol: float | None
    delivered_mol: float | None
    delivered_expanded_uncertainty_mol: float | None
    need_mol: float | None
    acid_volume_for_need_ml: float | None
    liquor_ml: float | None
    scrubber_capacity_mol: float | None
    worst_case_ppm: float | None


def cautions_for(facts: Facts) -> tuple[str, ...]:
    """The cautions of a plan, worst first."""
    charge = facts.run.charge
    found = [*_room(facts), *_scrubber(facts), *_need(facts), *_learned(facts), *_always(facts)]
    if isinstance(charge, DripTerms):
        found += [*_flask(facts, charge.flask_volume_ml), *_drip(facts, charge)]
    elif isinstance(charge, AcidOnSulfurTerms):
        found += [*_flask(facts, charge.flask_volume_ml), *_hot_acid(facts, charge)]
    else:
        found += list(_burner(charge))
    return tuple(sentence for _, sentence in sorted(found, key=lambda item: item[0]))


def _percent(fraction: float) -> str:
    return f"{100 * fraction:.0f} %"


def _room(facts: Facts) -> Iterator[tuple[Weight, str]]:
    if facts.bench is None or facts.worst_case_ppm is None:
        yield Weight.CARE, "No bench file was given, so the worst case in the room is not worked out."
        return
    ppm, room_m3 = facts.worst_case_ppm, facts.bench.room.volume_m3
    all_at_once = f"All the SO2 of this charge let go at once would make {ppm:.3g} ppm in the room's {room_m3:g} m³"
    high_high = facts.bench.limits.gas_high_high_ppm
    if ppm >= IDLH_PPM:
        yield (
            Weight.DANGER,
            f"{all_at_once}, {ppm / IDLH_PPM:.2g} times what is immediately dangerous to life or health "
            f"({IDLH_PPM:g} ppm, NIOSH IDLH); work in a hood that draws, and know the way out.",
        )
    elif ppm >= high_high:
        yield Weight.FAULT, f"{all_at_once}, over this bench's upper alarm limit of {high_high:g} ppm."
    else:
        yield Weight.NOTE, f"{all_at_once}, under this bench's upper alarm limit of {high_high:g} ppm."


def _scrubber(facts: Facts) -> Iterator[tuple[Weight, str]]:
    if facts.scrubber_capacity_mol is None:
        yield (
            Weight.FAULT,
            "The run file names no scrubber: what the receiver does not take goes into the hood's air.",
        )
        return
    capacity, charge = facts.scrubber_capacity_mol, facts.most_so2_mol
    sizes = f"The scrubber takes {capacity:.3g} mol SO2 to sulfite and the charge can make {charge:.3g} mol"
    if charge > capacity:
        yield Weight.DANGER, f"{sizes}: it cannot take the whole charge; use more base."
    elif 1.0 - charge / capacity < SCRUBBER_RESERVE:
        left = 1.0 - charge / capacity
        yield Weight.FAULT, f"{sizes}: {_percent(left)} would be left, under {_percent(SCRUBBER_RESERVE)}: more base."


def _need(facts: Facts) -> Iterator[tuple[Weight, str]]:
    need, delivered = facts.need_mol, facts.delivered_mol
    if need is None or delivered is None:
        return
    expanded = facts.delivered_expanded_uncertainty_mol or 0.0
    if delivered < need:
        yield (
            Weight.FAULT,
            f"The receiver wants {need:.3g} mol SO2 and this run delivers {delivered:.3g} mol with all its acid in; "
            "what is held in the flask comes over only if it is warmed or swept.",
        )
    elif delivered - expanded < need:
        yield (
            Weight.CARE,
            f"The receiver wants {need:.3g} mol SO2 and this run delivers {delivered:.3g} ± {expanded:.2g} mol "
            "(k = 2): it may fall short.",
        )


def _learned(facts: Facts) -> Iterator[tuple[Weight, str]]:
    learned = facts.run.learned
    if learned is not None:
        share = learned.yield_share
        of = "what the charge should give" if isinstance(facts.run.charge, DripTerms) else "what the equation gives"
        yield (
            Weight.CARE,
            f"What goes over is reckoned as {100 * share.value:.0f} ± {200 * share.u:.0f} % (k = 2) of {of}, as"
            f" {learned.runs} runs since {learned.since.isoformat()} gave (fitted "
            f"{learned.fitted.isoformat()}): the run file says so in [learned]; where the rest stays is not known.",
        )


def _flask(facts: Facts, flask_ml: float) -> Iterator[tuple[Weight, str]]:
    if facts.liquor_ml is None:
        return
    filled = facts.liquor_ml / flask_ml
    contents = f"With all the acid in, the flask of {flask_ml:g} mL holds about {facts.liquor_ml:.0f} mL"
    if filled >= 1.0:
        yield Weight.DANGER, f"{contents}: it overflows; take a larger flask."
    elif filled > FLASK_FILL:
        yield Weight.FAULT, f"{contents}, more than two thirds of it, and gas makes it foam; take a larger flask."


def _drip(facts: Facts, charge: DripTerms) -> Iterator[tuple[Weight, str]]:
    excess = facts.acid_excess or 0.0
    if excess < 0.0:
        yield (
            Weight.CARE,
            f"The acid is {_percent(-excess)} short of what turns all the {SALTS[charge.salt].words}: the spent "
            "liquor still gives SO2 to any acid that it meets.",
        )
    elif excess > LARGE_ACID_EXCESS:
        yield Weight.CARE, f"The acid is {_percent(excess)} over what the salt can use: the excess makes no more SO2."
    strength = charge.acid_mass_fraction.value
    if charge.acid == "HCl":
        if 0.29 <= strength <= 0.32:
            yield (
                Weight.CARE,
                "30 % hydrochloric acid is 9.46 mol/L, not 10: taking one for the other is a 5 % error of the dose; "
                f"this run reckons with {100 * strength:.1f} %, {charge.acid_mol_per_l.value:.3g} mol/L.",
            )
        if strength > FUMING_HCL_FRACTION:
            yield (
                Weight.CARE,
                "Strong hydrochloric acid fumes, and some hydrogen chloride goes over with the gas; a wash bottle of "
                "saturated bisulfite or SO2 water holds it back.",
            )
    elif strength > STRONG_H2SO4_FRACTION:
        yield Weight.CARE, "Strong sulfuric acid heats and spits where it meets the liquor; drip it slowly and stir."
    low_c, high_c = MODEL_RANGE_C
    if not low_c <= charge.temperature_c <= high_c:
        yield (
            Weight.CARE,
            f"The liquor is at {charge.temperature_c:g} °C and the solubility behind these figures is good from "
            f"{low_c:g} to {high_c:g} °C: held and delivered are less sure than they say.",
        )
    if facts.held_mol is not None and facts.held_mol > 0.0:
        yield (
            Weight.CARE,
            f"About {facts.held_mol:.2g} mol SO2 stays in the flask, and goes on coming after the tap is shut or "
            "when the flask is warmed, swept or emptied; how much is known to 5 to 10 %.",
        )
    yield (
        Weight.CARE,
        "When the gas slackens the receiver can be drawn back into the flask: put an empty trap between.",
    )


def _hot_acid(facts: Facts, charge: AcidOnSulfurTerms) -> Iterator[tuple[Weight, str]]:
    low_c, high_c = charge.window_c
    yield (
        Weight.DANGER,
        f"Sulfuric acid at {low_c:g} to {high_c:g} °C destroys skin and eyes at once and breaks glass that is wetted "
        "or cooled suddenly: shield it, and let it cool before anything is moved.",
    )
    if high_c >= H2SO4_BOILING_C:
        yield (
            Weight.DANGER,
            f"The window goes to {high_c:g} °C and sulfuric acid boils at {H2SO4_BOILING_C:g} °C: it would "
            "distil over.",
        )
    elif high_c > H2SO4_DECOMPOSING_C:
        yield (
            Weight.CARE,
            f"Over {H2SO4_DECOMPOSING_C:g} °C sulfuric acid begins to give off sulfur trioxide; acid mist and sulfur "
            "vapour carry over and block tubes as they cool.",
        )
    if low_c <= SULFUR_MELTING_C:
        yield Weight.CARE, f"The window begins below {SULFUR_MELTING_C:g} °C, where sulfur is solid and makes no gas."
    if (facts.acid_excess or 0.0) < 0.0:
        yield Weight.CARE, "There is less acid than the sulfur can use: sulfur is left in the flask."
    yield (
        Weight.NOTE,
        f"At most {facts.most_so2_mol:.3g} mol SO2 by the equation; the acid weakens as it works, so weigh what is "
        "made.",
    )


def _burner(charge: BurnerTerms) -> Iterator[tuple[Weight, str]]:
    yield (
        Weight.DANGER,
        "Burning sulfur melts, runs and spreads, and its flame is hard to see: burn it on a fireproof tray, with "
        "sand at hand, and never leave the draught off while it burns.",
    )
    yield (
        Weight.CARE,
        f"The gas is SO2 in air, at most about 21 %, at {charge.draw_l_per_min:g} L/min: the scrubber has to take it "
        "at that flow, and the coil to cool it.",
    )
    yield (
        Weight.CARE,
        "What the pump or aspirator blows out still holds what the receiver and the scrubber did not take: lead it "
        "into the hood, never into the room.",
    )
    exit_c = coil_exit_c(charge.draw_l_per_min, USUAL_FRACTION, charge.temperature_c, charge.pressure_pa)
    if exit_c > COIL_LEAVES_AT_C:
        yield (
            Weight.FAULT,
            f"At {charge.draw_l_per_min:g} L/min and 10 % SO2 the gas leaves two metres of coil at about "
            f"{exit_c:.0f} °C, over the {COIL_LEAVES_AT_C:g} °C that soft hose stands (an estimate): draw less, or "
            "cool the coil.",
        )


def _always(facts: Facts) -> Iterator[tuple[Weight, str]]:
    acids = "" if isinstance(facts.run.charge, BurnerTerms) else ", and strong acid burns skin and eyes"
    yield (
        Weight.ALWAYS,
        f"Sulfur dioxide is toxic, heavier than air and dangerous to people with asthma{acids}: work in a hood, with "
        "eye protection and gloves, and not alone.",
    )
    yield (
        Weight.ALWAYS,
        "These figures are an aid: local rules and licensed practice come first, and a certified detector does the "
        "guarding.",
    )
