"""What several runs of one bench have in common: a mean, and a straight line over dates, with their uncertainties.

Promise: values that lie far off the others are named, not hidden; the scatter between the runs is in every
uncertainty, and so is what each value's own uncertainty says, if that is more; fewer than `LEAST_RUNS` give nothing.
Pure: numbers in, numbers out.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from math import atan, exp, lgamma, pi, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

LEAST_RUNS = 3  # two values have a scatter that nobody can rely on: t of 14 (JCGM 100:2008, table G.2)
LEAST_TO_SET_ASIDE = 5  # of fewer, none can be told from the others
# How often one of honest values may be set aside: Grubbs' test, NIST/SEMATECH e-Handbook, 1.3.5.17.1.
BY_CHANCE = 0.01
MOST_ASIDE = 0.25  # of the values; where more are odd, none is
FAR = 3.0  # of its own standard uncertainties: what lies nearer is never set aside; judgement

# Student's t for 95.45 % by degrees of freedom: JCGM 100:2008, table G.2. Between them the next lower row counts.
_FREEDOM = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 15, 20, 30, 50, 100)
_T = (13.97, 4.53, 3.31, 2.87, 2.65, 2.52, 2.43, 2.37, 2.32, 2.28, 2.18, 2.13, 2.09, 2.05, 2.025)

Array = NDArray[np.float64]


class Mean(NamedTuple):
    """A mean over runs: `expanded` its uncertainty, `expanded_next` how far off one more run may lie (95.45 %)."""

    value: float
    expanded: float
    expanded_next: float
    used: tuple[int, ...]  # places in what was given
    aside: tuple[int, ...]


class Point(NamedTuple):
    """A value at a day. `u` is its own standard uncertainty, `common_u` one that all such values share."""

    day: float
    value: float
    u: float
    common_u: float = 0.0


class Line(NamedTuple):
    """A straight line through points: value at `day0`, slope a day; `expanded_slope` for 95.45 %."""

    day0: float
    value0: float
    slope: float
    u_value0: float
    u_slope: float
    expanded_slope: float
    used: tuple[int, ...]
    aside: tuple[int, ...]

    def at(self, day: float) -> float:
        """The value at a day."""
        return self.value0 + self.slope * (day - self.day0)


def coverage(freedom: int) -> float:
    """By what a standard uncertainty of so many degrees of freedom is multiplied for 95.45 %."""
    return _T[bisect_right(_FREEDOM, max(1, freedom)) - 1]


def mean_of(values: Sequence[float], u: Sequence[float]) -> Mean | None:
    """The mean of values with their own standard uncertainties; None of fewer than `LEAST_RUNS`."""
    if len(values) < LEAST_RUNS:
        return None
    given, own = np.array(values, dtype=float), np.array(u, dtype=float)
    keep = _honest(np.ones((len(given), 1)), given, own)
    kept = given[keep]
    n = len(kept)
    spread = max(float(np.std(kept, ddof=1)), sqrt(float(np.mean(own[keep] ** 2))))
    k = coverage(n - 1)
    return Mean(float(np.mean(kept)), k * spread / sqrt(n), k * spread * sqrt(1.0 + 1.0 / n), *_places(keep))


def line_of(points: Sequence[Point]) -> Line | None:
    """The straight line through points over days; None of fewer than `LEAST_RUNS`, or all of one day.

    Generalised least squares; where the points scatter more than they say, their own uncertainties are widened until
    they do not (Birge ratio).
    """
    if len(points) < LEAST_RUNS or len({p.day for p in points}) < 2:
        return None
    day, value, own, common = (np.array(column, dtype=float) for column in zip(*points, strict=True))
    keep = _honest(np.stack([np.ones(len(day)), day - np.mean(day)], axis=1), value, np.hypot(own, common))
    if len(set(day[keep])) < 2:
        return None
    day0 = float(np.mean(day[keep]))
    design = np.stack([np.ones(int(keep.sum())), day[keep] - day0], axis=1)
    own, shared, value = own[keep], common[keep], value[keep]
    freedom = len(value) - 2
    best, covariance, chi2 = _least_squares(design, value, own, shared)
    widened = freedom > 0 and chi2 > freedom
    if widened:
        best, covariance, _ = _least_squares(design, value, own * sqrt(chi2 / freedom), shared)
    u_value, u_slope = (float(v) for v in np.sqrt(np.diag(covariance)))
    k = coverage(freedom) if widened else 2.0  # JCGM 100:2008, 6.3, where the stated uncertainties suffice
    return Line(day0, float(best[0]), float(best[1]), u_value, u_slope, k * u_slope, *_places(keep))


def _least_squares(design: Array, value: Array, own: Array, shared: Array) -> tuple[Array, Array, float]:
    """Parameters, their covariance, and the weighted sum of squares that is left."""
    weight = np.linalg.inv(np.diag(own**2) + np.outer(shared, shared))
    covariance: Array = np.asarray(np.linalg.inv(design.T @ weight @ design), dtype=np.float64)
    best: Array = np.asarray(covariance @ design.T @ weight @ value, dtype=np.float64)
    left = value - design @ best
    return best, covariance, float(left @ weight @ left)


def _honest(design: Array, value: Array, u: Array) -> NDArray[np.bool_]:
    """Which values are not far off what the others say of them: the worst is set aside and the rest judged again."""
    keep = np.ones(len(value), dtype=bool)
    while int(keep.sum()) >= LEAST_TO_SET_ASIDE:
        worst, chance = -1, BY_CHANCE
        for i in np.flatnonzero(keep):
            others = keep.copy()
            others[i] = False
            freedom = int(others.sum()) - design.shape[1]
            if freedom < 1 or np.linalg.matrix_rank(design[others]) < design.shape[1]:
                continue
            best, covariance, left = _least_squares(
                design[others], value[others], np.ones(int(others.sum())), np.zeros(int(others.sum()))
            )
            off = abs(float(value[i] - design[i] @ best))
            spread = sqrt(left / freedom * (1.0 + float(design[i] @ covariance @ design[i])))
            if off <= max(FAR * float(u[i]), 1e-12):
                continue
            this = int(keep.sum()) * chance_beyond(off / spread if spread > 0.0 else float("inf"), freedom)
            if this < chance:
                worst, chance = int(i), this
        if worst < 0:
            return keep
        keep[worst] = False
        if int((~keep).sum()) > MOST_ASIDE * len(value):
            return np.ones(len(value), dtype=bool)
    return keep


def chance_beyond(t: float, freedom: int) -> float:
    """How often a Student's t of so many degrees of freedom lies beyond ± t: its density with t = √ν·tan θ."""
    theta = np.linspace(atan(t / sqrt(freedom)), 0.5 * pi, 2001)
    height = np.cos(theta) ** (freedom - 1)
    area = float(np.sum(0.5 * (height[1:] + height[:-1])) * (theta[1] - theta[0]))
    return 2.0 * area * exp(lgamma(0.5 * (freedom + 1)) - lgamma(0.5 * freedom)) / sqrt(pi)


def _places(keep: NDArray[np.bool_]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    return tuple(int(i) for i in np.flatnonzero(keep)), tuple(int(i) for i in np.flatnonzero(~keep))
