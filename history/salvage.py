"""A record book that cannot be written on any more: what of it holds goes into a new file, all of it is kept beside.

Knows pages that the disk has lost, and how to change files so that a crash at any moment loses neither. Refuses to
judge what an entry means. Nothing is ever deleted: the damaged file moves into a folder of its own, whole. Of the
entries the new book has those before the first one that is lost or does not hold, with their own hashes, so that its
chain is the old one; then one that tells what happened. See docs/decisions/0005-a-damaged-record-book.md.
"""

import contextlib
import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from pathlib import Path
from typing import Any, Final, NamedTuple

from history.book import CHUNK, LAYOUT, RecordBook
from history.chain import Entry, Head, Row, genesis, inspect
from history.errors import BadQuestion, StoreDamaged, StoreError, StoreUnavailable
from history.files import SqliteFile

DAMAGED: Final = "damaged-"
"""How the folders begin into which a damaged book was moved."""
KIND: Final = "book_set_aside"
_NEW: Final = "new.sqlite"
_BESIDE: Final = ("", "-wal", "-shm")
_ROWS: Final = (
    "SELECT n, time_ms, seq, iif(typeof(kind) = 'text', CAST(kind AS BLOB), NULL), "
    "iif(typeof(body) = 'text', CAST(body AS BLOB), NULL), previous, hash FROM entry WHERE n BETWEEN ? AND ? ORDER BY n"
)
_WITHOUT_END: Final = Head(2**62, "0" * 64)


class Salvaged(NamedTuple):
    """folder: where the damaged file is. kept: the head of what holds. head: the old book's own, None where it cannot
    be read. state: whether all of the state could be read; where not, the new book has none."""

    folder: Path
    kept: Head
    head: Head | None
    state: bool

    @property
    def lost(self) -> int | None:
        """Entries that are in the damaged file only, None where nobody knows how many there were."""
        return None if self.head is None else self.head.count - self.kept.count

    def body(self) -> dict[str, Any]:
        """The record book's entry."""
        return {
            "folder": self.folder.name,
            "kept": str(self.kept),
            "head": None if self.head is None else str(self.head),
            "lost": self.lost,
            "state": self.state,
        }


def mark(path: Path) -> None:
    """A book turned out to be damaged while it was written to: the next `can_go_on` says no, whatever it finds."""
    with contextlib.suppress(OSError):
        _mark_of(path).touch()


def _mark_of(path: Path) -> Path:
    return path.with_name(path.name + ".damaged")


def can_go_on(path: Path, site: str) -> bool:
    """Whether the next entry could be written and all state be read. Raises what opening a book raises, but never
    `StoreDamaged`."""
    if _mark_of(path).exists():
        return False
    try:
        with closing(RecordBook.open(path, site)) as book:
            book.state()
            book.rehearse()
    except StoreDamaged:
        return False
    return True


def salvage(path: Path, site: str, stamp: str, now_ms: int, without_state: Mapping[str, str]) -> Salvaged:
    """Put a new book in the place of one that cannot be gone on with; the caller holds the writer's lock.

    stamp: names the folder. without_state: the state that the new book begins with where the old one's is lost. Raises
    `StoreUnavailable` where that cannot be written: the damaged file is then where it was.
    """
    folder = _folder(path.parent, stamp)
    try:
        folder.mkdir()
        found, state = _take_stock(path, site, folder)
        _make(folder / f"{_NEW}.part", path, site, found, without_state if state is None else state, now_ms)
        _settle(folder / f"{_NEW}.part")
        os.replace(folder / f"{_NEW}.part", folder / _NEW)
        _settle(folder)
    except OSError as error:
        raise StoreUnavailable(f"{LAYOUT.what} {path}: cannot be set aside: {error.strerror or error}") from error
    finish(path)
    return found


def unfinished(path: Path) -> list[Path]:
    """New books that wait to take the damaged one's place."""
    return sorted(path.parent.glob(f"{DAMAGED}*/{_NEW}"))


def finish(path: Path) -> None:
    """Go on with a change that a crash cut off: each step is done once, in whichever life. The caller holds the lock.

    Raises `StoreUnavailable` where a file cannot be moved.
    """
    try:
        _finish(path)
    except OSError as error:
        raise StoreUnavailable(f"{LAYOUT.what} {path}: cannot be set aside: {error.strerror or error}") from error


