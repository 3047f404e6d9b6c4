"""The publisher alone: a link and an outbox of the test's own, no broker and no file."""

import asyncio
import contextlib
import logging
import time
from collections.abc import AsyncIterator, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.mqtt_messages import Message, Topics
from collector.mqtt_newest import NewestReadings
from collector.publish import WINDOW, Publisher
from tests.service_mqtt.imagined import PACE, Memory, Wire, reading, until

pytestmark = pytest.mark.usefixtures("steady")  # publisher and broker are on one event loop


def publisher(wire: Wire, outbox: Memory, *, interval_s: float = 0.0, retired: Sequence[str] = ()) -> Publisher:
    return Publisher(
        Topics("test"),
        wire.connect,
        outbox,
        lambda reading: b"%.1f" % (reading.level_m or 0.0),
        cursor=0,
        waiting=len(outbox.messages),
        interval_s=interval_s,
        retired=retired,
        pace=PACE,
    )


@contextlib.asynccontextmanager
async def going(told: Publisher) -> AsyncIterator["asyncio.Task[None]"]:
    async with asyncio.TaskGroup() as group:
        task = group.create_task(told.run())
        yield task
        told.stop()
        await asyncio.wait({task}, timeout=5)
        assert task.done(), "it does not stop"


async def test_birth_comes_first_then_alarms_in_order_then_leave_is_taken() -> None:
    wire, outbox = Wire(), Memory(450)
    told = publisher(wire, outbox)
    async with going(told):
        await until(lambda: len(wire.numbers()) == 450)
    assert wire.taken[0] == Message("gaugehouse/test/status", b"online")
    assert wire.numbers() == list(range(1, 451))
    assert wire.taken[-1] == Message("gaugehouse/test/status", b"offline")
    assert wire.wills == [Message("gaugehouse/test/status", b"offline")]
    assert wire.ends[0] == "closed"
    assert outbox.kept[-1] == told.cursor == 450
    assert outbox.kept == sorted(set(outbox.kept))
    assert 1 < wire.busiest <= WINDOW
    counters = told.counters()
    assert (counters.waiting_alarms, counters.published, counters.acknowledged) == (0, 452, 452)
    assert not counters.connected


async def test_other_entries_of_the_book_are_passed_over() -> None:
    wire, outbox = Wire(), Memory(5)
    outbox.messages[1:4] = [None, None, None]
    told = publisher(wire, outbox)
    async with going(told):
        await until(lambda: told.cursor == 5)
    assert wire.numbers() == [1, 5]


async def test_the_cursor_stays_before_the_first_message_that_was_not_acknowledged() -> None:
    wire, outbox = Wire(), Memory(20)
    wire.refuses = lambda message: message.n >= 8
    told = publisher(wire, outbox)
    async with going(told):
        await until(lambda: told.counters().refused >= 30)
        assert told.cursor == 7
        assert told.counters().waiting_alarms == 13
        assert "is not yours" in told.counters().last_error
        told.offer([reading(5.0)])
        await until(lambda: wire.payloads("tank/palm"))  # readings go on
        wire.refuses = lambda message: False
        await until(lambda: told.cursor == 20)
    assert list(dict.fromkeys(wire.numbers())) == list(range(1, 21))


async def test_what_was_on_its_way_when_the_connection_broke_is_told_again_in_order() -> None:
    wire, outbox = Wire(), Memory(200)
    told = publisher(wire, outbox)
    async with going(told):
        for few in (17, 61, 120):
            await until(lambda few=few: len(wire.numbers()) >= few)  # type: ignore[misc]
            wire.cut.set()
            await until(lambda: told.counters().connected and not wire.cut.is_set())
        await until(lambda: told.cursor == 200)
    assert list(dict.fromkeys(wire.numbers())) == list(range(1, 201))
    assert told.counters().connections == 4


async def test_what_was_acknowledged_before_a_break_is_kept_although_more_waits() -> None:
    wire, outbox = Wire(), Memory(40)
    wire.stalls_at = 23
    told = publisher(wire, outbox)
    async with going(told):
        await until(lambda: 22 in wire.numbers() and wire.busiest > 1)
        wire.away = True
        wire.cut.set()
        await until(lambda: told.counters().failures >= 2)
        assert outbox.kept == [22]
        assert (told.cursor, told.counters().waiting_alarms) == (22, 18)


