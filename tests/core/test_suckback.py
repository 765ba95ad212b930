"""Suck-back: said when gas stops, once, and not before any went over."""

from __future__ import annotations

import pytest

from monitor.core.suckback import SuckBack

PER_DROP_MOL = 2e-4


class Flow:
    """Drops into a made-up flask: each brings `per_drop_mol` over."""

    def __init__(self) -> None:
        self.watch = SuckBack()
        self.t_s = self.delivered_mol = self.last_drop_s = 0.0
        self.drops = 0
        self.said: list[float] = []

    def run(self, seconds: float, interval_s: float | None, per_drop_mol: float = PER_DROP_MOL) -> None:
        end_s = self.t_s + seconds
        while self.t_s < end_s:
            self.t_s += 0.5
            if interval_s is not None and self.t_s - self.last_drop_s >= interval_s:
                self.drops += 1
                self.last_drop_s = self.t_s
                self.delivered_mol += per_drop_mol
            before = self.watch.words()
            self.watch.feed(self.t_s, self.delivered_mol, per_drop_mol, self.drops, self.last_drop_s)
            if before is None and self.watch.words() is not None:
                self.said.append(self.t_s)


@pytest.mark.parametrize(("interval_s", "within_s"), [(0.5, 15.5), (1.0, 15.5), (3.0, 15.5), (8.0, 25.0)])
def test_a_tap_that_stops_is_told_at_once(interval_s: float, within_s: float) -> None:
    """15 s, or three of the usual intervals, after the last drop: sooner than the drip is called stalled."""
    flow = Flow()
    flow.run(200.0, interval_s)
    assert flow.said == []
    flow.run(60.0, None)
    (t_s,) = flow.said
    assert t_s - flow.last_drop_s <= within_s


def test_it_is_said_once_and_ends_when_gas_flows_again() -> None:
    """A tap shut for good gives the advice once; it ends after ten minutes, or when gas flows again."""
    flow = Flow()
    flow.run(200.0, 1.0)
    flow.run(3000.0, None)
    assert len(flow.said) == 1
    assert flow.watch.words() is None
    flow.run(120.0, 1.0)
    flow.run(30.0, None)
    assert len(flow.said) == 2
    flow.run(30.0, 1.0)
    assert flow.watch.words() is None


def test_nothing_is_said_before_gas_went_over() -> None:
    """While the liquor still takes all of it, nothing can be drawn back, however the drops stop."""
    flow = Flow()
    flow.run(200.0, 1.0, per_drop_mol=0.0)
    flow.run(300.0, None, per_drop_mol=0.0)
    assert flow.said == []


def test_a_spent_charge_is_told_while_it_still_drips() -> None:
    """Drops that bring a tenth of what they brought are the end of the gas, though the drip goes on."""
    flow = Flow()
    flow.run(200.0, 1.0)
    flow.run(30.0, 1.0, per_drop_mol=0.05 * PER_DROP_MOL)
    assert len(flow.said) == 1


@pytest.mark.parametrize(("first_s", "then_s"), [(1.0, 3.0), (1.0, 6.0), (4.0, 10.0)])
def test_a_slower_drip_is_no_stop(first_s: float, then_s: float) -> None:
    """A tap turned down to a sixth still makes gas, and raises nothing."""
    flow = Flow()
    flow.run(200.0, first_s)
    flow.run(300.0, then_s)
    assert flow.said == []
