"""Pages that the disk has lost, in the record book and the traces: found, named, and the rest is served.

Those of the readings are in tests/history/test_broken_pages.py.
"""

import asyncio
import sqlite3
from collections.abc import Coroutine
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx
import pytest

from collector.clock import RealClock
from gaugehouse import systemwatch
from gaugehouse.acts import act_of
from gaugehouse.cli import main
from gaugehouse.daemon import Daemon, Options
from gaugehouse.service import unwrapped
from gaugehouse.stores import RECORDS, TRACES
from history.book import BookReader, RecordBook
from history.chain import Entry, Head
from history.errors import StoreDamaged
from history.traces import TraceReader, TraceStore
from models.reading import Sample
from tests.gaugehouse.farms import running
from tests.history.test_broken_pages import pages, zero

COMMENT = "x" * 200
BY_HAND = "note"


def fill(path: Path, site: str, count: int = 400) -> None:
    """Entries enough for many pages, at a time of their own."""
    with closing(RecordBook.open(path, site)) as book:
        book.commit([Entry(BY_HAND, 1_000 * k, 0, {"k": k, "comment": COMMENT}) for k in range(count)], {})


def leaves(path: Path) -> list[int]:
    """The pages that hold entries, in the order of the entries."""
    with closing(sqlite3.connect(path)) as connection:
        query = "SELECT pageno FROM dbstat WHERE name = 'entry' AND pagetype = 'leaf' ORDER BY path"
        return [page for (page,) in connection.execute(query)]


def test_a_lost_page_of_the_record_book_is_named_by_verify_and_the_rest_is_read(tmp_path: Path) -> None:
    path = tmp_path / RECORDS
    fill(path, "FARM")
    some = leaves(path)
    zero(path, some[5:6])
    with closing(BookReader.open(path, "FARM")) as book:
        assert book.head().count == 400
        newest = list(book.entries(newest_first=True, limit=20))
        assert [entry.n for entry in newest] == list(range(400, 380, -1)), "what lies elsewhere is read"
        with pytest.raises(StoreDamaged, match="put a good copy in its place"):
            list(book.entries())
        with pytest.raises(StoreDamaged, match=RECORDS):
            book.verify()
    with closing(RecordBook.open(path, "FARM")) as book:
        head = book.commit([Entry(BY_HAND, 10**9, 0, {"k": 400})], {"a": "b"})
        assert head.count == 401, "the chain goes on"


