"""A disk without a byte left: decisions wait, pages and health say so, nothing is lost, and it goes on by itself."""

import asyncio
import csv
import itertools
import logging
import resource
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from itertools import pairwise
from pathlib import Path

import httpx
import pytest

from collector.clock import RealClock
from gaugehouse import daemon as daemon_module
from gaugehouse.daemon import Daemon, Options
from gaugehouse.errors import CouldNot
from gaugehouse.inbox import Arrival
from gaugehouse.recording import Recorder, open_recording, read_samples
from gaugehouse.records import ALARM
from gaugehouse.service import unwrapped
from gaugehouse.stores import look_into_book, look_into_readings
from models.reading import OK, Sample
from tests.gaugehouse.farms import Running, running
from tests.hardening.disks import SmallDisk, small_disk
from tests.hardening.stalls import Stalls


@pytest.fixture
def disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[SmallDisk]:
    with small_disk(tmp_path / "disk", monkeypatch) as one:
        yield one


def push(run: Running, level_mm: float) -> None:
    """A sample of the north tank, as its bus would bring it."""
    now_ms, elapsed_ms = run.clock.both_ms()
    sample = Sample("north_gauge", now_ms, OK, {"level": level_mm})
    run.daemon._inbox.put(Arrival(now_ms, elapsed_ms, sample))


async def told(client: httpx.AsyncClient, path: str, status: int, seconds: float = 30.0) -> dict[str, object]:
    """The answer of an address once it has a status."""
    async with asyncio.timeout(seconds):
        while (answer := await client.get(path)).status_code != status:
            await asyncio.sleep(0.1)
    body: dict[str, object] = answer.json()
    return body


@pytest.mark.timeout(120)
async def test_a_full_disk_makes_decisions_wait_and_loses_none(
    disk: SmallDisk, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, stalled: Stalls
) -> None:
    monkeypatch.setattr(daemon_module, "ANSWER_S", 1.0)
    caplog.set_level(logging.INFO)
    record = disk.path / "samples.csv"
    async with (
        running(disk.path, record=record) as run,
        httpx.AsyncClient(base_url=run.daemon.url, timeout=30) as client,
    ):
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        await told(client, "healthz", 200)
        disk.fill()
        waiting: list[httpx.Response] = []
        async with asyncio.timeout(40):
            while not run.daemon.facts.live()["waits"]:  # type: ignore[union-attr]
                push(run, 12_450.0 if len(waiting) % 2 else 100.0)  # high and low in turn: something to write each time
                waiting.append(await client.post("api/tanks/north/extremes/reset", json={"by": f"Ana {len(waiting)}"}))
                await asyncio.sleep(0.3)
        refused = await client.post("api/tanks/north/extremes/reset", json={"by": "Ben"})
        assert refused.status_code == 503
        assert "the disk is full; make room" in refused.json()["detail"]
        assert refused.json()["detail"].startswith("not done: ")
        ill = await told(client, "healthz", 503)
        assert str(ill["detail"]).startswith("record book: ")
        assert "the disk is full; make room" in str(ill["detail"])
        ready = await told(client, "readyz", 503)
        assert "the disk is full" in str(ready["detail"])
        page = await client.get("")
        assert page.status_code == 200
        assert "NOT WRITTEN" in page.text
        assert "the disk is full; make room" in page.text
        await run.until(lambda live: bool(live["waits"]))
        before = len(run.daemon._inbox)
        await run.until(lambda live: len(run.daemon._inbox) > before)  # polling goes on meanwhile
        site = run.site
        with look_into_book(site) as book:
            kept = book.head()
        disk.empty()
        await told(client, "healthz", 200)
        await run.until(lambda live: not live["waits"])
        done = await client.post("api/tanks/north/extremes/reset", json={"by": "Cleo"})
        assert done.status_code == 200
        await run.until(lambda live: len(run.daemon._inbox) == 0)
    with look_into_book(site) as book, look_into_readings(site) as store:
        assert book.verify(kept).unbroken
        resets = [str(entry.body["by"]) for entry in book.entries() if entry.body.get("by")]
        readings = {tank.id: [one.time_ms for one in store.read(tank.id, 0, 2**60)] for tank in site.tanks}
        alarms = [entry for entry in book.entries([ALARM]) if entry.body["source"] == "north"]
    asked = {f"Ana {k}": answer for k, answer in enumerate(waiting)}
    for name, answer in asked.items():
        written = answer.status_code == 200 or answer.json()["detail"].startswith("not written yet: ")
        assert (name in resets) is written, (name, answer.text)
    assert "Ben" not in resets, "what was refused did not happen afterwards"
    assert "Cleo" in resets
    assert alarms
    for times in readings.values():
        gaps = [later - earlier for earlier, later in itertools.pairwise(times)]
        assert max(gaps) < 5_000 + stalled.ms, "no reading of the time without room is missing"
    again = [line for line in caplog.messages if "records wait" in line or "decisions wait" in line]
    assert len(again) == 2, "said once, not at each try"
    assert any("decisions are written again" in line for line in caplog.messages)
    if disk.real:
        with record.open(newline="") as file:
            rows = list(csv.reader(file))
        assert {len(row) for row in rows} == {len(rows[0])}, "the recording has whole rows only"