def _finish(path: Path) -> None:
    for new in unfinished(path):
        for end in reversed(_BESIDE):
            old = path.with_name(path.name + end)
            if old.exists():
                os.replace(old, new.parent / old.name)
        _settle(new.parent)
        _mark_of(path).unlink(missing_ok=True)
        os.replace(new, path)
        _settle(path.parent)


def set_aside(path: Path) -> list[str]:
    """The folders beside a book into which damaged ones were moved, by name."""
    return sorted(old.parent.name for old in path.parent.glob(f"{DAMAGED}*/{path.name}"))


def _folder(store: Path, stamp: str) -> Path:
    """One that is not there yet: what was moved aside earlier is never written over."""
    folder, again = store / f"{DAMAGED}{stamp}", 1
    while folder.exists():
        again += 1
        folder = store / f"{DAMAGED}{stamp}-{again}"
    return folder


def _take_stock(path: Path, site: str, folder: Path) -> tuple[Salvaged, dict[str, str] | None]:
    """How far the chain holds, and the state where all of it can be read."""
    with _reading(path) as connection:
        kept = inspect(_rows(connection, 1, _WITHOUT_END.count), site, _WITHOUT_END).head
        head = _head(connection)
        state: dict[str, str] | None = None
        with contextlib.suppress(sqlite3.Error):
            state = dict(connection.execute("SELECT key, value FROM state ORDER BY key").fetchall())
    if kept.count == 0:
        kept = Head(0, genesis(site).hex())
    return Salvaged(folder, kept, head, state is not None), state


@contextlib.contextmanager
def _reading(path: Path) -> Iterator[sqlite3.Connection]:
    """The damaged file as far as SQLite opens it; an empty one where it does not."""
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, isolation_level=None)) as connection:
        yield connection


def _rows(connection: sqlite3.Connection, first: int, last: int) -> Iterator[Row]:
    """Entries in their order, up to the first page that is lost."""
    start = first
    while start <= last:
        end = min(last, start + CHUNK - 1)
        try:
            found = connection.execute(_ROWS, (start, end)).fetchall()
        except sqlite3.Error:
            yield from _one_by_one(connection, start, end)
            return
        if not found:
            return
        yield from map(Row._make, found)
        start = end + 1


def _one_by_one(connection: sqlite3.Connection, first: int, last: int) -> Iterator[Row]:
    for n in range(first, last + 1):
        try:
            found = connection.execute(_ROWS, (n, n)).fetchone()
        except sqlite3.Error:
            return
        if found is None:
            return
        yield Row._make(found)


def _head(connection: sqlite3.Connection) -> Head | None:
    with contextlib.suppress(sqlite3.Error, BadQuestion, TypeError):
        return Head.parse(connection.execute("SELECT value FROM meta WHERE key = 'head'").fetchone()[0])
    return None


def _make(new: Path, path: Path, site: str, found: Salvaged, state: Mapping[str, str], now_ms: int) -> None:
    """The new book, whole and on the disk when this returns."""
    for end in _BESIDE:
        new.with_name(new.name + end).unlink(missing_ok=True)
    last_seq = 0
    with closing(SqliteFile(new, LAYOUT, site, writer=True)) as file, _reading(path) as old:
        with file.writing() as connection:
            for row in _rows(old, 1, found.kept.count):
                connection.execute("INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?)", _as_kept(row))
                last_seq = max(last_seq, row.seq)
            if found.kept.count:
                meta: Iterable[tuple[str, str]] = (("head", str(found.kept)), ("seq", str(last_seq)))
                connection.executemany("INSERT INTO meta VALUES (?, ?)", meta)
    with closing(RecordBook.open(new, site)) as book:
        book.commit([Entry(KIND, now_ms, last_seq, found.body())], state)
        verdict = book.verify()
        if not verdict.unbroken or verdict.sound != found.kept.count + 1:
            raise StoreError(
                f"{LAYOUT.what} {path}: what holds of it could not be copied ({verdict}); nothing was changed"
            )
    new.with_name(new.name + ".lock").unlink(missing_ok=True)


def _as_kept(row: Row) -> tuple[Any, ...]:
    return row.n, row.time_ms, row.seq, row.kind.decode(), row.body.decode(), row.previous, row.hash


def _settle(what: Path) -> None:
    """A file, or a folder's own entry, is on the disk when this returns."""
    descriptor = os.open(what, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
