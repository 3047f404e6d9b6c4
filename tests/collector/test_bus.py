"""The schedule of a whole bus on a jumping clock: grid, neighbours, probes, connecting, stopping."""

import asyncio
import logging
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import pytest

from collector.bus import Bus
from collector.errors import CollectorStopped
from collector.schedule import PROBE_MS, phase_ms
from modbus.reply import Failure, FailureKind, Registers
from modbus.signals import RegisterSignal, RegisterType
from models.reading import OK, TIMEOUT, WRONG_REPLY, Sample
from tests.collector.fakes import (
    LEVEL,
    SILENT,
    START_UTC_MS,
    WRONG,
    FakeLine,
    JumpingClock,
    bus_of,
    counting,
    run_for,
)

UNITS = range(1, 11)


def times(samples: list[Sample], instrument: str) -> list[int]:
    return [s.time_ms - START_UTC_MS for s in samples if s.instrument == instrument]


async def test_polls_keep_to_the_grid_for_an_hour_whatever_they_take() -> None:
    clock = JumpingClock()
    line = FakeLine(clock, counting, takes_ms=lambda unit: 37)
    samples, bus = await run_for(bus_of(UNITS), line, clock, 3_600_000)
    for unit in UNITS:
        phase = phase_ms(f"LT-{unit}", 1000)
        asked = [t for t, u, *_ in line.asked if u == unit]
        assert len(asked) in (3600, 3601)
        assert all(0 <= t - (phase + n * 1000) < 10 * 37 for n, t in enumerate(asked))
        assert bus.health.instruments[f"LT-{unit}"].missed_ticks == 0
    assert {s.outcome for s in samples} == {OK}
    assert all(s.values == {"level": 10.0} and s.raw == {"level": (10,)} for s in samples)


async def test_a_sample_is_stamped_when_its_last_reply_came() -> None:
    clock = JumpingClock()
    signals = (LEVEL, RegisterSignal("current", 4, 7, RegisterType.UINT16, scale=0.5))
    spec = bus_of([1])
    spec = replace(spec, instruments=(replace(spec.instruments[0], signals=signals),))
    line = FakeLine(clock, counting, takes_ms=lambda unit: 100)
    samples, _ = await run_for(spec, line, clock, 1500)
    assert times(samples, "LT-1")[0] == phase_ms("LT-1", 1000) + 200
    assert samples[0].values == {"level": 10.0, "current": 3.5}


