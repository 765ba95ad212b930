"""What is sent to the board: the permit kept alive, its trip limits, and what clears its trip.

Promise: commands are numbered in their order; a change of the permit goes out at once; trip limits are sent until the
board confirms them, and a refusal of them is said once. Of a recording nothing is kept alive. It decides nothing: the
bench says what is permitted.
"""

from __future__ import annotations

from typing import Final

from monitor.core import frames
from monitor.core.events import Event, Noted, PermitChanged, Sampled, Send
from monitor.core.frames import PROTOCOL, AnswerFrame, HelloFrame
from monitor.core.sensing import gas_trip_sum, tc_trip_quarters
from monitor.terms import BenchTerms

COLD_C: Final = 25.0  # of the board's own junction, until it has said it


class BoardLine:
    """The line to one board, outwards."""

    def __init__(self, bench: BenchTerms, *, recording: bool) -> None:
        self._bench, self._recording = bench, recording
        self._n = 0  # number of the newest command
        self.permit_on = False
        self.permit_why = "not asked for"
        self.protocol: int | None = None  # what the board says that it speaks
        self.trips_due = False  # the board has yet to confirm its trip limits
        self._limits_refused = False  # and this was said
        self._clear_asked_by = ""  # who asked the board to clear its trip, until it has

    def set_permit(self, on: bool, why: str, t_s: float, *, buzzer: bool, out: list[Event]) -> None:
        """Give or take the permit; says so only if that is a change."""
        self.permit_why = why
        if on != self.permit_on:
            self.permit_on = on
            out.append(PermitChanged(t_s, on, why))
            self.keep_alive(buzzer=buzzer, out=out)

    def keep_alive(self, *, buzzer: bool, out: list[Event]) -> None:
        """Say what is permitted, and whether to sound."""
        if not self._recording:
            out.append(Send(frames.keep_alive(self._next_n(), self.permit_on, buzzer)))

    def on_grid(self, sample: Sampled | None, *, buzzer: bool, out: list[Event]) -> None:
        """What goes out twice a second."""
        if self._recording:
            return
        if self.trips_due:
            self._send_trips(sample, out)
        self.keep_alive(buzzer=buzzer, out=out)

    def ask_who_is_there(self, out: list[Event]) -> None:
        """A port was opened: the board on it has to say what it is and to take the limits."""
        self.trips_due = True
        out.append(Send(frames.who_is_there(self._next_n())))

    def ask_to_clear(self, who: str, out: list[Event]) -> None:
        """Ask the board to let go of its trip."""
        self._clear_asked_by = who
        out.append(Send(frames.clear_trips(self._next_n())))

    def cleared_for(self) -> str:
        """The board's trip is gone: who had asked for it, told once; empty if nobody had."""
        who, self._clear_asked_by = self._clear_asked_by, ""
        return who

    def on_hello(self, hello: HelloFrame, t_s: float, out: list[Event]) -> None:
        """The board says what it is."""
        self.protocol = hello.protocol
        out.append(Noted(t_s, "board", f"start {hello.boot} ({hello.why}), firmware {hello.firmware}"))
        if hello.protocol != PROTOCOL:
            words = f"the board speaks protocol {hello.protocol}, wanted is {PROTOCOL}: load its firmware anew"
            out.append(Noted(t_s, "board", words))
        self.trips_due = True

    def on_answer(self, answer: AnswerFrame, t_s: float, out: list[Event]) -> None:
        """The board answers a command."""
        if answer.command == "L":
            self.trips_due = answer.result != 0
            said, self._limits_refused = self._limits_refused, self.trips_due
            if said:  # they are sent again twice a second
                return
        if answer.result != 0:
            if answer.command == "C":
                self._clear_asked_by = ""
            what = {"C": "to clear its trip: the cause still stands", "L": "its trip limits"}
            out.append(Noted(t_s, "refused", f"the board refused {what.get(answer.command, answer.command)}"))

    def _next_n(self) -> int:
        self._n = (self._n + 1) & 0xFFFF
        return self._n

    def _send_trips(self, sample: Sampled | None, out: list[Event]) -> None:
        cold_c = sample.cold_c if sample is not None and sample.cold_c is not None else COLD_C
        limits = self._bench.limits
        heat = tc_trip_quarters(limits.plate_high_high_c, self._bench.thermocouple.offset_c.value, cold_c)
        out.append(
            Send(frames.set_trips(self._next_n(), heat, gas_trip_sum(limits.gas_high_high_ppm, self._bench.gas)))
        )
