"""What samples from the board say in a calibration: counts through the gate, a still reading, a rise.

Promise: pure functions of samples; times are the board's own (`ms`), so they hold at any speed of a simulated bench.
What the samples cannot say is refused with one sentence.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean
from typing import NamedTuple

from monitor import calibration as cal
from monitor.core.frames import SampleFrame
from monitor.core.typek import true_hot_c
from monitor.errors import RefusalError
from monitor.terms import BenchTerms

ANY_FAULT = 0x10000  # of the converter's word (protocol)
MEAN_SAMPLES = 10  # 1 s: one sample's noise is no rise


class Gate(NamedTuple):
    """What fell through the gate: drops or bubbles, edges thrown away, and how long it took in seconds."""

    number: int
    rejects: int
    seconds: float

    @property
    def per_min(self) -> float:
        """The rate."""
        return 60.0 * self.number / self.seconds if self.seconds > 0.0 else 0.0

    def words(self, what: str) -> str:
        """The count as a sentence."""
        return (
            f"{self.number} {what}s in {self.seconds:.0f} s, {self.per_min:.0f} a minute; "
            f"{self.rejects} edges rejected by the gate"
        )


def seconds_between(first: SampleFrame, then: SampleFrame) -> float:
    """Seconds of the board's own time from one sample to another.

    Raises:
        RefusalError: the board started anew between them.
    """
    if then.boot != first.boot:
        raise RefusalError("the board started anew meanwhile: begin again")
    return ((then.ms - first.ms) % (1 << 32)) * 0.001


def newest(frames: Sequence[SampleFrame], seconds: float) -> list[SampleFrame]:
    """The samples of the last so many seconds. Raises RefusalError when the board started anew among them."""
    return [frame for frame in frames if seconds_between(frame, frames[-1]) <= seconds]


def to_go_s(frames: Sequence[SampleFrame], seconds: float) -> float:
    """How much is missing of a stretch of so many seconds; nought when it is whole. Raises as `seconds_between`."""
    return max(0.0, seconds - seconds_between(frames[0], frames[-1]))


def gate(begun: SampleFrame, ended: SampleFrame) -> Gate:
    """The count between two samples. Raises RefusalError when the board started anew."""
    seconds = seconds_between(begun, ended)
    return Gate(ended.drops - begun.drops, (ended.rejects - begun.rejects) & 0xFFFF, seconds)


def linear_c(frame: SampleFrame) -> float:
    """The hot junction, linearised and without an offset, °C.

    Raises:
        RefusalError: the converter gives no reading.
    """
    hot, cold = frame.hot_c, frame.cold_c
    faulty = bool(frame.tc & ANY_FAULT)
    true_c = None if faulty or hot is None or cold is None else true_hot_c(hot, cold)
    if true_c is None:
        raise RefusalError(f"the thermocouple gives no reading (word {frame.tc:08X}): is it connected?")
    return true_c


def words(frame: SampleFrame, bench: BenchTerms) -> str:
    """What the board says now: gas, plate with its offset, drops."""
    gas_ppm = (frame.gas_sum - bench.gas.zero_sum) * bench.gas.ppm_per_sum
    try:
        plate = f"{linear_c(frame) + bench.thermocouple.offset_c.value:.1f} °C"
    except RefusalError:
        plate = "no reading"
    return f"Board: gas {gas_ppm:.2f} ppm (gas_sum {frame.gas_sum}), junction {plate}, {frame.drops} drops"


def fixed_point(frames: Sequence[SampleFrame]) -> cal.Point:
    """A still stretch at a fixed point. Raises RefusalError."""
    means = cal.block_means([linear_c(frame) for frame in frames])
    return cal.Point(fmean(means), cal.standard_error(means))


def gas_sums(frames: Sequence[SampleFrame]) -> list[float]:
    """A stretch of the gas channel as the means of its parts.

    Raises:
        RefusalError: too short, or without the spread that a live channel has.
    """
    if all(f.gas_span == 0 for f in frames):
        raise RefusalError("found a gas channel without any spread: a live one dithers; is the sensor connected?")
    return cal.block_means([float(f.gas_sum) for f in frames])


class Rise(NamedTuple):
    """How far the gas reading has risen, ppm, and how long it took, s; `over` when no more is to be waited for."""

    ppm: float
    after_s: float
    over: bool


def rise(before: Sequence[SampleFrame], since: Sequence[SampleFrame], bench: BenchTerms, given_ppm: float) -> Rise:
    """The rise from the stretch before the gas was given to the newest second of the one since, its first sample
    included; it is over with half of the gas, or at twice T90.

    Raises:
        RefusalError: the board started anew.
    """
    after_s = seconds_between(since[0], since[-1])
    newest = [f.gas_sum for f in since[-MEAN_SAMPLES:]]
    ppm = (fmean(newest) - fmean([f.gas_sum for f in before])) * bench.gas.ppm_per_sum
    risen = len(newest) == MEAN_SAMPLES and ppm >= 0.5 * given_ppm
    return Rise(ppm, after_s, risen or after_s >= 2.0 * bench.gas.t90_s)
