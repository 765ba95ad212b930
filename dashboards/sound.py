"""What the page sounds: three rising tones while a high alarm waits or nobody watches, one while a medium one does.

Promise: that the browser does not let the page sound is said where it can be changed, and never taken for silence
that means all is well. The board's buzzer does not depend on any of this.
"""

from __future__ import annotations

from importlib.resources import files
from typing import Final, Literal, NamedTuple

import streamlit as st

from dashboards.view import View
from monitor.core.events import Phase, Priority

Say = Literal["loud", "soft", "quiet"]
NAME: Final = "so2bench sound"
HTML: Final = '<div class="sound"><button type="button">Let this page sound</button><p role="status"></p></div>'
CSS: Final = """
.sound { display: flex; gap: 0.25rem 0.75rem; align-items: center; flex-wrap: wrap; }
.sound button { font: inherit; padding: 0.4rem 0.9rem; cursor: pointer; }
.sound button { border: 1px solid #1A1A1A; background: #FFF; color: #1A1A1A; }
.sound button:focus-visible { outline: 3px solid #0072B2; outline-offset: 2px; }
.sound p { margin: 0; }
.sound p.silent { font-weight: 700; }
"""


class Sounding(NamedTuple):
    """How loud, and in words why."""

    say: Say
    words: str


def sounding(view: View | None) -> Sounding:
    """What an overview calls for. Alarms that were acknowledged make no sound; a page that sees no run does."""
    if view is None:
        return Sounding("loud", "so2bench: there is no run to show")
    if view.phase is Phase.CLOSED:
        return Sounding("quiet", "")
    if not view.watched:
        return Sounding("loud", "so2bench: nobody watches the bench")
    waiting = [card for card in view.cards if card.to_acknowledge]
    worst = waiting[0] if waiting else None  # the cards come worst first
    if worst is None or worst.priority is Priority.LOW:
        return Sounding("quiet", "")
    return Sounding("loud" if worst.priority is Priority.HIGH else "soft", f"so2bench: {worst.title}")


@st.cache_resource
def _script() -> str:
    return (files("dashboards") / "sound.js").read_text("utf-8")


def draw(what: Sounding, tick: float) -> None:
    """Put the sounder on the page; `tick` is new each time, so that the browser knows that its server lives."""
    mount = st.components.v2.component(NAME, html=HTML, css=CSS, js=_script())
    mount(data={"say": what.say, "words": what.words, "tick": tick}, key="sound")
