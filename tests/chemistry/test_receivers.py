"""What the receivers want, against published recipes and balanced equations."""

from __future__ import annotations

import re

import periodictable
import pytest

from monitor.chemistry.planning import scrubber_capacity_mol
from monitor.chemistry.receivers import REACTIONS, need_mol
from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL
from monitor.terms import ScrubberTerms


def test_gold_takes_the_published_salt() -> None:
    """A gram of gold takes 0.87 g metabisulfite or 1.15 g sodium sulfite with 20 % excess, as refining texts say."""
    so2_mol = need_mol("Au", amount_g=1.0, excess=0.20)
    assert so2_mol / 2 * MOLAR_MASS_G_PER_MOL["Na2S2O5"] == pytest.approx(0.87, abs=0.005)
    assert so2_mol * MOLAR_MASS_G_PER_MOL["Na2SO3"] == pytest.approx(1.15, abs=0.005)
    assert need_mol("Au", amount_g=1.0) * MOLAR_MASS_G_PER_MOL["SO2"] == pytest.approx(0.4878, abs=5e-5)


def test_a_litre_of_caustic_takes_the_published_gas() -> None:
    """1 L of 10 % NaOH, 2.772 mol/L (CRC Handbook), takes 88.8 g SO2 to sulfite and 177.6 g to bisulfite."""
    to_sulfite = scrubber_capacity_mol(ScrubberTerms("NaOH", 2.772, 1.0))
    assert to_sulfite * MOLAR_MASS_G_PER_MOL["SO2"] == pytest.approx(88.8, abs=0.05)
    assert need_mol("NaOH-sulfite", amount_mol=2.772) == pytest.approx(to_sulfite)
    assert need_mol("NaOH-bisulfite", amount_mol=2.772) * MOLAR_MASS_G_PER_MOL["SO2"] == pytest.approx(
        177.6, abs=0.05
    )


def _atoms(side: str) -> dict[str, float]:
    total: dict[str, float] = {}
    for term in side.split(" + "):
        match = re.fullmatch(r"(\d*) ?([A-Z].*)", term.strip())
        assert match is not None, term
        count = int(match[1] or 1)
        for element, atoms in periodictable.formula(match[2]).atoms.items():
            total[str(element)] = total.get(str(element), 0.0) + count * atoms
    return total


@pytest.mark.parametrize("name", [name for name in REACTIONS if name != "water"])
def test_the_equation_balances_and_gives_the_ratio(name: str) -> None:
    """Each receiver's equation balances, and its ratio of SO2 to the receiver is the one used."""
    equation = REACTIONS[name].words.split(": ")[1]
    left, right = equation.split(" → ")
    assert _atoms(left) == _atoms(right)
    counts = {m[2]: int(m[1] or 1) for m in re.finditer(r"(\d*) ?([A-Z][A-Za-z0-9]*)", left)}
    receiver = REACTIONS[name].amount_of
    per_formula = _atoms(left).get(receiver) if receiver in ("Au", "Se", "Te", "Cr") else counts[receiver]
    assert per_formula is not None
    assert counts["SO2"] / per_formula == REACTIONS[name].so2_per_mol


def test_grams_and_moles_agree() -> None:
    """12 g of selenium want what 12/78.971 mol of it want: twice as much SO2."""
    assert need_mol("Se", amount_g=12.0, excess=0.1) == pytest.approx(2 * 12.0 / 78.971 * 1.1)
    assert need_mol("Se", amount_mol=12.0 / 78.971, excess=0.1) == pytest.approx(
        need_mol("Se", amount_g=12.0, excess=0.1)
    )


def test_cold_water_takes_more() -> None:
    """Water takes less SO2 the warmer it is."""
    needs = [need_mol("water", amount_g=1000.0, temperature_c=t) for t in (10.0, 20.0, 30.0, 40.0)]
    assert needs == sorted(needs, reverse=True)


def test_an_unknown_reaction_is_refused_with_the_known_ones() -> None:
    """A receiver that is not in the list is refused, and the list is shown."""
    with pytest.raises(ValueError, match=r"'Ag' is not known; known are Au, Se, Te.*water"):
        need_mol("Ag", amount_g=1.0)


@pytest.mark.parametrize(("grams", "moles"), [(None, None), (1.0, 1.0)])
def test_just_one_amount_is_taken(grams: float | None, moles: float | None) -> None:
    """No amount, or two, is refused."""
    with pytest.raises(ValueError, match="either an amount in grams or one in moles"):
        need_mol("Au", amount_g=grams, amount_mol=moles)
