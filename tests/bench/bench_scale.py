"""Large farms on one machine: what a poll costs and how late it begins, with 200, 1,000 and 2,000 units at 1 Hz.

`python -m tests.bench.bench_scale [--short] [--uvloop] [--realtime]`. Fifty TCP lines to a server of our own in another
process (`unitserver`: nothing of the client library in it). For each number of units, each in a process of its own: a
bare paced loop of the client library, the collector alone, and the daemon with everything on (core, alarms, movements,
record book, store, live object). CPU is that of the process, per poll; ratios are to the bare loop beside it. Lateness
is that of the machine as it is; `--realtime` (as root) keeps its other work out, and the longest turns of the event
loop are told by their own CPU.
"""

import argparse
import asyncio
import json
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pymodbus.client import AsyncModbusTcpClient

from collector.clock import RealClock
from collector.collector import Collector
from collector.health import BusHealth
from collector.schedule import phase_ms
from gaugehouse.daemon import Daemon, Options
from gaugehouse.fastloop import runner, settle_memory
from models.reading import Sample
from tests.bench.scalefarm import LINES, farm_site, unit_server, units_of
from tests.bench.scaleparts import Parts, Turns, keep_others_out, resident_MB, thread_s, waited_s

SIZES = (200, 1000, 2000)
AIM, AIM_LATE_MS = 1.3, 50
WARM_S = 5.0
Told = dict[str, Any]


class Lateness:
    """Every lateness in ms since `clear`, finer than the collector's own places."""

    def __init__(self) -> None:
        self.late_ms: list[int] = []
        began, kept = BusHealth.began, self.late_ms

        def kept_too(health: BusHealth, late_ms: int) -> None:
            kept.append(late_ms)
            began(health, late_ms)

        BusHealth.began = kept_too  # type: ignore[method-assign]


async def bare(total: int, ports: Sequence[int], seconds: float) -> Told:
    """A paced loop of the client library on each line: no checks, no decoding, no Samples."""
    by_line: dict[int, list[tuple[float, int]]] = {}
    for n, (line, unit) in enumerate(units_of(total, min(len(ports), total))):
        by_line.setdefault(line, []).append((phase_ms(f"i{n}", 1000) / 1000, unit))
    count, late, ended = 0, [], False

    async def ask(port: int, units: list[tuple[float, int]]) -> None:
        nonlocal count
        client = AsyncModbusTcpClient("127.0.0.1", port=port, timeout=0.8, retries=0)
        assert await client.connect()
        second = float(int(time.monotonic()) + 1)
        units.sort()
        while True:
            for phase, unit in units:
                wait_s = second + phase - time.monotonic()
                if wait_s > 0:
                    await asyncio.sleep(wait_s)
                if ended:
                    client.close()
                    return
                late.append(1000 * (time.monotonic() - second - phase))
                reply = await client.read_holding_registers(0, count=3, device_id=unit)
                assert len(reply.registers) == 3
                count += 1
            second += 1.0

    async with asyncio.TaskGroup() as group:
        for line, units in by_line.items():
            group.create_task(ask(ports[line], units))
        await asyncio.sleep(WARM_S)
        count, begun, started = 0, time.process_time(), time.monotonic()
        late.clear()
        await asyncio.sleep(seconds)
        spent, took, polls = time.process_time() - begun, time.monotonic() - started, count
        lates = sorted(late)
        ended = True
    return _told(polls, spent, took, lates)


async def alone(total: int, ports: Sequence[int], seconds: float, folder: Path) -> Told:
    """The collector with a sink that counts."""
    site, late = farm_site(folder, total, ports), Lateness()
    count = 0

    def sink(sample: Sample) -> None:
        nonlocal count
        count += sample.answered

    collector = Collector(site.buses, sink, RealClock())
    async with asyncio.TaskGroup() as group:
        task = group.create_task(collector.run())
        await asyncio.sleep(WARM_S)
        missed = _missed(collector)
        late.late_ms.clear()
        count, begun, started = 0, time.process_time(), time.monotonic()
        await asyncio.sleep(seconds)
        spent, took = time.process_time() - begun, time.monotonic() - started
        told = _told(count, spent, took, sorted(late.late_ms), _missed(collector) - missed)
        task.cancel()
    return told


async def whole(total: int, ports: Sequence[int], seconds: float, folder: Path) -> Told:
    """One daemon with everything on."""
    begun = time.process_time()
    site = farm_site(folder, total, ports)
    before_MB, late, parts, turns = resident_MB(), Lateness(), Parts(), Turns()
    daemon = Daemon(site, RealClock(), Options(build="bench", simulated=True, console=False))
    async with asyncio.TaskGroup() as group:
        group.create_task(daemon.run())
        await daemon.ready.wait()
        start_s = time.process_time() - begun
        settle_memory(total)  # as `gaugehouse run` does
        await asyncio.sleep(WARM_S + 3)
        parts.clear()
        late.late_ms.clear()
        turns.taken_s.clear()
        idle_s = waited_s()
        polls, missed, threads = sum(daemon.collector.polls().values()), _missed(daemon.collector), thread_s()
        main, begun, started = time.thread_time(), time.process_time(), time.monotonic()
        await asyncio.sleep(seconds)
        main, spent, idle_s = time.thread_time() - main, time.process_time() - begun, waited_s() - idle_s
        took, done = time.monotonic() - started, sum(daemon.collector.polls().values()) - polls
        told = _told(done, spent, took, sorted(late.late_ms), _missed(daemon.collector) - missed)
        split = {part: own_s for part, own_s in parts.own_s.items()}
        split["wire, event loop, the rest"] = main - sum(split.values())
        for name, cpu_s in thread_s().items():
            if name != "MainThread":
                split[f"thread {name}"] = cpu_s - threads.get(name, 0.0)
        told["split_us"] = {name: own_s * 1e6 / done for name, own_s in split.items()}
        told["longest_ms"] = {name: 1000 * own_s for name, own_s in parts.longest_s.items()}
        told["turn_ms"] = [1000 * cut for cut in sorted(turns.taken_s)[-3:]] if turns.taken_s else []
        told["waited"], told["start_ms_a_unit"] = idle_s / took, 1000 * start_s / total
        told["kB_a_unit"] = (resident_MB() - before_MB) * 1000 / total
        daemon.stop()
    return told


