"""The run as plain lines, for a terminal without a page: every change at once, the state every ten seconds."""

from __future__ import annotations

import queue
import threading
from typing import TextIO

from monitor.core.catalogue import CATALOGUE
from monitor.core.events import (
    Accounted,
    AlarmChanged,
    AlarmState,
    Answered,
    Corrected,
    Event,
    Forecast,
    Noted,
    Overview,
    PermitChanged,
    PhaseChanged,
    Reading,
)
from monitor.terms import Route

EVERY_S = 10
SILENT_S = 3.0  # as for the alarm LINK-LOST: what was counted before is no rate of now
WAITING_MAX = 500  # lines; when the terminal does not take them, newer ones are dropped: the record has them all


def say(e: Event, route: Route) -> str | None:
    """One event as one line, or None when it is not worth one."""
    if isinstance(e, AlarmChanged):
        kind = CATALOGUE[e.tag]
        if e.after is AlarmState.UNACKNOWLEDGED:
            do = kind.response(route)
            what = f"{kind.title}. Seen: {e.detail}. {kind.consequence}"
            first = f"DO: {do} Time to respond: {kind.time_to_respond}."
            return f"{_time(e.t_s)}  ALARM {e.priority.value:<6} {e.tag}: {what} {first}"
        by = f" by {e.who}" if e.who else ""
        if AlarmState.SUPPRESSED in (e.before, e.after):
            return None
        return f"{_time(e.t_s)}  alarm {e.tag} is now {e.after.value}{by}"
    if isinstance(e, PermitChanged):
        return f"{_time(e.t_s)}  permit {'ON' if e.on else 'OFF'}: {e.why}"
    if isinstance(e, PhaseChanged):
        return f"{_time(e.t_s)}  phase: {e.phase.value}"
    if isinstance(e, Noted):
        return f"{_time(e.t_s)}  {e.what}: {e.text}"
    if isinstance(e, Answered) and not e.accepted:
        return f"{_time(e.t_s)}  refused: {e.text}"
    if isinstance(e, Corrected):
        step = f"{e.delivered_before_mol:.4f} → {e.delivered_after_mol:.4f} mol"
        return f"{_time(e.t_s)}  {e.what} {e.grams:g} g: gone over {step}"
    if isinstance(e, Overview) and e.t_s % EVERY_S == 0:
        return overview_line(e)
    return None


def overview_line(o: Overview) -> str:
    """The state in one line."""
    parts = [_time(o.t_s), o.phase.value, f"permit {'on' if o.permit_on else 'off'}"]
    parts += [f"gas {_value(o.gas, '.2f', 'ppm')}", f"plate {_value(o.plate, '.0f', '°C')}"]
    if o.account is not None and o.forecast is not None:
        need = "" if o.forecast.need_mol is None else f" of {o.forecast.need_mol:.3f}"
        parts.append(
            f"delivered {o.account.delivered_mol:.3f} ± {2 * o.account.u_delivered_mol:.3f}{need} mol, "
            f"held {o.account.held_mol:.3f} mol{_counted(o, o.account, o.forecast)}"
        )
    parts.append(f"{len(o.alarms) or 'no'} alarm{'' if len(o.alarms) == 1 else 's'}")
    if o.closing is not None:
        missing = "; ".join(o.closing.missing)
        safe = "safe to open" if o.closing.little else "safe to open under the hood alone"
        parts.append(f"not yet safe to open: {missing}" if missing else f"{safe}, by what was seen")
    return "  ".join(parts)


def _counted(o: Overview, account: Accounted, forecast: Forecast) -> str:
    meter = "drops" if o.metering is None else o.metering.meter
    if meter == "weighings":
        return ""
    counted = meter if account.drops != 1 else meter[:-1]
    heard = o.sample_age_s is not None and o.sample_age_s <= SILENT_S
    return f", {account.drops} {counted}, " + (f"{forecast.drip_per_min:.0f}/min" if heard else "rate unknown")


def _time(t_s: float) -> str:
    whole = int(t_s)
    return f"{whole // 3600:d}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def _value(reading: Reading, form: str, unit: str) -> str:
    if reading.value is None:
        return f"unknown ({reading.why})"
    return f"{reading.value:{form}} {unit}"


class Lines:
    """An outlet that writes lines of a run on that route to a stream, from a thread of its own."""

    def __init__(self, stream: TextIO, route: Route) -> None:
        self._stream, self._route = stream, route
        self._queue: queue.Queue[str | None] = queue.Queue(WAITING_MAX + 1)  # the one more is for the end
        self._thread = threading.Thread(target=self._run, name="lines", daemon=True)
        self._thread.start()

    def __call__(self, events: list[Event]) -> None:
        """Take events; never waits."""
        for e in events:
            line = say(e, self._route)
            if line is not None and self._queue.qsize() < WAITING_MAX:
                self._queue.put_nowait(line)

    def close(self) -> None:
        """Write what is waiting, for at most a second."""
        self._queue.put_nowait(None)
        self._thread.join(1.0)

    def _run(self) -> None:
        while (line := self._queue.get()) is not None:
            try:
                self._stream.write(line + "\n")
                self._stream.flush()
            except (OSError, ValueError):
                return  # nobody reads any more
