"""A start after an unclean stop: the files are looked at meanwhile; what is damaged is told and is an alarm."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gaugehouse import systemwatch
from gaugehouse.stores import READINGS, RECORDS
from tests.gaugehouse.farms import running
from tests.history.test_broken_pages import pages, zero

OPEN = "INSERT INTO meta VALUES ('open', '1')"


async def test_the_files_are_looked_at_after_an_unclean_stop_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(systemwatch, "EVERY_S", 0.2)
    async with running(tmp_path) as run:
        assert run.daemon.facts is not None
        assert run.daemon.facts.files() == {"unclean": [], "done": True, "faults": []}
        tank = run.site.tanks[0].id
        path = run.site.store_path / READINGS
        await run.until(lambda live: live["seq"] > 8)
    for file in (path, run.site.store_path / RECORDS):
        with closing(sqlite3.connect(file)) as connection, connection:
            connection.execute(OPEN)  # as a kill leaves it
    async with running(tmp_path) as run:
        facts = run.daemon.facts
        assert facts is not None
        assert facts.files()["unclean"] == [READINGS, RECORDS]
        await run.until(lambda live: facts.files()["done"])
        assert facts.files()["faults"] == []
        await run.until(lambda live: live["seq"] > 2)
        assert not any(alarm["id"] == "system.store_damaged" for alarm in facts.live()["alarms"])
    for file in (path, run.site.store_path / RECORDS):
        with closing(sqlite3.connect(file)) as connection, connection:
            assert connection.execute("SELECT * FROM meta WHERE key = 'open'").fetchone() is None
    with closing(sqlite3.connect(path)) as connection, connection:
        for lost in range(400):  # something to lose that no page needs
            connection.execute("INSERT INTO part VALUES (?, 'x', zeroblob(9000))", (10**6 + lost,))
        connection.execute(OPEN)
    zero(path, pages(path, "part", "overflow")[40:42])
    for _ in range(2):  # the mark stays until it is mended
        async with running(tmp_path) as run:
            facts = run.daemon.facts
            assert facts is not None
            await run.until(lambda live: any(a["id"] == "system.store_damaged" for a in live["alarms"]))
            await run.until(lambda live, facts=facts: facts.files()["done"])
            told = facts.files()
            assert told["faults"][0].startswith(f"{READINGS}: ")
            await run.until(lambda live: all(one["age_s"] is not None and one["age_s"] < 5 for one in live["tanks"]))
            assert facts.live()["tanks"][0]["tank"] == tank, "and it goes on measuring"
