"""The readings' file: whose it is, who may write, what a broken or full disk does, and what others see beside it."""

import os
import resource
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from history.errors import StoreBusy, StoreDamaged, StoreError, StoreUnavailable, WrongStore
from history.scale import rounded
from history.sqlite import MINUTE_MS, SqliteStore
from models.reading import QUANTITIES
from tests.history.samples import NOON_MS, bad, reading, run

ROOT = Path(__file__).parents[2]


@contextmanager
def largest_file(size: int) -> Iterator[None]:
    """No file of this process may grow beyond `size` bytes: what a full disk or a quota does to a writer."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_file_that_was_closed_goes_on_where_it_ended(tmp_path: Path) -> None:
    path = tmp_path / "readings.sqlite"
    kept = run(300)
    for start in range(0, 300, 50):
        store = SqliteStore.open(path, "FARM")
        store.append(kept[start : start + 50])
        store.close()
    store = SqliteStore.open(path, "FARM")
    assert store.last_seq() == 300
    assert list(store.read("T-1", 0, NOON_MS + 10**9)) == [rounded(one) for one in kept]
    store.close()


def test_each_roll_up_is_that_of_its_rows(tmp_path: Path) -> None:
    """Every minute recomputed in Python from the rows that its first and last seq name."""
    path = tmp_path / "readings.sqlite"
    store = SqliteStore.open(path, "FARM")
    kept = [bad(i, NOON_MS + i * 1700) if i % 7 == 0 else reading(i, NOON_MS + i * 1700) for i in range(1, 500)]
    kept += run(200, first_seq=500, start_ms=NOON_MS + 100_000, step_ms=900)
    for start in range(0, len(kept), 33):
        store.append(kept[start : start + 33])
    store.close()
    connection = sqlite3.connect(path)
    connection.row_factory = sqlite3.Row
    rows = {row["seq"]: row for row in connection.execute("SELECT * FROM reading")}
    minutes = connection.execute("SELECT * FROM minute ORDER BY first_seq").fetchall()
    closed_seq = connection.execute("SELECT closed_seq FROM tank").fetchone()[0]
    connection.close()
    assert [m["first_seq"] for m in minutes] == [1, *(m["last_seq"] + 1 for m in minutes[:-1])]
    assert minutes[-1]["last_seq"] == closed_seq < len(kept)
    assert len({m["minute"] for m in minutes}) < len(minutes)  # the clock stepped back: a minute was lived twice
    for minute in minutes:
        inside = [rows[seq] for seq in range(minute["first_seq"], minute["last_seq"] + 1)]
        assert {row["time_ms"] // MINUTE_MS for row in inside} == {minute["minute"]}
        assert minute["readings"] == len(inside)
        assert minute["good"] == sum(row["quality"] == 0 for row in inside)
        for column, scaled in ((q.column, f"{q.column}_e{q.decimals}") for q in QUANTITIES):
            always = column in {"current_mA", "temperature_degC"}
            values = [row[scaled] for row in inside if row[scaled] is not None and (always or row["quality"] < 2)]
            found = [minute[f"{column}_{what}"] for what in ("values", "total", "least", "most")]
            assert found == ([len(values), sum(values), min(values), max(values)] if values else [0, None, None, None])


def test_a_shell_user_sees_the_figures_in_their_units(sqlite: SqliteStore, tmp_path: Path) -> None:
    sqlite.append([reading(1, NOON_MS, level_m=9.12345)])
    connection = sqlite3.connect(tmp_path / "readings.sqlite")
    found = connection.execute("SELECT tank, seq, level_m, mass_kg FROM readings").fetchone()
    connection.close()
    assert found == ("T-1", 1, 9.12345, 571_492.9)


def test_a_file_of_another_site_is_refused_by_both_names(tmp_path: Path) -> None:
    SqliteStore.open(tmp_path / "r.sqlite", "NORTH").close()
    for read_only in (False, True):
        with pytest.raises(WrongStore, match="belongs to site 'NORTH', not to 'SOUTH'"):
            SqliteStore.open(tmp_path / "r.sqlite", "SOUTH", read_only=read_only)
    SqliteStore.open(tmp_path / "r.sqlite", "NORTH").close()


@pytest.mark.parametrize(
    ("found", "word"),
    [(4, "format 4 and this program knows up to 3; use the newer program"), (0, "format 0, which this program")],
)
def test_a_file_of_another_format_is_refused_and_left_alone(tmp_path: Path, found: int, word: str) -> None:
    path = tmp_path / "r.sqlite"
    SqliteStore.open(path, "FARM").close()
    connection = sqlite3.connect(path)
    connection.execute(f"PRAGMA user_version = {found}")
    connection.close()
    before = path.read_bytes()
    for read_only in (False, True):
        with pytest.raises(WrongStore, match=word):
            SqliteStore.open(path, "FARM", read_only=read_only)
    assert path.read_bytes() == before


def test_another_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE somebody (elses TEXT)")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(WrongStore, match="this file is no store of readings"):
        SqliteStore.open(path, "FARM")
    assert path.read_bytes() == before


def test_a_file_that_is_no_database_is_called_damaged(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    path.write_bytes(b"level,volume\n" * 1000)
    with pytest.raises(StoreDamaged, match=r"r\.sqlite: its structure is broken"):
        SqliteStore.open(path, "FARM")


def test_a_broken_page_is_called_damaged_and_not_unavailable(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    store = SqliteStore.open(path, "FARM")
    store.append(run(5000))
    store.close()
    content = bytearray(path.read_bytes())
    content[20 * 4096 : 52 * 4096] = b"\xff" * (32 * 4096)
    path.write_bytes(content)
    store = SqliteStore.open(path, "FARM", read_only=True)
    with pytest.raises(StoreDamaged, match="put a good copy in its place"):
        list(store.read("T-1", 0, NOON_MS + 10**9))
    store.close()


def test_a_code_of_no_program_is_called_damaged(sqlite: SqliteStore, tmp_path: Path) -> None:
    sqlite.append(run(1))
    connection = sqlite3.connect(tmp_path / "readings.sqlite")
    with connection:
        connection.execute("UPDATE reading SET reason = 99")
    connection.close()
    with pytest.raises(StoreDamaged, match="tank T-1, seq 1 holds a code"):
        sqlite.latest("T-1")


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(StoreUnavailable, match="nowhere"):
        SqliteStore.open(tmp_path / "nowhere" / "r.sqlite", "FARM")


def test_reading_where_no_daemon_ever_ran_says_so(tmp_path: Path) -> None:
    with pytest.raises(StoreUnavailable, match="is not there; the daemon makes it"):
        SqliteStore.open(tmp_path / "r.sqlite", "FARM", read_only=True)
    assert not list(tmp_path.iterdir())


def test_an_empty_file_is_not_read_but_a_daemon_fills_it(tmp_path: Path) -> None:
    (tmp_path / "r.sqlite").touch()
    with pytest.raises(StoreUnavailable, match="is still empty; the daemon fills it"):
        SqliteStore.open(tmp_path / "r.sqlite", "FARM", read_only=True)
    SqliteStore.open(tmp_path / "r.sqlite", "FARM").close()
    SqliteStore.open(tmp_path / "r.sqlite", "FARM", read_only=True).close()


def test_a_second_writer_is_refused_and_the_first_named(sqlite: SqliteStore, tmp_path: Path) -> None:
    with pytest.raises(StoreBusy, match=f"process {os.getpid()} is writing to it"):
        SqliteStore.open(tmp_path / "readings.sqlite", "FARM")
    sqlite.close()
    SqliteStore.open(tmp_path / "readings.sqlite", "FARM").close()


def test_a_store_opened_for_reading_writes_nothing(sqlite: SqliteStore, tmp_path: Path) -> None:
    reader = SqliteStore.open(tmp_path / "readings.sqlite", "FARM", read_only=True)
    with pytest.raises(StoreError, match="open for reading only"):
        reader.append(run(1))
    reader.close()


def test_a_full_disk_keeps_nothing_of_the_batch_and_a_later_try_keeps_all(sqlite: SqliteStore, tmp_path: Path) -> None:
    sqlite.append(run(1000))
    write_ahead = tmp_path / "readings.sqlite-wal"
    batch = run(4000, first_seq=1001, start_ms=NOON_MS + 1_000_000)
    with largest_file(write_ahead.stat().st_size + 50_000):
        for _ in range(3):
            with pytest.raises(StoreUnavailable, match=r"readings\.sqlite: the disk"):
                sqlite.append(batch)
        assert sqlite.last_seq() == 1000
    sqlite.append(batch)
    assert [one.seq for one in sqlite.read("T-1", 0, NOON_MS + 10**9)] == list(range(1, 5001))
    whole = sqlite.trend("T-1", "level_m", NOON_MS, 5_000_000, 10)
    assert whole.good == (1.0,) * 10


def test_a_locked_file_is_unavailable_for_now(sqlite: SqliteStore, tmp_path: Path) -> None:
    sqlite.append(run(1))
    sqlite._file._writer.execute("PRAGMA busy_timeout = 20")  # the usual 5 s are too long for a test
    intruder = sqlite3.connect(tmp_path / "readings.sqlite", isolation_level=None)
    intruder.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreUnavailable, match="another process holds it locked"):
        sqlite.append(run(1, first_seq=2))
    intruder.execute("ROLLBACK")
    intruder.close()
    sqlite.append(run(1, first_seq=2))
    assert sqlite.last_seq() == 2


def test_an_error_in_the_middle_of_a_batch_leaves_no_trace(sqlite: SqliteStore) -> None:
    class Trouble(Exception):
        pass

    class Trap(list):
        def __iter__(self):
            yield reading(1, NOON_MS, "T-9")
            raise Trouble

    with pytest.raises(Trouble):
        sqlite.append(Trap())
    sqlite.append([reading(1, NOON_MS, "T-8"), reading(1, NOON_MS, "T-9")])
    for tank in ("T-8", "T-9"):
        assert sqlite.latest(tank) == rounded(reading(1, NOON_MS, tank))


WATCH = """
import sys
from pathlib import Path
from history.sqlite import SqliteStore