async def test_ticks_that_pass_while_the_line_is_busy_are_counted() -> None:
    clock = JumpingClock()
    line = FakeLine(clock, counting, takes_ms=lambda unit: 2500)
    samples, bus = await run_for(bus_of([1]), line, clock, 100_000)
    health = bus.health.instruments["LT-1"]
    assert health.polls == len(samples)
    assert 40 <= health.polls <= 50
    assert abs(health.polls + health.missed_ticks - clock.elapsed // 1000) <= 3


@pytest.mark.parametrize("timeout_ms", [500, 1000])
async def test_a_dead_unit_costs_its_neighbours_at_most_one_tick_a_probe(timeout_ms: int) -> None:
    clock = JumpingClock()
    line = FakeLine(
        clock,
        lambda unit, *rest: SILENT if unit == 3 else counting(unit, *rest),
        takes_ms=lambda unit: timeout_ms if unit == 3 else 20,
    )
    samples, bus = await run_for(bus_of(UNITS, timeout_ms=timeout_ms), line, clock, 600_000)
    probes = times(samples, "LT-3")
    assert {s.outcome for s in samples if s.instrument == "LT-3"} == {TIMEOUT}
    gaps = [b - a for a, b in pairwise(probes)]
    assert all(1000 <= gap <= 1000 + 9 * 20 for gap in gaps[:2])
    assert max(gaps) <= PROBE_MS + timeout_ms
    assert 59 <= len(probes) <= 75
    for unit in set(UNITS) - {3}:
        health = bus.health.instruments[f"LT-{unit}"]
        assert health.missed_ticks <= len(probes)
        assert health.ok >= 600 - len(probes) - 1
        assert max(b - a for a, b in pairwise(times(samples, f"LT-{unit}"))) <= 2000 + timeout_ms


async def test_sound_units_have_a_turn_between_two_probes_of_dead_ones() -> None:
    """Seven of ten dead, each probe as long as a period: the three others are still asked every other second."""
    clock = JumpingClock()
    line = FakeLine(
        clock,
        lambda unit, *rest: SILENT if unit > 3 else counting(unit, *rest),
        takes_ms=lambda unit: 1000 if unit > 3 else 20,
    )
    samples, _ = await run_for(bus_of(UNITS, timeout_ms=1000), line, clock, 600_000)
    known_ms = 10_000  # until each dead one has failed once, nobody can tell who is sound
    for unit in (1, 2, 3):
        asked = [t for t in times(samples, f"LT-{unit}") if t > known_ms]
        assert max(b - a for a, b in pairwise(asked)) <= 2100
    for unit in range(4, 11):
        probes = times(samples, f"LT-{unit}")
        assert max(b - a for a, b in pairwise(probes[4:])) <= PROBE_MS + 8000


async def test_a_tick_at_which_nothing_was_asked_makes_no_sample() -> None:
    clock = JumpingClock()
    line = FakeLine(clock, lambda *_: SILENT, takes_ms=lambda unit: 500)
    samples, bus = await run_for(bus_of([1]), line, clock, 60_000)
    assert len(samples) == bus.health.instruments["LT-1"].no_answer
    assert len(line.asked) <= len(samples) < 15


async def test_a_unit_that_comes_back_is_at_its_normal_period_at_once() -> None:
    clock = JumpingClock()
    line = FakeLine(
        clock, lambda unit, *rest: SILENT if unit == 1 and clock.elapsed < 60_000 else counting(unit, *rest)
    )
    samples, bus = await run_for(bus_of([1, 2]), line, clock, 120_000)
    good = [s.time_ms for s in samples if s.outcome == OK and s.instrument == "LT-1"]
    assert good[0] - START_UTC_MS <= 60_000 + PROBE_MS + 1000
    assert {b - a for a, b in pairwise(good)} == {1000}
    health = bus.health.instruments["LT-1"]
    assert health.failures_in_a_row == 0
    assert health.last_good_ms == good[-1]


async def test_outcomes_name_the_first_failing_block_and_leave_its_signals_out() -> None:
    clock = JumpingClock()

    def answer(unit: int, function: int, start: int, quantity: int) -> Registers | Failure:
        if function == 3:
            return Failure(FailureKind.EXCEPTION, "exception 0B", 0x0B) if unit == 1 else WRONG
        return (7,)

    signals = (LEVEL, RegisterSignal("current", 4, 7, RegisterType.UINT16))
    spec = bus_of([1, 2])
    spec = replace(spec, instruments=tuple(replace(i, signals=signals) for i in spec.instruments))
    samples, bus = await run_for(spec, FakeLine(clock, answer), clock, 3000)
    assert {(s.instrument, s.outcome) for s in samples} == {("LT-1", "exception-0B"), ("LT-2", WRONG_REPLY)}
    assert all(s.values == {"current": 7.0} for s in samples)
    assert bus.health.instruments["LT-1"].exceptions == {0x0B: 3}
    assert bus.health.instruments["LT-2"].wrong_reply == 3


async def test_after_a_block_without_an_answer_the_rest_waits_for_the_next_poll() -> None:
    clock = JumpingClock()
    signals = (LEVEL, RegisterSignal("current", 4, 7, RegisterType.UINT16))
    spec = bus_of([1])
    spec = replace(spec, instruments=(replace(spec.instruments[0], signals=signals),))
    line = FakeLine(clock, lambda *_: SILENT)
    samples, _ = await run_for(spec, line, clock, 2500)
    assert [f for _, _, f, _, _ in line.asked] == [3, 4, 3][: len(samples)]
    assert all(not s.values and s.outcome == TIMEOUT for s in samples)


async def test_a_hole_behind_a_bridge_is_learned_and_costs_no_sample(caplog: pytest.LogCaptureFixture) -> None:
    clock = JumpingClock()

    def answer(unit: int, function: int, start: int, quantity: int) -> Registers | Failure:
        if start <= 12 < start + quantity:
            return Failure(FailureKind.EXCEPTION, "exception 02, illegal data address", 2)
        return counting(unit, function, start, quantity)

    signals = (LEVEL, RegisterSignal("current", 3, 14, RegisterType.UINT16))
    spec = bus_of([1])
    spec = replace(spec, instruments=(replace(spec.instruments[0], signals=signals, bridge=8),))
    line = FakeLine(clock, answer)
    samples, bus = await run_for(spec, line, clock, 3000)
    assert [(s.outcome, dict(s.values)) for s in samples] == [(OK, {"level": 10.0, "current": 14.0})] * 3
    assert [(start, quantity) for *_, start, quantity in line.asked[:3]] == [(10, 5), (10, 1), (14, 1)]
    assert bus.health.requests == 7
    assert sum("bridge to 0" in r.getMessage() for r in caplog.records) == 1


async def test_a_line_that_refuses_gives_timeouts_and_polls_go_on_when_it_is_up(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.bus.FIRST_RETRY_S", 0.002)
    caplog.set_level(logging.INFO)
    clock = JumpingClock()
    line = FakeLine(clock, counting)
    line.faults = ["no connection to 127.0.0.1 port 502"] * 3
    samples, bus = await run_for(bus_of([1, 2]), line, clock, 10_000_000)
    outcomes = [s.outcome for s in samples if s.instrument == "LT-1"]
    assert outcomes[0] == TIMEOUT
    assert outcomes[-1] == OK
    assert bus.health.refused == 3
    assert bus.health.connects == 1
    told = [r.getMessage() for r in caplog.records if "bus=north" in r.getMessage()]
    assert sum("no connection" in t for t in told) == 1
    assert sum("connected after 3 attempts" in t for t in told) == 1
    assert sum("LT-1 answers again" in t for t in told) == 1


async def test_a_line_on_which_nobody_speaks_any_more_is_opened_anew() -> None:
    clock = JumpingClock()
    line = FakeLine(clock, lambda *_: SILENT)
    await run_for(bus_of([1, 2]), line, clock, 60_000)
    assert line.opened > 1


async def test_one_dead_unit_does_not_make_the_others_lose_the_line() -> None:
    clock = JumpingClock()
    line = FakeLine(clock, lambda unit, *rest: SILENT if unit == 1 else counting(unit, *rest))
    _, bus = await run_for(bus_of([1, 2]), line, clock, 600_000)
    assert line.opened == bus.health.connects == 1


async def test_a_reading_asked_for_comes_between_the_ticks_and_goes_to_the_sink_too() -> None:
    clock = JumpingClock(end_ms=-1)  # no tick ever comes by itself
    samples: list[Sample] = []
    line = FakeLine(clock, counting)
    bus = Bus(bus_of([1, 2]), line, samples.append, clock)
    async with asyncio.TaskGroup() as group:
        task = group.create_task(bus.run())
        await clock.over.wait()
        both = await asyncio.gather(bus.read("LT-2"), bus.read("LT-2"), bus.read("LT-1"))
        task.cancel()
    assert [s.instrument for s in both] == ["LT-2", "LT-2", "LT-1"]
    assert Counter(s.instrument for s in samples) == {"LT-2": 1, "LT-1": 1}


async def test_stopping_lets_an_exchange_end_and_answers_those_who_wait() -> None:
    clock = JumpingClock(end_ms=-1)
    line = FakeLine(clock, counting)
    line.held = asyncio.Event()
    bus = Bus(bus_of([1, 2]), line, lambda sample: None, clock)
    task = asyncio.create_task(bus.run())
    await clock.over.wait()
    first = asyncio.create_task(bus.read("LT-1"))
    await line.entered.wait()
    second = asyncio.create_task(bus.read("LT-2"))
    await asyncio.sleep(0)
    task.cancel()
    for _ in range(5):
        await asyncio.sleep(0)
    assert not task.done()
    assert line.is_open
    line.held.set()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert (await first).outcome == OK
    with pytest.raises(CollectorStopped, match="LT-2"):
        await second
    assert not line.is_open


async def test_who_stops_waiting_for_a_reading_does_not_break_the_exchange() -> None:
    clock = JumpingClock(end_ms=-1)
    line = FakeLine(clock, counting)
    line.held = asyncio.Event()
    samples: list[Sample] = []
    bus = Bus(bus_of([1]), line, samples.append, clock)
    async with asyncio.TaskGroup() as group:
        task = group.create_task(bus.run())
        await clock.over.wait()
        impatient = group.create_task(bus.read("LT-1"))
        await line.entered.wait()
        impatient.cancel()
        line.held.set()
        assert (await bus.read("LT-1")).outcome == OK
        task.cancel()
    assert len(line.asked) == len(samples) == 1


async def test_a_sink_with_a_bug_stops_the_bus_loudly() -> None:
    clock = JumpingClock()
    line = FakeLine(clock, counting)

    def sink(sample: Sample) -> None:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        await Bus(bus_of([1]), line, sink, clock).run()
    assert not line.is_open


async def test_a_failure_is_told_once_and_its_end_once(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    clock = JumpingClock()
    line = FakeLine(clock, lambda unit, *rest: SILENT if clock.elapsed < 30_000 else counting(unit, *rest))
    await run_for(bus_of([1]), line, clock, 60_000)
    told = [r.getMessage() for r in caplog.records]
    assert sum("no answer" in t for t in told) == 1
    assert sum("answers again after" in t for t in told) == 1


async def test_a_line_at_rest_is_not_asked_and_the_rest_counts_as_taken() -> None:
    clock = JumpingClock(end_ms=-1)
    line = FakeLine(clock, counting)
    bus = Bus(bus_of([1]), line, lambda sample: None, clock)
    async with asyncio.timeout(60), asyncio.TaskGroup() as group:
        task = group.create_task(bus.run())
        await clock.over.wait()
        assert (await bus.read("LT-1")).outcome == OK
        line.rest_s = 0.03
        waiting = group.create_task(bus.read("LT-1"))
        await asyncio.sleep(0.05)
        while (bus.snapshot().utilisation or 0.0) <= 0.5:  # the polls by themselves take next to nothing
            await asyncio.sleep(0.01)
        assert not waiting.done()
        line.rest_s = 0.0
        assert (await waiting).outcome == OK
        task.cancel()


async def test_a_bus_at_rest_stops_at_once() -> None:
    clock = JumpingClock()
    line = FakeLine(clock, counting)
    line.rest_s = 60.0
    bus = Bus(bus_of([1]), line, lambda sample: None, clock)
    async with asyncio.timeout(30), asyncio.TaskGroup() as group:
        task = group.create_task(bus.run())
        await asyncio.sleep(0.01)
        task.cancel()
    assert not line.asked


async def test_after_a_silent_unit_its_neighbours_are_waited_for_as_long_as_the_site_allows() -> None:
    """A gateway may still be busy with the silent one: what was learned of the others does not hold then."""
    clock = JumpingClock()
    line = FakeLine(
        clock, lambda unit, *rest: SILENT if unit == 3 and clock.elapsed > 60_000 else counting(unit, *rest)
    )
    await run_for(bus_of([1, 2, 3]), line, clock, 120_000)
    told = list(zip((unit for _, unit, *_ in line.asked), line.patience, strict=True))
    after_silence = [patience for (unit, _), (_, patience) in pairwise(told) if unit == 3][65:]
    assert set(after_silence) == {None}
    assert {patience for (unit, _), (_, patience) in pairwise(told) if unit != 3} - {500} == {100.0, 200.0, 400.0}


async def test_the_snapshot_tells_answer_times_time_outs_and_errors_by_kind() -> None:
    clock = JumpingClock()

    def answer(unit: int, function: int, start: int, quantity: int) -> Registers | Failure:
        if unit == 3:
            return Failure(FailureKind.EXCEPTION, "exception 0B", 0x0B)
        return {1: counting(unit, function, start, quantity), 2: SILENT, 4: WRONG}[unit]

    line = FakeLine(clock, answer, takes_ms=lambda unit: 40)
    line.strays, line.echoes = 2, True
    _, bus = await run_for(bus_of([1, 2, 3, 4]), line, clock, 60_000)
    seen = bus.snapshot()
    one = seen.instruments["LT-1"]
    assert (one.latency_ms, one.latency_p50_ms, one.latency_p95_ms, one.timeout_ms) == (40.0, 40.0, 40.0, 120.0)
    assert (seen.instruments["LT-2"].latency_p50_ms, seen.instruments["LT-2"].timeout_ms) == (None, 500)
    assert seen.errors == {
        TIMEOUT: seen.instruments["LT-2"].no_answer,
        WRONG_REPLY: seen.instruments["LT-4"].wrong_reply,
        "exception-0B": seen.instruments["LT-3"].exceptions[0x0B],
    }
    assert min(seen.errors.values()) >= 8
    assert (seen.strays, seen.echoes) == (2, True)
    assert one.last_good_ms is not None
    bus.health.instruments["LT-1"].ok = -1
    assert one.ok > 50, "a snapshot does not change"
