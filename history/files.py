"""A SQLite file of this project: whose it is, who may write to it, and what its errors mean.

Knows the file's marks (use, format number, site), its one writing connection and a reading connection per thread;
refuses to know what the tables hold. Write-ahead logging: readers, in this and in other processes, never wait for the
writer.
"""

import contextlib
import logging
import sqlite3
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType
from typing import Final, NamedTuple

from history.errors import StoreDamaged, StoreError, StoreUnavailable, WrongStore
from history.lock import WriterLock

log = logging.getLogger(__name__)

WAIT_S: Final = 5.0
"""How long SQLite itself waits for a lock before the file counts as locked."""

_UNAVAILABLE: Final = {
    sqlite3.SQLITE_FULL: "the disk is full; make room",
    sqlite3.SQLITE_BUSY: "another process holds it locked",
    sqlite3.SQLITE_LOCKED: "another connection holds it locked",
    sqlite3.SQLITE_IOERR: "the disk refused to read or write; look at its space, quota and health",
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened; look at the path and at the rights to its folder",
    sqlite3.SQLITE_READONLY: "it is write-protected; look at the rights to file and folder",
    sqlite3.SQLITE_PERM: "access is denied; look at the rights to file and folder",
    sqlite3.SQLITE_NOMEM: "there is not enough memory",
}
_OPEN: Final = "open"
"""The key of the mark in `meta`."""
_DAMAGED: Final = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}


class Layout(NamedTuple):
    """A kind of file. `application_id` and `format` stand in SQLite's own header, the site in the table `meta`.

    upgrades: the statements that turn a file of each earlier format into one of the next.
    """

    what: str
    application_id: int
    format: int
    schema: tuple[str, ...]
    synchronous: str
    upgrades: Mapping[int, tuple[str, ...]] = MappingProxyType({})


