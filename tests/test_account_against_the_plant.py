"""The account that the bench keeps against the truth of the rig's finer plant, whose physics is its own."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.core.bench import Bench
from monitor.core.events import Instant, Send
from monitor.core.requests import make_request
from monitor.rig.bench import SimulatedBench
from monitor.terms import DripTerms, Salt
from tests.live import terms

STEP_S = 0.5
WITHIN = 0.03


@pytest.mark.parametrize(("salt", "acid_per_min"), [("Na2S2O5", 60.0), ("K2S2O5", 60.0), ("NaHSO3", 40.0)])
def test_delivered_at_every_moment(salt: Salt, acid_per_min: float) -> None:
    """Once a tenth of what the run gives has gone over, delivered is within 3 % of the plant's at every moment."""
    bench_terms, _, run_terms, _ = terms()
    assert isinstance(run_terms.charge, DripTerms)
    run_terms = replace(run_terms, charge=replace(run_terms.charge, salt=salt))
    plant = SimulatedBench(bench_terms, run_terms, seed=11)
    live = Bench(bench_terms, run_terms, Instant(0.0, 1.8e9))
    assert live.account is not None
    final_mol = live.account.forecast(0.0).final_delivered_mol
    compared, t_s, worst = 0, 0.0, 0.0
    while live.account.acid_left_fraction > 0.02:
        t_s += STEP_S
        at = Instant(t_s, 1.8e9 + t_s)
        events = live.receive(plant.step(STEP_S), at)
        if t_s == 3.0:
            events += live.command(make_request("permit", "tester", {"on": True}), at)
        if t_s == 5.0:
            plant.do(f"tap {acid_per_min:g}")
        plant.write(b"".join(e.data for e in events if isinstance(e, Send)))
        true_mol = plant.truth().delivered_mol
        if true_mol >= 0.1 * final_mol:
            compared += 1
            worst = max(worst, abs(live.account.delivered_mol / true_mol - 1.0))
        assert t_s < 9000.0
    assert compared > 1000
    assert worst <= WITHIN
