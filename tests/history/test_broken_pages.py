"""Pages of the file that the disk has lost: what lies on them is named, all the rest is read, written and packed on."""

import logging
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from history.errors import StoreDamaged
from history.sqlite import SqliteStore
from history.tidying import Kept
from models.reading import Reading
from tests.history.samples import run
from tests.history.test_sealed import ALWAYS, DAY_MS, MIDNIGHT_MS

TANKS = ("T-1", "T-2")
PAGE = 4096


def kept() -> list[Reading]:
    """Two days and a half of two tanks, every 20 s."""
    return [one for tank in TANKS for one in run(10_800, start_ms=MIDNIGHT_MS, step_ms=20_000, tank=tank)]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A file with 60 hours sealed of each tank."""
    path = tmp_path / "r.sqlite"
    store = SqliteStore.open(path, "FARM")
    store.append(kept())
    for tank in TANKS:
        store.seal(tank)
    store.close()
    return path


def pages(path: Path, table: str, kind: str) -> list[int]:
    with closing(sqlite3.connect(path)) as connection:
        query = "SELECT pageno FROM dbstat WHERE name = ? AND pagetype = ? ORDER BY pageno"
        return [page for (page,) in connection.execute(query, (table, kind))]


def zero(path: Path, some: list[int]) -> None:
    with path.open("r+b") as file:
        for page in some:
            file.seek((page - 1) * PAGE)
            file.write(bytes(PAGE))


def blocks_on(path: Path, some: list[int]) -> set[int]:
    """The blocks with a part on any of these pages, worked out by reading each part of the broken file."""
    broken = set()
    with closing(sqlite3.connect(path)) as connection:
        for (block,) in connection.execute("SELECT id FROM block").fetchall():
            try:
                connection.execute("SELECT data FROM part WHERE block = ?", (block,)).fetchall()
            except sqlite3.DatabaseError:
                broken.add(block)
    return broken


def test_what_lies_on_a_lost_page_is_named_and_the_rest_is_read(path: Path, caplog: pytest.LogCaptureFixture) -> None:
    leaves = pages(path, "part", "leaf")
    assert len(leaves) > 30
    zero(path, leaves[10:30:9])
    broken = blocks_on(path, leaves)
    assert 0 < len(broken) < 30
    store = SqliteStore.open(path, "FARM")
    with closing(sqlite3.connect(path)) as connection:
        lost = {
            (tank, seq)
            for tank, first, last in connection.execute(
                f"SELECT name, first_seq, last_seq FROM block JOIN tank ON tank.id = tank "
                f"WHERE block.id IN ({','.join(map(str, broken))})"
            )
            for seq in range(first, last + 1)
        }
    whole = {(one.tank, one.seq) for one in kept()}
    with caplog.at_level(logging.ERROR):
        read = {(one.tank, one.seq) for tank in TANKS for one in store.read(tank, *ALWAYS)}
    assert whole - lost <= read, "a block off the lost pages is read"
    assert 0 < len(whole - read) <= len(lost)
    assert "cannot be read and is left out" in caplog.text
    named = [fault for fault in store.faults() if fault.where]
    assert 0 < len(named) <= len(broken)
    assert any(not fault.where for fault in store.faults()), "and SQLite names the page"
    for unit_points in ((DAY_MS, 1440), (3 * DAY_MS, 72)):
        trends = [store.trend(tank, "level_m", MIDNIGHT_MS, *unit_points) for tank in TANKS]
        assert any(None in trend.mean for trend in trends)
        assert all(sum(mean is not None for mean in trend.mean) > 10 for trend in trends), "the rest is shown"
    store.close()


def test_a_lost_page_keeps_no_other_tank_from_being_packed(path: Path) -> None:
    store = SqliteStore.open(path, "FARM")
    newer = [one for tank in TANKS for one in run(9000, first_seq=20_000, start_ms=MIDNIGHT_MS + 3 * DAY_MS,
                                                  step_ms=20_000, tank=tank)]  # fmt: skip
    store.append(newer)
    store.close()
    leaves = pages(path, "part", "leaf")
    zero(path, leaves[4:6])
    store = SqliteStore.open(path, "FARM")
    for _ in range(400):
        try:
            if not store.tidy(Kept(DAY_MS)):
                break
        except StoreDamaged:
            break
    with closing(sqlite3.connect(path)) as connection:
        query = "SELECT tank, span, count(*) FROM block WHERE first_ms >= ? GROUP BY 1, 2"
        packed = connection.execute(query, (MIDNIGHT_MS + 3 * DAY_MS,)).fetchall()
    sealed = {tank for tank, _, count in packed if count}
    assert sealed == {1, 2}, "the tank with the lost page is sealed on"
    assert any(tank == 2 and span == "day" for tank, span, _ in packed), "the other is merged too"
    fresh = run(10, first_seq=40_000, start_ms=MIDNIGHT_MS + 6 * DAY_MS, step_ms=20_000)
    store.append(fresh)
    assert [one.seq for one in store.read("T-1", fresh[0].time_ms, fresh[-1].time_ms + 1)] == [one.seq for one in fresh]
    store.close()


def test_a_file_that_was_not_closed_in_order_is_known_at_the_next_start(path: Path) -> None:
    first = SqliteStore.open(path, "FARM")
    assert not first.file.unclean, "it was closed in order before"
    looked = SqliteStore.open(path, "FARM", read_only=True)
    looked.close()
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("SELECT value FROM meta WHERE key = 'open'").fetchone() == ("1",), (
            "a reader leaves it"
        )
    first.file.keep_mark = True  # as a kill would leave it
    first.close()
    second = SqliteStore.open(path, "FARM")
    assert second.file.unclean
    assert second.file.structure() == []
    assert second.file.structure(lambda: True) is None
    second.close()
    third = SqliteStore.open(path, "FARM")
    assert third.file.unclean, "nobody has said that it was looked at"
    third.file.keep_mark = False
    third.close()
    fourth = SqliteStore.open(path, "FARM")
    assert not fourth.file.unclean
    fourth.close()
    zero(path, pages(path, "part", "leaf")[5:6])
    broken = SqliteStore.open(path, "FARM")
    assert broken.file.structure() != []
    broken.close()
