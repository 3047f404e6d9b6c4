"""The fault campaign for long, and that nothing grows: tasks, descriptors, memory.

`make soak` runs it for GAUGEHOUSE_SOAK_MINUTES real minutes (20 unless set) and prints its figures; `make test` for
some seconds, which shows that it works and that tasks and descriptors stay.
"""

import asyncio
import gc
import logging
import os
import random
import time

import psutil
import pytest

from tests.peers.campaign import KINDS, PERIOD_MS, Campaign, Setting, Trial, campaign, deeds_on, hurried

pytestmark = pytest.mark.usefixtures("steady")  # both ends of the wire are on one event loop

GROWTH_MB = 3.0
"""Memory that may be added from a fifth of the time on: what is kept of a minute of health and of Python's own."""


class Figures:
    """Tasks, descriptors and memory of this process, noted from time to time."""

    def __init__(self) -> None:
        self._process = psutil.Process()
        self.notes: list[tuple[float, int, int, float]] = []

    def note(self) -> None:
        gc.collect()
        self.notes.append(
            (
                time.monotonic(),
                len(asyncio.all_tasks()),
                self._process.num_fds(),
                self._process.memory_info().rss / 2**20,
            )
        )

    def told(self) -> str:
        begun = self.notes[0][0]
        lines = [f"{at - begun:7.0f} s {tasks:4} tasks {fds:4} fds {rss:7.1f} MB" for at, tasks, fds, rss in self.notes]
        return "\n".join(lines)


async def misbehave_until(trial: Trial, end_s: float, chance: random.Random) -> int:
    """One deed after the other on one bus, drawn anew; how many were done."""
    deeds = deeds_on(trial.setting.kind)
    done = 0
    await trial.sound.wait()
    while time.monotonic() < end_s:
        deed = chance.choice(deeds)
        known = trial.setting.units
        await trial.misbehave(deed, chance.sample(known, chance.randint(1, len(known))))
        await asyncio.sleep(chance.uniform(1, 6) * PERIOD_MS / 1000)
        await trial.mend(deed)
        async with asyncio.timeout(30):
            await trial.sound.wait()
        done += 1
    return done


async def settle(running: Campaign) -> None:
    """All buses sound, nothing delayed under way: figures can be compared."""
    async with asyncio.timeout(30):
        for trial in running.trials:
            await trial.sound.wait()
    await asyncio.sleep(0.5)


async def soak(seconds: float, notes: int) -> tuple[Figures, Campaign, int]:
    """The campaign for so long; figures are noted when all buses are sound."""
    figures = Figures()
    chance = random.Random(20260101)
    settings = [Setting(f"at ease {kind}", kind) for kind in KINDS] + [
        hurried(f"hurried {kind}", kind) for kind in KINDS
    ]
    deeds = 0
    async with campaign(settings) as running:
        await settle(running)
        figures.note()
        for _ in range(notes):
            end_s = time.monotonic() + seconds / notes
            deeds += sum(await asyncio.gather(*(misbehave_until(t, end_s, chance) for t in running.trials)))
            await settle(running)
            figures.note()
        assert running.faults() == []
    return figures, running, deeds


def summary(figures: Figures, running: Campaign, deeds: int) -> str:
    values = sum(trial.values for trial in running.trials)
    errors: dict[str, int] = {}
    for health in running.collector.health().values():
        for kind, count in health.errors.items():
            errors[kind] = errors.get(kind, 0) + count
    told = ", ".join(f"{kind} {count}" for kind, count in sorted(errors.items()) if count)
    done = f"{deeds} misdeeds, {running.samples} samples, {values} values, none wrong"
    return f"{figures.told()}\n{done}\nfailed polls: {told}\npolls that the machine held up: {running.held_up}"


async def test_some_seconds_of_the_campaign_leave_no_task_and_no_descriptor_behind() -> None:
    before = len(os.listdir("/proc/self/fd"))
    figures, running, deeds = await soak(1, 2)
    tasks, descriptors = ({note[place] for note in figures.notes} for place in (1, 2))
    assert len(tasks) == 1, figures.told()
    assert len(descriptors) == 1, figures.told()
    assert deeds >= 8
    assert "none wrong" in summary(figures, running, deeds)
    async with asyncio.timeout(10):
        while len(os.listdir("/proc/self/fd")) != before:  # the peers' ends of the connections close in their own turn
            await asyncio.sleep(0.01)


@pytest.mark.soak
async def test_twenty_minutes_of_the_campaign_grow_nothing(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.CRITICAL, logger="collector")  # pytest keeps each line: a growth of its own
    minutes = float(os.environ.get("GAUGEHOUSE_SOAK_MINUTES", "20"))
    figures, running, deeds = await soak(minutes * 60, 20)
    print(f"\n{minutes:g} minutes of misdeeds on {len(running.trials)} buses\n{summary(figures, running, deeds)}")
    tasks, descriptors = ({note[place] for note in figures.notes} for place in (1, 2))
    assert len(tasks) == 1
    assert len(descriptors) == 1
    assert figures.notes[-1][3] - figures.notes[len(figures.notes) // 5][3] < GROWTH_MB
