"""The fault campaign in short: each misdeed once on each wire, to whole buses. The long form is in test_soak.py."""

import asyncio

import pytest

from collector.health import BusHealth
from tests.peers import MISDEEDS
from tests.peers.campaign import (
    DEAD,
    KINDS,
    PERIOD_MS,
    REFUSED,
    UNITS,
    Campaign,
    Setting,
    Trial,
    campaign,
    deeds_on,
    hurried,
)

pytestmark = pytest.mark.usefixtures("steady")  # both ends of the wire are on one event loop


async def misdeed(trial: Trial, deed: str, turn: int) -> None:
    """Sound once, bad for five periods, sound again until all units gave all their values."""
    known = trial.setting.units
    units = known if deed.startswith("noise") else (known[turn % len(known)],)
    await trial.sound.wait()
    await trial.misbehave(deed, units)
    await asyncio.sleep(5 * PERIOD_MS / 1000)
    await trial.mend(deed)
    async with asyncio.timeout(15):
        await trial.sound.wait()


def failures(health: dict[str, BusHealth]) -> dict[str, dict[int, int]]:
    """Failed polls by bus and unit."""
    return {
        name: {i.unit: i.no_answer + i.wrong_reply + sum(i.exceptions.values()) for i in bus.instruments.values()}
        for name, bus in health.items()
    }


@pytest.mark.parametrize("kind", KINDS)
async def test_no_misdeed_makes_a_wrong_value_and_good_ones_return_with_the_second_good_answer(kind: str) -> None:
    at_ease = deeds_on(kind)
    in_a_hurry = [deed for deed in at_ease if deed.startswith(("late", "duplicate", "earlier", "echo", "silence"))]
    deeds = at_ease + in_a_hurry
    settings = [Setting(deed, kind) for deed in at_ease] + [hurried(f"hurried {deed}", kind) for deed in in_a_hurry]
    async with campaign(settings) as running:
        async with asyncio.TaskGroup() as group:
            for turn, (trial, deed) in enumerate(zip(running.trials, deeds, strict=True)):
                group.create_task(misdeed(trial, deed, turn))
        faults = running.faults()
        health = running.collector.health()
    assert faults == []
    assert min(trial.values for trial in running.trials) > 20
    failed = failures(health)
    for trial, deed in zip(running.trials, deeds, strict=True):
        harmless = deed != REFUSED and MISDEEDS[deed].harmless
        assert all(failed[trial.name][unit] >= 3 for unit in trial.setting.dead)
        assert harmless or sum(failed[trial.name][unit] for unit in trial.setting.units) >= 1, f"{deed} did nothing"
    assert health[REFUSED].connects >= 2


async def test_a_wrong_value_would_be_seen() -> None:
    """The campaign's own check: a peer that lies about its age is found out."""
    async with campaign([Setting("lying", KINDS[0])]) as running:
        trial = running.trials[0]
        await trial.sound.wait()
        trial.peer.age += 128
        for block in trial.peer.ages:
            trial.peer.ages[block] = 0
        tell = trial.peer.registers
        trial.peer.registers = lambda *request: [r ^ 1 for r in tell(*request)]  # type: ignore[method-assign]
        async with asyncio.timeout(5):
            while not trial.wrong:
                await asyncio.sleep(0.01)
        assert "tells" in running.faults()[0]


def test_the_dead_unit_is_not_among_those_that_answer() -> None:
    assert DEAD not in UNITS
    assert Campaign([]).faults() == []
