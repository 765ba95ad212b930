"""What a page says once it stands still: that it has stopped, since when, how old its numbers are, and what to do.

Promise: a server that hangs, or a connection that stalls, leaves no number looking like now. The age that the server
writes stands still with the server, so this one is counted in the browser; it goes when refreshes come again.
"""

from __future__ import annotations

from importlib.resources import files
from typing import Final

import streamlit as st

NAME: Final = "so2bench stopped"
ONE_BENCH: Final = "Look at the bench itself, and listen for the board's buzzer."
MANY_BENCHES: Final = "Look at the benches themselves, and listen for their buzzers."
HTML: Final = """
<dialog role="alertdialog" tabindex="-1" autofocus aria-labelledby="what" aria-describedby="do">
  <p class="what" id="what">? This page has stopped.</p>
  <p class="what" aria-live="off">Its numbers are at least <span class="age"></span> old: nothing new since
    <span class="since"></span>.</p>
  <div id="do">
    <p><b class="look"></b> The monitor may still be running; this page cannot tell.</p>
    <p>It goes on by itself once its server answers. If it has not within a minute, reload it.</p>
  </div>
</dialog>
"""
CSS: Final = """
dialog {
  position: fixed; inset: 0 0 auto 0; box-sizing: border-box; width: 100%; max-width: 100%; margin: 0; border: 0;
  padding: 0.8rem 1.4rem 1rem; background: #1A1A1A; color: #F0E442; font-size: 1.3rem; line-height: 1.3; outline: 0;
}
dialog::backdrop { background: rgb(251 250 245 / 0.7); backdrop-filter: grayscale(1); }
dialog p { margin: 0.3rem 0 0; }
dialog .what { font-size: 2rem; font-weight: 700; line-height: 1.15; font-variant-numeric: tabular-nums; }
@media (max-width: 640px) { dialog { font-size: 1.15rem; } dialog .what { font-size: 1.5rem; } }
"""


@st.cache_resource
def _script() -> str:
    return (files("dashboards") / "stopped.js").read_text("utf-8")


def draw(look: str, tick: float) -> None:
    """Put it on a page, unseen; `tick` is new at each refresh, and `look` says where to look once none comes."""
    mount = st.components.v2.component(NAME, html=HTML, css=CSS, js=_script())
    mount(data={"look": look, "tick": tick}, key="stopped")
