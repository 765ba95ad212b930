"""What goes out on one connection to the broker, and in which order.

Promise: one message with QoS 1 is under way at a time, which alone keeps them in order (MQTT 5, section 4.6); an
alarm change stays in the outbox until the broker has it; "watched" is said only while the bench itself is heard.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from monitor.core.events import StandingAlarm
from monitor.edges.mqtt_link import Connection
from monitor.edges.mqtt_outbox import Heard, Outbox
from monitor.edges.mqtt_payloads import Voice
from monitor.edges.mqtt_requests import Answer, Tally


class Sender:
    """Sends over one connection, and knows what was said on it."""

    def __init__(
        self,
        connection: Connection,
        outbox: Outbox,
        voice: Voice,
        next_answer: Callable[[], Answer | None],
        tally: Tally | None,
    ) -> None:
        """Made for a connection that is open. `tally` is None when no requests are taken."""
        self._connection, self._outbox, self._voice = connection, outbox, voice
        self._next_answer, self._tally = next_answer, tally
        self._watching: bool | None = None
        self._standing: tuple[StandingAlarm, ...] | None = None
        self._renew_at_s = 0.0

    async def some(self, renew_s: float, stalled_s: float) -> bool:
        """Send one alarm change, what has changed of the retained messages, an answer, a state; False if all is out.

        The retained ones are said anew every `renew_s`; a bench not heard for `stalled_s` is not watched.

        Raises:
            BrokerError: the connection is of no more use.
        """
        connection, outbox, voice = self._connection, self._outbox, self._voice
        alarm = outbox.first_alarm()
        if alarm is not None:
            await connection.publish(voice.alarm(alarm.change, alarm.seq))
            outbox.alarm_sent(alarm.seq)
        heard = outbox.heard
        if heard is not None:
            await self._renew(heard, renew_s, stalled_s)
        answer = self._next_answer()
        if answer is not None:
            await connection.publish(voice.answer(answer))
        state = outbox.take_state()
        if state is not None:
            await connection.publish(voice.state(state.overview, state.number, state.dropped, self._tally))
        return not (alarm is None and answer is None and state is None)

    async def _renew(self, heard: Heard, renew_s: float, stalled_s: float) -> None:
        now_s = time.monotonic()
        watching = now_s - heard.at_s <= stalled_s
        due = watching and now_s >= self._renew_at_s
        if due or watching is not self._watching:
            said = self._voice.watched(heard.overview) if watching else self._voice.stalled(heard.overview)
            await self._connection.publish(said)
            self._watching = watching
        if due or (watching and heard.overview.alarms != self._standing):
            await self._connection.publish(self._voice.standing(heard.overview, heard.seq))
            self._standing = heard.overview.alarms
        if due:
            self._renew_at_s = now_s + renew_s

    async def goodbye(self, stalled_s: float) -> None:
        """Say what is left and that watching has ended.

        Raises:
            BrokerError: the connection is of no more use.
        """
        while await self.some(float("inf"), stalled_s):
            pass
        heard = self._outbox.heard
        await self._connection.say_goodbye(self._voice.ended(heard.overview if heard is not None else None))
