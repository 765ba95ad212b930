"""Hot sources: cooling, too hot, a flame out, a line that narrows; and that a healthy run hears nothing of them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.core.bubbleaccount import BubbleAccount
from monitor.core.hotsource import HotAdvice, HotSource
from monitor.core.weighedaccount import WeighedAccount
from monitor.terms import BurnerTerms, Measured
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


def narrowed(rates: list[tuple[float, float]]) -> tuple[str, ...]:
    """What is advised at the end of a run whose bubbles come at so many a minute, for so many seconds each."""
    account, advice, t_s, whole = BubbleAccount(BUBBLES), HotAdvice(BUBBLES), 0.0, 0.0
    for per_min, seconds in rates:
        for _ in range(round(seconds)):
            t_s += 1.0
            before, whole = int(whole), whole + per_min / 60.0
            account.count(t_s, int(whole) - before, t_s, t_s - 1.0)
            advice.on_time(t_s, True, 290.0, account)
    return advice.standing


def test_a_narrowed_line_is_advised_until_it_is_clear() -> None:
    """It stands though the lesser rate has lasted longer than the span compared, and goes when the line is clear."""
    wide, narrow = (60.0, 700.0), (25.0, 1500.0)
    assert "narrows" in narrowed([wide, narrow])[0]
    assert narrowed([wide, narrow, (60.0, 400.0)]) == ()


def test_an_unknown_plate_leaves_advice_standing() -> None:
    """A thermometer that fails does not make a hot plate cool; the end of the making ends all advice."""
    account, advice = BubbleAccount(BUBBLES), HotAdvice(BUBBLES)
    advice.on_time(1.0, True, 320.0, account)
    assert len(advice.standing) == 1
    advice.on_time(30.0, True, None, account)
    assert len(advice.standing) == 1
    advice.on_time(31.0, False, None, account)
    assert not advice.standing


@pytest.mark.parametrize(("draw_l_per_min", "warm"), [(2.0, False), (5.0, False), (5.5, True), (8.0, True)])
def test_a_draw_that_the_coil_does_not_cool(draw_l_per_min: float, warm: bool) -> None:
    """About two metres of copper tube cool up to about 5 L/min (common practice, no source; so does our estimate)."""
    run = replace(CANDLE, charge=BurnerTerms(Measured(16.0), draw_l_per_min))
    said = HotAdvice(run).on_time(1.0, True, 300.0, WeighedAccount(run))
    assert any("the coil" in words or "of coil" in words for words in said) == warm


def test_gas_in_the_air_points_at_the_pump() -> None:
    """On the burner's route a gas alarm brings up the pump's exhaust, once; on another route there is no pump."""
    advice, account = HotAdvice(CANDLE), WeighedAccount(CANDLE)
    assert advice.on_time(10.0, True, 300.0, account) == []
    (said,) = advice.on_time(20.0, True, 300.0, account, gas_seen=True)
    assert "what the pump blows out" in said
    assert advice.on_time(30.0, True, 300.0, account, gas_seen=True) == []
    assert advice.standing == (said,)
    account_of_bubbles = BubbleAccount(BUBBLES)
    assert HotAdvice(BUBBLES).on_time(10.0, True, 290.0, account_of_bubbles, gas_seen=True) == []
    advice.on_time(40.0, True, 300.0, account)
    assert not advice.standing
