"""The password before a page that other machines can reach. A page for this machine alone has none.

Promise: nothing of the bench is read or drawn before the password was given; a wrong one is answered slowly, whoever
gives it, so that it cannot be found by trying; the password itself is never shown, stored or logged.
"""

from __future__ import annotations

import hmac
import os
import time
from collections import deque
from typing import Final

import streamlit as st

PASSWORD_ENV: Final = "SO2BENCH_PAGE_PASSWORD"  # noqa: S105 - its name, not itself
WRONG_MAX: Final = 5  # wrong ones from all together, within
WINDOW_S: Final = 60.0  # this; then nobody is let in until the oldest is so old
LENGTH_MAX: Final = 200


class Door:
    """Counts wrong passwords, from whomever they come, and bars itself for a while."""

    def __init__(self, password: str) -> None:
        self._password = password.encode()
        self._wrong_s: deque[float] = deque(maxlen=WRONG_MAX)

    def barred_s(self, now_s: float) -> float:
        """How long nobody is let in, in seconds from `now_s`."""
        if len(self._wrong_s) < WRONG_MAX:
            return 0.0
        return max(0.0, self._wrong_s[0] + WINDOW_S - now_s)

    def opens(self, given: str, now_s: float) -> bool:
        """Whether it opens to this; what is given while it is barred is not looked at."""
        if self.barred_s(now_s) > 0.0:
            return False
        if hmac.compare_digest(given.encode("utf-8", "replace"), self._password):
            return True
        self._wrong_s.append(now_s)
        return False


@st.cache_resource
def _door() -> Door:
    """One for the whole server, since a new session costs nothing."""
    return Door(os.environ[PASSWORD_ENV])


def _try() -> None:
    given = str(st.session_state["password"])
    st.session_state["password"] = ""
    st.session_state["admitted"] = _door().opens(given, time.monotonic())
    st.session_state["refused"] = not st.session_state["admitted"]


def admitted() -> bool:
    """Whether this session may see the pages; draws the door if not."""
    if not os.environ.get(PASSWORD_ENV) or st.session_state.get("admitted", False):
        return True
    st.html("<h1>so2bench</h1><p>This page is for those who work here.</p>")
    with st.form("door", border=False):
        st.text_input("Password of this page", type="password", key="password", max_chars=LENGTH_MAX)
        st.form_submit_button("Come in", on_click=_try)
    if st.session_state.get("refused", False):
        barred_s = _door().barred_s(time.monotonic())
        wait = f" Too many were wrong: wait {barred_s:.0f} s." if barred_s > 0.0 else ""
        st.html(f'<p role="alert"><b>That was not the password.</b>{wait}</p>')
    return False
