"""An account by counted volumes, drops or bubbles, and what a weighing teaches it.

Promise: what is delivered hangs on the counted volume and on other inputs, each with a stated standard uncertainty;
a weighing re-estimates them all together, each by its uncertainty (inverse variance, JCGM 100:2008; JCGM 102:2011,
least squares), so that the counted volume and what is delivered both move towards the weighing, and both become
better known. The old figure and the new one are given to the record. A weighing that disagrees with the count by
more than two standard uncertainties of the difference first widens what was stated until it does not.
"""

from __future__ import annotations

from abc import abstractmethod
from math import sqrt
from typing import Final

from monitor.core.account import Account, Weighed, WeighingRefusedError
from monitor.core.events import Metering
from monitor.terms import Measured, RunTerms

LEAST_PART: Final = 1e-3  # of the charge; less that has gone over teaches nothing of the count
DISAGREE: Final = 2.0  # standard uncertainties of the difference
WIDER_MOST: Final = 15.0  # times what was stated; beyond it one of the two is a mistake
VOLUME_MOST: Final = 3.0  # times the stated volume, or the stated over it: a mistake, not a correction
_ROUNDS: Final = 6  # of the linear step; the delivered figure bends where the charge is spent

Row = list[float]


class MeteredAccount(Account):
    """An account by counts of a volume. Inputs are counted in their own standard uncertainties, the volume first."""

    def __init__(self, run: RunTerms, stated_ul: Measured) -> None:
        super().__init__(run)
        self.stated_ul = stated_ul
        self.volume_ul = stated_ul.value
        self.corrected = False
        self._shift: Row = []
        self._spread: list[Row] = []
        self._past: list[tuple[Row, list[Row]]] = []  # as it was before each weighing

    @abstractmethod
    def _delivered_of(self, counted_ul: float) -> float:
        """What has gone over by the stated inputs when so much has been counted, mol."""

    @abstractmethod
    def _parts_of(self, counted_ul: float) -> Row:
        """What one standard uncertainty of each input but the volume adds to that, mol, with its sign."""

    @abstractmethod
    def _most_of(self, counted_ul: float) -> float:
        """More than this cannot have gone over, mol."""

    @property
    def counted_ul(self) -> float:
        """The volume that has been counted, µL."""
        return self._metered * self.volume_ul

    @property
    def _metered(self) -> int:
        """What has been counted of what the charge made; the rest was air that swept the flask."""
        return self.drops - self.swept

    @property
    def u_volume_ul(self) -> float:
        """Standard uncertainty of the counted volume, µL."""
        return self.stated_ul.u * sqrt(self._spread[0][0]) if self.corrected else self.stated_ul.u

    def metering(self) -> Metering:
        """By what the account is kept now."""
        return Metering(
            route=self.route,
            meter=self.meter,
            volume_ul=self.volume_ul,
            u_volume_ul=self.u_volume_ul,
            stated_volume_ul=self.stated_ul.value,
            u_stated_volume_ul=self.stated_ul.u,
            weighings=len(self.weighings),
            weighed_s=self.weighings[-1].t_s if self.weighings else None,
        )

    def _counted(self) -> None:
        self.delivered_mol = max(self.delivered_mol, self._estimate())

    def _estimate(self) -> float:
        counted_ul = self.counted_ul
        got = self._delivered_of(counted_ul)
        if self.corrected:
            got += sum(z * part for z, part in zip(self._shift[1:], self._parts_of(counted_ul), strict=True))
            got = max(0.0, min(got, self._most_of(counted_ul)))
        return got

    def _sensitivities(self, volume_ul: float) -> Row:
        u_ul = min(self.stated_ul.u, 0.9 * volume_ul)
        more, less = (self._delivered_of(self._metered * (volume_ul + step)) for step in (u_ul, -u_ul))
        return [0.5 * (more - less), *self._parts_of(self._metered * volume_ul)]

    def _u_delivered_mol(self) -> float:
        """Standard uncertainty of what is delivered, mol."""
        at = self._sensitivities(self.volume_ul)
        if not self.corrected:
            return sqrt(sum(part * part for part in at))
        return sqrt(max(0.0, _dot(at, _times(self._spread, at))))

    def _take(self, weighed: Weighed) -> None:
        if self.delivered_mol < LEAST_PART * self.charge_mol:
            raise WeighingRefusedError("by the count next to nothing has gone over yet: weigh again later")
        inputs = 1 + len(self._parts_of(0.0))
        shift = self._shift or [0.0] * inputs
        spread = self._spread or [[float(i == j) for j in range(inputs)] for i in range(inputs)]
        w_mol, u_w = weighed.delivered.value, weighed.delivered.u
        new, new_spread = list(shift), spread
        for number in range(_ROUNDS):
            volume_ul = self._volume_at(new[0])
            at = self._sensitivities(volume_ul)
            here = self._delivered_of(self._metered * volume_ul) + _dot(new[1:], at[1:])
            off_mol = w_mol - here + _dot(at, [a - b for a, b in zip(new, shift, strict=True)])
            along = _times(spread, at)
            variance = _dot(at, along)
            if number == 0:
                wider = (off_mol * off_mol / DISAGREE**2 - u_w * u_w) / variance
                if wider > WIDER_MOST**2:
                    raise WeighingRefusedError(
                        f"{weighed.by.grams:g} g is {w_mol:.3f} mol, the count says {here:.3f} mol: so far apart "
                        "is a mistake; look for a wrong tare, a leak, or counts that were lost"
                    )
                if wider > 1.0:
                    spread = [[wider * c for c in row] for row in spread]
                    along, variance = [wider * c for c in along], wider * variance
            whole = variance + u_w * u_w
            new = [z + c * off_mol / whole for z, c in zip(shift, along, strict=True)]
            new_spread = [
                [c - a * b / whole for c, b in zip(row, along, strict=True)]
                for row, a in zip(spread, along, strict=True)
            ]
        self._volume_at(new[0])
        self._past.append((self._shift, self._spread))
        self._set(new, new_spread)

    def _volume_at(self, shift: float) -> float:
        volume_ul = self.stated_ul.value + shift * self.stated_ul.u
        if not self.stated_ul.value / VOLUME_MOST < volume_ul < self.stated_ul.value * VOLUME_MOST:
            raise WeighingRefusedError(
                f"it would make a {self.counts} {volume_ul:.3g} µL, stated are {self.stated_ul.value:g} µL: look for "
                "a wrong tare, a leak, or counts that were lost"
            )
        return volume_ul

    def _give_back(self) -> None:
        self._set(*self._past.pop())

    def _set(self, shift: Row, spread: list[Row]) -> None:
        self._shift, self._spread = shift, spread
        self.corrected = bool(shift)
        self.volume_ul = self._volume_at(shift[0]) if shift else self.stated_ul.value
        self.delivered_mol = self._estimate()


def _dot(a: Row, b: Row) -> float:
    return sum(x * y for x, y in zip(a, b, strict=True))


def _times(matrix: list[Row], column: Row) -> Row:
    return [_dot(row, column) for row in matrix]
