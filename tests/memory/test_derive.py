"""Who had the bench, and what came to whose share: against sums over the samples themselves."""

from __future__ import annotations

import random

import pytest

from monitor.core.events import Exposed, Reading, Request
from monitor.core.exposure import Exposure
from monitor.memory.derive import Stretch, attendance, steps


def _asked(*asked: tuple[float, str, str]) -> list[tuple[float, Request]]:
    return [(t_s, Request(kind, who)) for t_s, kind, who in asked]


def test_the_bench_is_theirs_who_asked_last() -> None:
    """Time before the first name is the first name's; the same name again changes nothing."""
    asked = _asked((50.0, "permit", "Anker"), (90.0, "note", "Anker"), (200.0, "weighing", "Birke"))
    assert attendance(0.0, asked) == [Stretch(0.0, "Anker"), Stretch(200.0, "Birke")]


@pytest.mark.parametrize(
    ("kind", "who"), [("acknowledge", "Birke"), ("note", "bench"), ("port", "so2bench"), ("seen", "Birke")]
)
def test_nobody_is_made_up(kind: str, who: str) -> None:
    """An acknowledgement from anywhere, a request without a name and what the shell tells hand nothing over."""
    asked = _asked((50.0, "permit", "Anker"), (60.0, kind, who))
    assert attendance(0.0, asked) == [Stretch(0.0, "Anker")]
    assert attendance(0.0, asked[1:]) == [Stretch(0.0, None)]


def _exposed(hours: float, seed: int) -> tuple[list[Exposed], list[float]]:
    """Rows every ten seconds of a gas that changes at random; the dose so far at each second, ppm·s, by the sum."""
    draw, exposure, rows, dose, ppm = random.Random(seed), Exposure(0.0), [], [0.0], 0.0
    for second in range(1, int(3600 * hours) + 1):
        before = ppm
        if second % 300 == 0:
            ppm = draw.uniform(0.0, 3.0)
        exposure.feed(float(second), Reading(ppm))
        dose.append(dose[-1] + (0.5 * (before + ppm) if second > 1 else ppm))
        if second % 10 == 0:
            rows.append(exposure.pass_time(float(second)))
    return rows, dose


@pytest.mark.parametrize("hours", [2.0, 20.0])
def test_the_dose_is_the_sum_over_the_samples(hours: float) -> None:
    """Σ C·Δt (29 CFR 1910.1000(d)(1)), also over a run much longer than the window that it is worked out from."""
    rows, dose = _exposed(hours, 5)
    got = steps(0.0, rows, [Stretch(0.0, None)])
    so_far = 0.0
    for step in got:
        so_far += step.dose_ppm_h
        assert 3600.0 * so_far == pytest.approx(dose[round(step.row.t_s)], rel=1e-6, abs=1e-3)
    assert sum(step.step_s for step in got) == rows[-1].t_s
    assert max(step.own_stel_ppm for step in got) == rows[-1].stel_max_ppm


def test_after_a_handing_over_the_quarter_hour_begins_anew() -> None:
    """Who takes over at a high average has had none of it: Σ C·Δt since then over 900 s, for the first 900 s."""
    rows, dose = _exposed(2.0, 6)
    taken_s = 3333.0
    for step in steps(0.0, rows, [Stretch(0.0, "Anker"), Stretch(taken_s, "Birke")]):
        t_s = round(step.row.t_s)
        assert step.person == ("Anker" if t_s < taken_s else "Birke")
        if taken_s <= t_s < taken_s + 900.0:
            assert step.own_stel_ppm == pytest.approx((dose[t_s] - dose[round(taken_s)]) / 900.0, abs=2e-3)
        elif t_s >= taken_s + 900.0:
            assert step.own_stel_ppm >= step.row.stel_ppm


def test_unknown_time_goes_to_whom_it_befell() -> None:
    """The shares of unknown time add up to the run's."""
    rows = [Exposed(10.0 * i, 0.0, 0.0, 0.0, 0.0, max(0.0, 10.0 * i - 50.0)) for i in range(1, 21)]
    got = steps(0.0, rows, [Stretch(0.0, "Anker"), Stretch(100.0, "Birke")])
    by = {who: sum(s.unknown_step_s for s in got if s.person == who) for who in ("Anker", "Birke")}
    assert by == {"Anker": 40.0, "Birke": 110.0}