def _missed(collector: Collector) -> int:
    found = collector.health().values()
    return sum(one.missed_ticks + one.no_answer for bus in found for one in bus.instruments.values())


def _told(polls: int, spent: float, took: float, late_ms: Sequence[float], missed: int = 0) -> Told:
    cuts = statistics.quantiles(late_ms, n=100)
    return {
        "polls": polls, "us": spent * 1e6 / polls, "core": spent / took, "p50": cuts[49], "p99": cuts[98],
        "max": late_ms[-1], "missed": missed,
    }  # fmt: skip


def child(kind: str, total: int, ports: Sequence[int], seconds: float, fast: bool) -> None:
    with tempfile.TemporaryDirectory() as name, runner(fast) as one:
        folder = Path(name)
        work = {
            "bare": lambda: bare(total, ports, seconds),
            "collector": lambda: alone(total, ports, seconds, folder),
            "daemon": lambda: whole(total, ports, seconds, folder),
        }[kind]
        print(json.dumps(one.run(work())))


def measured(kind: str, total: int, ports: Sequence[int], seconds: float, fast: bool) -> Told:
    call = [sys.executable, "-m", "tests.bench.bench_scale", "--child", kind, "--units", str(total)]
    call += ["--seconds", str(seconds), "--ports", *map(str, ports), *(["--uvloop"] if fast else [])]
    found: Told = json.loads(subprocess.run(call, check=True, stdout=subprocess.PIPE, text=True).stdout)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="6 s a case instead of 30")
    parser.add_argument("--uvloop", action="store_true", help="on uvloop, the bare loop too")
    parser.add_argument("--units", type=int, nargs="*", help="other numbers of units")
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--child", help=argparse.SUPPRESS)
    parser.add_argument("--ports", type=int, nargs="*", help=argparse.SUPPRESS)
    parser.add_argument("--realtime", action="store_true", help="at real-time priority (as root)")
    args = parser.parse_args()
    if args.realtime:
        keep_others_out()
    if args.child:
        child(args.child, args.units[0], args.ports, args.seconds, args.uvloop)
        return
    seconds = 6.0 if args.short else args.seconds
    sizes = args.units or SIZES
    results: dict[tuple[int, str], Told] = {}
    print(f"{LINES} TCP lines, 1 Hz, {seconds:g} s a case, {'uvloop' if args.uvloop else 'asyncio'}", flush=True)
    print(
        f"{'units':>6} {'':10} {'us a poll':>9} {'ratio':>6} {'of a core':>9} {'p50 ms':>9} {'p99':>7} {'max':>7} lost"
    )
    with unit_server() as (ports, _):
        for total in sizes:
            for kind in ("bare", "collector", "daemon"):
                one = results[total, kind] = measured(kind, total, ports, seconds, args.uvloop)
                ratio = one["us"] / results[total, "bare"]["us"]
                missed = "-" if kind == "bare" else one["missed"]
                print(
                    f"{total:6} {kind:10} {one['us']:9.0f} {ratio:6.2f} {one['core']:9.2f} {one['p50']:9.1f} "
                    f"{one['p99']:7.1f} {one['max']:7.1f} {missed}",
                    flush=True,
                )
    print(f"aims: collector at most {AIM} of the bare loop; lateness of the daemon's polls p99 {AIM_LATE_MS} ms")
    daemons = [results[total, "daemon"] for total in sizes]
    print("daemon, CPU in us a poll by part (longest stay in ms)" + "".join(f"{total:>16}" for total in sizes))
    for part in daemons[-1]["split_us"]:
        cells = [(d["split_us"].get(part, 0.0), d["longest_ms"].get(part)) for d in daemons]
        if max(us for us, _ in cells) >= 0.5:
            told = "".join(f"{us:8.1f} {'' if ms is None else f'({ms:.0f})':>7}" for us, ms in cells)
            print(f"  {part:52}{told}")
    print(f"  {'memory, kB a unit':52}" + "".join(f"{d['kB_a_unit']:8.0f} {'':7}" for d in daemons))
    print(f"  {'start, ms of CPU a unit':52}" + "".join(f"{d['start_ms_a_unit']:8.1f} {'':7}" for d in daemons))
    print(
        f"  {'waiting for a processor, share of the time':52}" + "".join(f"{d['waited']:8.3f} {'':7}" for d in daemons)
    )
    longest = ["/".join(f"{ms:.0f}" for ms in d["turn_ms"]) for d in daemons]
    print(f"  {'three longest turns of the loop, ms of own CPU':52}" + "".join(f"{one:>16}" for one in longest))


if __name__ == "__main__":
    main()
