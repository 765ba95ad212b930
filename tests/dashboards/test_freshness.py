"""The page knows how old the run's newest word is, whatever clock the run keeps."""

from __future__ import annotations

from dashboards.freshness import Freshness

UTC_S = 1_800_000_000.0


def test_a_run_that_goes_on_is_fresh() -> None:
    """Each new overview is as old as the file's last writing."""
    fresh = Freshness()
    for second in range(5):
        age_s = fresh.age_s(float(second * 10), UTC_S + second - 0.3, second, UTC_S + second)
        assert abs(age_s - 0.3) < 1e-6


def test_silence_adds_up() -> None:
    """The same overview grows older by the page's own clock, though the file's time of writing stands still."""
    fresh = Freshness()
    fresh.age_s(7.0, UTC_S, 100.0, UTC_S)
    assert fresh.age_s(7.0, UTC_S, 112.0, UTC_S + 12.0) == 12.0


def test_a_page_opened_late_sees_an_old_file() -> None:
    """A monitor that stopped an hour ago is an hour old at the first look."""
    assert Freshness().age_s(7.0, UTC_S - 3600.0, 5.0, UTC_S) == 3600.0


def test_a_page_reopened_sees_that_the_run_ended_meanwhile() -> None:
    """A change that was not watched is dated by the file, not by the moment of the look."""
    fresh = Freshness()
    fresh.age_s(7.0, UTC_S, 0.0, UTC_S)
    assert fresh.age_s(99.0, UTC_S + 100.0, 700.0, UTC_S + 700.0) == 600.0


def test_a_clock_that_is_set_does_not_make_a_live_run_old() -> None:
    """A change seen since the last look cannot be older than that look."""
    fresh = Freshness()
    fresh.age_s(7.0, UTC_S, 10.0, UTC_S)
    assert fresh.age_s(8.0, UTC_S + 1.0, 11.0, UTC_S + 7200.0) == 1.0


def test_a_file_from_the_future_is_not_younger_than_new() -> None:
    """No age is negative."""
    assert Freshness().age_s(7.0, UTC_S + 50.0, 0.0, UTC_S) == 0.0