@pytest.mark.timeout(120)
async def test_the_daemon_runs_on_with_a_lost_page_of_old_entries_and_says_what_it_cannot_show(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    async with running(tmp_path) as run:
        await run.until(lambda live: live["seq"] > 3)
        site = run.site
    path = site.store_path / RECORDS
    fill(path, site.id)
    zero(path, leaves(path)[3:4])
    assert main(["verify", str(site.path)]) in (1, 3)
    told = capsys.readouterr()
    assert "put a good copy in its place" in told.out + told.err
    async with running(tmp_path) as run, httpx.AsyncClient(base_url=run.daemon.url, timeout=20) as client:
        await run.until(lambda live: all(one["age_s"] is not None for one in live["tanks"]))
        assert (await client.get("/api/tanks")).status_code == 200
        assert (await client.get("/")).status_code == 200
        acted = await client.post("/api/tanks/north/extremes/reset", json={"by": "Ana"})
        assert acted.status_code == 200, "it decides and writes on"
        lost = await client.get("/api/records", params={"kind": BY_HAND, "from": "1970-01-01T00:00:00Z"})
        assert lost.status_code in (200, 503), lost.text
        if lost.status_code == 503:
            assert lost.headers["content-type"].startswith("application/problem+json")


@pytest.mark.timeout(150)
async def test_a_record_book_that_lost_its_newest_page_is_set_aside_and_measuring_goes_on(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    caplog: pytest.LogCaptureFixture,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(systemwatch, "EVERY_S", 0.2)
    async with running(tmp_path) as run:
        await run.until(lambda live: live["seq"] > 3)
        site = run.site
    path = site.store_path / RECORDS
    fill(path, site.id)
    with closing(BookReader.open(path, site.id)) as book:
        before = [(entry.n, entry.hash) for entry in book.entries()]
        state = book.state()
    zero(path, leaves(path)[-1:])
    damaged = path.read_bytes()
    async with running(tmp_path) as run, httpx.AsyncClient(base_url=run.daemon.url, timeout=20) as client:
        await run.until(lambda live: all(one["age_s"] is not None for one in live["tanks"]))
        await run.until(lambda live: any(one["id"] == "system.store_damaged" for one in live["alarms"]))
        told = (await client.get("/api/history/files")).json()["faults"]
        assert any("a damaged one is in damaged-" in text for text in told)
        acted = await client.post("/api/tanks/north/extremes/reset", json={"by": "Ana"})
        assert acted.status_code == 200, "it decides and writes on"
        wanted = {"kind": "book_set_aside", "from": "1970-01-01T00:00:00Z"}
        (entry,) = (await client.get("/api/records", params=wanted)).json()
    assert "was damaged and is in" in caplog.text
    kept = int(entry["body"]["kept"].partition(":")[0])
    assert 0 < entry["body"]["lost"] == len(before) - kept < 60
    folder = site.store_path / entry["body"]["folder"]
    assert (folder / RECORDS).read_bytes() == damaged, "nothing is thrown away"
    with closing(BookReader.open(path, site.id)) as book:
        assert book.verify().unbroken
        assert [(entry.n, entry.hash) for entry in book.entries()][:kept] == before[:kept]
        assert book.state().keys() >= state.keys() - {"mqtt/cursor"}
    assert main(["verify", str(site.path)]) == 1, "it is not well as long as the folder waits"
    said = capsys.readouterr().out
    assert f"{entry['body']['lost']} entries after {entry['body']['kept']} are only there" in said
    folder.rename(tmp_path / "kept elsewhere")
    assert main(["verify", str(site.path)]) == 0
    assert "only there" in capsys.readouterr().out, "it stays told"
    async with running(tmp_path) as run:
        facts = run.daemon.facts
        assert facts is not None
        await run.until(lambda live: live["seq"] > 2)
        assert facts.files()["faults"] == []


@pytest.mark.timeout(150)
async def test_where_even_the_users_are_lost_nobody_changes_anything_until_there_is_an_administrator(
    tmp_path: Path,
) -> None:
    password = tmp_path / "password"
    password.write_text("a long enough password\n")
    more = ["--role", "administrator", "--password-file", str(password), "--by", "root"]
    async with running(tmp_path / "farm") as run:
        await run.until(lambda live: live["seq"] > 2)
        site = run.site
    assert main(["user", str(site.path), "add", "Ana", *more]) == 0
    zero(site.store_path / RECORDS, pages(site.store_path / RECORDS, "state", "leaf")[:1])
    async with running(tmp_path / "farm") as run, httpx.AsyncClient(base_url=run.daemon.url, timeout=20) as client:
        await run.until(lambda live: all(one["age_s"] is not None for one in live["tanks"]))
        assert (await client.get("/api/tanks")).status_code == 200, "who stands at the machine may look"
        reset = "/api/tanks/north/extremes/reset"
        assert (await client.post(reset, json={"by": "Mallory"})).status_code == 401
        assert await asyncio.to_thread(main, ["user", str(site.path), "add", "Ben", *more]) == 0
        answer = await client.post("/sign-in", data={"name": "Ben", "password": "a long enough password"})
        assert answer.status_code == 303
        assert (await client.post(reset, json={})).status_code == 200


@pytest.mark.timeout(150)
async def test_a_page_lost_while_it_is_written_to_is_mended_by_the_next_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with running(tmp_path) as run:
        await run.until(lambda live: live["seq"] > 2)
        site = run.site
    path = site.store_path / RECORDS
    with monkeypatch.context() as patch:
        plain, calls = RecordBook.commit, 0

        def commit(book: RecordBook, entries: Any, state: Any) -> Head:
            nonlocal calls
            calls += 1
            if calls > 1:  # not the start's own
                raise StoreDamaged(f"record book {path}: its structure is broken; put a good copy in its place")
            return plain(book, entries, state)

        patch.setattr(RecordBook, "commit", commit)
        daemon = Daemon(site, RealClock(), Options(build="test"))

        async def act() -> None:
            await daemon.ready.wait()
            await daemon.submit(act_of("reset_extremes", {"tank": "north", "by": "Ana"}))

        with pytest.raises(StoreDamaged, match="its structure is broken"):
            await unwrapped(_both(daemon, act()))
    async with running(tmp_path) as run:
        await run.until(lambda live: live["seq"] > 2)
    with closing(BookReader.open(path, site.id)) as book:
        assert book.verify().unbroken
        assert [entry.body["lost"] for entry in book.entries(["book_set_aside"])] == [0]


async def _both(daemon: Daemon, beside: Coroutine[Any, Any, None]) -> None:
    async with asyncio.TaskGroup() as group:
        group.create_task(daemon.run())
        group.create_task(beside)


def test_a_lost_page_of_the_traces_costs_those_traces_only(tmp_path: Path) -> None:
    path = tmp_path / TRACES
    with closing(TraceStore.open(path, "FARM")) as store:
        for number in range(1, 41):
            rows = [(number, Sample("li-1", 1000 * k, "ok", {"current": 4.0 + k / 100}, {}), {}) for k in range(60)]
            store.keep([("li-1", number)], rows)
    zero(path, pages(path, "sample", "leaf")[4:6])
    lost = []
    with closing(TraceReader.open(path, "FARM")) as reader:
        for number in range(1, 41):
            try:
                assert len(reader.trace("li-1", number)) == 60
            except StoreDamaged as error:
                assert TRACES in str(error)  # noqa: PT017 each of several
                lost.append(number)
        assert 0 < len(lost) < 10
        assert reader.file.structure()
    with closing(TraceStore.open(path, "FARM")) as store:
        store.keep([("li-1", 50)], [(50, Sample("li-1", 0, "ok", {"current": 5.0}, {}), {})])
        assert len(store.trace("li-1", 50)) == 1, "new ones are kept"