async def test_only_the_newest_reading_of_each_tank_outlives_an_outage_and_the_others_are_counted() -> None:
    wire = Wire()
    wire.away = True
    told = publisher(wire, Memory())
    async with going(told):
        await until(lambda: told.counters().failures >= 3)
        for k in range(1000):
            told.offer([reading(float(k)), reading(float(k) + 0.5, "oak")])
        counters = told.counters()
        assert (counters.waiting_readings, counters.dropped, counters.thinned) == (2, 1998, 0)
        wire.away = False
        await until(lambda: told.counters().waiting_readings == 0 and len(wire.taken) >= 3)
    assert wire.payloads("tank/palm") == [b"999.0"]
    assert wire.payloads("tank/oak") == [b"999.5"]


async def test_readings_that_come_faster_than_the_interval_are_thinned_and_the_newest_is_told() -> None:
    wire = Wire()
    told = publisher(wire, Memory(), interval_s=0.05)
    async with going(told):
        await until(lambda: told.counters().connected)
        begun_s = time.monotonic()
        for k in range(100):
            told.offer([reading(float(k))])
            await asyncio.sleep(0.001)
        await until(lambda: wire.payloads("tank/palm")[-1:] == [b"99.0"])
        counters = told.counters()
        count = len(wire.payloads("tank/palm"))
        assert count <= (time.monotonic() - begun_s) / 0.05 + 1.1  # k + 1 of them take k - 0.1 intervals at the least
        assert (counters.dropped, counters.thinned) == (0, 100 - count)


async def test_a_reading_that_was_on_its_way_is_kept_unless_a_newer_one_came() -> None:
    wire = Wire()
    told = publisher(wire, Memory())
    async with going(told):
        await until(lambda: wire.taken)
        wire.hangs = True
        told.offer([reading(1.0), reading(2.0, "oak")])
        await until(lambda: wire.busiest >= 2)
        told.offer([reading(3.0)])
        wire.cut.set()
        await until(lambda: told.counters().failures == 1)
        assert told.counters().dropped == 1  # palm's first one
        wire.hangs = False
        await until(lambda: told.counters().waiting_readings == 0 and len(wire.taken) == 4)
    assert wire.payloads("tank/palm") == [b"3.0"]
    assert wire.payloads("tank/oak") == [b"2.0"]


async def test_a_broker_that_hangs_delays_neither_the_caller_nor_the_stop() -> None:
    wire, outbox = Wire(), Memory(3)
    told = publisher(wire, outbox)
    loop = asyncio.get_running_loop()
    async with going(told):
        await until(lambda: told.cursor == 3)
        wire.hangs = True
        outbox.add(1)
        told.alarms_written(1)
        begun_s = time.thread_time()
        for k in range(10_000):
            told.offer([reading(float(k))])
        assert time.thread_time() - begun_s < 1.0
        begun_s = loop.time()
    assert loop.time() - begun_s < PACE.stop_s + 0.5
    assert wire.ends[-1] == "dropped"
    assert outbox.kept[-1] == 3, "an alarm that nobody has acknowledged is told at the next start"


async def test_stop_ends_a_wait_for_the_next_try_at_once() -> None:
    wire = Wire()
    wire.away = True
    told = publisher(wire, Memory(2))
    told._pace = PACE._replace(first_wait_s=60.0, longest_wait_s=60.0)
    async with going(told):
        await until(lambda: told.counters().failures)
    assert told.counters().waiting_alarms == 2


async def test_an_outage_is_logged_when_it_begins_and_when_it_ends(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO, "collector.publish")
    wire = Wire()
    wire.away = True
    told = publisher(wire, Memory(1))
    async with going(told):
        await until(lambda: told.counters().failures >= 20)
        wire.away = False
        await until(lambda: told.cursor == 1)
    words = [record.getMessage() for record in caplog.records]
    assert words[0] == "the broker is away"
    assert words[1].startswith("mqtt: connected after")
    assert len(words) == 2


