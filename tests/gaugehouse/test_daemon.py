"""The whole daemon on the simulated farm over real Modbus TCP: what is decided, kept, restored and replayed."""

import asyncio
import csv
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.acts import act_of
from gaugehouse.deciding import TICKS_TOGETHER
from gaugehouse.errors import CouldNot
from gaugehouse.faultrecords import fault_rows
from gaugehouse.inbox import Arrival
from gaugehouse.records import ALARM, alarm_rows
from gaugehouse.replay import replay
from gaugehouse.rows import reading_cells
from gaugehouse.service import unwrapped
from gaugehouse.stores import look_into_book, look_into_readings
from history.bookwriter import BookWriter
from history.chain import Entry, Head
from models.reading import OK, Sample
from tests.gaugehouse.farms import PATIENCE_S, running

MINUTES = 20
SPEED = 120.0


def unacknowledged(live: dict[str, Any]) -> list[dict[str, Any]]:
    return [alarm for alarm in live["alarms"] if alarm["state"] == "unacknowledged"]


async def test_the_daemon_and_replay_agree_on_the_same_recorded_samples(tmp_path: Path) -> None:
    record = tmp_path / "samples.csv"
    async with running(tmp_path / "farm", speed=SPEED, record=record) as run:
        begun = run.daemon.facts.live()["time"]  # type: ignore[union-attr]
        await run.until(lambda live: len(live["alarms"]) >= 2 and live["time"] != begun)
        await run.until(lambda live: live["seq"] >= 10)
        site = run.site
    replay(site, record, tmp_path / "out")

    with look_into_book(site) as book, look_into_readings(site) as store:
        told = [
            [row["time"], row["source"], row["condition"], str(row["priority"]), row["event"], row["state"]]
            for row in alarm_rows(book)
        ]
        faults = [[row["instrument"], row["start"], row["class"]] for row in fault_rows(book)]
        kept = {tank.id: [reading_cells(r) for r in store.read(tank.id, 0, 2**60)] for tank in site.tanks}
    with (tmp_path / "out" / "alarms.csv").open(newline="") as file:
        assert list(csv.reader(file))[1:] == told
    assert told, "nothing happened: the test shows nothing"
    with (tmp_path / "out" / "faults.csv").open(newline="") as file:
        assert [[r["instrument"], r["start"], r["class"]] for r in csv.DictReader(file)] == faults
    with (tmp_path / "out" / "readings.csv").open(newline="") as file:
        rows = list(csv.reader(file))[1:]
    for tank, cells in kept.items():
        assert [row for row in rows if row[1] == tank] == cells
    assert len(rows) > 100


async def test_an_alarm_stands_within_a_minute_and_is_acknowledged_once_by_name(tmp_path: Path) -> None:
    async with running(tmp_path) as run:
        await run.until(lambda live: bool(unacknowledged(live)), 45)
        alarm = unacknowledged(run.daemon.facts.live())[0]  # type: ignore[union-attr]
        async with run.client() as client:
            address = f"api/alarms/{alarm['id']}/acknowledge"
            body = {"occurrence": alarm["occurrence"], "by": "Ana", "comment": "seen"}
            first = await client.post(address, json=body)
            again = await client.post(address, json=body | {"by": "Ben"})
            older = await client.post(address, json=body | {"occurrence": alarm["occurrence"] - 1})
            never = await client.post(address, json=body | {"occurrence": alarm["occurrence"] + 1000})
            nameless = await client.post(address, json=body | {"by": " "})
            kept = (await client.get("api/alarms/history")).json()
        assert first.status_code == 200
        assert again.status_code == 200
        assert again.json()["acknowledged_by"] == "Ana"
        assert older.status_code in (404, 409)
        assert never.status_code == 404
        assert f"has no occurrence {alarm['occurrence'] + 1000}" in never.json()["detail"]
        assert nameless.status_code in (400, 422)
        acknowledged = [row for row in kept if row["event"] == "acknowledged"]
        assert [(row["id"], row["by"], row["comment"]) for row in acknowledged] == [(alarm["id"], "Ana", "seen")]


