"""How often a sum over noise passes a level, for levels that are computed from the wanted time between false alarms.

Promise: for levels of 4 spreads and more the rates are within a tenth. A sum is a normal process of spread 1 whose
correlation falls linearly at first: J. Pickands, Trans. Am. Math. Soc. 145 (1969) 51. It is seen in steps only:
D. Siegmund, Sequential Analysis (1985). Of a row of sums, what two neighbours pass together counts once: D. Hunter,
J. Appl. Prob. 13 (1976) 597, for a chain of events. All from memory. It knows spreads and steps, and no units.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import erfc, exp, log, pi, sqrt

ROUNDS = 8  # of an iteration; the last changes a level by less than a millionth


def stepped(x: float) -> float:
    """The part of a process's passages that is seen in steps (Siegmund's ν, in its closed approximation)."""
    y = 0.5 * x
    below = 1.0 - _beyond(y)
    return (below - 0.5) / y / (y * below + exp(-0.5 * y * y) / sqrt(2.0 * pi))


def _beyond(z: float) -> float:
    return 0.5 * erfc(z / sqrt(2.0))


def passages(z: float, fall: float) -> float:
    """In a step, of a level of `z` spreads by a sum whose correlation falls by `fall` in a step."""
    return fall * z * z * _beyond(z) * stepped(z * sqrt(2.0 * fall))


def height(fall: float, rate: float) -> float:
    """The level, in spreads, that is passed so often in a step (Newton; the passages' logarithm falls by z)."""
    z = 5.0
    for _ in range(ROUNDS):
        z += log(passages(z, fall) / rate) / z
    return z


def together(heights: Sequence[float], each: Sequence[float], alike: Sequence[float]) -> float:
    """Passages of any of a row of sums that pass `each` so often: what neighbours pass together counts once.

    When one stands at its level, its neighbour is over its own by the chance of a normal deviate so far from the mean
    that the correlation of the two, `alike`, gives it.
    """
    both = 0.0
    for (z, y), (n, m), rho in zip(pairwise(heights), pairwise(each), alike, strict=True):
        free = sqrt(1.0 - rho * rho)
        both += n * _beyond((y - rho * z) / free) + m * _beyond((z - rho * y) / free)
    return sum(each) - both
