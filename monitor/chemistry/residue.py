"""What is left in the flask, and in general words how such a thing is made safe. Local rules come first."""

from __future__ import annotations

from monitor.chemistry.substances import ACID_EQUIVALENTS, SALTS, sulfur_iv_mol
from monitor.terms import AcidOnSulfurTerms, BurnerTerms, DripTerms

# At neutral about half of the sulfur(IV) is sulfite and half bisulfite: pKa2 is 7.17 (Goldberg & Parker 1985).
NEUTRAL_CHARGE_PER_SULFUR = 1.5
LAST_WORD = "What may go down a drain, and what is collected, local rules and the waste contractor decide."


def residue_base_mol(charge: DripTerms, sulfur_left_mol: float) -> float:
    """Caustic soda, mol, that brings the spent liquor to neutral, where it gives off next to no SO2; at least 0.

    By the balance of charges: sodium or potassium of the salt, and the base, against chloride or sulfate and sulfite.
    """
    salt = SALTS[charge.salt]
    charged = sulfur_iv_mol(charge.salt, charge.salt_mass_g.value, charge.salt_purity.value)
    cations = charged / salt.sulfur_iv * salt.cations
    anions = charge.acid_mol_per_l.value * charge.acid_volume_ml / 1000.0 * ACID_EQUIVALENTS[charge.acid]
    return max(0.0, anions + NEUTRAL_CHARGE_PER_SULFUR * sulfur_left_mol - cations)


def residue_words(charge: DripTerms | AcidOnSulfurTerms | BurnerTerms) -> tuple[str, ...]:
    """How the residue is made safe, step by step, in general words (common practice, no source)."""
    if isinstance(charge, DripTerms):
        return (
            "The spent liquor is acid and full of SO2: it stays in the hood, open to the scrubber; no more acid.",
            "Cold, and in small portions, it is brought to neutral with soda or caustic soda; soda foams.",
            "Its sulfite takes the oxygen out of water: air, or a little dilute peroxide, turns it to sulfate first.",
            LAST_WORD,
        )
    if isinstance(charge, AcidOnSulfurTerms):
        return (
            "The acid that is left is hot and strong: it cools in its own flask, shielded, before anything else.",
            "Cold, it goes slowly into much cold water, never the other way; the sulfur is filtered off.",
            "The diluted acid is brought to neutral with soda or lime, in small portions.",
            LAST_WORD,
        )
    return (
        "The draught runs until the sulfur is out and cold; what is unburnt is kept, away from any flame.",
        "Water from the coil and the traps is acid: it goes to the scrubber's liquor.",
        LAST_WORD,
    )
