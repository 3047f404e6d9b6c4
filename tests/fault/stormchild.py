"""A daemon in a storm of alarms, to be killed: `python -m tests.fault.stormchild FOLDER SPEED SEED`.

Beside the farm's own samples it takes in wild ones, and people act on random alarms all the time. Prints the console's
address, then one JSON line for each act as soon as its answer is there: what is printed was confirmed.
"""

import asyncio
import json
import random
import sys
from pathlib import Path

from collector.clock import Clock
from models.reading import OK, TIMEOUT, Sample
from tests.gaugehouse.farms import Running, running

CURRENTS = (3.5, 3.7, 4.3, 6.0, 12.0, 19.0, 19.6, 19.95, 20.6, 21.5)
ACTS = ("acknowledge", "acknowledge", "shelve", "unshelve", "remove_from_service", "return_to_service", "reset_latch")


async def _storm(run: Running, chance: random.Random, clock: Clock) -> None:
    """Some 50 wild samples a second, each between two real ones."""
    instruments = [loop.instrument for loop in run.site.loops]
    names = run.site.signal_names
    while True:
        instrument = chance.choice(instruments)
        current = chance.choice(CURRENTS)
        share = (current - 4) / 16
        wild = {"current": current, "percent": 100 * share, "level": 13_000 * share, "temperature": 20.0, "water": 5.0}
        values = {name: wild[name] for name in names[instrument] if name in wild}
        outcome = TIMEOUT if chance.random() < 0.05 else OK
        time_ms, elapsed_ms = clock.both_ms()
        answered = {} if outcome == TIMEOUT else values
        run.daemon._take(Sample(instrument, time_ms, outcome, answered, elapsed_ms=elapsed_ms))
        await asyncio.sleep(0.02)


async def _people(run: Running, chance: random.Random, life: str) -> None:
    facts = run.daemon.facts
    assert facts is not None
    number = 0
    while True:
        number += 1
        act, token = chance.choice(ACTS), f"{life}-{number}"
        every = facts.every_alarm()
        some = [a["id"] for a in every if a["state"] != "normal" or chance.random() < 0.05]
        alarm = chance.choice(some or [a["id"] for a in every])
        fields = {
            "alarm": alarm,
            "by": "Ana",
            "comment": token,
            "reason": token,
            "span_s": chance.choice([60, 600, 7200]),
        }
        answer = await facts.act(act, fields | {"one_shot": chance.random() < 0.3})
        if answer.status == "done":
            print(json.dumps({"act": act, "alarm": alarm, "token": token}), flush=True)
        await asyncio.sleep(chance.uniform(0, 0.03))


async def _main(folder: Path, speed: float, seed: int) -> None:
    chance = random.Random(seed)
    async with running(folder, speed=speed) as run, asyncio.TaskGroup() as group:
        print(run.daemon.url, flush=True)
        group.create_task(_storm(run, chance, run.clock))
        group.create_task(_people(run, chance, str(seed)))


if __name__ == "__main__":
    asyncio.run(_main(Path(sys.argv[1]), float(sys.argv[2]), int(sys.argv[3])))