async def test_alarms_and_faults_come_back_after_a_restart(tmp_path: Path) -> None:
    async with running(tmp_path, speed=SPEED) as run:
        # The level stays high for two hours of the farm: it is not back to normal before the daemon has stopped.
        await run.until(lambda live: {"finch_loop.signal_low", "north.high"} <= {a["id"] for a in unacknowledged(live)})
        assert run.daemon.facts is not None
        alarm = next(one for one in run.daemon.facts.live()["alarms"] if one["id"] == "north.high")
        await run.daemon.facts.acknowledge(alarm["id"], alarm["occurrence"], "Ana", "")
        site = run.site
    with look_into_book(site) as book:
        last = {f"{e.body['source']}.{e.body['condition']}": e.body["state"] for e in book.entries([ALARM])}
        before = book.head()
    # A new core with nothing but what the book holds.
    from gaugehouse.wiring import core_of

    core = core_of(site)
    with look_into_book(site) as book:
        core.restore(book.state())
        assert book.verify(before).unbroken
    standing = {view.id: view.state.value for view in core.alarms.standing()}
    assert standing == {name: state for name, state in last.items() if state != "normal"}
    assert standing[alarm["id"]] in ("acknowledged", "normal", "returned_unacknowledged")
    view = core.alarms.view(alarm["id"])
    assert view is not None
    assert view.acknowledged_by == "Ana"


async def test_a_second_daemon_is_refused_and_a_taken_port_is_named(tmp_path: Path) -> None:
    from dataclasses import replace

    from collector.clock import RealClock
    from gaugehouse.daemon import Daemon, Options

    async with running(tmp_path) as run:
        second = Daemon(run.site, RealClock(), Options(build="test"))
        with pytest.raises(CouldNot, match="is writing to it"):
            await unwrapped(second.run())
        port = int(run.daemon.url.rstrip("/").rpartition(":")[2])
        third = Daemon(replace(run.site, console_port=port), RealClock(), Options(build="test"))
        with pytest.raises(CouldNot, match=f"port {port}"):
            await unwrapped(third.run())


async def test_a_start_is_journaled_with_what_changed_in_the_site_file(tmp_path: Path) -> None:
    async with running(tmp_path) as run:
        site = run.site
    text = site.path.read_text()
    async with running(tmp_path):
        pass
    with look_into_book(site) as book:
        entries = list(book.entries())
    kinds = [entry.kind for entry in entries]
    assert kinds.count("started") == 2
    changed = [str(e.body["change"]) for e in entries if e.kind == "setting_changed"]
    assert any("port" in line for line in changed), text[:200]  # the second farm got other ports
    assert kinds.count("model_version") == len(site.tanks)


async def test_ticks_that_wait_for_the_disk_are_written_together_and_in_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    commits: list[list[int]] = []
    commit = BookWriter.commit

    async def watched(self: BookWriter, entries: Sequence[Entry], state: Any) -> Head:
        commits.append([entry.seq for entry in entries])
        return await commit(self, entries, state)

    async with running(tmp_path) as run:
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        monkeypatch.setattr(BookWriter, "commit", watched)
        now_ms, elapsed_ms = run.clock.now_ms(), run.clock.elapsed_ms()
        for k in range(100):  # no turn of the loop between them: all of them wait
            level, later_ms = (12_450.0 if k // 2 % 2 else 100.0), 6_000 * k
            sample = Sample("north_gauge", now_ms + later_ms, OK, {"level": level})
            run.daemon._inbox.put(Arrival(now_ms + later_ms, elapsed_ms + later_ms, sample))
        answer = await run.daemon.submit(act_of("acknowledge", {"alarm": "north.critical_high", "by": "Ana"}))
        assert answer.status.value in ("done", "already")
    together = [set(seqs) for seqs in commits if len(set(seqs)) > 1]
    assert together, "every tick had a transaction of its own"
    assert max(len(seqs) for seqs in together) <= TICKS_TOGETHER
    written = [seq for seqs in commits for seq in seqs]
    assert written == sorted(written)
    with look_into_book(run.site) as book:
        assert book.verify().unbroken
        in_book = [e.seq for e in book.entries([ALARM]) if e.body["source"] == "north"]
    assert in_book == sorted(in_book)


async def test_what_is_being_written_when_it_is_told_to_stop_is_kept_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    commit, under_way = BookWriter.commit, asyncio.Event()

    async def late(self: BookWriter, entries: Sequence[Entry], state: Any) -> Head:
        head = await commit(self, entries, state)
        under_way.set()
        await asyncio.sleep(1.0)  # the disk takes its time
        return head

    async with running(tmp_path) as run:
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        monkeypatch.setattr(BookWriter, "commit", late)
        at_ms, elapsed_ms = run.clock.both_ms()
        sample = Sample("north_gauge", at_ms + 60_000, OK, {"level": 12_800.0})
        for later_ms in range(60_000, 120_000, 6_000):
            at = Arrival(at_ms + later_ms, elapsed_ms + later_ms, sample._replace(time_ms=at_ms + later_ms))
            run.daemon._inbox.put(at)
        async with asyncio.timeout(PATIENCE_S):
            await under_way.wait()
    with look_into_readings(run.site) as store:
        assert len(list(store.read("north", at_ms + 60_000, at_ms + 120_000))) == 10
