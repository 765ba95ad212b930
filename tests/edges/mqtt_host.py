"""The outlet at work in tests: in a thread of this process, or, run as a program, in one that can be killed.

`python -m tests.edges.mqtt_host URL` watches an invented bench until somebody ends it.
"""

from __future__ import annotations

import asyncio
import sys
import threading
import time
from collections.abc import Callable, Iterator
from itertools import cycle
from typing import Self

from monitor.core.events import (
    AlarmChanged,
    AlarmState,
    Event,
    Exposed,
    Overview,
    Phase,
    Priority,
    Reading,
    StandingAlarm,
)
from monitor.edges.mqtt import Mqtt, Pace
from monitor.edges.mqtt_broker import Broker, broker_of
from monitor.edges.mqtt_requests import Ask
from monitor.terms import MqttTerms

BENCH = "hood-2"
QUICK = Pace(keepalive_s=1, answer_s=0.5, first_retry_s=0.05, last_retry_s=0.4, stalled_s=60.0)
UTC_S = 1_795_600_000.0  # 2026-11-25, invented


def overview(t_s: float, alarms: tuple[StandingAlarm, ...] = ()) -> Overview:
    """A bench before its first drop."""
    return Overview(
        t_s=t_s,
        utc_s=UTC_S + t_s,
        phase=Phase.GETTING_READY,
        permit_on=False,
        permit_why="not asked for",
        sample_age_s=0.04,
        plate=Reading(22.25, 0.9),
        gas=Reading(None, why="no change at all: frozen"),
        account=None,
        forecast=None,
        exposure=Exposed(t_s, 0.0, 0.0, 0.0, 0.0, 0.0),
        alarms=alarms,
        frames_accepted=10,
        frames_rejected=0,
        frames_lost=0,
        restarts=0,
    )


def standing(tag: str = "PLATE-HIGH", since_s: float = 1.0) -> StandingAlarm:
    return StandingAlarm(tag, Priority.MEDIUM, AlarmState.UNACKNOWLEDGED, since_s, "325 °C")


def changes() -> Iterator[AlarmChanged]:
    """One alarm that comes and goes; each change says its number, from 1, as its run time."""
    pair = (AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED)
    for number, (before, after) in enumerate(cycle((pair, pair[::-1])), start=1):
        yield AlarmChanged(
            float(number), UTC_S + number, "DRIP-FAST", Priority.MEDIUM, before, after, "condition true", "", "95/min"
        )


class Host:
    """Runs the outlet's task in a thread with a loop of its own; the test's thread is the bench's."""

    def __init__(
        self,
        broker: Broker | str,
        pace: Pace = QUICK,
        bench: str = BENCH,
        on_ask: Callable[[Ask], None] | None = None,
    ) -> None:
        self.told: list[tuple[bool, str]] = []
        known = broker_of(MqttTerms(broker)) if isinstance(broker, str) else broker
        self.outlet = Mqtt(
            bench, "acid-drip", known, lambda failing, text: self.told.append((failing, text)), pace, on_ask
        )
        self.task: asyncio.Task[None] | None = None
        self.complaints: list[str] = []
        self._loop: asyncio.AbstractEventLoop | None = None
        self._error: BaseException | None = None
        self._started = threading.Event()
        self._thread = threading.Thread(target=self._run, name="host")

    def __enter__(self) -> Self:
        self._thread.start()
        self._started.wait()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _run(self) -> None:
        try:
            asyncio.run(self._main())
        except BaseException as why:  # noqa: BLE001 - raised in the test's thread
            self._error = why
            self._started.set()

    async def _main(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._loop.set_exception_handler(lambda _, context: self.complaints.append(str(context)))
        self.task = asyncio.create_task(self.outlet.run())
        self._started.set()
        await asyncio.wait({self.task})
        if not self.task.cancelled():
            self.task.result()

    def stop(self, within_s: float = 20.0) -> None:
        """End it as the service does."""
        if self._thread.is_alive() and self._loop is not None and self.task is not None:
            self._loop.call_soon_threadsafe(self.task.cancel)
        self._thread.join(within_s)
        assert not self._thread.is_alive(), "the task does not end"
        if self._error is not None:
            raise self._error
        assert not self.complaints, self.complaints

    def hear(self, *events: Event) -> None:
        """What the bench's thread does."""
        self.outlet(list(events))

    @property
    def troubles(self) -> list[str]:
        return [text for failing, text in list(self.told) if failing]

    @property
    def in_order(self) -> bool:
        return bool(self.told) and not self.told[-1][0]


def main() -> None:
    """Watch an invented bench until killed."""
    with Host(sys.argv[1]) as host:
        while True:
            host.hear(overview(time.monotonic()))
            time.sleep(0.1)


if __name__ == "__main__":
    main()
