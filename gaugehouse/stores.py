"""A site's files: readings, the record book and the fault traces, opened together for the daemon or to look into."""

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeVar

from gaugehouse.deriving import SiteModels
from gaugehouse.errors import CouldNot
from gaugehouse.requalifying import requalified_of
from gaugehouse.site import Site
from history.book import BookReader, RecordBook
from history.errors import StoreError
from history.lock import WriterLock
from history.salvage import finish, unfinished
from history.sqlite import SqliteStore
from history.traces import TraceReader, TraceStore

C = TypeVar("C", BookReader, SqliteStore, TraceReader)

READINGS: Final = "readings.sqlite"
RECORDS: Final = "records.sqlite"
TRACES: Final = "traces.sqlite"


@dataclass(frozen=True, slots=True)
class Stores:
    """The daemon's files, all open for writing."""

    readings: SqliteStore
    book: RecordBook
    traces: TraceStore


@contextlib.contextmanager
def open_stores(site: Site) -> Iterator[Stores]:
    """The files for the one writer. Raises `CouldNot` when another daemon has them or they cannot be made."""
    with contextlib.ExitStack() as stack:
        try:
            site.store_path.mkdir(parents=True, exist_ok=True)
            _finish(site.store_path / RECORDS)
            book = stack.enter_context(contextlib.closing(RecordBook.open(site.store_path / RECORDS, site.id)))
            readings = stack.enter_context(contextlib.closing(_readings(site)))
            readings.requalify(requalified_of(book.state()))
            traces = stack.enter_context(contextlib.closing(TraceStore.open(site.store_path / TRACES, site.id)))
        except StoreError as error:
            raise CouldNot(str(error)) from error
        except OSError as error:
            raise CouldNot(f"[store] path {site.store_path}: cannot be made: {error.strerror}") from error
        yield Stores(readings, book, traces)


def _finish(path: Path) -> None:
    """A damaged record book whose setting aside was cut off is set aside before anything is made in its place."""
    if unfinished(path):
        lock = WriterLock(path, "record book")
        try:
            finish(path)
        finally:
            lock.release()


def _readings(site: Site) -> SqliteStore:
    return SqliteStore.open(site.store_path / READINGS, site.id, models=SiteModels(site))


@contextlib.contextmanager
def look_into_book(site: Site) -> Iterator[BookReader]:
    """The record book beside a running daemon. Raises `CouldNot` where there is none yet."""
    with _looked_into(site, RECORDS, lambda path: BookReader.open(path, site.id)) as book:
        yield book


@contextlib.contextmanager
def look_into_readings(site: Site) -> Iterator[SqliteStore]:
    """The readings beside a running daemon. Raises `CouldNot` where there are none yet."""

    def opened(path: Path) -> SqliteStore:
        return SqliteStore.open(path, site.id, read_only=True, models=SiteModels(site))

    with _looked_into(site, READINGS, opened) as store:
        if (site.store_path / RECORDS).exists():
            with look_into_book(site) as book:
                store.requalify(requalified_of(book.state()))
        yield store


@contextlib.contextmanager
def look_into_traces(site: Site) -> Iterator[TraceReader]:
    """The fault traces beside a running daemon. Raises `CouldNot` where there are none yet."""
    with _looked_into(site, TRACES, lambda path: TraceReader.open(path, site.id)) as traces:
        yield traces


def _looked_into(site: Site, name: str, opened: Callable[[Path], C]) -> "contextlib.closing[C]":
    """A file that is there already, to be closed again."""
    path = site.store_path / name
    if not path.exists():
        raise CouldNot(f"{path}: there is no such file yet; run `gaugehouse run {site.path}` first")
    try:
        return contextlib.closing(opened(path))
    except StoreError as error:
        raise CouldNot(str(error)) from error