class SqliteFile:
    """An open file. With `writer`, made when absent and locked against other writers; else opened for reading only.

    A writer leaves a mark that it takes away when it closes. unclean: the mark of an earlier one was still there.
    keep_mark: leave it, so that the next start is told again; true after an unclean one until somebody has looked.
    Raises `WrongStore`, `StoreBusy`, `StoreUnavailable` or `StoreDamaged`.
    """

    def __init__(self, path: Path, layout: Layout, site: str, *, writer: bool) -> None:
        self.path = path
        self.layout = layout
        self._site = site
        self._local = threading.local()
        self._readers: list[sqlite3.Connection] = []
        self._guard = threading.Lock()
        self._writing = threading.Lock()
        self._closed = False
        self.unclean = False
        self.keep_mark = False
        self._marked = False
        self._writer: sqlite3.Connection | None = None
        self._lock = WriterLock(path, layout.what) if writer else None
        try:
            if writer:
                self._open_writer()
                self._mark()
            else:
                self._check(self._open_reader())
        except BaseException:
            self.close()
            raise

    @contextmanager
    def translated(self) -> Iterator[None]:
        """Turn SQLite's errors into ours, with the path and the mend. What a bug of ours raises passes through."""
        try:
            yield
        except sqlite3.Error as exc:
            where = f"{self.layout.what} {self.path}"
            if self._closed:
                raise StoreError(f"{where} was closed before this call") from exc
            primary = getattr(exc, "sqlite_errorcode", 0) & 0xFF
            if primary in _UNAVAILABLE:
                raise StoreUnavailable(f"{where}: {_UNAVAILABLE[primary]} ({exc})") from exc
            if primary in _DAMAGED or type(exc) in (sqlite3.OperationalError, sqlite3.DatabaseError):
                # Our SQL never changes: a table that is missing or text that is no UTF-8 is the file's fault.
                raise StoreDamaged(f"{where}: its structure is broken ({exc}); put a good copy in its place") from exc
            raise

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction, durable as the layout asks when the block ends; nothing of it is kept after any error."""
        with self._writing, self.translated():
            connection = self._writer
            if connection is None:
                raise StoreError(f"{self.layout.what} {self.path} is closed, or open for reading only")
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:  # some errors of SQLite have rolled back already
                    connection.execute("ROLLBACK")
                raise

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """One unchanging view of the file, on this thread's own connection."""
        with self.translated():
            connection: sqlite3.Connection | None = getattr(self._local, "connection", None)
            if connection is None or self._closed:
                connection = self._open_reader()
            connection.execute("BEGIN")
            try:
                yield connection
            finally:
                connection.execute("ROLLBACK")

    def close(self) -> None:
        """End all connections and the lock. Threads that still read get an error: end them first."""
        self._closed = True
        with self._guard:
            for connection in self._readers:
                connection.close()
            self._readers.clear()
        with self._writing:
            if self._writer is not None:
                with contextlib.suppress(sqlite3.Error):  # then the next start looks at the file
                    if self._marked and not self.keep_mark:
                        self._writer.execute("DELETE FROM meta WHERE key = ?", (_OPEN,))
                self._writer.close()
                self._writer = None
        if self._lock is not None:
            self._lock.release()

    def _open_reader(self) -> sqlite3.Connection:
        with self._guard, self.translated():
            if self._closed:
                raise StoreError(f"{self.layout.what} {self.path} was closed before this call")
            if not self.path.exists():
                raise StoreUnavailable(f"{self.layout.what} {self.path} is not there; the daemon makes it at its start")
            connection = _connect(f"{self.path.absolute().as_uri()}?mode=ro")
            self._readers.append(connection)
            connection.execute("PRAGMA query_only = ON")
            self._local.connection = connection
            return connection

    def _open_writer(self) -> None:
        with self.translated():
            connection = self._writer = _connect(f"{self.path.absolute().as_uri()}?mode=rwc")
            fresh = _is_empty(connection)
            if not fresh:
                self._check(connection, upgrade=True)
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute(f"PRAGMA synchronous = {self.layout.synchronous}")
            connection.execute("PRAGMA journal_size_limit = 67108864")
            if fresh:
                self._create(connection)
            else:
                self._upgrade(connection)

    def _mark(self) -> None:
        """Durable at once, whatever the layout asks of the rest."""
        with self.translated():
            connection = self._writer
            assert connection is not None
            connection.execute("PRAGMA synchronous = FULL")
            self.unclean = connection.execute("INSERT OR IGNORE INTO meta VALUES (?, '1')", (_OPEN,)).rowcount == 0
            connection.execute(f"PRAGMA synchronous = {self.layout.synchronous}")
            self._marked, self.keep_mark = True, self.unclean

    def structure(self, stopping: Callable[[], bool] = lambda: False) -> list[str] | None:
        """What SQLite finds wrong with the file's pages and indexes; None when it was told to stop."""
        with self.translated():
            connection = _connect(f"{self.path.absolute().as_uri()}?mode=ro")
            try:
                connection.set_progress_handler(stopping, 10_000)
                return list(structure_of(connection))
            except sqlite3.OperationalError as exc:
                if exc.sqlite_errorcode == sqlite3.SQLITE_INTERRUPT:
                    return None
                raise
            finally:
                connection.close()

    def _upgrade(self, connection: sqlite3.Connection) -> None:
        """From an earlier format to ours, one at a time, each whole or not at all."""
        while (found := _pragma(connection, "user_version")) < self.layout.format:
            connection.execute("BEGIN IMMEDIATE")
            for statement in self.layout.upgrades[found]:
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {found + 1}")
            connection.execute("COMMIT")
            log.info("%s %s: brought from format %d to %d", self.layout.what, self.path, found, found + 1)

    def _create(self, connection: sqlite3.Connection) -> None:
        """All of an empty file at once: a crash leaves either nothing or a whole one."""
        connection.execute("BEGIN IMMEDIATE")
        connection.execute(f"PRAGMA application_id = {self.layout.application_id}")
        connection.execute(f"PRAGMA user_version = {self.layout.format}")
        connection.execute("CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID")
        connection.execute("INSERT INTO meta VALUES ('site', ?)", (self._site,))
        for statement in self.layout.schema:
            connection.execute(statement)
        connection.execute("COMMIT")

    def _check(self, connection: sqlite3.Connection, *, upgrade: bool = False) -> None:
        """Refuse a file that is not this site's, before anything in it is touched."""
        where, layout = f"{self.layout.what} {self.path}", self.layout
        with self.translated():
            if _is_empty(connection):
                raise StoreUnavailable(f"{where} is still empty; the daemon fills it at its start")
            if _pragma(connection, "application_id") != layout.application_id:
                raise WrongStore(f"{where}: this file is no {layout.what}; give another path or move it away")
            found = _pragma(connection, "user_version")
            if found > layout.format:
                raise WrongStore(
                    f"{where}: it has format {found} and this program knows up to {layout.format}; "
                    f"use the newer program that wrote it"
                )
            if found < layout.format and found not in layout.upgrades:
                raise WrongStore(
                    f"{where}: it has format {found}, which this program (format {layout.format}) does not read; "
                    f"move it away or use the program that wrote it"
                )
            if found < layout.format and not upgrade:
                raise WrongStore(
                    f"{where}: it has format {found}; the daemon of this version brings it to format {layout.format} "
                    "at its start: start it once"
                )
            row = connection.execute("SELECT value FROM meta WHERE key = 'site'").fetchone()
            if row is None or row[0] != self._site:
                owner = "no site" if row is None else f"site {row[0]!r}"
                raise WrongStore(f"{where}: it belongs to {owner}, not to {self._site!r}; give each site its own path")


def structure_of(connection: sqlite3.Connection) -> Iterator[str]:
    """What SQLite finds wrong with a file; nothing for a sound one. A page may be so broken that it gives up there."""
    try:
        for (told,) in connection.execute("PRAGMA integrity_check(20)"):
            if told != "ok":
                yield told
    except sqlite3.DatabaseError as exc:
        if (getattr(exc, "sqlite_errorcode", 0) & 0xFF) not in _DAMAGED:
            raise
        yield str(exc)


def _connect(uri: str) -> sqlite3.Connection:
    return sqlite3.connect(uri, uri=True, timeout=WAIT_S, isolation_level=None, check_same_thread=False)


def _is_empty(connection: sqlite3.Connection) -> bool:
    """True for a file that no program has marked or filled yet."""
    return (
        _pragma(connection, "application_id") == 0 and not connection.execute("SELECT 1 FROM sqlite_master").fetchone()
    )


def _pragma(connection: sqlite3.Connection, name: str) -> int:
    return int(connection.execute(f"PRAGMA {name}").fetchone()[0])
