"""Drain checks, water, forecast and the due list through a running daemon, over its HTTP, and over a restart."""

from pathlib import Path
from typing import Any

import pytest

from gaugehouse.cli import main
from tests.gaugehouse.farms import running

CHECK: dict[str, Any] = {
    "tank": "north", "by": "Ada", "result": "water", "water_m3": 0.00025, "appearance": "cloudy"
}  # fmt: skip


def drains(told: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {row["about"]: row for row in told["dues"] if row["kind"] == "drain check"}


@pytest.mark.timeout(180)
async def test_a_check_by_a_person_is_kept_and_told_by_the_next_daemon(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    async with running(tmp_path) as farm:
        await farm.until(lambda live: live["tanks"][0]["level_m"] is not None)
        facts = farm.daemon.facts
        assert facts is not None
        before = drains(await facts.due())
        assert set(before) == {tank.id for tank in farm.site.tanks}
        assert before["north"]["state"] == "overdue"
        assert before["north"]["last"] == "never done"
        wrong = await facts.act("drain_check", CHECK | {"water_m3": 250})
        assert wrong.status == "wrong"
        answer = await facts.act("drain_check", CHECK)
        assert answer.status == "done"
        after = drains(await facts.due())["north"]
        assert after["last"].endswith("by Ada: water")
        assert after["state"] in ("coming", "due")
        [account] = await facts.water(["north"])
        assert account["verdict"] == "cannot tell"  # no whole day is over yet
        assert account["unmeasured_days"] == account["days"] == 30
        rows = await facts.forecast()
        assert {row["of"] for row in rows} == {"product", "tank"}
        assert all("a forecast is told from 14 on" in row["why"] for row in rows)
        usable = next(row for row in rows if row["id"] == "north")["usable_m3"]
        assert usable is None or usable >= 0
        site = farm.site
    async with running(tmp_path) as farm:
        facts = farm.daemon.facts
        assert facts is not None
        assert drains(await facts.due())["north"]["last"] == after["last"]
        [row] = await facts.drain_checks("north")
        assert (row["number"], row["water_m3"], row["withdrawn"]) == (1, 0.00025, None)
        assert (await facts.act("withdraw_drain_check", {"number": 1, "by": "Bo", "comment": "other"})).status == "done"
        assert drains(await facts.due())["north"]["last"] == "never done"
    assert main(["water", str(site.path), "--checks"]) == 0
    assert "withdrawn by Bo: other" in capsys.readouterr().out
