"""Pages that the disk has lost, in the record book and the traces: found, named, and the rest is served.

Those of the readings are in tests/history/test_broken_pages.py.
"""

import sqlite3
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from collector.clock import RealClock
from gaugehouse.cli import main
from gaugehouse.daemon import Daemon, Options
from gaugehouse.service import unwrapped
from gaugehouse.stores import RECORDS, TRACES
from history.book import BookReader, RecordBook
from history.chain import Entry
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


@pytest.mark.timeout(90)
async def test_a_record_book_that_cannot_be_gone_on_with_ends_the_start_in_words(tmp_path: Path) -> None:
    async with running(tmp_path) as run:
        site = run.site
    path = site.store_path / RECORDS
    whole = path.read_bytes()
    fill(path, site.id)
    zero(path, leaves(path)[-1:])
    with pytest.raises(StoreDamaged, match=rf"{RECORDS}.*put a good copy in its place"):
        await unwrapped(Daemon(site, RealClock(), Options(build="test")).run())
    for beside in ("-wal", "-shm"):
        Path(f"{path}{beside}").unlink(missing_ok=True)
    path.write_bytes(whole)  # the copy
    async with running(tmp_path) as run:
        await run.until(lambda live: live["seq"] > 2)


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
