"""Tank status beside a running daemon: by HTTP, by a command through it, and after it was started anew."""

import asyncio
from pathlib import Path

from gaugehouse.cli import main
from tests.gaugehouse.farms import running

RULE = """
[stock.settling]
[[stock.settling.rule]]
time = "2 h"
source = "test manual 4.2"
"""
RESULT = {"by": "Ada", "appearance": "clear and bright", "water_test": "passed"}


async def test_a_release_by_http_and_a_quarantine_by_command_outlive_a_restart(tmp_path: Path) -> None:
    async with running(tmp_path, more=RULE) as run:
        path = str(run.site.path)
        async with run.client() as client:
            tanks = [row["tank"] for row in (await client.get("/api/status")).json()]
            assert tanks == [tank.id for tank in run.site.tanks]
            first, second = "ridge", tanks[0]  # nothing flows into Ridge for hours, however late this comes
            told = await client.post(f"/api/tanks/{first}/release", json=RESULT)
            assert told.status_code == 200, told.text
            aside = ["status", "quarantine", path, second, "--reason", "odd smell", "--by", "Ben"]
            assert await asyncio.to_thread(main, aside) == 0
            status = {row["tank"]: row["status"] for row in (await client.get("/api/status")).json()}
            assert status[first] in ("released", "in use", "receiving", "settling")  # the demo's pumps go on
            assert status[second] == "quarantined"
            history = (await client.get("/api/status/history")).json()
            assert [row["to"] for row in history if row["by"] == "Ben"] == ["quarantined"]
            batches = (await client.get(f"/api/batches?tank={first}")).json()
            assert batches[0]["model"].startswith("fully mixed")
    async with running(tmp_path, more=RULE) as run, run.client() as client:
        again = {row["tank"]: row for row in (await client.get("/api/status")).json()}
        assert again[second]["status"] == "quarantined"
        assert again[second]["reason"] == "odd smell"
