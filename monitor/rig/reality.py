"""What is true of a simulated bench and does not stand in its settings: where the truth differs from the calibration.

The settings files say what the person at the bench believes. A ratio here is truth over belief; 1 is a bench
that is what its settings say. The defaults are invented, of the size that such things have at a bench.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Reality:
    """The truth behind the settings; every field is invented, none is a measurement."""

    drop_volume_ratio: float = 1.0
    bubble_volume_ratio: float = 1.0
    acid_strength_ratio: float = 1.0
    salt_ratio: float = 1.0  # mass and purity together
    solubility_ratio: float = 1.0  # of SO2 in the liquor, against the published constants
    gas_gain_ratio: float = 1.0  # what the sensor shows of what it has
    drop_volume_cv: float = 0.02  # from drop to drop, standard deviation over mean
    drop_interval_cv: float = 0.06
    splash_share: float = 0.005  # drops that send a second edge within the gate's dead time
    transfer_s: float = 5.0  # liquor to headspace, stirred
    tube_s: float = 0.2  # headspace pressure through the delivery tube
    gas_drift_ppm_per_root_h: float = 0.02
    gas_dither_counts: float = 1.0  # of one reading of the 10-bit channel
    plate_w: float = 500.0
    plate_j_per_k: float = 900.0
    plate_loss_w_per_k: float = 1.1
    plate_hysteresis_c: float = 1.5  # on below the setpoint by so much, off above it by so much
    plate_to_liquor_w_per_k: float = 0.0  # 0: the flask does not stand on the plate
    junction_s: float = 2.0  # thermocouple behind plate
    junction_noise_c: float = 0.08
    relay_s: float = 0.02
    permit_cuts_drip: bool = True
    clock_ratio: float = 1.0  # the board's milliseconds in a true one


class Normals:
    """Standard normal numbers, one at a call, drawn in blocks because a single draw is slow."""

    def __init__(self, rng: np.random.Generator, block: int = 1024) -> None:
        self._rng = rng
        self._block = block
        self._next: Callable[[], float] = iter(()).__next__

    def __call__(self) -> float:
        """The next number."""
        try:
            return self._next()
        except StopIteration:
            values: list[float] = self._rng.standard_normal(self._block).tolist()
            self._next = iter(values).__next__
            return self._next()
