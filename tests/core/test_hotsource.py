"""Hot sources: cooling, too hot, a flame out, a line that narrows; and that a healthy run hears nothing of them."""

from __future__ import annotations

import pytest

from monitor.core.bubbleaccount import BubbleAccount
from monitor.core.hotsource import HotAdvice, HotSource
from monitor.core.weighedaccount import WeighedAccount
from tests.core.test_weighings import BUBBLES, CANDLE


def bubbled(rates: list[tuple[float, float]], plate_c: float = 290.0) -> list[str]:
    """The advice of a run whose bubbles come at so many a minute, for so many seconds each."""
    account, advice, said, t_s, whole = BubbleAccount(BUBBLES), HotAdvice(BUBBLES), [], 0.0, 0.0
    for per_min, seconds in rates:
        for _ in range(round(seconds)):
            t_s += 1.0
            before, whole = int(whole), whole + per_min / 60.0
            account.count(t_s, int(whole) - before, t_s, t_s - 1.0)
            said += advice.on_time(t_s, True, plate_c, account)
    return said


def test_a_line_that_narrows_is_said_once() -> None:
    """Bubbles that halve while the plate holds are told, once, though they stay halved."""
    (said,) = bubbled([(60.0, 700.0), (25.0, 600.0)])
    assert "narrows" in said


@pytest.mark.parametrize("rates", [[(60.0, 1500.0)], [(60.0, 600.0), (50.0, 300.0), (42.0, 300.0)], [(3.0, 1500.0)]])
def test_a_rate_that_falls_by_itself_is_not(rates: list[tuple[float, float]]) -> None:
    """A steady rate, one that falls as the sulfur is used up, and one too slow to judge say nothing."""
    assert bubbled(rates) == []


def test_over_the_window_acid_distils() -> None:
    """Over the window the record says what comes over with the gas."""
    (said,) = bubbled([(60.0, 60.0)], plate_c=314.0)
    assert "acid distils and sulfur carries over" in said


def test_a_flask_that_cools_is_told_until_it_is_hot_again() -> None:
    """20 °C under the window after having been in it; an unknown reading changes nothing."""
    hot = HotSource(BUBBLES)
    assert hot.words(100.0) is None
    assert hot.words(285.0) is None
    assert hot.words(255.0) is None
    assert hot.words(249.0) is not None
    assert hot.words(None) is not None
    assert hot.words(285.0) is None


def test_a_flame_that_goes_out() -> None:
    """A burner that falls by 25 °C in three minutes is told; one that warms up is not."""
    account, advice = WeighedAccount(CANDLE), HotAdvice(CANDLE)
    said = [words for t in range(0, 600, 10) for words in advice.on_time(float(t), True, 20.0 + 0.4 * t, account)]
    assert said == []
    said = [words for t in range(600, 800, 10) for words in advice.on_time(float(t), True, 420.0 - 0.3 * t, account)]
    assert len(said) == 1
    assert "flame" in said[0]
