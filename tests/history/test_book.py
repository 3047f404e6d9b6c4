"""The record book as a file: one transaction, one writer, nothing changed unseen."""

import os
import random
import sqlite3
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from types import MappingProxyType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from history.book import BookReader, RecordBook
from history.chain import Break, Entry, Head
from history.errors import EntryRejected, StoreBusy, StoreDamaged, StoreError, StoreUnavailable, WrongStore
from tests.history.samples import NOON_MS
from tests.history.test_sqlite import ROOT, largest_file


def entry(seq: int, kind: str = "alarm", **body: object) -> Entry:
    return Entry(kind, NOON_MS + seq * 1000, seq, body or {"tank": "T-1", "event": "raised", "å": seq})


def filled(book: RecordBook, count: int) -> list[Entry]:
    made = [entry(seq, "alarm" if seq % 3 else "dip") for seq in range(1, count + 1)]
    book.commit(made, {})
    return made


def test_an_empty_book_has_a_head_and_nothing_else(book: RecordBook) -> None:
    assert book.head().count == 0
    assert book.last_seq() == 0
    assert book.state() == {}
    assert list(book.entries()) == []
    assert book.verify().unbroken


def test_entries_and_state_are_kept_together(book: RecordBook) -> None:
    head = book.commit([entry(4), entry(5, "dip", level_m=9.2)], {"T-1.high": "unacknowledged", "tick": "5"})
    assert book.head() == head == Head(2, head.hash)
    assert book.last_seq() == 5
    assert book.state() == {"T-1.high": "unacknowledged", "tick": "5"}
    found = list(book.entries())
    assert [(one.n, one.kind, one.time_ms, one.seq) for one in found] == [
        (1, "alarm", NOON_MS + 4000, 4),
        (2, "dip", NOON_MS + 5000, 5),
    ]
    assert found[1].body == {"level_m": 9.2}
    assert found[1].hash == head.hash


def test_none_deletes_a_state_and_state_can_be_saved_alone(book: RecordBook) -> None:
    book.commit([entry(1)], {"a": "1", "b": "2"})
    head = book.commit([], {"a": None, "c": "3"})
    book.save_state(MappingProxyType({"b": "4", "never there": None}))
    assert book.state() == {"b": "4", "c": "3"}
    assert book.head() == head
    assert head.count == 1


def test_a_refused_record_takes_its_whole_batch_with_it(book: RecordBook) -> None:
    with pytest.raises(EntryRejected, match=r"body\.x is nan"):
        book.commit([entry(1), entry(2, x=float("nan"))], {"a": "1"})
    assert book.head().count == 0
    assert book.state() == {}


def test_a_state_that_cannot_be_kept_takes_the_entries_with_it(book: RecordBook) -> None:
    with pytest.raises(sqlite3.Error):
        book.commit([entry(1)], {"a": object()})  # type: ignore[dict-item]
    assert book.head().count == 0
    assert list(book.entries()) == []


def test_a_book_goes_on_where_it_ended(tmp_path: Path) -> None:
    for seq in range(1, 6):
        book = RecordBook.open(tmp_path / "book.sqlite", "FARM")
        head = book.commit([entry(seq)], {"tick": str(seq)})
        book.close()
    book = RecordBook.open(tmp_path / "book.sqlite", "FARM")
    assert book.head() == head
    assert book.verify(head).sound == 5
    assert book.state() == {"tick": "5"}
    book.close()


@pytest.mark.parametrize(
    ("question", "expected"),
    [
        ({}, range(1, 1301)),
        ({"newest_first": True}, range(1300, 0, -1)),
        ({"limit": 3}, [1, 2, 3]),
        ({"newest_first": True, "limit": 700}, range(1300, 600, -1)),
        ({"limit": 0}, []),
        ({"kinds": ["dip"], "limit": 3}, [3, 6, 9]),
        ({"kinds": ["dip", "alarm"], "limit": 3}, [1, 2, 3]),
        ({"kinds": ["receipt"]}, []),
        ({"kinds": []}, []),
        ({"start_ms": NOON_MS + 5000, "end_ms": NOON_MS + 8000}, [5, 6, 7]),
        ({"start_ms": NOON_MS + 1_299_000}, [1299, 1300]),
        ({"kinds": ["dip"], "end_ms": NOON_MS + 6000, "newest_first": True}, [3]),
    ],
)
def test_entries_are_found_by_kind_and_time(book: RecordBook, question: dict, expected) -> None:
    filled(book, 1300)
    assert [one.n for one in book.entries(**question)] == list(expected)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entry SET body = '{}' WHERE n = 2",
        "DELETE FROM entry WHERE n = 2",
        "DELETE FROM entry",
        "INSERT OR REPLACE INTO entry SELECT n, time_ms, seq, kind, '{}', previous, hash FROM entry WHERE n = 2",
        "REPLACE INTO entry SELECT n, time_ms, seq, kind, '{}', previous, hash FROM entry WHERE n = 2",
        "INSERT INTO entry SELECT n - 2, time_ms, seq, kind, body, previous, hash FROM entry WHERE n = 2",
    ],
)
def test_the_file_itself_refuses_to_change_an_entry(book: RecordBook, tmp_path: Path, statement: str) -> None:
    filled(book, 3)
    connection = sqlite3.connect(tmp_path / "book.sqlite")
    with pytest.raises(sqlite3.IntegrityError, match="entries of the record book are never changed"):
        connection.execute(statement)
    connection.close()
    assert book.verify().sound == 3


