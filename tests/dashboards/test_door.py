"""The password before a page that other machines can reach."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from dashboards.door import WINDOW_S, WRONG_MAX, Door

PASSWORD = "lime-wash-at-seven"


def test_it_opens_to_the_password_alone() -> None:
    """The password opens; anything near it does not."""
    for wrong in ("", PASSWORD[:-1], PASSWORD + " ", PASSWORD.upper(), "\ud800", "lime wash at seven"):
        assert not Door(PASSWORD).opens(wrong, 0.0), wrong
    assert Door(PASSWORD).opens(PASSWORD, 0.0)


def test_after_five_wrong_ones_nobody_comes_in_for_a_minute() -> None:
    """Even the right one waits then, since who guesses may have guessed right; after the minute it opens."""
    door = Door(PASSWORD)
    for n in range(WRONG_MAX):
        assert not door.opens("guess", float(n))
    assert door.barred_s(5.0) == WINDOW_S - 5.0
    assert not door.opens(PASSWORD, 5.0)
    assert door.opens(PASSWORD, WINDOW_S)


@given(st.lists(st.floats(0.0, 20.0), max_size=200))
def test_no_pattern_of_guessing_gets_more_than_five_a_minute(waits: list[float]) -> None:
    """However guesses are timed, at most five a minute are compared with the password."""
    looked_at: list[float] = []
    now_s = 0.0
    door = Door(PASSWORD)
    for wait_s in waits:
        now_s += wait_s
        if door.barred_s(now_s) == 0.0:
            looked_at.append(now_s)
        door.opens("guess", now_s)
    for at_s in looked_at:
        assert sum(at_s <= other < at_s + WINDOW_S for other in looked_at) <= WRONG_MAX