async def test_a_book_that_cannot_be_read_is_waited_for_and_readings_go_on() -> None:
    wire, outbox = Wire(), Memory(4)
    outbox.broken = True
    told = publisher(wire, outbox)
    async with going(told):
        told.offer([reading(1.0)])
        await until(lambda: wire.payloads("tank/palm"))
        assert told.counters().last_error == "the book is away"
        outbox.broken = False
        await until(lambda: told.cursor == 4)
        assert told.counters().connections == 1


async def test_standing_alarms_are_told_anew_at_each_connection_and_never_before_what_led_to_them() -> None:
    wire, outbox = Wire(), Memory(3)
    outbox.stands = [Message("gaugehouse/test/alarm/a", b"2", 2), Message("gaugehouse/test/alarm/b", b"9", 9)]
    told = publisher(wire, outbox)
    async with going(told):
        await until(lambda: len(wire.numbers()) == 4)
        assert wire.numbers() == [1, 2, 3, 2]
        wire.cut.set()
        await until(lambda: len(wire.numbers()) == 5)
    assert wire.numbers() == [1, 2, 3, 2, 2]


async def test_retained_words_about_what_is_gone_are_taken_away() -> None:
    wire = Wire()
    async with going(publisher(wire, Memory(), retired=["gaugehouse/test/tank/old"])):
        await until(lambda: wire.payloads("tank/old"))
    assert wire.payloads("tank/old") == [b""]


async def test_a_birth_that_is_refused_is_trouble_in_words() -> None:
    wire = Wire()
    wire.refuses = lambda message: message.topic.endswith("status")
    told = publisher(wire, Memory(1))
    async with going(told):
        await until(lambda: told.counters().failures >= 2)
    assert told.counters().last_error == "gaugehouse/test/status is not yours"
    assert told.cursor == 0


async def test_a_bug_in_what_is_told_is_not_taken_for_trouble_with_the_broker() -> None:
    told = Publisher(
        Topics("test"), Wire().connect, Memory(), lambda reading: b"%d" % reading.tank, cursor=0, pace=PACE
    )  # type: ignore[arg-type, str-bytes-safe]
    told.offer([reading(1.0)])
    with pytest.raises(ExceptionGroup) as caught:
        await told.run()
    assert caught.group_contains(TypeError)


def test_a_reading_a_second_passes_although_each_comes_a_little_late() -> None:
    newest, told, replaced = NewestReadings(1.0), 0, 0
    for k in range(2000):
        replaced += newest.offer(reading(float(k)))
        now_s = k * 1.0 + 0.002 * (k % 7)
        told += len(newest.take(now_s, 10))
    assert (told, replaced) == (2000, 0)


@settings(max_examples=60)
@given(st.lists(st.floats(0.0, 3.0), min_size=1, max_size=60), st.integers(1, 4))
def test_no_tank_is_told_more_often_than_the_interval_and_the_last_reading_always_is(
    gaps: list[float], tanks: int
) -> None:
    """Whatever the arrivals: two of a tank are 0.9 s apart at least, k + 1 of them k - 0.1 s."""
    newest, now_s = NewestReadings(1.0), 0.0
    times: dict[str, list[float]] = {}
    last: dict[str, float] = {}

    def take() -> None:
        for one in newest.take(now_s, 100):
            times.setdefault(one.tank, []).append(now_s)
            last[one.tank] = one.level_m or 0.0

    for k, gap in enumerate(gaps):
        now_s += gap
        newest.offer(reading(float(k), f"t{k % tanks}"))
        take()
    wait_s = newest.due_in(now_s)
    while wait_s is not None:
        now_s += wait_s + 1e-9
        take()
        wait_s = newest.due_in(now_s)
    for told in times.values():
        for k in range(1, len(told)):
            assert told[k] - told[k - 1] >= 0.9 - 1e-6
            assert told[k] - told[0] >= k - 0.1 - 1e-6
    assert last == {f"t{k % tanks}": float(k) for k in range(len(gaps))}


def test_a_tank_that_waits_longest_is_told_first() -> None:
    newest = NewestReadings(1.0)
    for tank in ("a", "b", "c"):
        newest.offer(reading(1.0, tank))
    assert [r.tank for r in newest.take(0.0, 2)] == ["a", "b"]
    for tank in ("a", "b"):
        newest.offer(reading(2.0, tank))
    assert [r.tank for r in newest.take(1.0, 2)] == ["c", "a"]
