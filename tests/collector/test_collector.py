"""The collector on real sockets: all buses, single readings, and what it ever puts on the wire."""

import asyncio
from collections.abc import Callable
from dataclasses import replace

import pytest

from collector.clock import RealClock
from collector.collector import Collector
from collector.errors import CollectorError
from collector.spec import BusKind, BusSpec, InstrumentSpec
from modbus.frames import tcp_frame
from modbus.signals import RegisterSignal, RegisterType
from models.reading import OK, TIMEOUT, WRONG_REPLY, Sample
from tests.collector.peers import Act, Recorder, scripted, sound
from tests.peers import Peer, SerialPeer
from tests.peers.misdeeds import RTU
from tests.peers.wires import bus_spec
from tests.ports import free_port

pytestmark = pytest.mark.usefixtures("steady")  # both ends of the wire are on one event loop

SIGNALS = (
    RegisterSignal("level", 3, 10, RegisterType.UINT16, scale=0.001, unit="m"),
    RegisterSignal("current", 4, 12, RegisterType.UINT16, unit="mA"),
    RegisterSignal("switch", 1, 5, RegisterType.BIT),
    RegisterSignal("pump", 2, 6, RegisterType.BIT),
)
WRITING = replace(SIGNALS[0], function=6)
RIGHT = {"level": 0.01, "current": 12.0, "switch": 1.0, "pump": 0.0}


def bus(port: int, units: tuple[int, ...] = (1,), name: str = "north", **more: int) -> BusSpec:
    instruments = tuple(InstrumentSpec(f"{name}-{unit}", unit, SIGNALS) for unit in units)
    times = {"period_ms": 20, "timeout_ms": 100} | more
    return BusSpec(name, BusKind.TCP, instruments, "127.0.0.1", port, **times)  # type: ignore[arg-type]


async def run_until(buses: list[BusSpec], enough: Callable[[list[Sample]], bool]) -> tuple[list[Sample], Collector]:
    """Run a collector until its Samples are enough (at most half a minute)."""
    samples: list[Sample] = []
    done = asyncio.Event()

    def sink(sample: Sample) -> None:
        samples.append(sample)
        if enough(samples):
            done.set()

    collector = Collector(buses, sink, RealClock())
    async with asyncio.timeout(30), asyncio.TaskGroup() as group:
        task = group.create_task(collector.run())
        await done.wait()
        task.cancel()
    return samples, collector


def good(samples: list[Sample], instrument: str) -> list[Sample]:
    return [s for s in samples if s.instrument == instrument and s.outcome == OK]


async def test_several_buses_are_polled_side_by_side() -> None:
    async with sound() as one, sound() as two:
        buses = [bus(one, (1, 2)), bus(two, (1,), "south")]
        samples, collector = await run_until(
            buses, lambda got: min(len(good(got, i)) for i in ("north-1", "north-2", "south-1")) >= 5
        )
    assert all(s.values == RIGHT for s in samples if s.outcome == OK)
    health = collector.health()
    assert health["north"].instruments["north-2"].ok >= 5
    assert health["south"].connects == 1
    assert health["south"].requests >= 20
    assert health["south"].instruments["south-1"].latency_ms is not None


class Watch:
    """A sink that lets a test wait for the next Sample of a kind."""

    def __init__(self) -> None:
        self._wanted = ("", "")
        self._seen = asyncio.Event()

    def __call__(self, sample: Sample) -> None:
        if (sample.instrument, sample.outcome) == self._wanted:
            self._seen.set()

    async def until(self, instrument: str, outcome: str) -> None:
        self._wanted = (instrument, outcome)
        self._seen.clear()
        await self._seen.wait()


async def test_a_bus_that_is_down_holds_up_no_other_and_comes_up_by_itself() -> None:
    down = free_port()
    async with sound() as up:
        watch = Watch()
        collector = Collector([bus(up), bus(down, name="south")], watch, RealClock())
        async with asyncio.timeout(30), asyncio.TaskGroup() as group:
            task = group.create_task(collector.run())
            for _ in range(2):
                await watch.until("south-1", TIMEOUT)
                await watch.until("north-1", OK)
                async with sound(port=down):
                    await watch.until("south-1", OK)
            task.cancel()
    assert collector.health()["south"].connects >= 2
    assert collector.health()["north"].connects == 1


async def test_a_dead_unit_behind_a_gateway_leaves_its_neighbours_answering() -> None:
    async with sound() as port:
        samples, collector = await run_until(
            [bus(port, (1, 2, 201), period_ms=100, timeout_ms=50)], lambda got: len(good(got, "north-1")) >= 15
        )
    assert len(good(samples, "north-2")) >= 13
    assert {s.outcome for s in samples if s.instrument == "north-201"} == {TIMEOUT}
    assert collector.health()["north"].connects == 1


async def test_a_dead_unit_on_a_serial_line_costs_its_neighbours_at_most_one_tick_a_probe() -> None:
    """Its time-out and the silence after it together are longer than the period."""
    period_ms, timeout_ms = (
        130,
        80,
    )  # the rest of a second period is left over for a machine that is slow to carry bytes
    peer = Peer(RTU, (1, 3, 17))
    instruments = tuple(InstrumentSpec(f"north-{unit}", unit, SIGNALS[:1]) for unit in (1, 3, 9, 17))
    async with SerialPeer(peer) as wire:
        spec = bus_spec(wire, instruments, period_ms=period_ms, timeout_ms=timeout_ms)
        samples, collector = await run_until([spec], lambda got: len(good(got, "north-1")) >= 25)
    health = collector.health()["north"]
    probes = health.instruments["north-9"]
    assert (probes.no_answer, probes.wrong_reply) == (probes.polls, 0)
    assert 4 <= probes.polls <= 12
    for unit in (1, 3, 17):
        neighbour = health.instruments[f"north-{unit}"]
        assert neighbour.missed_ticks <= probes.polls
        assert neighbour.polls == neighbour.ok >= 20
        assert neighbour.timeout_ms == timeout_ms
        assert neighbour.latency_p50_ms is not None
        assert 0 < neighbour.latency_p50_ms < timeout_ms
    assert health.utilisation is not None
    assert 0.1 < health.utilisation <= 1
    assert health.errors == {TIMEOUT: probes.polls, WRONG_REPLY: 0}
    assert {s.outcome for s in samples if s.instrument == "north-9"} == {TIMEOUT}


