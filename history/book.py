"""The record book: append-only, hash-chained entries and the restorable state that belongs to them.

Knows the one durable transaction that keeps both together; refuses to know what an entry means. One process writes
(`RecordBook`), any number read beside it (`BookReader`). How an entry is hashed is told in `history.chain`.
"""

import contextlib
import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, Self

from history.chain import Entry, Head, Recorded, Row, Verdict, canonical, digest, genesis, inspect
from history.errors import BadQuestion, StoreDamaged
from history.files import Layout, SqliteFile

FORMAT: Final = 1
CHUNK: Final = 500

_FIXED: Final = "SELECT RAISE(ABORT, 'entries of the record book are never changed')"
_SCHEMA: Final = (
    "CREATE TABLE entry (n INTEGER PRIMARY KEY, time_ms INTEGER NOT NULL, seq INTEGER NOT NULL, kind TEXT NOT NULL, "
    "body TEXT NOT NULL, previous BLOB NOT NULL, hash BLOB NOT NULL)",
    "CREATE INDEX entry_time ON entry (time_ms)",
    "CREATE INDEX entry_kind ON entry (kind, time_ms)",
    f"CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN {_FIXED}; END",
    f"CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry BEGIN {_FIXED}; END",
    # INSERT OR REPLACE would pass by the trigger on DELETE.
    "CREATE TRIGGER entry_no_replace BEFORE INSERT ON entry WHEN EXISTS (SELECT 1 FROM entry WHERE n >= NEW.n) "  # noqa: S608
    f"BEGIN {_FIXED}; END",
    "CREATE TABLE state (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID",
)
LAYOUT: Final = Layout("record book", 0x6768426B, FORMAT, _SCHEMA, "FULL")

_RAW: Final = (
    "SELECT n, time_ms, seq, iif(typeof(kind) = 'text', CAST(kind AS BLOB), NULL), "
    "iif(typeof(body) = 'text', CAST(body AS BLOB), NULL), previous, hash FROM entry ORDER BY n"
)


class BookReader:
    """Looks into a record book, also while the daemon writes to it, from any thread.

    Every method shows the book as it stood at one moment. Raises `StoreUnavailable`, `StoreDamaged`.
    """

    def __init__(self, file: SqliteFile, site: str) -> None:
        self._file = file
        self._site = site

    @classmethod
    def open(cls, path: Path, site: str) -> Self:
        """Raises `StoreUnavailable` where there is no book yet, `WrongStore` for another site's or a newer one."""
        return cls(SqliteFile(path, LAYOUT, site, writer=False), site)

    @property
    def file(self) -> SqliteFile:
        """The file that it is kept in."""
        return self._file

    def head(self) -> Head:
        """What to print on a signed sheet: it vouches for every entry so far."""
        with self._file.reading() as connection:
            return self._head(connection)[0]

    def last_seq(self) -> int:
        """The highest tick of any entry, 0 in an empty book."""
        with self._file.reading() as connection:
            return self._head(connection)[1]

    def state(self) -> dict[str, str]:
        """The state as of the last commit."""
        with self._file.reading() as connection:
            return dict(connection.execute("SELECT key, value FROM state ORDER BY key").fetchall())

    def entries(
        self,
        kinds: Iterable[str] | None = None,
        start_ms: int | None = None,
        end_ms: int | None = None,
        *,
        newest_first: bool = False,
        limit: int | None = None,
        before: int | None = None,
    ) -> Iterator[Recorded]:
        """Entries of these kinds (None: all) with start_ms <= time_ms < end_ms, in the order they were written.

        newest_first turns the order round; limit counts from its beginning; before: only entries with a number below
        it. The iterator may be left at any point.
        """
        wanted = None if kinds is None else sorted(set(kinds))
        conditions, values = ["1"], list[Any]()
        if wanted is not None:
            conditions.append(f"kind IN ({','.join('?' * len(wanted))})")
            values.extend(wanted)
        if start_ms is not None:
            conditions.append("time_ms >= ?")
            values.append(start_ms)
        if end_ms is not None:
            conditions.append("time_ms < ?")
            values.append(end_ms)
        if before is not None:
            conditions.append("n < ?")
            values.append(before)
        order = "DESC" if newest_first else "ASC"
        query = f"SELECT n FROM entry WHERE {' AND '.join(conditions)} ORDER BY n {order} LIMIT ?"  # noqa: S608 own words
        with self._file.reading() as connection:
            numbers = [n for (n,) in connection.execute(query, (*values, -1 if limit is None else limit))]
        return self._fetch(numbers, order)

    def entry(self, n: int) -> Recorded | None:
        """The entry of a number, None where there is none."""
        return next(self._fetch([n], "ASC"), None)

    def _fetch(self, numbers: list[int], order: str) -> Iterator[Recorded]:
        """By chunks, each a query of its own: nothing is held open while the caller thinks."""
        for start in range(0, len(numbers), CHUNK):
            part = numbers[start : start + CHUNK]
            query = (
                f"SELECT n, kind, time_ms, seq, body, hash FROM entry "  # noqa: S608 only question marks are put in
                f"WHERE n IN ({','.join('?' * len(part))}) ORDER BY n {order}"
            )
            with self._file.reading() as connection:
                rows = connection.execute(query, part).fetchall()
            yield from map(self._recorded, rows)

    def _recorded(self, row: tuple[Any, ...]) -> Recorded:
        n, kind, time_ms, seq, body, own_hash = row
        try:
            return Recorded(n, kind, time_ms, seq, json.loads(body), own_hash.hex())
        except (ValueError, TypeError, AttributeError) as exc:
            raise StoreDamaged(
                f"{LAYOUT.what} {self._file.path}: entry {n} cannot be read ({exc}); verify the book"
            ) from exc

    def verify(self, against: Head | None = None) -> Verdict:
        """Recompute the whole chain; `against` is a head printed or sent out earlier.

        Raises `StoreDamaged` where the chain holds but the file around it does not (a look-up would miss entries).
        """
        with self._file.reading() as connection:
            kept, _ = self._head(connection)
            verdict = inspect(map(Row._make, connection.execute(_RAW)), self._site, kept, against)
            found = connection.execute("PRAGMA integrity_check(1)").fetchone()[0] if verdict.unbroken else "ok"
        if found != "ok":
            raise StoreDamaged(
                f"{LAYOUT.what} {self._file.path}: {verdict}; but the file around it is broken ({found}); "
                f"put a good copy in its place"
            )
        return verdict

    def close(self) -> None:
        """Let go of the file. Twice is harmless; any other call afterwards raises `StoreError`."""
        self._file.close()

    def _head(self, connection: sqlite3.Connection) -> tuple[Head, int]:
        """The head that the writer left with its last transaction, and the highest tick."""
        kept = dict(connection.execute("SELECT key, value FROM meta WHERE key IN ('head', 'seq')").fetchall())
        if "head" not in kept:
            return Head(0, genesis(self._site).hex()), 0
        try:
            head = Head.parse(kept["head"])
            bytes.fromhex(head.hash)
            return head, int(kept["seq"])
        except (BadQuestion, ValueError, KeyError) as exc:
            raise StoreDamaged(
                f"{LAYOUT.what} {self._file.path}: the head kept beside the entries is unreadable ({exc}); "
                f"put a good copy of the file in its place"
            ) from exc