@pytest.mark.timeout(60)
async def test_a_start_on_a_full_disk_ends_in_words_and_the_next_one_with_room_works(disk: SmallDisk) -> None:
    async with running(disk.path) as run:
        site = run.site
    with look_into_book(site) as book:
        kept = book.head()
    if not disk.real:
        pytest.skip("only a real disk refuses the first byte; the limit of a file holds from its opening on")
    disk.fill()
    with pytest.raises(CouldNot, match="the disk is full; make room"):
        await unwrapped(Daemon(site, RealClock(), Options(build="test")).run())
    disk.empty()
    async with running(disk.path) as run:
        await run.until(lambda live: live["seq"] > 1)
    with look_into_book(site) as book:
        assert book.verify(kept).unbroken
    for name in ("readings", "records", "traces"):
        with closing(sqlite3.connect(site.store_path / f"{name}.sqlite")) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)


ROUNDS = 40


@pytest.mark.soak
@pytest.mark.timeout(0)
async def test_a_disk_that_fills_again_and_again_loses_nothing(
    disk: SmallDisk, monkeypatch: pytest.MonkeyPatch, stalled: Stalls
) -> None:
    """People's acts are something to write each time; a level that jumps is soon a fault, and that is silent."""
    monkeypatch.setattr(daemon_module, "ANSWER_S", 1.0)
    names: dict[str, httpx.Response] = {}
    async with running(disk.path) as run, httpx.AsyncClient(base_url=run.daemon.url, timeout=30) as client:
        facts = run.daemon.facts
        assert facts is not None
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        site = run.site
        with look_into_book(site) as book:
            heads = [book.head()]
        for _ in range(ROUNDS):
            disk.fill()
            async with asyncio.timeout(60):
                while not facts.live()["waits"]:
                    name = f"Ana {len(names)}"
                    names[name] = await client.post("api/tanks/north/extremes/reset", json={"by": name})
            await told(client, "healthz", 503)
            disk.empty()
            await told(client, "healthz", 200, 60)
            with look_into_book(site) as book:
                heads.append(book.head())
    with look_into_book(site) as book, look_into_readings(site) as store:
        assert all(book.verify(head).unbroken for head in heads)
        written = {str(entry.body["by"]) for entry in book.entries() if entry.body.get("by")}
        for tank in site.tanks:
            times = [one.time_ms for one in store.read(tank.id, 0, 2**60)]
            assert max(later - earlier for earlier, later in pairwise(times)) < 8_000 + stalled.ms
    for name, answer in names.items():
        kept = answer.status_code == 200 or answer.json()["detail"].startswith("not written yet: ")
        assert (name in written) is kept, (name, answer.text)


def test_a_recording_leaves_out_what_the_disk_does_not_take_and_goes_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    names = {"gauge": ("level",)}
    path = tmp_path / "samples.csv"
    out, new = open_recording(path, names)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    with caplog.at_level(logging.WARNING), out:
        recorder = Recorder(out, names, header=new)
        for k in range(30):
            if k == 10:
                resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size + 20, hard))  # half a row fits
            if k == 20:
                resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
            recorder.write([Sample("gauge", 0, OK, {"level": float(k)})], 1_000 * k)
    kept = [sample.values["level"] for _, sample in read_samples(path, names)]
    assert kept == [float(k) for k in (*range(10), *range(20, 30))]
    assert len(caplog.messages) == 2
    assert "what comes meanwhile is missing there" in caplog.messages[0]
    assert "10 ticks are missing" in caplog.messages[1]