def tamper(path: Path, *statements: str, values: tuple = ()) -> None:
    """What someone with a SQLite shell can do: the triggers are no wall, the chain is."""
    connection = sqlite3.connect(path)
    with connection:
        for trigger in ("entry_no_update", "entry_no_delete", "entry_no_replace"):
            connection.execute(f"DROP TRIGGER IF EXISTS {trigger}")
        for statement in statements:
            connection.execute(statement, values)
    connection.close()


COLUMNS = ("time_ms", "seq", "kind", "body", "previous", "hash")


@settings(max_examples=100, deadline=None)
@given(st.integers(1, 6), st.sampled_from(COLUMNS), st.integers(0, 10_000), st.integers(1, 255))
def test_any_altered_byte_of_any_entry_is_found_and_that_entry_named(n: int, column: str, at: int, mask: int) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "book.sqlite"
        book = RecordBook.open(path, "FARM")
        filled(book, 6)
        book.close()
        connection = sqlite3.connect(path)
        (value,) = connection.execute(f"SELECT iif(typeof({column}) = 'text', CAST({column} AS BLOB), {column}) "
                                      f"FROM entry WHERE n = {n}").fetchone()  # fmt: skip
        connection.close()
        raw = bytearray(value.to_bytes(8, "big", signed=True) if isinstance(value, int) else value)
        raw[at % len(raw)] ^= mask
        changed = int.from_bytes(raw, "big", signed=True) if isinstance(value, int) else bytes(raw)
        cast = "CAST(? AS TEXT)" if column in ("kind", "body") else "?"
        tamper(path, f"UPDATE entry SET {column} = {cast} WHERE n = {n}", values=(changed,))
        reader = BookReader.open(path, "FARM")
        verdict = reader.verify()
        reader.close()
    expected = {"previous": Break.LINK, "hash": Break.HASH}.get(column, Break.CONTENTS)
    assert verdict.broken == (n, expected)
    assert verdict.sound == n - 1


def test_any_flipped_byte_of_the_file_is_found_or_leaves_every_entry_as_it_was(tmp_path: Path) -> None:
    """Bytes between the rows may change without harm; a changed entry may never pass."""
    path = tmp_path / "book.sqlite"
    book = RecordBook.open(path, "FARM")
    filled(book, 60)
    intact = list(book.entries())
    book.close()
    whole = path.read_bytes()
    rng = random.Random(7)
    found = 0
    for _ in range(250):
        flipped = bytearray(whole)
        flipped[rng.randrange(len(whole))] ^= rng.randrange(1, 256)
        path.write_bytes(flipped)
        try:
            reader = BookReader.open(path, "FARM")
        except StoreError:
            found += 1
            continue
        try:
            sound = reader.verify().unbroken
            assert not sound or list(reader.entries()) == intact
            assert not sound or len(list(reader.entries(["alarm"]))) == 40
            found += not sound
        except StoreError:  # the file's own structure is hit
            found += 1
        finally:
            reader.close()
    assert found > 50  # entries fill about a third of this file


@pytest.mark.parametrize(
    ("statements", "expected"),
    [
        (["DELETE FROM entry WHERE n = 4"], (4, Break.GAP)),
        (["DELETE FROM entry WHERE n > 4"], (5, Break.TAIL)),
        (["DELETE FROM entry WHERE n <= 2"], (1, Break.GAP)),
        (["UPDATE entry SET n = 99 WHERE n = 6"], (6, Break.GAP)),
        (["UPDATE entry SET time_ms = 'noon' WHERE n = 3"], (3, Break.CONTENTS)),
        (["UPDATE entry SET body = CAST(body AS BLOB) WHERE n = 3"], (3, Break.CONTENTS)),
    ],
)
def test_missing_and_bent_entries_are_named(tmp_path: Path, statements: list[str], expected: tuple) -> None:
    book = RecordBook.open(tmp_path / "book.sqlite", "FARM")
    filled(book, 6)
    tamper(tmp_path / "book.sqlite", *statements)
    assert book.verify().broken == expected
    book.close()


