"""Which account a run is kept by: its route and its meter decide."""

from __future__ import annotations

from monitor.core.account import Account
from monitor.core.bubbleaccount import BubbleAccount
from monitor.core.dropaccount import DropAccount
from monitor.core.weighedaccount import WeighedAccount
from monitor.terms import BenchTerms, RunTerms


def account_of(bench: BenchTerms, run: RunTerms) -> Account:
    """The account of a run, empty. Settings have refused the pairs of route and meter that make no sense."""
    if run.meter == "drops":
        return DropAccount(bench, run)
    return BubbleAccount(run) if run.meter == "bubbles" else WeighedAccount(run)
