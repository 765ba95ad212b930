"""What a run log does not say in so many words: who had the bench, and what came to that person's share.

Promise: pure functions of what was recorded; they make up nobody. A log knows no operator. It knows who asked for
things, by the name typed on the page; the rules by which a name is taken for the person at the bench stand at
`attendance`.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import Final, NamedTuple

from monitor.core.events import Exposed, Request
from monitor.core.exposure import STEL_S, TWA_S
from monitor.core.requests import ASKED_BY_PEOPLE

NOBODY: Final = frozenset({"bench", "so2bench"})  # what stands in for a name where none was typed
ELSEWHERE: Final = frozenset({"acknowledge"})  # may be asked from another room, so it hands nothing over


class Stretch(NamedTuple):
    """A part of a run from `from_s` to the next one's, and whose it was; None where no name was typed."""

    from_s: float
    person: str | None


class Step(NamedTuple):
    """A row of exposure with what came since the row before, and to whom.

    Seconds; `dose_ppm_h` in ppm·h at the sensor; `own_stel_ppm` the 15-minute average of what this person had.
    """

    row: Exposed
    person: str | None
    step_s: float
    unknown_step_s: float
    dose_ppm_h: float
    own_stel_ppm: float


def attendance(start_s: float, asked: Sequence[tuple[float, Request]]) -> list[Stretch]:
    """Whose each part of a run was, in order.

    The bench is theirs who asked for something last, an acknowledgement aside. What came before the first name is
    the first one's. A request without a name changes nothing. `start_s` is the run second at which the run began.
    """
    stretches = [Stretch(start_s, None)]
    for t_s, request in asked:
        by_hand = request.kind in ASKED_BY_PEOPLE and request.kind not in ELSEWHERE
        if not by_hand or request.who in NOBODY or request.who == stretches[-1].person:
            continue
        first = stretches[-1].person is None
        stretches[-1:] = [Stretch(start_s, request.who)] if first else [stretches[-1], Stretch(t_s, request.who)]
    return stretches


def steps(start_s: float, rows: Sequence[Exposed], stretches: Sequence[Stretch]) -> list[Step]:
    """The rows of exposure, each with its share.

    The dose D so far follows from the 8-hour average E: D(t) = 8 h · E(t) + D(t − 8 h). A row belongs to the one who
    had the bench at its end. After a handing over, the 15-minute average counts from there: time before counts as
    unexposed, as before a run.
    """
    at_s, dose_ppm_s, begun = [start_s], [0.0], [s.from_s for s in stretches]
    got: list[Step] = []
    before = Exposed(start_s, 0.0, 0.0, 0.0, 0.0, 0.0)
    for row in rows:
        so_far = TWA_S * row.twa_ppm + _at(at_s, dose_ppm_s, row.t_s - TWA_S)
        at_s.append(row.t_s)
        dose_ppm_s.append(so_far)
        stretch = stretches[max(0, bisect_right(begun, row.t_s) - 1)]
        if stretch.from_s > start_s and row.t_s - stretch.from_s < STEL_S:
            own_ppm = max(0.0, so_far - _at(at_s, dose_ppm_s, stretch.from_s)) / STEL_S
        else:  # where the highest so far rose, it was reached between the rows
            own_ppm = row.stel_max_ppm if row.stel_max_ppm > before.stel_max_ppm else row.stel_ppm
        got.append(
            Step(
                row,
                stretch.person,
                row.t_s - before.t_s,
                row.unknown_s - before.unknown_s,
                (so_far - dose_ppm_s[-2]) / 3600.0,
                own_ppm,
            )
        )
        before = row
    return got


def _at(at_s: Sequence[float], values: Sequence[float], t_s: float) -> float:
    """A value between rows, on the straight line; nothing before the first."""
    i = bisect_right(at_s, t_s)
    if i == 0:
        return 0.0
    if i == len(at_s) or at_s[i] == at_s[i - 1]:
        return values[i - 1]
    return values[i - 1] + (values[i] - values[i - 1]) * (t_s - at_s[i - 1]) / (at_s[i] - at_s[i - 1])
