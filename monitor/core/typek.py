"""Type K thermocouple by ITS-90: temperature to emf and back, 0 °C reference.

Source of the coefficients: NIST Monograph 175 (1993), type K reference function and its inverse; also IEC 60584-1.
The inverse is the published approximation followed by one Newton step on the reference function, so that the two
are each other's inverse to better than 0.001 °C between −200 and 1372 °C.
"""

from __future__ import annotations

from math import exp

_BELOW_ZERO = (  # mV, −270 to 0 °C
    0.0,
    0.394501280250e-01,
    0.236223735980e-04,
    -0.328589067840e-06,
    -0.499048287770e-08,
    -0.675090591730e-10,
    -0.574103274280e-12,
    -0.310888728940e-14,
    -0.104516093650e-16,
    -0.198892668780e-19,
    -0.163226974860e-22,
)
_ABOVE_ZERO = (  # mV, 0 to 1372 °C
    -0.176004136860e-01,
    0.389212049750e-01,
    0.185587700320e-04,
    -0.994575928740e-07,
    0.318409457190e-09,
    -0.560728448890e-12,
    0.560750590590e-15,
    -0.320207200030e-18,
    0.971511471520e-22,
    -0.121047212750e-25,
)
_BUMP = (0.118597600000e00, -0.118343200000e-03, 126.9686)  # a0 exp(a1 (t − a2)²), 0 to 1372 °C

_INVERSE = (  # (up to mV, coefficients in °C)
    (
        0.0,
        (
            0.0,
            2.5173462e01,
            -1.1662878e00,
            -1.0833638e00,
            -8.9773540e-01,
            -3.7342377e-01,
            -8.6632643e-02,
            -1.0450598e-02,
            -5.1920577e-04,
        ),
    ),
    (
        20.644,
        (
            0.0,
            2.508355e01,
            7.860106e-02,
            -2.503131e-01,
            8.315270e-02,
            -1.228034e-02,
            9.804036e-04,
            -4.413030e-05,
            1.057734e-06,
            -1.052755e-08,
        ),
    ),
    (
        54.886,
        (-1.318058e02, 4.830222e01, -1.646031e00, 5.464731e-02, -9.650715e-04, 8.802193e-06, -3.110810e-08),
    ),
)
EMF_MIN_MV = -5.891  # −200 °C
EMF_MAX_MV = 54.886  # 1372 °C


def _poly(c: tuple[float, ...], x: float) -> tuple[float, float]:
    """Value and slope of a polynomial, by Horner."""
    value = slope = 0.0
    for a in reversed(c):
        slope = slope * x + value
        value = value * x + a
    return value, slope


def _emf(t_c: float) -> tuple[float, float]:
    if t_c < 0.0:
        return _poly(_BELOW_ZERO, t_c)
    value, slope = _poly(_ABOVE_ZERO, t_c)
    a0, a1, a2 = _BUMP
    bump = a0 * exp(a1 * (t_c - a2) ** 2)
    return value + bump, slope + 2.0 * a1 * (t_c - a2) * bump


def emf_mv(t_c: float) -> float:
    """The emf in mV of a junction at `t_c` °C (−270 to 1372) against one at 0 °C."""
    return _emf(t_c)[0]


def temperature_c(emf: float) -> float | None:
    """The temperature in °C whose emf against 0 °C is `emf` mV; None outside −200 to 1372 °C."""
    if not EMF_MIN_MV <= emf <= EMF_MAX_MV:
        return None
    coefficients = next(c for upper, c in _INVERSE if emf <= upper)
    guess = _poly(coefficients, emf)[0]
    value, slope = _emf(guess)
    return guess - (value - emf) / slope


CONVERTER_MV_PER_C = 0.041276  # the converter's straight line (protocol)


def true_hot_c(reported_hot_c: float, cold_c: float) -> float | None:
    """Undo the converter's straight line: the hot junction by ITS-90, °C; None when no type K gives that emf."""
    return temperature_c((reported_hot_c - cold_c) * CONVERTER_MV_PER_C + emf_mv(cold_c))


def reported_hot_c(hot_c: float, cold_c: float) -> float:
    """What the converter reports for a hot junction at `hot_c` °C with its own at `cold_c` °C."""
    return cold_c + (emf_mv(hot_c) - emf_mv(cold_c)) / CONVERTER_MV_PER_C
