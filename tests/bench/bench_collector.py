"""What a request costs: our collector against a bare pymodbus loop, same server, same run.

`python -m tests.bench.bench_collector [--short]`. The server (pyModbusTCP) runs in a process of its own, so that only
the client's work is counted: CPU seconds of this process. Both sides ask for the same eight registers, back to back on
one connection, in turns, so that a busy machine troubles both alike; the ratio printed is the median over the turns.
"""

import argparse
import asyncio
import statistics
import time
from collections.abc import Sequence

from pymodbus.client import AsyncModbusTcpClient

from collector.collector import Collector
from collector.spec import BusKind, BusSpec, InstrumentSpec
from modbus.plan import plan
from modbus.signals import RegisterSignal, RegisterType
from models.reading import OK, Sample
from tests.service_wire.servers import foreign_server

AIM = 1.3
REGISTERS = tuple(range(100, 200))
SIGNALS = (
    RegisterSignal("level", 3, 10, RegisterType.FLOAT32, unit="m"),
    RegisterSignal("current", 3, 12, RegisterType.UINT16, scale=0.001, unit="mA"),
    RegisterSignal("percent", 3, 13, RegisterType.INT16, scale=0.01, unit="%"),
    RegisterSignal("temperature", 3, 14, RegisterType.FLOAT32, unit="degC"),
    RegisterSignal("water", 3, 16, RegisterType.INT32, scale=0.001, unit="m"),
)


class FullSpeed:
    """A clock whose next tick has always just come: nothing sleeps, every period is asked, none is missed."""

    def __init__(self) -> None:
        self._elapsed_ms = 0

    def now_ms(self) -> int:
        return self._elapsed_ms

    def elapsed_ms(self) -> int:
        return self._elapsed_ms

    def both_ms(self) -> tuple[int, int]:
        return self._elapsed_ms, self._elapsed_ms

    async def sleep_until_elapsed(self, elapsed_ms: int) -> None:
        self._elapsed_ms = max(self._elapsed_ms, elapsed_ms)
        await asyncio.sleep(0)


async def bare(port: int, requests: int) -> float:
    """CPU seconds per request of a plain pymodbus loop: no schedule, no checks, no decoding."""
    client = AsyncModbusTcpClient("127.0.0.1", port=port, timeout=1, retries=0)
    assert await client.connect()
    await client.read_holding_registers(10, count=8, device_id=1)
    start = time.process_time()
    for _ in range(requests):
        reply = await client.read_holding_registers(10, count=8, device_id=1)
        assert len(reply.registers) == 8
    spent = time.process_time() - start
    client.close()
    return spent / requests


async def ours(port: int, requests: int, signals: Sequence[RegisterSignal] = SIGNALS) -> float:
    """CPU seconds per request of the collector: schedule, checks, decoding, Sample and counters included."""
    done = asyncio.Event()
    start = 0.0
    count = 0

    def sink(sample: Sample) -> None:
        nonlocal start, count
        assert sample.outcome == OK
        if not count:
            start = time.process_time()
        count += 1
        if count > requests:
            done.set()

    instrument = InstrumentSpec("LT-1", 1, tuple(signals))
    bus = BusSpec("bench", BusKind.TCP, (instrument,), "127.0.0.1", port, period_ms=10, timeout_ms=1000)
    collector = Collector([bus], sink, FullSpeed())
    async with asyncio.TaskGroup() as group:
        task = group.create_task(collector.run())
        await done.wait()
        spent = time.process_time() - start
        task.cancel()
    return spent / (count - 1)


async def compare(port: int, turns: int, requests: int) -> tuple[float, float, float]:
    """Median microseconds of CPU per request, bare and ours, and the median ratio."""
    pairs = [(await bare(port, requests), await ours(port, requests)) for _ in range(turns)]
    return (
        statistics.median(b for b, _ in pairs) * 1e6,
        statistics.median(o for _, o in pairs) * 1e6,
        statistics.median(o / b for b, o in pairs),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--short", action="store_true", help="a few seconds instead of half a minute")
    turns, requests = (25, 200) if parser.parse_args().short else (61, 800)
    with foreign_server("pymodbustcp_server", REGISTERS) as port:
        bare_us, ours_us, ratio = asyncio.run(compare(port, turns, requests))
    print(f"CPU per request, {turns} turns of {requests}: bare pymodbus {bare_us:.0f} us, collector {ours_us:.0f} us")
    print(f"ratio {ratio:.2f} (aim at most {AIM})")
    print(f"requests per poll of {len(SIGNALS)} signals: {len(plan(SIGNALS))}")


if __name__ == "__main__":
    main()
