"""What is said of a leak while it stands: since when, how large, and whether it goes with what is being made.

Promise: the detector sees every sample; the fit, which is slow, runs at most once in five seconds and only while a
tier stands. A size that the trace no longer bears out is kept with its time, not made up anew. It knows readings, run
time and the rate of making, and nothing of the life cycle of an alarm.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

import numpy as np

from monitor.chemistry.substances import MOLAR_MASS_G_PER_MOL
from monitor.core.events import Leak, Reading
from monitor.core.leak import LeakDetector
from monitor.core.leaksize import MISFIT, Following, RoomModel, Size
from monitor.core.spans import run_clock
from monitor.terms import GasTerms, RoomTerms

TRACE_S = 600  # seconds of means kept; when full the oldest goes, and a leak older than that is fitted no more
NOW_S = 5  # seconds that "now" is the mean of
RENEW_S = 5.0
FIT_FROM_S = 10.0  # of trace after the onset; before that a size is a guess
FOLLOW_FROM_S = 60.0  # after the onset, before it is asked whether the leak goes with the making
MG_PER_MOL = 1000.0 * MOLAR_MASS_G_PER_MOL["SO2"]
_UNKNOWN = Following(None, None, None)


class LeakWatch:
    """The leak detector of one bench, and its words."""

    def __init__(self, gas: GasTerms, room: RoomTerms) -> None:
        self._detector = LeakDetector(gas.noise_ppm)
        self._room = RoomModel(room, gas)
        self._trace: deque[tuple[float, float, float]] = deque(maxlen=TRACE_S)  # (s, ppm, mg/min being made)
        self._second, self._sum, self._n = -1, 0.0, 0
        self._made_mg_per_min: float | None = None
        self._renewed_s = -RENEW_S
        self._size: Size | None = None
        self._sized_s = 0.0
        self._following = _UNKNOWN
        self.leak: Leak | None = None  # what is known of it while a tier stands

    @property
    def fault(self) -> str | None:
        """Why the channel may not be believed, or None."""
        return self._detector.fault

    def zero_words(self) -> str | None:
        """What is wrong with the zero, or None."""
        return self._detector.zero_words()

    def on_sample(self, t_s: float, gas: Reading) -> bool:
        """Take a sample; give whether a tier changed."""
        changed = self._detector.feed(t_s, gas)
        second = int(t_s)
        if second != self._second:
            if self._n > 0:
                self._trace.append((self._second + 0.5, self._sum / self._n, self._made_mg_per_min or 0.0))
            self._second, self._sum, self._n = second, 0.0, 0
        if gas.value is not None:
            self._sum += gas.value
            self._n += 1
        if changed:
            if self._detector.early or self._detector.sure:
                self._tell(t_s)
            else:
                self.leak = self._size = None
                self._following = _UNKNOWN
        return changed

    def on_time(self, t_s: float, made_mol_per_min: float | None) -> bool:
        """Let time pass; give whether the words were renewed. `made_mol_per_min` is None when nobody counts it."""
        self._made_mg_per_min = None if made_mol_per_min is None else made_mol_per_min * MG_PER_MOL
        if self.leak is None or t_s - self._renewed_s < RENEW_S:
            return False
        self._renewed_s = t_s
        self._fit(t_s)
        self._tell(t_s)
        return True

    def words(self) -> Iterator[tuple[str, str | None]]:
        """Each tier by its tag, with what is seen, or None."""
        text = leak_words(self.leak) if self.leak is not None else None
        yield "GAS-RISING", text if self._detector.early else None
        yield "GAS-LEAK", text if self._detector.sure else None

    def _fit(self, t_s: float) -> None:
        since_s = self._detector.since_s
        if t_s - since_s < FIT_FROM_S or not self._trace or since_s < self._trace[0][0]:
            return
        times, ppm, made = np.array(self._trace).T
        noise_ppm = self._detector.noise.ppm
        if self._made_mg_per_min is None:
            found, following = self._room.size(times, ppm, since_s, noise_ppm), _UNKNOWN
        else:
            found, following = self._room.explained(times, ppm, made, since_s, noise_ppm) or (None, _UNKNOWN)
        if found is None or found.misfit > MISFIT or found.u_mg_per_min >= found.mg_per_min:
            return
        self._size, self._sized_s = found, t_s
        if t_s - found.onset_s >= FOLLOW_FROM_S:
            self._following = following

    def _tell(self, t_s: float) -> None:
        from_s = max(self._detector.since_s, t_s - NOW_S - 1.0)
        newest = [ppm for at_s, ppm, _ in list(self._trace)[-NOW_S:] if at_s > from_s]
        if self._n > 0:
            newest.append(self._sum / self._n)
        size, following = self._size, self._following
        self.leak = Leak(
            since_s=size.onset_s if size is not None else self._detector.since_s,
            ppm_over=sum(newest) / len(newest) - self._detector.baseline_ppm if newest else None,
            mg_per_min=size.mg_per_min if size is not None else None,
            u_mg_per_min=size.u_mg_per_min if size is not None else None,
            sized_s=self._sized_s if size is not None and t_s - self._sized_s >= 2.0 * RENEW_S else None,
            follows=following.follows,
            share=following.share,
            correlation=following.correlation,
        )


def leak_words(leak: Leak) -> str:
    """A leak in one sentence."""
    over = (
        "over the sensor's range"
        if leak.ppm_over is None
        else f"{max(0.0, leak.ppm_over):.2f} ppm over its usual level"
    )
    said = [f"{over}, since {run_clock(leak.since_s)} of the run"]
    if leak.mg_per_min is not None and leak.u_mg_per_min is not None:
        low, high = max(0.0, leak.mg_per_min - leak.u_mg_per_min), leak.mg_per_min + leak.u_mg_per_min
        when = "" if leak.sized_s is None else f" as of {run_clock(leak.sized_s)}"
        if leak.follows:
            when = " when it began"  # for it sinks with the making
        said.append(f"about {_short(leak.mg_per_min)} mg/min ({_short(low)} to {_short(high)}){when}")
    if leak.follows is False:
        said.append("it does not go with what is being made")
    elif leak.share is not None:
        part = f"about {_short(100.0 * leak.share, 1)} % of what is being made"
        if leak.follows and leak.correlation is not None:
            said.append(f"{part}, and follows it (correlation {leak.correlation:.2f})")
        else:
            said.append(f"{part}, if it comes from there")
    return "; ".join(said)


def _short(x: float, digits: int = 2) -> str:
    """A number of so many digits that count, without an exponent."""
    return f"{float(f'{x:.{digits}g}'):.10g}"
