"""Many watched benches in one process: the real outlet and a connection for each; what they see is invented.

Run as `python -m tests.benchmarks.benches_fleet URL COUNT each`; with `one` at the end a single connection speaks for
all, which costs less where there are very many. Ended by a line on standard input, it prints what it said
as JSON: {"hood-1": [states, alarm changes], ...}.
"""

from __future__ import annotations

import asyncio
import json
import sys
import time

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from monitor.edges.mqtt import Mqtt, Pace
from monitor.edges.mqtt_broker import broker_of
from monitor.invented import invented_room
from monitor.terms import MqttTerms

PACE = Pace(answer_s=20.0)  # so many monitors share one processor here, which no room does


async def fleet(url: str, count: int) -> dict[str, list[int]]:
    """Watch so many benches until told to end; gives what each was given to say."""
    broker = broker_of(MqttTerms(url))
    room = invented_room(count, time.time())
    outlets = [Mqtt(bench.name, "acid-drip", broker, _tell, PACE) for bench in room]
    tasks = [asyncio.create_task(outlet.run()) for outlet in outlets]
    given = {bench.name: [0, 0] for bench in room}
    told = asyncio.get_running_loop().run_in_executor(None, sys.stdin.readline)
    begun_s, second = time.monotonic(), 0
    while not told.done():
        for place, (bench, outlet) in enumerate(zip(room, outlets, strict=True)):
            changes, seen = bench.events(second)
            outlet([*changes, seen])
            given[bench.name][0] += 1
            given[bench.name][1] += len(changes)
            await asyncio.sleep(begun_s + second + place / count - time.monotonic())  # they speak at all times
        second += 1
    await asyncio.sleep(2.0)  # for what is on its way
    for task in tasks:
        task.cancel()
    await asyncio.wait(tasks)
    return given


def _tell(failing: bool, text: str) -> None:
    if failing:
        print(text, file=sys.stderr)


async def one_for_all(url: str, count: int) -> dict[str, list[int]]:
    """Say for so many benches what they would say, until told to end."""
    broker, room = broker_of(MqttTerms(url)), invented_room(count, time.time())
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.max_inflight_messages_set(1000)
    client.connect(broker.host, broker.port)
    client.loop_start()
    given = {bench.name: [0, 0] for bench in room}
    told = asyncio.get_running_loop().run_in_executor(None, sys.stdin.readline)
    begun_s, second = time.monotonic(), 0
    while not told.done():
        for place, bench in enumerate(room):
            for m in bench.says(second):
                properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
                if m.expiry_s is not None:
                    properties.MessageExpiryInterval = m.expiry_s
                client.publish(m.topic, m.payload, m.qos, m.retain, properties)
                name = m.topic.rpartition("/")[2]
                given[bench.name][0] += name == "state"
                given[bench.name][1] += name == "alarm"
            await asyncio.sleep(begun_s + second + place / count - time.monotonic())
        second += 1
    await asyncio.sleep(2.0)
    client.disconnect()
    client.loop_stop()
    return given


if __name__ == "__main__":
    work = {"each": fleet, "one": one_for_all}[sys.argv[3]]
    print(json.dumps(asyncio.run(work(sys.argv[1], int(sys.argv[2])))))
