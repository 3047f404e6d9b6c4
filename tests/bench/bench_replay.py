"""Samples per second through `replay`, split by part, beside the cheapest thing that reads the same file.

The figures hold for one machine and one run; what to compare is the ratio of the parts and to the bare reader.
"""

import argparse
import cProfile
import csv
import math
import pstats
import random
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from gaugehouse.days import iso_ms
from gaugehouse.recording import read_samples
from gaugehouse.replay import replay, ticks
from gaugehouse.rows import line, reading_cells
from gaugehouse.site import Site, load_site
from gaugehouse.wiring import core_of
from simulator.demo import write_demo

START_MS = 1_769_846_400_000


def write_recording(path: Path, site: Site, seconds: int) -> int:
    """A recording of every instrument at 1 Hz: slow waves, noise, now and then a lost poll; gives its rows."""
    chance = random.Random(7)
    names = site.signal_names
    columns = list(dict.fromkeys(name for signals in names.values() for name in signals))
    typical = {"current": 12.0, "level": 6000.0, "percent": 50.0, "temperature": 25.0, "water": 12.0}
    rows = 0
    with path.open("w", encoding="utf-8") as out:
        out.write(",".join(["time", "instrument", "outcome", *columns]) + "\n")
        for second in range(seconds):
            for place, (instrument, signals) in enumerate(names.items()):
                at = iso_ms(START_MS + second * 1000 + place * 37)
                if chance.random() < 0.001:
                    out.write(f"{at},{instrument},timeout{',' * len(columns)}\n")
                else:
                    wave = 1 + 0.2 * math.sin(second / 900 + place)
                    cells = [
                        f"{typical.get(name, 1.0) * wave + chance.gauss(0, 0.001):.4f}" if name in signals else ""
                        for name in columns
                    ]
                    out.write(f"{at},{instrument},ok,{','.join(cells)}\n")
                rows += 1
    return rows


def timed(work: Iterator[object] | Sequence[object]) -> float:
    begun = time.perf_counter()
    for _ in work:
        pass
    return time.perf_counter() - begun


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--profile", action="store_true", help="also print where the time of the core goes")
    args = parser.parse_args(argv)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        site = load_site(write_demo(folder, [1502, 1503]))
        recording = folder / "samples.csv"
        rows = write_recording(recording, site, 300 if args.short else 3000)
        order = {loop.instrument: place for place, loop in enumerate(site.loops)}

        with recording.open(newline="") as file:
            bare = timed(csv.reader(file))
        parse = timed(read_samples(recording, site.signal_names))
        samples = list(read_samples(recording, site.signal_names))
        batches = list(ticks(iter(samples), order, recording, print))
        core = core_of(site)
        if args.profile:
            profile = cProfile.Profile()
            profile.enable()
        begun = time.perf_counter()
        results = [core.step(tick) for tick in batches]
        step = time.perf_counter() - begun
        if args.profile:
            profile.disable()
            pstats.Stats(profile, stream=sys.stdout).sort_stats("tottime").print_stats(25)
        readings = [reading for result in results for reading in result.readings]
        begun = time.perf_counter()
        for reading in readings:
            line(reading_cells(reading))
        write = time.perf_counter() - begun
        begun = time.perf_counter()
        replay(site, recording, folder / "out")
        whole = time.perf_counter() - begun

    print(f"replay: {rows} samples of {len(site.loops)} instruments, {len(readings)} readings")
    print(f"  whole            {rows / whole:9.0f} samples/s   {1e6 * whole / rows:6.1f} us a sample")
    for part, seconds in (("read the CSV", parse), ("core.step", step), ("write readings", write)):
        print(f"  {part:16} {rows / seconds:9.0f} samples/s   {1e6 * seconds / rows:6.1f} us a sample")
    print(f"  bare csv.reader  {rows / bare:9.0f} rows/s      whole / bare = {whole / bare:.1f}")


if __name__ == "__main__":
    main()
