"""From a hot junction to the converter's 32-bit word: type K by ITS-90, then the converter's straight line.

The coefficients are those of NIST Monograph 175 (the ITS-90 reference functions), from memory of its type K tables
and checked by the tests against two packages that carry them. The converter assumes 41.276 µV/°C between its own
junction and the hot one. The rig's own hand, apart from the package's linearisation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

MV_PER_C: Final = 0.041276  # the converter's line
HOT_C_PER_COUNT: Final = 0.25
COLD_C_PER_COUNT: Final = 0.0625
OPEN, SHORT_TO_GROUND, SHORT_TO_SUPPLY = 0x1, 0x2, 0x4
_ANY_FAULT: Final = 0x1_0000

_BELOW_ZERO: Final[tuple[float, ...]] = (  # −270 to 0 °C, mV
    0.0, 0.394501280250e-1, 0.236223735980e-4, -0.328589067840e-6, -0.499048287770e-8, -0.675090591730e-10,
    -0.574103274280e-12, -0.310888728940e-14, -0.104516093650e-16, -0.198892668780e-19, -0.163226974860e-22,
)  # fmt: skip
_EXP_MV, _EXP_PER_C2, _EXP_C = 0.118597600000, -0.118343200000e-3, 0.126968600000e3


def emf_mv(t_c: float) -> float:
    """The emf of type K between `t_c` and 0 °C, mV, for −270 to 1372 °C."""
    if t_c < 0.0:
        return _polynomial(_BELOW_ZERO, t_c)
    return _above_zero(t_c) + _EXP_MV * math.exp(_EXP_PER_C2 * (t_c - _EXP_C) ** 2)


def reported_hot_c(hot_c: float, cold_c: float) -> float:
    """What the converter's straight line makes of a hot junction at `hot_c` and its own at `cold_c`, unrounded."""
    return cold_c + (emf_mv(hot_c) - emf_mv(cold_c)) / MV_PER_C


def converter_word(reported_c: float, cold_c: float, fault: int = 0) -> int:
    """The converter's word for a reported hot and cold junction, °C; `fault` is OPEN or one of the shorts."""
    hot = 0 if fault else min(max(math.floor(reported_c / HOT_C_PER_COUNT), -0x2000), 0x1FFF)
    cold = min(max(math.floor(cold_c / COLD_C_PER_COUNT), -0x800), 0x7FF)
    return (hot & 0x3FFF) << 18 | (_ANY_FAULT if fault else 0) | (cold & 0xFFF) << 4 | fault


def _above_zero(t: float) -> float:
    """From 0 to 1372 °C, mV, beside the exponential; written out, for it is asked for at every sample."""
    high = ((-0.121047212750e-25 * t + 0.971511471520e-22) * t - 0.320207200030e-18) * t + 0.560750590590e-15
    middle = ((high * t - 0.560728448890e-12) * t + 0.318409457190e-9) * t - 0.994575928740e-7
    return ((middle * t + 0.185587700320e-4) * t + 0.389212049750e-1) * t - 0.176004136860e-1


def _polynomial(coefficients: Sequence[float], x: float) -> float:
    value = 0.0
    for coefficient in reversed(coefficients):
        value = value * x + coefficient
    return value
