"""A record book with lost pages: a new one goes on with what holds, and the damaged file stays whole beside it."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from history.book import BookReader, RecordBook
from history.chain import Entry, Head
from history.errors import StoreUnavailable
from history.salvage import KIND, can_go_on, finish, mark, salvage, set_aside, unfinished
from tests.history.test_broken_pages import zero

SITE = "FARM"
COUNT = 400
STATE = {f"room/{k}": "x" * 90 for k in range(60)}
CLOSED = {"people/closed": "true"}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A book of 400 entries of two kinds, closed in order."""
    path = tmp_path / "records.sqlite"
    with closing(RecordBook.open(path, SITE)) as book:
        for k in range(COUNT):
            kind = ("alarm", "note")[k % 2]
            book.commit([Entry(kind, 1000 * k, k, {"k": k, "text": "y" * 150})], STATE if k == 0 else {})
    return path


def pages_of(path: Path, name: str) -> list[int]:
    with closing(sqlite3.connect(path)) as connection:
        query = "SELECT pageno FROM dbstat WHERE name = ? AND pagetype = 'leaf' ORDER BY path"
        return [page for (page,) in connection.execute(query, (name,))]


def told(path: Path) -> list[tuple[int, str, str]]:
    with closing(BookReader.open(path, SITE)) as book:
        return [(entry.n, entry.kind, entry.hash) for entry in book.entries()]


def test_a_whole_book_is_rehearsed_and_left_as_it_was(path: Path) -> None:
    before = told(path)
    assert can_go_on(path, SITE)
    assert told(path) == before
    with closing(RecordBook.open(path, SITE)) as book:
        assert book.verify().unbroken
        assert book.state() == STATE
    mark(path)
    assert not can_go_on(path, SITE), "it was found damaged while it was written to"


LOST = {
    "the newest entries": ("entry", -1, True),
    "the newest of the index by time": ("entry_time", -1, True),
    "the newest of one kind": ("entry_kind", -1, True),
    "the state": ("state", 1, False),
    "the head": ("meta", 0, True),
}


@pytest.mark.parametrize(("table", "place", "state"), LOST.values(), ids=LOST)
def test_what_holds_goes_on_and_all_is_kept(path: Path, table: str, place: int, state: bool) -> None:
    before, lost = told(path), pages_of(path, table)[place]
    zero(path, [lost])
    bytes_before = path.read_bytes()
    assert not can_go_on(path, SITE)
    found = salvage(path, SITE, "T1", 5_000_000, CLOSED)
    assert (found.folder / path.name).read_bytes() == bytes_before, "the damaged file is whole"
    assert set_aside(path) == ["damaged-T1"]
    if table == "entry":
        assert 300 < found.kept.count < COUNT
    else:
        assert found.kept.count == COUNT
    assert found.head == (None if table == "meta" else Head(COUNT, before[-1][2]))
    assert found.lost == (None if table == "meta" else COUNT - found.kept.count)
    after = told(path)
    assert after[:-1] == before[: found.kept.count], "number, kind and hash as they were"
    with closing(RecordBook.open(path, SITE)) as book:
        assert book.verify(found.kept).unbroken
        newest = book.entry(found.kept.count + 1)
        assert newest is not None
        assert (newest.kind, newest.time_ms, dict(newest.body)) == (KIND, 5_000_000, found.body())
        assert found.state == state
        assert book.state() == (STATE if state else CLOSED)
        assert book.last_seq() == found.kept.count - 1
        head = book.commit([Entry("note", 6_000_000, 900, {})], {"room/1": None})
        assert head.count == found.kept.count + 2, "and it is written on"
    assert can_go_on(path, SITE)


def test_a_file_that_is_no_book_any_more_begins_anew_beside_it(path: Path) -> None:
    zero(path, list(range(1, os.path.getsize(path) // 4096 + 1))[:3])
    assert not can_go_on(path, SITE)
    found = salvage(path, SITE, "T1", 1, CLOSED)
    assert (found.kept.count, found.head, found.lost, found.state) == (0, None, None, False)
    with closing(RecordBook.open(path, SITE)) as book:
        assert book.verify().unbroken
        assert [entry.kind for entry in book.entries()] == [KIND]
    with path.open("r+b") as file:
        file.write(b"no database at all")
    again = salvage(path, SITE, "T1", 2, CLOSED)
    assert again.folder.name == "damaged-T1-2", "an earlier one is never written over"
    assert set_aside(path) == ["damaged-T1", "damaged-T1-2"]


class Killed(BaseException):
    """The process ends here."""


def steps(patch: pytest.MonkeyPatch, after: int) -> Iterator[int]:
    """Let the process end at its n-th change of a folder."""
    plain, done = os.replace, 0

    def replace(*args: object) -> None:
        nonlocal done
        if done == after:
            raise Killed
        done += 1
        plain(*args)  # type: ignore[arg-type]

    patch.setattr(os, "replace", replace)
    yield 0
    patch.undo()


@pytest.mark.parametrize("after", range(6))
def test_a_kill_at_any_step_loses_neither_book(path: Path, monkeypatch: pytest.MonkeyPatch, after: int) -> None:
    before = told(path)
    zero(path, [pages_of(path, "entry")[-1]])
    with closing(sqlite3.connect(path)) as connection:  # as a kill leaves it: with its log beside it
        connection.execute("PRAGMA journal_mode = WAL")
    damaged = path.read_bytes()
    killed = False
    for _ in steps(monkeypatch, after):
        try:
            salvage(path, SITE, "T1", 1, CLOSED)
        except Killed:
            killed = True
    assert killed or after >= 3, "the new book named, the old one (and its log) moved, the new one in its place"
    finish(path)
    if not can_go_on(path, SITE):
        salvage(path, SITE, "T2", 2, CLOSED)
    assert unfinished(path) == []
    (folder,) = set_aside(path)
    assert (path.parent / folder / path.name).read_bytes() == damaged
    after_all = told(path)
    assert after_all[:-1] == before[: len(after_all) - 1]
    assert len(after_all) > 300


def test_without_room_the_damaged_file_stays_where_it_is(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    zero(path, [pages_of(path, "entry")[-1]])
    damaged = path.read_bytes()

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "mkdir", full)
    with pytest.raises(StoreUnavailable, match=r"records.sqlite: cannot be set aside: No space left"):
        salvage(path, SITE, "T1", 1, CLOSED)
    assert path.read_bytes() == damaged