class RecordBook(BookReader):
    """The one writer. Opening makes the file where there is none and raises `StoreBusy` beside another writer."""

    @classmethod
    def open(cls, path: Path, site: str) -> Self:
        return cls(SqliteFile(path, LAYOUT, site, writer=True), site)

    def commit(self, entries: Sequence[Entry], state: Mapping[str, str | None]) -> Head:
        """Append entries and change state (None deletes a key) in one durable transaction; give back the new head.

        When this returns, all of it is on the disk; when it raises, none of it is in the book. Raises `EntryRejected`
        for a body that is no JSON (a retry does not help) and `StoreUnavailable` (it may).
        """
        bodies = [canonical(entry) for entry in entries]
        with self._file.writing() as connection:
            head, last_seq = self._head(connection)
            count, previous = head.count, bytes.fromhex(head.hash)
            for entry, body in zip(entries, bodies, strict=True):
                count += 1
                own_hash = digest(count, entry.time_ms, entry.seq, entry.kind.encode(), body.encode(), previous)
                connection.execute(
                    "INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?)",
                    (count, entry.time_ms, entry.seq, entry.kind, body, previous, own_hash),
                )
                previous, last_seq = own_hash, max(last_seq, entry.seq)
            if entries:
                head = Head(count, previous.hex())
                connection.executemany(
                    "INSERT INTO meta VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value",
                    (("head", str(head)), ("seq", str(last_seq))),
                )
            _change(connection, state)
        return head

    def rehearse(self) -> None:
        """Write an entry of each kind and a state as `commit` does, and take all back: the file is as it was.

        Raises `StoreDamaged` where the next entry would meet pages that are lost, before anybody waits for it.
        """
        with contextlib.suppress(_TakenBack), self._file.writing() as connection:
            head, last_seq = self._head(connection)
            kinds, kind = ["rehearsal"], ""
            while found := connection.execute("SELECT min(kind) FROM entry WHERE kind > ?", (kind,)).fetchone()[0]:
                kinds.append(kind := found)
            for place, kind in enumerate(kinds, 1):
                row = (head.count + place, 2**62, last_seq, kind, "{}", b"", b"")
                connection.execute("INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?)", row)
            _change(connection, {"rehearsal": "1"})
            raise _TakenBack

    def save_state(self, state: Mapping[str, str | None]) -> None:
        """Change state without an entry, as durably."""
        with self._file.writing() as connection:
            _change(connection, state)


class _TakenBack(Exception):
    """Ends a transaction of which nothing is to stay."""


def _change(connection: sqlite3.Connection, state: Mapping[str, str | None]) -> None:
    connection.executemany("DELETE FROM state WHERE key = ?", [(key,) for key, value in state.items() if value is None])
    connection.executemany(
        "INSERT INTO state VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value",
        [(key, value) for key, value in state.items() if value is not None],
    )