store = SqliteStore.open(Path(sys.argv[1]), "FARM", read_only=True)
last = 0
while last < int(sys.argv[2]):
    kept = sum(1 for one in store.read("T-1", 0, 10**9))
    trend = store.trend("T-1", "level_m", 0, 10**9, 10)
    newest = store.latest("T-1")
    now = 0 if newest is None else newest.seq
    shown = trend.good[0] == 1.0  # asked between two looks, of which only the second may have seen the first batch
    torn = now % 50 != 0 or kept % 50 != 0 or not last <= kept <= now or not (last > 0) <= shown <= (now > 0)
    if now != last:
        print("torn" if torn else "whole", flush=True)
    last = now
"""


def test_another_process_reads_whole_batches_while_this_one_writes(sqlite: SqliteStore, tmp_path: Path) -> None:
    """After each ten batches this process waits for a look of the other one, so that their work is mixed."""
    rounds, batches, rows = 15, 10, 50
    command = [sys.executable, "-c", WATCH, str(tmp_path / "readings.sqlite"), str(rounds * batches * rows)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as watcher:
        try:
            assert watcher.stdout is not None
            seen = []
            for batch in range(rounds * batches):
                sqlite.append(run(rows, first_seq=batch * rows + 1, start_ms=batch * rows * 1000))
                if batch % batches == batches - 1:
                    seen.append(watcher.stdout.readline())
            seen += watcher.stdout.readlines()
        finally:
            watcher.kill()
    assert len(seen) >= rounds
    assert set(seen) == {"whole\n"}
