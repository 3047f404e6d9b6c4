"""What a kill -9 takes from the embedded store and from VictoriaMetrics, both killed at the same instants.

python -m tests.bench.bench_kill [--short | --kills N]. 20 tanks ten times a second. A child process appends to the
embedded store, seals, and says after each tick that it is kept; the same ticks are posted to VictoriaMetrics, which
answers 204. Then both are killed and started again: lost is what they had said to have and do not have any more.
"""

import argparse
import json
import random
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
import urllib.request
from itertools import count
from pathlib import Path
from typing import Final

from history.sqlite import SqliteStore
from tests.bench.bench_store import post
from tests.history.samples import NOON_MS, reading
from tests.tsdb import victoria_metrics

TANKS: Final = tuple(f"T-{n}" for n in range(20))
PACE_S: Final = 0.1
STEP_MS: Final = 60_000
"""Of the readings' own clock, so that hours are sealed while the campaign runs."""


def child(folder: Path) -> None:
    """Append and seal until killed."""
    store = SqliteStore.open(folder / "readings.sqlite", "FARM")
    for seq in count(store.last_seq() + 1):
        begun = time.monotonic()
        store.append([reading(seq, NOON_MS + seq * STEP_MS, tank) for tank in TANKS])
        store.tidy()
        print(seq, flush=True)
        time.sleep(max(0.0, begun + PACE_S - time.monotonic()))


def ours(folder: Path, stop: threading.Event) -> int:
    """Let the child run until `stop`, kill it; the last tick that it said was kept."""
    command = [sys.executable, "-m", "tests.bench.bench_kill", "--child", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        threading.Thread(target=lambda: (stop.wait(), process.kill()), daemon=True).start()
        assert process.stdout is not None
        lines = [line for line in process.stdout if line.endswith("\n")]
    return int(lines[-1]) if lines else 0


def kept_by_us(folder: Path, reported: int) -> tuple[int, int]:
    """Ticks that are gone, and readings that are there twice."""
    store = SqliteStore.open(folder / "readings.sqlite", "FARM")
    lost = doubled = 0
    for tank in TANKS:
        seqs = [one.seq for one in store.read(tank, 0, 2**53)]
        lost = max(lost, len(set(range(1, reported + 1)) - set(seqs)))
        doubled += len(seqs) - len(set(seqs))
    assert not list(store.faults()), "the file is not whole"
    store.close()
    return lost, doubled


def told_to_victoria(folder: Path, run_s: float, first: int, *, kill: bool = True) -> int:
    """Post ticks for a while, then kill the server (or stop it); the last tick that it answered with 204."""
    with victoria_metrics(folder) as server:
        until, last = time.monotonic() + run_s, first - 1
        while time.monotonic() < until:
            begun = time.monotonic()
            at = NOON_MS + (last + 1) * STEP_MS
            post(server.url, [f"reading,tank={tank} level_m={last + 1},seq={last + 1} {at}" for tank in TANKS])
            last += 1
            time.sleep(max(0.0, begun + PACE_S - time.monotonic()))
        if kill:
            server.process.kill()
            server.process.wait()
    return last


def kept_by_victoria(folder: Path) -> set[int]:
    """The ticks that are there for every tank."""
    with victoria_metrics(folder) as server:
        asked = urllib.parse.urlencode({"match[]": "reading_seq", "start": "0", "end": "4102444800"})
        with urllib.request.urlopen(f"{server.url}/api/v1/export?{asked}", timeout=60) as answer:
            found = [set(map(int, json.loads(line)["values"])) for line in answer]
    return set.intersection(*found) if len(found) == len(TANKS) else set()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=6)
    parser.add_argument("--short", action="store_true", help="two kills")
    parser.add_argument("--child", type=Path)
    args = parser.parse_args()
    if args.child is not None:
        child(args.child)
        return
    rng, kills = random.Random(7), 2 if args.short else args.kills
    lost_by_us = doubled = reported = last = 0
    lost_s: list[float] = []
    lost_before = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        last = told_to_victoria(folder / "vm", 3.0, 1, kill=False)
        assert kept_by_victoria(folder / "vm") == set(range(1, last + 1)), "what is stopped in order is all there"
        for _ in range(kills):
            run_s, stop = rng.uniform(7.0, 13.0), threading.Event()
            said: list[int] = []
            running = threading.Thread(target=lambda s=stop, t=said: t.append(ours(folder, s)))
            running.start()
            last = told_to_victoria(folder / "vm", run_s, last + 1)
            stop.set()
            running.join()
            reported = max(reported, said[0])
            lost, twice = kept_by_us(folder, reported)
            lost_by_us, doubled = max(lost_by_us, lost), doubled + twice
            gone = last - len(kept_by_victoria(folder / "vm") & set(range(1, last + 1)))
            lost_s.append((gone - lost_before) * PACE_S)
            lost_before = gone
    print(
        f"{kills} kills at random instants, {len(TANKS)} tanks every {PACE_S:g} s, what was acknowledged and is gone:"
    )
    whole = f"{doubled} readings twice, the file whole ({reported} ticks)"
    print(f"  ours            {lost_by_us * PACE_S:.1f} s lost, {whole}")
    print(
        f"  VictoriaMetrics {min(lost_s):.1f} to {max(lost_s):.1f} s lost a kill, {sum(lost_s):.1f} s of "
        f"{last * PACE_S:.0f} s in all"
    )


if __name__ == "__main__":
    main()
