"""What is still in a flask, in words: grams, where they are, and what they would make of the room's air.

Promise: an amount is called little only when, with two standard uncertainties on top and all let go at once, it would
stay under the bench's own gas alarm in the bench's own room; otherwise it is named with its uncertainty.
"""

from __future__ import annotations

from typing import NamedTuple

from monitor.chemistry.gas import ppm_of_amount
from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL
from monitor.terms import COVERAGE

SO2_G_PER_MOL = MOLAR_MASS_G_PER_MOL["SO2"]
NOT_CLEARED = " Nothing says that it is being swept or warmed out."
LEAST_MOL = 1e-4  # less is not told apart: 6 mg


class Left(NamedTuple):
    """What is in the flask by the account: SO2 in liquor and headspace, and what is locked, mol; `u` with k = 1.

    `cleared_mol` was swept or warmed out; while that goes on, `air_l_per_min` and `liquor_c` say by what.
    """

    liquor_mol: float
    headspace_mol: float
    u_held_mol: float
    locked_mol: float
    cleared_mol: float = 0.0
    air_l_per_min: float | None = None
    liquor_c: float | None = None


def is_little(left: Left, room_m3: float, alarm_ppm: float) -> bool:
    """Whether all that is held, with its uncertainty on top, stays under the alarm when it is let go at once."""
    most_mol = left.liquor_mol + left.headspace_mol + COVERAGE * left.u_held_mol
    return ppm_of_amount(most_mol, room_m3) < alarm_ppm


def held_words(left: Left, room_m3: float, alarm_ppm: float) -> str:
    """What is left, as sentences, against a room of `room_m3` and the gas alarm of `alarm_ppm`."""
    ppm_per_mol = ppm_of_amount(1.0, room_m3)
    held_mol = left.liquor_mol + left.headspace_mol
    most_mol = held_mol + COVERAGE * left.u_held_mol
    locked = ""
    if left.locked_mol * ppm_per_mol >= alarm_ppm:
        locked = f" Another {_grams(left.locked_mol)} are locked in the charge: acid or heat can set them free."
    if is_little(left, room_m3, alarm_ppm):
        return (
            f"By the account at most {_grams(max(most_mol, LEAST_MOL))} of SO2 are left in the flask: let go at "
            f"once, under {alarm_ppm:g} ppm in this room.{_cleared_words(left)}{locked}"
        )
    return (
        f"By the account {_with_u(held_mol, left.u_held_mol)} of SO2 ({held_mol:.3f} mol) are still in the flask, "
        f"{_grams(left.liquor_mol)} dissolved in the liquor and {_grams(left.headspace_mol)} over it, and come out "
        f"when it is stirred, warmed, acidified or poured: let go at once, {held_mol * ppm_per_mol:.2g} ppm in this "
        f"room. Open it under the hood alone.{_cleared_words(left) or NOT_CLEARED}{locked}"
    )


def _cleared_words(left: Left) -> str:
    if left.air_l_per_min is not None and left.liquor_c is not None:
        return (
            f" With {left.air_l_per_min:g} L of air a minute, the liquor at {left.liquor_c:g} °C, "
            f"{_grams(left.cleared_mol)} have come out, as reckoned for a liquor that is stirred."
        )
    return f" {_grams(left.cleared_mol)} were swept or warmed out." if left.cleared_mol >= LEAST_MOL else ""


def _with_u(mol: float, u_mol: float) -> str:
    """Grams ± two standard uncertainties, both to the same place."""
    expanded = COVERAGE * SO2_G_PER_MOL * u_mol
    places = 0 if expanded >= 10.0 else 1 if expanded >= 1.0 else 2
    return f"{SO2_G_PER_MOL * mol:.{places}f} ± {expanded:.{places}f} g"


def _grams(mol: float) -> str:
    grams = SO2_G_PER_MOL * mol
    return f"{grams:.0f} g" if grams >= 10.0 else f"{grams:.1f} g" if grams >= 1.0 else f"{grams:.2f} g"
