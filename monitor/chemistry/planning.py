"""A run before it is run: what will be made, held and delivered, in what acid, and what to beware of.

Promise: each figure follows from the two settings files, or is None; nothing is guessed. A yield that past runs gave
counts only where the run file states it: then delivered is that share of what it would be, and not what is held.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from math import ceil, hypot
from typing import Any, Literal

from monitor.chemistry.cautions import Facts, cautions_for
from monitor.chemistry.drops import drops_for_ml
from monitor.chemistry.gas import ppm_of_amount, so2_molar_volume_l
from monitor.chemistry.substances import ACID_EQUIVALENTS, MOLAR_MASS_G_PER_MOL, SALTS, sulfur_iv_mol
from monitor.chemistry.trajectory import build_trajectory
from monitor.terms import (
    COVERAGE,
    AcidOnSulfurTerms,
    BenchTerms,
    BurnerTerms,
    DripTerms,
    LearnedTerms,
    Measured,
    RunTerms,
    ScrubberTerms,
)

# SO2 that a mole of the base takes when it goes to the normal sulfite.
SO2_PER_BASE_TO_SULFITE = {"NaOH": 0.5, "Na2CO3": 1.0}


@dataclass(frozen=True, slots=True)
class Plan:
    """The figures of a plan; None where the files do not say enough. Amounts are of SO2 unless named otherwise.

    `acid_excess` is acid equivalents over those that turn all the sulfur to SO2, less 1. `scrubber_capacity_mol` is
    to the normal sulfite. `worst_case_ppm` is all the SO2 that the charge can make, let go at once into the room at
    25 °C and 1 atm. `most_so2_mol` is that SO2, by stoichiometry; on the drip route it is the charged sulfur(IV).
    """

    sulfur_iv_mol: float | None
    most_so2_mol: float
    acid_mol: float | None
    acid_mol_per_l: float | None
    acid_mass_percent: float | None
    limiting: Literal["salt", "acid"] | None
    acid_excess: float | None
    generated_mol: float | None
    held_mol: float | None
    delivered_mol: float | None
    delivered_expanded_uncertainty_mol: float | None
    delivered_g: float | None
    gas_volume_l: float | None
    need_mol: float | None
    acid_volume_for_need_ml: float | None
    drops_for_need: int | None
    scrubber_capacity_mol: float | None
    worst_case_ppm: float | None
    cautions: tuple[str, ...]

    def as_json_dict(self) -> dict[str, Any]:
        """The plan as JSON types, under the names of its fields."""
        return asdict(self) | {"cautions": list(self.cautions)}


@dataclass(frozen=True, slots=True)
class _Amounts:
    """What a route alone decides."""

    most_so2_mol: float
    sulfur_iv_mol: float | None = None
    acid_mol: float | None = None
    acid_mol_per_l: float | None = None
    acid_mass_percent: float | None = None
    limiting: Literal["salt", "acid"] | None = None
    acid_excess: float | None = None
    generated_mol: float | None = None
    held_mol: float | None = None
    delivered_mol: float | None = None
    delivered_u_mol: float | None = None
    acid_volume_for_need_ml: float | None = None
    liquor_ml: float | None = None


def plan(run: RunTerms, bench: BenchTerms | None) -> Plan:
    """Plan a run; without a bench the room and the drops are unknown."""
    need = run.receiver.need_mol if run.receiver is not None else None
    charge = run.charge
    if isinstance(charge, DripTerms):
        amounts = _drip(charge, need, bench, run.learned)
    elif isinstance(charge, AcidOnSulfurTerms):
        amounts = _of_equation(_acid_on_sulfur(charge), run)
    else:
        amounts = _of_equation(_burner(charge), run)
    capacity = scrubber_capacity_mol(run.scrubber) if run.scrubber is not None else None
    worst_ppm = ppm_of_amount(amounts.most_so2_mol, bench.room.volume_m3) if bench is not None else None
    delivered = amounts.delivered_mol
    expanded = None if amounts.delivered_u_mol is None else COVERAGE * amounts.delivered_u_mol
    need_ml = amounts.acid_volume_for_need_ml
    facts = Facts(
        run=run,
        bench=bench,
        most_so2_mol=amounts.most_so2_mol,
        acid_excess=amounts.acid_excess,
        held_mol=amounts.held_mol,
        delivered_mol=delivered,
        delivered_expanded_uncertainty_mol=expanded,
        need_mol=need,
        acid_volume_for_need_ml=need_ml,
        liquor_ml=amounts.liquor_ml,
        scrubber_capacity_mol=capacity,
        worst_case_ppm=worst_ppm,
    )
    molar_volume_l = so2_molar_volume_l(charge.temperature_c, charge.pressure_pa)
    return Plan(
        sulfur_iv_mol=amounts.sulfur_iv_mol,
        most_so2_mol=amounts.most_so2_mol,
        acid_mol=amounts.acid_mol,
        acid_mol_per_l=amounts.acid_mol_per_l,
        acid_mass_percent=amounts.acid_mass_percent,
        limiting=amounts.limiting,
        acid_excess=amounts.acid_excess,
        generated_mol=amounts.generated_mol,
        held_mol=amounts.held_mol,
        delivered_mol=delivered,
        delivered_expanded_uncertainty_mol=expanded,
        delivered_g=None if delivered is None else delivered * MOLAR_MASS_G_PER_MOL["SO2"],
        gas_volume_l=None if delivered is None else delivered * molar_volume_l,
        need_mol=need,
        acid_volume_for_need_ml=need_ml,
        drops_for_need=None
        if need_ml is None or bench is None
        else ceil(drops_for_ml(need_ml, bench.drops.volume_ul.value)),
        scrubber_capacity_mol=capacity,
        worst_case_ppm=worst_ppm,
        cautions=cautions_for(facts),
    )


def scrubber_capacity_mol(scrubber: ScrubberTerms) -> float:
    """SO2 that a scrubber takes before its base has all become the normal sulfite, mol."""
    return scrubber.base_mol_per_l * scrubber.volume_l * SO2_PER_BASE_TO_SULFITE[scrubber.base]


def most_so2_mol(charge: DripTerms | AcidOnSulfurTerms | BurnerTerms) -> float:
    """All the SO2 that a charge can make by stoichiometry, mol; on the drip route its sulfur(IV)."""
    if isinstance(charge, DripTerms):
        return sulfur_iv_mol(charge.salt, charge.salt_mass_g.value, charge.salt_purity.value)
    sulfur = charge.sulfur_mass_g.value / MOLAR_MASS_G_PER_MOL["S"]
    if isinstance(charge, BurnerTerms):
        return sulfur
    return min(3.0 * sulfur, 1.5 * charge.acid_mol_per_l.value * charge.acid_volume_ml / 1000.0)


def _drip(
    charge: DripTerms, need_mol: float | None, bench: BenchTerms | None, learned: LearnedTerms | None
) -> _Amounts:
    course = build_trajectory(charge)
    sulfur = sulfur_iv_mol(charge.salt, charge.salt_mass_g.value, charge.salt_purity.value)
    acid_mol = charge.acid_mol_per_l.value * charge.acid_volume_ml / 1000.0
    salt = SALTS[charge.salt]
    excess = acid_mol * ACID_EQUIVALENTS[charge.acid] / (sulfur * salt.protons_to_so2) - 1.0
    state = course.at(charge.acid_volume_ml)
    share = Measured(1.0) if learned is None else learned.yield_share
    delivered = min(share.value * state.delivered_mol, sulfur)
    held = min(state.held_mol, sulfur - delivered)
    drop_relative_u = 0.0 if bench is None else bench.drops.volume_ul.u / bench.drops.volume_ul.value
    return _Amounts(
        most_so2_mol=sulfur,
        sulfur_iv_mol=sulfur,
        acid_mol=acid_mol,
        acid_mol_per_l=charge.acid_mol_per_l.value,
        acid_mass_percent=charge.acid_mass_fraction.value * 100.0,
        limiting="salt" if excess >= 0.0 else "acid",
        acid_excess=excess,
        generated_mol=held + delivered,
        held_mol=held,
        delivered_mol=delivered,
        delivered_u_mol=hypot(
            share.value * course.uncertainty(charge.acid_volume_ml, drop_relative_u).delivered_mol,
            share.u * state.delivered_mol,
        ),
        acid_volume_for_need_ml=None if need_mol is None else course.acid_ml_for_delivered(need_mol / share.value),
        liquor_ml=charge.water_ml + charge.acid_volume_ml + sulfur * salt.volume_ml_per_sulfur_iv,
    )


def _acid_on_sulfur(charge: AcidOnSulfurTerms) -> _Amounts:
    """2 H2SO4 + S → 3 SO2 + 2 H2O: a ceiling only, for the acid weakens as it works and the yield is not known."""
    sulfur = charge.sulfur_mass_g.value / MOLAR_MASS_G_PER_MOL["S"]
    acid_mol = charge.acid_mol_per_l.value * charge.acid_volume_ml / 1000.0
    excess = acid_mol / (2.0 * sulfur) - 1.0
    return _Amounts(
        most_so2_mol=most_so2_mol(charge),
        acid_mol=acid_mol,
        acid_mol_per_l=charge.acid_mol_per_l.value,
        acid_mass_percent=charge.acid_mass_fraction.value * 100.0,
        limiting="acid" if excess < 0.0 else None,
        acid_excess=excess,
        liquor_ml=charge.acid_volume_ml,
    )


def _of_equation(amounts: _Amounts, run: RunTerms) -> _Amounts:
    """What goes over on a route whose yield is known only from past runs: their share of what the equation gives."""
    if run.learned is None or isinstance(run.charge, DripTerms):
        return amounts
    share, most = run.learned.yield_share, amounts.most_so2_mol
    sulfur = run.charge.sulfur_mass_g
    u_mol = most * hypot(share.u, share.value * sulfur.u / sulfur.value)
    return replace(amounts, delivered_mol=min(share.value * most, most), delivered_u_mol=u_mol)


def _burner(charge: BurnerTerms) -> _Amounts:
    """S + O2 → SO2: a ceiling only, for how much burns is weighed, not planned."""
    return _Amounts(most_so2_mol=most_so2_mol(charge))
