"""A short share of the campaign against a real broker, and that its judge finds what it looks for."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

from tests.mqtt_campaign import judge, run_one
from tests.mqtt_faults import FAULTS

SEED = 7
# Quick ones, one of each sort: the broker gone, answers missing, not let in, and too much coming.
SHARE = ("killed", "answers lost", "wrong password", "flood of requests")


@pytest.mark.broker
@pytest.mark.timeout(180)
@pytest.mark.parametrize("name", SHARE)
def test_no_change_of_an_alarm_is_lost_or_doubled(tmp_path: Path, name: str) -> None:
    """Whatever befalls the broker, every change reaches a subscriber once by its key, in order, with its own time."""
    tls = random.Random(f"{SEED} {name}").random() < 0.5
    result = run_one(name, tmp_path, SEED, tls=tls, trials=3, stays=False)
    assert result.wrong == ()
    assert result.changes > 20


def test_every_sort_of_fault_is_in_the_campaign() -> None:
    """The share is drawn from the campaign's own faults."""
    assert set(SHARE) < set(FAULTS)


def change(n: int, **other: Any) -> dict[str, Any]:
    return {
        "t_s": float(n),
        "utc_s": 1.8e9 + n,
        "tag": "GAS-HIGH",
        "priority": "high",
        "before": "normal",
        "after": "unacknowledged",
        "cause": "condition true",
        "who": "",
        "detail": "",
        **other,
    }


def said(n: int, **other: Any) -> dict[str, Any]:
    return {"session": "5be0a9d4", "seq": n, **change(n), **other}


def test_the_judge_passes_what_is_whole() -> None:
    """All changes in order are right, and one sent again is counted and no more."""
    log = [change(1), change(2), change(3)]
    assert judge(log, [said(1), said(2), said(2), said(3)]) == ([], 1)


@pytest.mark.parametrize(
    ("got", "words"),
    [
        ([said(1), said(3)], "1 of 3 changes lost"),
        ([said(1), said(3), said(2)], "out of order"),
        ([said(1), said(2), said(2, detail="else"), said(3)], "came twice with different words"),
        ([said(1), said(2), said(3, utc_s=1.8e9)], "not what the log holds"),
    ],
)
def test_the_judge_finds_what_is_wrong(got: list[dict[str, Any]], words: str) -> None:
    """A change that is lost, out of order, doubled with other words or given another time is found."""
    wrong, _ = judge([change(1), change(2), change(3)], got)
    assert any(words in w for w in wrong)
