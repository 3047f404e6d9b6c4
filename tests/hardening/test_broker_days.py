"""A broker, and a hook, that are away for days: what waits stays small in memory, and all of it is told in order."""

import asyncio
import tracemalloc

import pytest

from collector.mqtt_messages import Topics
from collector.publish import Publisher
from tests.service_mqtt.imagined import PACE, Memory, Wire, reading, until

TANKS = [f"tank-{k}" for k in range(20)]
DAYS = 3
ALARMS_A_DAY = 300


@pytest.mark.timeout(100)
async def test_days_without_a_broker_keep_every_alarm_and_one_reading_a_tank() -> None:
    wire, outbox = Wire(), Memory()
    wire.away = True
    publisher = Publisher(Topics("test"), wire.connect, outbox, lambda one: b"%f" % (one.level_m or 0), cursor=0,
                          interval_s=0.0, pace=PACE)  # fmt: skip
    task = asyncio.create_task(publisher.run())
    await until(lambda: publisher.counters().failures > 2)
    tracemalloc.start()
    sizes = []
    for _day in range(DAYS):
        for k in range(4_320):  # every 20 s
            publisher.offer([reading(k / 1000, tank) for tank in TANKS])
        await asyncio.sleep(0)
        outbox.add(ALARMS_A_DAY)
        publisher.alarms_written(ALARMS_A_DAY)
        sizes.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    counted = publisher.counters()
    assert not counted.connected
    assert counted.waiting_alarms == DAYS * ALARMS_A_DAY
    assert counted.dropped == (DAYS * 4_320 - 1) * len(TANKS), "all older readings are counted as not told"
    grown = sizes[-1] - sizes[0]
    assert grown < 1_000_000, f"{grown} bytes more after {DAYS} days than after one"
    wire.away = False
    await until(lambda: len(wire.numbers()) >= DAYS * ALARMS_A_DAY)
    await until(lambda: publisher.counters().waiting_alarms == 0)
    assert wire.numbers() == list(range(1, DAYS * ALARMS_A_DAY + 1)), "each alarm once and in order"
    told = [message for message in wire.taken if "/tank/" in message.topic]
    assert len({message.topic for message in told}) == len(TANKS)
    publisher.stop()
    await task