def test_a_tail_cut_off_is_not_hidden_by_writing_on(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    book = RecordBook.open(path, "FARM")
    filled(book, 6)
    book.close()
    tamper(path, "DELETE FROM entry WHERE n > 4")
    book = RecordBook.open(path, "FARM")
    assert book.commit([entry(7)], {}).count == 7
    assert book.verify().broken == (5, Break.GAP)
    book.close()


def test_a_tail_cut_off_with_its_mark_is_found_by_a_head_given_from_outside(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    book = RecordBook.open(path, "FARM")
    early = book.commit([entry(1), entry(2)], {})
    late = book.commit([entry(3)], {})
    book.close()
    tamper(path, "DELETE FROM entry WHERE n > 2", f"UPDATE meta SET value = '{early}' WHERE key = 'head'")
    reader = BookReader.open(path, "FARM")
    assert reader.verify().unbroken
    assert reader.verify(early).unbroken
    assert reader.verify(late).broken == (3, Break.TAIL)
    reader.close()


def test_an_entry_that_is_no_json_any_more_is_named_when_read(tmp_path: Path) -> None:
    book = RecordBook.open(tmp_path / "book.sqlite", "FARM")
    filled(book, 3)
    tamper(tmp_path / "book.sqlite", "UPDATE entry SET body = '{' WHERE n = 2")
    with pytest.raises(StoreDamaged, match="entry 2 cannot be read"):
        list(book.entries())
    book.close()


def test_an_unreadable_mark_is_called_damaged(tmp_path: Path) -> None:
    book = RecordBook.open(tmp_path / "book.sqlite", "FARM")
    filled(book, 1)
    tamper(tmp_path / "book.sqlite", "UPDATE meta SET value = 'x' WHERE key = 'head'")
    with pytest.raises(StoreDamaged, match="the head kept beside the entries is unreadable"):
        book.verify()
    book.close()


def test_a_second_writer_is_refused_and_the_first_named(book: RecordBook, tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path\n"
        "from history.book import RecordBook; from history.errors import StoreBusy\n"
        "try: RecordBook.open(Path(sys.argv[1]), 'FARM')\n"
        "except StoreBusy as exc: print(exc)"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "book.sqlite")]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert f"process {os.getpid()} is writing to it; send changes through that process or end it first" in told
    with pytest.raises(StoreBusy):
        RecordBook.open(tmp_path / "book.sqlite", "FARM")
    assert book.commit([entry(1)], {}).count == 1


def test_a_reader_in_another_process_sees_the_book_beside_the_writer(book: RecordBook, tmp_path: Path) -> None:
    filled(book, 5)
    code = (
        "import sys; from pathlib import Path; from history.book import BookReader\n"
        "book = BookReader.open(Path(sys.argv[1]), 'FARM')\n"
        "print(book.head(), book.verify().sound, len(list(book.entries())))"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "book.sqlite")]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert told == f"{book.head()} 5 5\n"


def test_a_reader_cannot_write(book: RecordBook, tmp_path: Path) -> None:
    reader = BookReader.open(tmp_path / "book.sqlite", "FARM")
    assert not hasattr(reader, "commit")
    with pytest.raises(StoreError, match="open for reading only"), reader._file.writing():
        pass
    reader.close()


def test_a_book_of_another_site_or_a_newer_program_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    RecordBook.open(path, "NORTH").close()
    with pytest.raises(WrongStore, match=r"record book .* belongs to site 'NORTH', not to 'SOUTH'"):
        BookReader.open(path, "SOUTH")
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 7")
    connection.close()
    with pytest.raises(WrongStore, match="format 7 and this program knows up to 1"):
        RecordBook.open(path, "NORTH")


def test_a_store_of_readings_is_no_record_book(sqlite, tmp_path: Path) -> None:
    with pytest.raises(WrongStore, match="this file is no record book"):
        BookReader.open(tmp_path / "readings.sqlite", "FARM")


def test_a_full_disk_keeps_nothing_and_a_later_try_keeps_all(book: RecordBook, tmp_path: Path) -> None:
    head = book.commit([entry(1)], {"tick": "1"})
    batch = [entry(seq, text="x" * 500) for seq in range(2, 300)]
    with largest_file((tmp_path / "book.sqlite-wal").stat().st_size + 20_000):
        for _ in range(2):
            with pytest.raises(StoreUnavailable, match=r"book\.sqlite: the disk"):
                book.commit(batch, {"tick": "299"})
        assert (book.head(), book.state()) == (head, {"tick": "1"})
        assert book.verify(head).unbroken
    book.commit(batch, {"tick": "299"})
    assert book.verify(head).sound == 299
    assert book.state() == {"tick": "299"}


def test_each_commit_is_flushed_to_the_disk(book: RecordBook) -> None:
    """Source: SQLite's documentation of PRAGMA synchronous: 2 is FULL, which in WAL mode syncs at each commit."""
    assert book._file._writer is not None
    assert book._file._writer.execute("PRAGMA synchronous").fetchone() == (2,)
    assert book._file._writer.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_entries_below_a_number_are_found_whatever_their_times(book: RecordBook) -> None:
    """Pages of a list go by number: a clock that was set back leaves nothing out."""
    book.commit([Entry("alarm", ms, seq, {"seq": seq}) for seq, ms in enumerate((50, 40, 60, 10), 1)], {})
    assert [one.n for one in book.entries(newest_first=True, limit=2)] == [4, 3]
    assert [one.n for one in book.entries(newest_first=True, limit=2, before=3)] == [2, 1]
    assert list(book.entries(before=1)) == []
