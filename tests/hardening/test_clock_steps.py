"""The computer's clock stepped by an hour, both ways: nothing is lost or doubled, no alarm comes of it but its own.

That delays follow elapsed time over a step is shown in tests/gaugehouse/test_inbox.py.
"""

from itertools import pairwise
from pathlib import Path

import httpx
import pytest

from collector.clock import RealClock
from gaugehouse import systemwatch
from gaugehouse.site import Site
from gaugehouse.stores import look_into_book, look_into_readings
from tests.gaugehouse.farms import running
from tests.hardening.stalls import Stalls

HOUR_MS = 3_600_000


class SteppedClock(RealClock):
    """The computer's clock with a hand on it."""

    def __init__(self) -> None:
        super().__init__()
        self.ahead_ms = 0

    def now_ms(self) -> int:
        return super().now_ms() + self.ahead_ms


@pytest.mark.timeout(120)
@pytest.mark.parametrize("step_ms", [HOUR_MS, -HOUR_MS], ids=["forward", "back"])
async def test_a_step_of_an_hour_loses_no_reading_and_raises_no_other_alarm(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stalled: Stalls, step_ms: int
) -> None:
    monkeypatch.setattr(systemwatch, "EVERY_S", 0.2)
    clock = SteppedClock()
    async with (
        running(tmp_path, clock=clock) as run,
        httpx.AsyncClient(base_url=run.daemon.url, timeout=30) as client,
    ):
        facts = run.daemon.facts
        assert facts is not None
        await run.until(lambda live: live["seq"] > 4 and all(one["age_s"] is not None for one in live["tanks"]))
        loud = {alarm["id"] for alarm in facts.live()["alarms"]}
        clock.ahead_ms = step_ms
        begun = facts.live()["seq"]
        await run.until(lambda live: any(one["id"] == "system.clock_wrong" for one in live["alarms"]))
        await run.until(lambda live: live["seq"] > begun + 4)
        await run.until(lambda live: all(one["age_s"] is not None and one["age_s"] < 5 for one in live["tanks"]))
        new = {alarm["id"] for alarm in facts.live()["alarms"]} - loud - {"system.clock_wrong"}
        assert not [one for one in new if one.endswith(("no_answer", "frozen", "rise_fast", "fall_fast"))], new
        assert (await client.get("healthz")).status_code == 200
        acted = await client.post("api/tanks/north/extremes/reset", json={"by": "Ana"})
        assert acted.status_code == 200
        site = run.site
    with look_into_book(site) as book, look_into_readings(site) as store:
        assert book.verify().unbroken
        steps = [int(entry.body["step_ms"]) for entry in book.entries(["clock_step"])]
        assert len(steps) == 1
        assert abs(steps[0] - step_ms) < 5_000
        everything = {tank.id: list(store.read(tank.id, 0, 2**60)) for tank in site.tanks}
    for readings in everything.values():
        seqs = [one.seq for one in readings]
        assert seqs == sorted(set(seqs)), "each reading once, in the order in which it was taken"
        jumps = [later.time_ms - earlier.time_ms for earlier, later in pairwise(readings)]
        assert sum(abs(jump) > HOUR_MS // 2 for jump in jumps) == 1, "the step itself and no other hole"
        usual_ms = 6_000 + stalled.ms
        assert all(abs(jump) < usual_ms or abs(jump - step_ms) < usual_ms for jump in jumps)


@pytest.mark.timeout(120)
async def test_a_start_with_the_clock_an_hour_behind_is_told_and_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(systemwatch, "EVERY_S", 0.2)
    async with running(tmp_path) as run:
        await run.until(lambda live: live["seq"] > 4)
        last = run.daemon._core.at
    clock = SteppedClock()
    clock.ahead_ms = -HOUR_MS
    async with running(tmp_path, clock=clock) as run:
        facts = run.daemon.facts
        assert facts is not None
        await run.until(lambda live: any(one["id"] == "system.clock_wrong" for one in live["alarms"]))
        await run.until(lambda live: all(one["age_s"] is not None and one["age_s"] < 5 for one in live["tanks"]))
        assert run.daemon._core.at.seq > last.seq, "the running number goes on"
        site = run.site
        before = steps_in(site)
        clock.ahead_ms = 0  # somebody sets it
        await run.until(lambda live: steps_in(site) > before)
    with look_into_book(site) as book:
        assert book.verify().unbroken


def steps_in(site: Site) -> int:
    with look_into_book(site) as book:
        return sum(1 for _ in book.entries(["clock_step"]))
