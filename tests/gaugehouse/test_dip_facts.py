"""Dips through a running daemon on the simulated farm: judged, written, listed beside the stored gauge, compared."""

from pathlib import Path

import pytest

from gaugehouse.days import iso_ms
from tests.gaugehouse.farms import running

FAR_MS = 2**53


async def test_a_running_daemon_judges_writes_and_compares_dips(tmp_path: Path) -> None:
    async with running(tmp_path) as farm:
        facts = farm.daemon.facts
        assert facts is not None

        def quiet(live: dict[str, object]) -> list[str]:
            return [
                t["tank"] for t in live["tanks"]  # type: ignore[attr-defined]
                if t["quality"] == "Good" and facts.dips.state(t["tank"])["wait_s"] == 0
            ]  # fmt: skip

        await farm.until(lambda live: bool(quiet(live)))
        tank = quiet(facts.live())[0]
        level = next(t["level_m"] for t in facts.live()["tanks"] if t["tank"] == tank)
        fields = {"tank": tank, "by": "Ann", "readings_m": [level, level], "water_m": 0.0}
        told = facts.dips.verdict(fields)
        assert (told["refused"], told["repeated"]) == ("", "2 identical readings")
        assert facts.dips.verdict({**fields, "method": "guess"})["refused"].startswith("method")
        assert await facts.dips.rows(tank, 0, FAR_MS) == []
        answer = await facts.act("add_dip", fields)
        assert (answer.status, answer.body["number"]) == ("done", 1)
        assert (await facts.act("add_dip", {**fields, "time": iso_ms(farm.clock.now_ms() + 10**8)})).status == "refused"
        (row,) = await facts.dips.rows(tank, 0, FAR_MS)
        assert row["level_m"] == pytest.approx(level, abs=1e-5)
        assert row["gauge_m"] == pytest.approx(level, abs=0.05)
        assert row["within"] is not None
        trend = await facts.dips.trend(tank)
        assert [one["number"] for one in trend["dips"]] == [1]
        assert trend["check"]
        state = facts.dips.state(tank)
        assert (state["level"]["number"], state["overdue"]) == (1, False)
        base = facts.dips.state(tank)["base_kgpm3"]
        sample = {"tank": tank, "by": "Ann", "observed_kgpm3": base - 2.0, "observed_degC": 15.0}
        assert (await facts.act("add_density_sample", sample)).body["accepted"] is True
        assert facts.dips.state(tank)["base_kgpm3"] == pytest.approx(base - 2.0, abs=0.2)
        assert len(await facts.dips.samples(tank, 0, FAR_MS)) == 1
        await farm.until(lambda live: any(t["tank"] == tank and t["dip"]["level"] for t in live["tanks"]))
