"""What notification costs the alarm journal, and how soon a message is at the other side.

`python -m tests.bench.bench_notify [--short]`. One record book with a hash chain and durable commits; an alarm is
written every 100 ms. Compared within one run, in turns: no channel, two webhooks on this machine that answer, and the
same with a third that hangs. The site's clock runs at a hundred times real speed, so that the pause between two
messages of a channel (5 s of the site) is 50 ms and each alarm has a message of its own.
"""

import argparse
import asyncio
import statistics
import time
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from collector.clock import RealClock
from gaugehouse.site import load_site
from tests.gaugehouse.sites import LOOP_SITE, write_site
from tests.service_notify.outside import Outside, hook
from tests.service_notify.storm import SPEED, alarm, at_work

EVERY_S = 0.1


class Found(NamedTuple):
    """Seconds: of each commit, and from a commit to the other side, by channel."""

    commits: list[float]
    told: dict[str, list[float]]


def channel(name: str, port: int) -> str:
    address = f"http://127.0.0.1:{port}/tell"
    return f'\n[[notify]]\nid = "{name}"\nkind = "webhook"\nsame_alarm_after = "0 s"\nurl = "{address}"\n'


async def one(folder: Path, channels: dict[str, Outside], count: int) -> Found:
    text = LOOP_SITE + "".join(channel(name, server.port) for name, server in channels.items())
    folder.mkdir()
    site, clock = load_site(write_site(folder, text)), RealClock(SPEED)
    before = {name: len(server.taken) for name, server in channels.items()}
    commits: list[float] = []
    written_s: dict[int, float] = {}
    async with at_work(site, clock) as (_, writer, post):
        for k in range(1, count + 1):
            begun = time.perf_counter()
            await writer.commit([alarm(clock.now_ms(), "high_high", k)], {})
            commits.append(time.perf_counter() - begun)
            written_s[k] = time.time()
            if post is not None:
                post.tell(1)
            await asyncio.sleep(EVERY_S)
        await asyncio.sleep(0.5)
    told = {}
    for name, server in channels.items():
        heard = [(one["occurrence"], taken["at_s"]) for taken in server.taken[before[name] :]
                 for one in taken["body"]["alarms"]]  # fmt: skip
        told[name] = [at_s - written_s[k] for k, at_s in heard]
    return Found(commits, told)


def spread(times: Sequence[float]) -> str:
    ordered = sorted(times)
    p99 = ordered[min(len(ordered) - 1, len(ordered) * 99 // 100)]
    return f"p50 {statistics.median(ordered) * 1e3:.1f} ms, p99 {p99 * 1e3:.1f} ms"


async def main(count: int, rounds: int) -> None:
    with TemporaryDirectory() as name:
        folder = Path(name)
        with hook(folder) as first, hook(folder) as second, hook(folder, "0") as hangs:
            good = {"first": first, "second": second}
            cases = {"no channel": {}, "two channels": good, "and one that hangs": good | {"hangs": hangs}}
            commits: dict[str, list[float]] = {case: [] for case in cases}
            told: dict[str, list[float]] = {case: [] for case in cases}
            for turn in range(rounds):
                for number, (case, channels) in enumerate(cases.items()):
                    found = await one(folder / f"{turn}-{number}", channels, count)
                    commits[case] += found.commits
                    told[case] += [time for who, times in found.told.items() if who in good for time in times]
                    expected = count * sum(who in good for who in channels)
                    assert len([1 for who in found.told if who in good for _ in found.told[who]]) == expected, case
    base = statistics.median(commits["no channel"])
    for case in cases:
        ratio = statistics.median(commits[case]) / base
        print(f"commit of an alarm, {case}: {spread(commits[case])}, {ratio:.2f} of no channel")
    for case in list(cases)[1:]:
        ratio = statistics.median(told[case]) / base
        print(f"from the commit to the other side, {case}: {spread(told[case])}, {ratio:.1f} commits")


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--short", action="store_true")
    short = parser.parse_args().short
    asyncio.run(main(20, 1 if short else 4))
