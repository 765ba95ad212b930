"""Numbers are written as the Guide to the expression of uncertainty writes them."""

from __future__ import annotations

import pytest

from dashboards.words import clock, count, plain, with_uncertainty
from monitor.core.spans import duration, foretold, run_clock


@pytest.mark.parametrize(
    ("value", "u", "unit", "words"),
    [
        # JCGM 100:2008 (GUM) 7.2.4: m_S = (100,021 47 ± 0,000 79) g, an expanded uncertainty; from memory of it
        (100.02147, 0.00079 / 2, "g", "100.02147 ± 0.00079 g"),
        # GUM 7.2.6: y = 10,057 62 Ω with uncertainty 27 mΩ is rounded to 10,058 Ω; from memory of it
        (10.05762, 0.027 / 2, "Ω", "10.058 ± 0.027 Ω"),
        (0.5, 0.04997, "mol", "0.50 ± 0.10 mol"),
        (1234.0, 60.0, "g", "1230 ± 120 g"),
        (-0.021, 0.16, "ppm", "\N{MINUS SIGN}0.02 ± 0.32 ppm"),
        (-0.001, 0.16, "ppm", "0.00 ± 0.32 ppm"),
    ],
)
def test_value_and_uncertainty_end_at_the_same_place(value: float, u: float, unit: str, words: str) -> None:
    """A value is given to the place of its uncertainty's second digit, and zero has no sign."""
    assert with_uncertainty(value, u, unit) == words


def test_no_uncertainty_no_claim() -> None:
    """Without an uncertainty none is invented."""
    assert with_uncertainty(12.34, None, "mL") == "12.3 mL"
    assert with_uncertainty(12.34, 0.0, "mL") == "12.3 mL"


@pytest.mark.parametrize(
    ("value", "words"), [(0.0, "0"), (0.334, "0.334"), (9.999, "10.0"), (1234.5, "1234"), (0.0004, "0.000400")]
)
def test_plain_numbers_have_no_exponent(value: float, words: str) -> None:
    """Three digits, nothing to decipher."""
    assert plain(value) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(-1.0, "0 s"), (12.4, "12 s"), (59.6, "1 min 00 s"), (130.0, "2 min 10 s"), (3900.0, "1 h 05 min")],
)
def test_durations_use_the_two_largest_units(seconds: float, words: str) -> None:
    """Twelve seconds, two minutes ten, an hour five."""
    assert duration(seconds) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (-3.0, "under a minute"),
        (59.0, "under a minute"),
        (435.0, "about 7 min"),
        (3569.0, "about 59 min"),
        (3571.0, "about 1 h 00 min"),
        (5000.0, "about 1 h 25 min"),
    ],
)
def test_what_a_rate_foretells_is_no_finer_than_the_rate(seconds: float, words: str) -> None:
    """Whole minutes, and fives of them from an hour on."""
    assert foretold(seconds) == words


def test_counts_and_clocks() -> None:
    """One drop, a thousand drops; run time runs on past a day."""
    assert count(1, "drop") == "1 drop"
    assert count(1186, "drop") == "1\N{NARROW NO-BREAK SPACE}186 drops"
    assert run_clock(90061.9) == "25:01:01"
    assert len(clock(1_800_000_000.0)) == len("12:00:00")
