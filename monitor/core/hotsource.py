"""Sources that are hot: acid on sulfur that cools or grows too hot, a flame that goes out, a gas line that narrows.

Each is told from the plate and the count, and says so in words. The limits are common practice, no source; the window
is the run file's.
"""

from __future__ import annotations

from collections import deque

from monitor.chemistry.coil import COIL_LEAVES_AT_C, USUAL_FRACTION, coil_exit_c
from monitor.core.account import Account
from monitor.terms import AcidOnSulfurTerms, BurnerTerms, RunTerms

COOLED_C = 20.0  # under the window: hot acid makes hardly any gas there and its own gas shrinks
LIT_C = 120.0  # a thermocouple at burning sulfur reads more (it melts at 115 °C, CRC Handbook)
FLAME_FALL_C = 25.0  # under the highest of the last three minutes, and
FALL_IN_S = 180.0
WINDOW_DEADBAND_C = 2.0  # alarm table; of either end
NARROW_OVER_S = 300.0  # two spans of this length are compared
NARROWED = 0.6  # of the count before; an acid on sulfur at a steady heat loses far less in five minutes
WIDE_AGAIN = 0.8  # of the count before: the line is clear again
NARROW_LEAST = 40  # counted in the first span, else scatter says it
HELD_C = 5.0  # the plate stood so still over both spans
LATE_PART = 0.7  # of the charge; past it the rate falls by itself
EVERY_S = 10.0
PUMP_WORDS = (
    "SO2 in the air while the burner draws: look first at what the pump blows out; it goes through the scrubber and "
    "into the hood, never into the room"
)


class HotSource:
    """What the plate says of a hot source that has made gas: it cools, and gas stops or turns back."""

    def __init__(self, run: RunTerms) -> None:
        charge = run.charge
        self._low_c = charge.window_c[0] if isinstance(charge, AcidOnSulfurTerms) else None
        self._burner = isinstance(charge, BurnerTerms)
        self._was_hot = False
        self._words: str | None = None

    def forget(self) -> None:
        """No gas is being made: what was hot before counts no more."""
        self._was_hot = False
        self._words = None

    def words(self, plate_c: float | None) -> str | None:
        """What is wrong at such a plate, or None; an unknown one changes nothing."""
        if plate_c is not None:
            self._words = self._at(plate_c)
        return self._words

    def _at(self, plate_c: float) -> str | None:
        hot_c = LIT_C if self._burner else self._low_c
        if hot_c is None:
            return None
        self._was_hot = self._was_hot or plate_c >= hot_c
        if not self._was_hot or plate_c >= hot_c - COOLED_C:
            return None
        if self._burner:
            return f"the burner cools, {plate_c:.0f} °C: the flame is out, only air is drawn over"
        return f"the flask cools: plate at {plate_c:.0f} °C, it was over {hot_c:g} °C"


class HotAdvice:
    """Advice while gas is being made: each stands for as long as it holds, and is new in the record once."""

    def __init__(self, run: RunTerms) -> None:
        charge = run.charge
        self._window_c = charge.window_c if isinstance(charge, AcidOnSulfurTerms) else None
        self._burner = isinstance(charge, BurnerTerms)
        self._coil = _coil_words(charge) if isinstance(charge, BurnerTerms) else None
        self._past: deque[tuple[float, float, int]] = deque()  # (s, plate °C, count), one in 10 s of ten minutes
        self._wide = 0  # bubbles in five minutes before the line narrowed; 0 while it has not
        self._found: dict[str, str] = {}

    @property
    def standing(self) -> tuple[str, ...]:
        """What is advised now."""
        return tuple(self._found.values())

    def on_time(
        self, t_s: float, making: bool, plate_c: float | None, account: Account, *, gas_seen: bool = False
    ) -> list[str]:
        """What there is to be said anew; `gas_seen` while a gas alarm has cause.

        A plate that is not known leaves what was said standing.
        """
        past = self._past
        if not making:
            past.clear()
            self._found, self._wide = {}, 0
            return []
        if plate_c is None:
            past.clear()
            return []
        if past and t_s - past[-1][0] < EVERY_S:
            return []
        past.append((t_s, plate_c, account.drops))
        while past[0][0] < t_s - 2.0 * NARROW_OVER_S - EVERY_S:
            past.popleft()
        rules = {"hot": self._too_hot(plate_c), "flame": self._flame(t_s), "line": self._line(account)}
        rules |= {"coil": self._coil, "pump": PUMP_WORDS if self._burner and gas_seen else None}
        before, self._found = self._found, {key: words for key, words in rules.items() if words is not None}
        return [words for key, words in self._found.items() if key not in before]

    def _too_hot(self, plate_c: float) -> str | None:
        if self._window_c is None:
            return None
        high_c = self._window_c[1] - (WINDOW_DEADBAND_C if "hot" in self._found else 0.0)
        if plate_c <= high_c:
            return None
        return (
            f"plate at {plate_c:.0f} °C, over the window's {self._window_c[1]:g} °C: acid distils and sulfur carries "
            "over into the line; turn the heat down"
        )

    def _flame(self, t_s: float) -> str | None:
        if not self._burner:
            return None
        top_c = max(c for s, c, _ in self._past if s >= t_s - FALL_IN_S)
        now_c = self._past[-1][1]
        if top_c < LIT_C or now_c > top_c - FLAME_FALL_C:
            return None
        return (
            f"the burner fell from {top_c:.0f} to {now_c:.0f} °C: the flame may be out; look at it from aside, and "
            "light it again only with the draught on"
        )

    def _line(self, account: Account) -> str | None:
        """A narrowed line, until as much comes again as before, or the charge ends and less comes by itself."""
        past = self._past
        if self._window_c is None or account.counts != "bubble":
            return None
        late = account.delivered_mol > LATE_PART * account.charge_mol
        if late or past[-1][0] - past[0][0] < 2.0 * NARROW_OVER_S:
            if late:
                self._wide = 0
            return self._found.get("line") if self._wide else None
        middle = next(n for s, _, n in past if s >= past[-1][0] - NARROW_OVER_S)
        before, now = middle - past[0][2], past[-1][2] - middle
        plates = [c for _, c, _ in past]
        held = max(plates) - min(plates) <= HELD_C
        if self._wide == 0 and held and before >= NARROW_LEAST and now < NARROWED * before:
            self._wide = before
        if self._wide == 0 or now >= WIDE_AGAIN * self._wide:
            self._wide = 0
            return None
        return (
            f"{now} bubbles in five minutes after {self._wide}, while the plate holds: the gas line narrows (sulfur "
            "that sets in it), or a joint leaks before the counter; heat off, vent open, then look at the line"
        )


def _coil_words(charge: BurnerTerms) -> str | None:
    """A draw that the coil does not cool; nothing sees its outlet, so this is reckoned from the run file."""
    t_c, pressure_pa = charge.temperature_c, charge.pressure_pa
    exit_c = coil_exit_c(charge.draw_l_per_min, USUAL_FRACTION, t_c, pressure_pa)
    if exit_c <= COIL_LEAVES_AT_C:
        return None
    return (
        f"at a draw of {charge.draw_l_per_min:g} L/min the gas leaves two metres of coil at about {exit_c:.0f} °C, "
        f"over {COIL_LEAVES_AT_C:g} °C: too warm for soft hose and for the receiver; draw less, or cool the coil "
        "with water"
    )
