"""Means and lines over several runs: against published data, other codes, and draws whose truth is known."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from scipy import stats

from monitor.learning import LEAST_RUNS, Point, _least_squares, chance_beyond, coverage, line_of, mean_of

# NIST Statistical Reference Datasets, linear regression, "Norris" (calibration of ozone monitors), y then x; data and
# certified values from memory of www.itl.nist.gov/div898/strd/lls/data/Norris.shtml: that they fit each other to
# eleven digits bears both out.
NORRIS = """
0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6 778.9 777.0
559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6 557.7 556.0 228.3 228.1
998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0
10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5
"""
B0, U_B0 = -0.262323073774029, 0.232818234301152
B1, U_B1 = 1.00211681802045, 0.429796848199937e-03
RESIDUAL_SD = 0.884796396144373


def test_the_least_squares_against_nist() -> None:
    """Parameters, their standard deviations and what is left, as certified for Norris."""
    y, x = np.array(NORRIS.split(), dtype=float).reshape(-1, 2).T
    assert len(x) == 36
    design = np.stack([np.ones(36), x], axis=1)
    best, covariance, left = _least_squares(design, y, np.ones(36), np.zeros(36))
    assert best == pytest.approx([B0, B1], rel=1e-9)
    assert sqrt(left / 34) == pytest.approx(RESIDUAL_SD, rel=1e-9)
    assert np.sqrt(np.diag(covariance) * left / 34) == pytest.approx([U_B0, U_B1], rel=1e-9)


def test_a_line_that_scatters_more_than_it_says_is_widened_to_the_scatter() -> None:
    """Slope and its deviation are then those of a plain fit: NIST's for Norris, and numpy.polyfit's own."""
    y, x = np.array(NORRIS.split(), dtype=float).reshape(-1, 2).T
    line = line_of([Point(day, value, 0.1) for day, value in zip(x, y, strict=True)])
    assert line is not None
    slopes, covariance = np.polyfit(x, y, 1, cov=True)
    assert [line.slope, line.u_slope] == pytest.approx([B1, U_B1], rel=1e-9)
    assert [line.slope, line.u_slope] == pytest.approx([slopes[0], sqrt(covariance[0, 0])])
    assert line.at(0.0) == pytest.approx(B0, rel=1e-7)
    assert line.expanded_slope / line.u_slope == pytest.approx(stats.t.ppf(0.5 + 0.9545 / 2, 34), rel=2e-2)


def test_a_weighted_line_against_polyfit() -> None:
    """With uncertainties of their own that suffice, points weigh as in numpy.polyfit with unscaled covariance."""
    days, u = np.array([0.0, 20.0, 50.0, 90.0, 100.0]), np.array([0.2, 0.5, 0.3, 0.9, 0.4])
    values = 38.0 + 0.01 * days + np.array([0.05, -0.2, 0.1, 0.3, -0.1])
    line = line_of([Point(*row) for row in zip(days, values, u, strict=True)])
    assert line is not None
    slopes, covariance = np.polyfit(days, values, 1, w=1.0 / u, cov="unscaled")
    assert line.slope == pytest.approx(slopes[0])
    assert line.u_slope == pytest.approx(sqrt(covariance[0, 0]))
    assert line.expanded_slope == pytest.approx(2.0 * line.u_slope)


def test_what_all_points_share_moves_the_level_and_not_the_slope() -> None:
    """An error that is the same in every run says nothing of a drift, and is all of the level's uncertainty."""
    days = [0.0, 30.0, 60.0, 90.0]
    own = line_of([Point(day, 38.0 + 0.01 * day, 0.2) for day in days])
    shared = line_of([Point(day, 38.0 + 0.01 * day, 0.2, 1.5) for day in days])
    assert own is not None
    assert shared is not None
    assert shared.u_slope == pytest.approx(own.u_slope)
    assert shared.u_value0 == pytest.approx(sqrt(own.u_value0**2 + 1.5**2))


@pytest.mark.parametrize("freedom", range(1, 120))
def test_coverage_is_students_and_never_too_small(freedom: int) -> None:
    """The factor for 95.45 % (JCGM 100:2008, table G.2) against scipy's t; between rows it errs to the wide side."""
    true = stats.t.ppf(0.5 + 0.9545 / 2, freedom)
    assert true - 0.006 <= coverage(freedom) <= 1.05 * true


@pytest.mark.parametrize("freedom", [1, 2, 3, 5, 9, 30])
@pytest.mark.parametrize("t", [0.0, 0.7, 2.0, 4.5, 30.0])
def test_chances_are_students(t: float, freedom: int) -> None:
    """Against scipy's survival function."""
    assert chance_beyond(t, freedom) == pytest.approx(2.0 * stats.t.sf(t, freedom), rel=2e-3, abs=1e-12)


@pytest.mark.parametrize("runs", [5, 6, 9, 20])
def test_honest_values_are_rarely_set_aside(runs: int) -> None:
    """Of normal draws, at most two in a hundred lose a value, as the one in a hundred that is stated."""
    rng = np.random.default_rng(7 * runs)
    lost = 0
    for _ in range(500):
        mean = mean_of(list(rng.standard_normal(runs)), [0.0] * runs)
        assert mean is not None
        lost += bool(mean.aside)
    assert lost <= 10


@pytest.mark.parametrize("count", [0, 1, LEAST_RUNS - 1])
def test_two_runs_teach_nothing(count: int) -> None:
    """Fewer than three give no mean and no line."""
    assert mean_of([0.9] * count, [0.01] * count) is None
    assert line_of([Point(float(i), 38.0, 0.5) for i in range(count)]) is None


def test_points_of_one_day_are_no_line() -> None:
    """A drift needs time."""
    assert line_of([Point(5.0, 38.0 + i, 0.5) for i in range(6)]) is None


def test_a_far_value_is_named_and_left_out() -> None:
    """One run of seven that gave half: its place is told, and the mean is that of the others; likewise off a line."""
    values = [0.91, 0.90, 0.93, 0.50, 0.92, 0.89, 0.91]
    mean = mean_of(values, [0.01] * 7)
    assert mean is not None
    assert mean.aside == (3,)
    assert mean.value == pytest.approx(np.mean(values[:3] + values[4:]))
    line = line_of([Point(30.0 * i, 38.0 + 0.1 * i + (9.0 if i == 4 else 0.0), 0.2) for i in range(7)])
    assert line is not None
    assert line.aside == (4,)
    assert line.slope == pytest.approx(0.1 / 30.0)


def test_no_value_within_its_own_uncertainty_is_far() -> None:
    """Six that agree closely and one that is off by less than twice what it says itself: all count."""
    mean = mean_of([0.900, 0.901, 0.899, 0.900, 0.902, 0.900, 0.95], [0.003] * 6 + [0.03])
    assert mean is not None
    assert mean.aside == ()


@pytest.mark.parametrize("runs", [3, 4, 6, 12])
def test_the_stated_uncertainties_hold(runs: int) -> None:
    """In 93 of 100 draws or more the mean's interval holds the truth, and the wider one the next run."""
    rng = np.random.default_rng(runs)
    held = next_held = 0
    for _ in range(1000):
        drawn = 0.91 + 0.03 * rng.standard_normal(runs + 1)
        mean = mean_of(list(drawn[:-1]), [0.01] * runs)
        assert mean is not None
        held += abs(mean.value - 0.91) <= mean.expanded
        next_held += abs(mean.value - drawn[-1]) <= mean.expanded_next
    assert min(held, next_held) >= 930
