"""A flood of 10,000 alarm events: how long from a sample to the record book, beside the same run without the flood.

`python -m tests.bench.bench_flood [--short]`. A site of 100 loops and tanks polled once a second, its samples spread
over the second as bus tasks bring them; the daemon's own path (inbox, ticks, core, one durable transaction a tick) on a
real file. In both runs one tank swings each second, so that the quiet run has events to time; in the flood all of them
do, five events a swing. Latency is from the sample's arrival to the return of the durable commit, by the real clock.
"""

import argparse
import asyncio
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from collector.clock import RealClock
from gaugehouse.daemon import Daemon, Options
from gaugehouse.site import Site, load_site
from history.bookwriter import BookWriter
from history.chain import Entry, Head
from models.reading import OK, Sample

PERIOD_S = 1.0
PROBE = "t0"
FULL_MM, EMPTY_MM = 12_900.0, 100.0

HEAD = """
[site]
id = "flood"
name = "Flood"
zone = "Etc/UTC"
reference_temperature = "15 degC"
[[bus]]
id = "line"
kind = "tcp"
host = "127.0.0.1"
port = 1502
period = "1 s"
[[product]]
id = "jet"
name = "Jet A-1"
group = "jet"
base_density = "800 kg/m3"
"""
INSTRUMENT = """
[[instrument]]
id = "i{n}"
bus = "line"
unit = {n}
[[instrument.signal]]
name = "level"
function = 3
address = 0
counted_from = 0
type = "float32"
unit = "mm"
"""
TANK = """
[[tank]]
id = "t{n}"
product = "jet"
level = "i{n}.level"
measures = "innage"
reference_height = "13.5 m"
capacity = "capacity.csv"
[tank.limits]
critical_high = {{ at = "12.4 m", off_delay = "0 s" }}
high_high = {{ at = "12 m", off_delay = "0 s" }}
high = {{ at = "11 m", on_delay = "0 s", off_delay = "0 s" }}
low = {{ at = "1 m", on_delay = "0 s", off_delay = "0 s" }}
low_low = {{ at = "0.5 m", on_delay = "0 s", off_delay = "0 s" }}
"""


class Run(NamedTuple):
    """Latencies in ms of the probe's events and of all, the events counted, and the resident memory in MB by second."""

    probe_ms: list[float]
    all_ms: list[float]
    events: int
    memory_MB: list[float]


def site_of(folder: Path, tanks: int) -> Site:
    path = folder / "site.toml"
    (folder / "capacity.csv").write_text("level [mm],volume [L]\n0,0\n13000,1021000\n", encoding="utf-8")
    parts = [HEAD, *(INSTRUMENT.format(n=n) for n in range(tanks)), *(TANK.format(n=n) for n in range(tanks))]
    path.write_text("".join(parts), encoding="utf-8")
    return load_site(path)


def resident_MB() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * 4096 / 1e6


async def one_run(folder: Path, tanks: int, seconds: int, *, flood: bool) -> Run:
    arrived: dict[tuple[str, int], float] = {}
    out = Run([], [], 0, [])
    counted = 0
    commit = BookWriter.commit

    async def timed(self: BookWriter, entries: Sequence[Entry], state: Any) -> Head:
        nonlocal counted
        head = await commit(self, entries, state)
        now = time.perf_counter()
        for entry in entries:
            if entry.kind != "alarm":
                continue
            source = str(entry.body["source"])
            begun = arrived.get((source, entry.time_ms), arrived.get((source, entry.time_ms - 1)))
            if begun is None:
                continue
            counted += 1
            out.all_ms.append(1000 * (now - begun))
            if source == PROBE:
                out.probe_ms.append(1000 * (now - begun))
        return head

    clock = RealClock()
    daemon = Daemon(site_of(folder, tanks), clock, Options(build="bench", console=False))
    daemon.collector.run = asyncio.Event().wait  # no bus is asked: the samples come from here
    BookWriter.commit = timed
    try:
        async with asyncio.TaskGroup() as group:
            group.create_task(daemon.run())
            await daemon.ready.wait()
            await _feed(daemon, clock, tanks, seconds, flood, arrived, out.memory_MB)
            daemon.stop()
    finally:
        BookWriter.commit = commit
    return out._replace(events=counted)


async def _feed(
    daemon: Daemon,
    clock: RealClock,
    tanks: int,
    seconds: int,
    flood: bool,
    arrived: dict[tuple[str, int], float],
    memory: list[float],
) -> None:
    take: Callable[[Sample], None] = daemon._take
    begun = time.perf_counter()
    for second in range(seconds):
        for n in range(tanks):
            due = begun + (second + n / tanks) * PERIOD_S
            await asyncio.sleep(max(0.0, due - time.perf_counter()))
            swings = flood or f"t{n}" == PROBE
            level = (FULL_MM if second % 2 else EMPTY_MM) if swings else 6_000.0
            now_ms = clock.now_ms()
            arrived[f"t{n}", now_ms] = time.perf_counter()
            take(Sample(f"i{n}", now_ms, OK, {"level": level}))
        memory.append(resident_MB())
    await asyncio.sleep(PERIOD_S)


def p99(values: Sequence[float]) -> float:
    return statistics.quantiles(values, n=100)[98] if len(values) > 1 else values[0]


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    args = parser.parse_args(argv)
    tanks, seconds = (50, 6) if args.short else (100, 24)
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as two:
        quiet = asyncio.run(one_run(Path(one), tanks, seconds, flood=False))
        flood = asyncio.run(one_run(Path(two), tanks, seconds, flood=True))
    print(f"flood: {tanks} loops at {PERIOD_S:g} s, {seconds} s; latency from a sample to the record book")
    for name, run in (("without", quiet), ("flood", flood)):
        print(
            f"  {name:8} {run.events:6d} events   probe p50 {statistics.median(run.probe_ms):7.1f} ms   "
            f"p99 {p99(run.probe_ms):7.1f} ms   all p99 {p99(run.all_ms):7.1f} ms, longest {max(run.all_ms):7.1f} ms"
        )
    print(f"  p99 of all in the flood / poll period = {p99(flood.all_ms) / 1000 / PERIOD_S:.3f}   (aim: below 1)")
    print(f"  probe, flood / without: p50 {statistics.median(flood.probe_ms) / statistics.median(quiet.probe_ms):.1f}")
    for name, run in (("without", quiet), ("flood", flood)):
        half = len(run.memory_MB) // 2
        grown = run.memory_MB[-1] / run.memory_MB[half]
        print(
            f"  {name:8} resident memory {run.memory_MB[half]:.1f} MB at half time, "
            f"{run.memory_MB[-1]:.1f} MB at the end, {grown:.3f} of it"
        )


if __name__ == "__main__":
    main()