async def test_an_adapter_pulled_out_and_put_back_is_polled_again_without_a_restart() -> None:
    async with SerialPeer(Peer(RTU, (1,))) as wire:
        watch = Watch()
        instrument = InstrumentSpec("north-1", 1, SIGNALS[:1])
        collector = Collector([bus_spec(wire, (instrument,), period_ms=50)], watch, RealClock())
        async with asyncio.timeout(20), asyncio.TaskGroup() as group:
            task = group.create_task(collector.run())
            for _ in range(2):
                await watch.until("north-1", OK)
                wire.unplug()
                await watch.until("north-1", TIMEOUT)
                while not collector.health()["north"].fault:
                    await asyncio.sleep(0.01)
                assert collector.health()["north"].fault.startswith(f"there is no {wire.device}")
                wire.plug()
            await watch.until("north-1", OK)
            assert collector.health()["north"].fault == ""
            task.cancel()
    assert collector.health()["north"].connects == 3


async def test_reading_once_needs_no_running_schedule() -> None:
    async with sound(port=free_port()) as port:
        collector = Collector([bus(port, (1, 201))], lambda sample: None, RealClock())
        assert (await collector.read_once("north", "north-1")).values == RIGHT
        assert (await collector.read_once("north", "north-201")).outcome == TIMEOUT
        assert "no answer" in collector.health()["north"].instruments["north-201"].failure
    assert (await collector.read_once("north", "north-1")).outcome == TIMEOUT
    assert "no connection to 127.0.0.1" in collector.health()["north"].fault


async def test_reading_once_goes_between_the_polls_of_a_running_one() -> None:
    async with sound() as port:
        samples: list[Sample] = []
        collector = Collector([bus(port, period_ms=3_600_000)], samples.append, RealClock())
        async with asyncio.timeout(5), asyncio.TaskGroup() as group:
            task = group.create_task(collector.run())
            await asyncio.sleep(0)
            for _ in range(3):
                assert (await collector.read_once("north", "north-1")).values == RIGHT
            task.cancel()
    assert len(samples) == 3


async def test_only_reading_functions_are_ever_sent() -> None:
    """The wire itself is the witness: every byte towards good and bad servers, cut into requests."""
    recorder = Recorder()
    turn = 0

    def script(transaction: int, unit: int, pdu: bytes) -> Act | list[Act]:
        nonlocal turn
        turn += 1
        frame = tcp_frame(transaction, unit, bytes((pdu[0] | 0x80, turn % 12 or 1)))
        return [frame, None, frame[:6], b"\xff" * 20, tcp_frame(transaction, unit, b"\x10\0\1\0\1")][turn % 5]

    async with sound() as fine, scripted(script) as foul:
        async with recorder.proxy(fine) as one, recorder.proxy(foul) as two:
            buses = [bus(one, (1, 2, 201)), bus(two, (1, 2, 3), "south", timeout_ms=10)]
            await run_until(
                buses,
                lambda got: len(good(got, "north-1")) >= 20 and sum(s.instrument[:5] == "south" for s in got) >= 20,
            )
    functions = recorder.functions()
    assert set(functions) == {1, 2, 3, 4}
    assert len(functions) > 60


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (lambda b: [b, b], "bus north is there twice"),
        (lambda b: [b, replace(b, id="south")], "instrument north-1 is on bus north and on south"),
        (lambda b: [replace(b, period_ms=0)], "bus north: period 0 ms"),
        (lambda b: [replace(b, timeout_ms=-1)], "bus north: timeout -1 ms"),
        (
            lambda b: [replace(b, kind=BusKind.RTU, instruments=(replace(b.instruments[0], unit=248),))],
            "unit 248; allowed 1 to 247",
        ),
        (lambda b: [replace(b, instruments=(replace(b.instruments[0], unit=256),))], "unit 256; allowed 0 to 255"),
        (lambda b: [replace(b, instruments=(replace(b.instruments[0], signals=()),))], "north-1: no signal to read"),
        (
            lambda b: [replace(b, instruments=(replace(b.instruments[0], signals=(WRITING,)),))],
            "north-1: signal level: function 6",
        ),
    ],
)
def test_what_cannot_be_polled_is_refused_by_name(spoil: Callable[[BusSpec], list[BusSpec]], why: str) -> None:
    with pytest.raises(CollectorError, match=why):
        Collector(spoil(bus(502)), lambda sample: None, RealClock())


async def test_reading_what_is_not_there_names_what_is() -> None:
    collector = Collector([bus(502, (1, 2))], lambda sample: None, RealClock())
    with pytest.raises(CollectorError, match="no bus east; there are north"):
        await collector.read_once("east", "north-1")
    with pytest.raises(CollectorError, match="no instrument LT-9 on bus north; there are north-1, north-2"):
        await collector.read_once("north", "LT-9")


async def test_a_bus_without_instruments_does_nothing_and_stops() -> None:
    collector = Collector([replace(bus(502), instruments=())], lambda sample: None, RealClock())
    async with asyncio.timeout(5), asyncio.TaskGroup() as group:
        task = group.create_task(collector.run())
        await asyncio.sleep(0.05)
        task.cancel()
