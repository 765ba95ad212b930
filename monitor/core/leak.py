"""The leak detector: two tiers over slowly following baselines.

Promise: the sure tier (GAS-LEAK) speaks when the reading rises as noise does once in 10,000 h at the most, and as it
does at one sudden door in 4000; the early tier (GAS-RISING) as noise does once in 1000 h, and also at real movements
of the zero, which is why it only asks somebody to look. A
reading that goes low is a fault, for another gas or a dying cell can hide a leak. An unknown reading changes
nothing: it neither begins an alarm nor ends one. It knows readings and run time, and nothing of alarms.
"""

from __future__ import annotations

from monitor.core.events import Reading
from monitor.core.leaknoise import BLOCK, LongRunNoise
from monitor.core.leaktiers import SureTier
from monitor.core.leakwindows import EarlyTier
from monitor.core.rampnoise import STEP_S

# Under half of it (the least that noise is learned to be) the zero's wandering is all there is, and the levels that
# stand between noise and leak mean nothing. No cell for limits of some tenths of a ppm is as quiet.
LEAST_NOISE_PPM = 0.002
LOW = (
    "gas reading went low: another gas (NO2, chlorine) drives the cell under zero, or the cell is dying; "
    "either can hide a leak"
)


class LeakDetector:
    """Follows one gas channel. `noise_ppm` is the stated long-run noise of a 1 s mean, no less than the least."""

    def __init__(self, noise_ppm: float) -> None:
        self.early_tier, self.sure_tier = EarlyTier(), SureTier()
        self.noise = LongRunNoise(max(noise_ppm, LEAST_NOISE_PPM))
        self.early = self.sure = False
        self._at_s = -STEP_S
        self._block_ppm = 0.0  # sum of a block's excesses
        self._n = 0
        self._spoilt = False
        self._set_noise()

    @property
    def baseline_ppm(self) -> float:
        """The level from which the reading rose."""
        return self.early_tier.baseline_ppm if self.early else self.sure_tier.baseline_ppm

    @property
    def since_s(self) -> float:
        """The run second from which it rose."""
        return self.early_tier.since_s if self.early else self.sure_tier.since_s

    @property
    def fault(self) -> str | None:
        """Why the channel may not be believed, or None."""
        return LOW if self.sure_tier.low else None

    def zero_words(self) -> str | None:
        """What is wrong with the zero, or None."""
        off_ppm = self.sure_tier.drifted_ppm
        if not off_ppm:
            return None
        errs = f"the reading errs by {off_ppm:+.1f} ppm or more"
        if off_ppm < 0.0:
            return f"gas zero drifted: {errs}; calibrate the gas sensor"
        return f"gas zero drifted, or gas rose as slowly: {errs}; look for a small leak, and calibrate the gas sensor"

    def feed(self, t_s: float, gas: Reading) -> bool:
        """Take a reading of run second `t_s`; give whether a tier changed.

        A sensor over its range is at least there, and counts so.
        """
        ppm = gas.value if gas.value is not None else gas.at_least
        step_s = t_s - self._at_s
        if ppm is None or step_s <= 0.0:
            return False
        self._at_s = t_s
        if step_s > STEP_S:
            step_s = STEP_S
        early, sure = self.early_tier, self.sure_tier
        early.feed(t_s, ppm)
        self._block_ppm += sure.feed(t_s, step_s, ppm)
        if sure.standing or sure.falling:
            self._spoilt = True
        self._n += 1
        if self._n == BLOCK:
            self._end_block()
        if early.standing is self.early and sure.standing is self.sure:
            return False
        self.early, self.sure = early.standing, sure.standing
        return True

    def _end_block(self) -> None:
        if self.noise.learn(self._block_ppm / BLOCK, self._spoilt):
            self._set_noise()
        self._n = 0
        self._block_ppm = 0.0
        self._spoilt = False

    def _set_noise(self) -> None:
        self.early_tier.set_noise(self.noise.ppm)
        self.sure_tier.set_noise(self.noise.ppm)
