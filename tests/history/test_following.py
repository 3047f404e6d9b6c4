"""What follows a seq, of all tanks: from rows, hours and days alike, whole seqs only; what is gone is counted."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from history.block import rows_of
from history.following import Cursor, Stretch
from history.scale import reading_of, rounded
from history.sqlite import SqliteStore
from history.tidying import Kept
from models.reading import Reading
from tests.history.samples import NOON_MS, bad, reading, run

HOUR_MS, DAY_MS = 3_600_000, 86_400_000
MIDNIGHT_MS = NOON_MS - 12 * HOUR_MS


def read_of(stretch: Stretch) -> list[Reading]:
    """Its readings by (seq, tank)."""
    found = [reading_of(tank, row) for tank, columns in stretch.parts for row in rows_of(columns)]
    return sorted(found, key=lambda one: (one.seq, one.tank))


def all_of(store: SqliteStore, most: int, after: int = 0) -> Iterator[Stretch]:
    while (stretch := store.following(after, most)) is not None:
        assert stretch.last_seq > after
        yield stretch
        after = stretch.last_seq


def farm(hours: int = 52, step_ms: int = 300_000) -> list[Reading]:
    """Three tanks by ticks; the second is rare, the third came late."""
    out: list[Reading] = []
    for k in range(hours * HOUR_MS // step_ms):
        seq, time_ms = 10 + k, MIDNIGHT_MS + k * step_ms
        out.append(reading(seq, time_ms) if k % 31 else bad(seq, time_ms))
        if k % 7 == 0:
            out.append(reading(seq, time_ms, "T-2"))
        if k > 400:
            out.append(reading(seq, time_ms, "T-3", gsv_m3=None))
    return out


def fill(store: SqliteStore, readings: list[Reading], *, tidy: bool) -> None:
    for start in range(0, len(readings), 97):
        store.append(readings[start : start + 97])
        while tidy and store.tidy():
            pass


@pytest.mark.parametrize("tidy", [False, True])
@pytest.mark.parametrize("most", [1, 10, 300, 100_000])
def test_all_readings_follow_once_and_in_the_order_of_seq(tmp_path: Path, most: int, tidy: bool) -> None:
    with closing(SqliteStore.open(tmp_path / "r.sqlite", "FARM")) as store:
        kept = farm()
        fill(store, kept, tidy=tidy)
        found = [one for stretch in all_of(store, most) for one in read_of(stretch)]
        assert found == [rounded(one) for one in kept]
        assert all(stretch.readings <= max(3, most) for stretch in all_of(store, most))
        after = kept[500].seq
        rest = [one for stretch in all_of(store, most, after) for one in read_of(stretch)]
        assert rest == [rounded(one) for one in kept if one.seq > after]
        assert store.following(kept[-1].seq, most) is None


@settings(max_examples=25, deadline=None)
@given(st.lists(st.sets(st.sampled_from(["A", "B", "C"]), min_size=1), max_size=60), st.integers(1, 20), st.data())
def test_no_seq_is_ever_cut_whatever_is_written_between(
    tmp_path_factory: pytest.TempPathFactory, ticks: list[set[str]], most: int, data: st.DataObject
) -> None:
    """Readings are appended and sealed while they are followed."""
    folder = tmp_path_factory.mktemp("following")
    with closing(SqliteStore.open(folder / "r.sqlite", "FARM")) as store:
        after, found, kept = 0, [], []
        for k, tanks in enumerate(ticks):
            tick = [reading(k + 1, NOON_MS + k * 500_000, tank) for tank in sorted(tanks)]
            store.append(tick)
            kept += tick
            if data.draw(st.booleans()):
                store.tidy()
            if data.draw(st.booleans()) and (stretch := store.following(after, most)):
                found += read_of(stretch)
                after = stretch.last_seq
        for stretch in all_of(store, most, after):
            found += read_of(stretch)
        assert found == [rounded(one) for one in kept]


def test_a_cursor_stays_over_a_restart_and_its_counts_add_up(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    with closing(SqliteStore.open(path, "FARM")) as store:
        assert store.cursor("main") == Cursor()
        store.move_cursor("main", Cursor(10, sent=7))
        store.move_cursor("other", Cursor(3, sent=3))
        store.move_cursor("main", Cursor(12, sent=1, rejected=1, dropped=5))
    with closing(SqliteStore.open(path, "FARM", read_only=True)) as store:
        assert store.cursor("main") == Cursor(12, 8, 1, 5)
        assert store.cursor("other") == Cursor(3, 3)


def test_what_waits_is_counted(tmp_path: Path) -> None:
    with closing(SqliteStore.open(tmp_path / "r.sqlite", "FARM")) as store:
        kept = farm()
        fill(store, kept, tidy=True)
        assert store.waiting(0) == len(kept)
        assert store.waiting(kept[-1].seq) == 0
        left = sum(one.seq > kept[300].seq for one in kept)
        assert store.waiting(kept[300].seq) == pytest.approx(left, abs=3)


def test_what_is_thinned_before_it_was_taken_is_counted_as_dropped_for_that_server(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    with closing(SqliteStore.open(path, "FARM")) as store:
        kept = farm(hours=100)
        behind, before, new = kept[450].seq, kept[-1].seq, "new"
        fill(store, kept, tidy=True)
        store.move_cursor("behind", Cursor(behind, sent=451))
        store.move_cursor("before", Cursor(before, sent=len(kept)))
        while store.tidy(Kept(readings_ms=30 * HOUR_MS)):
            pass
        left = {one.seq for tank in ("T-1", "T-2", "T-3") for one in store.read(tank, 0, 2 * NOON_MS)}
        gone = [one for one in kept if one.seq not in left]
        assert len(gone) > 600
        assert store.cursor("behind").dropped == sum(one.seq > behind for one in gone)
        assert store.cursor("before").dropped == 0
        assert store.cursor(new).dropped == 0
        rest = [one for stretch in all_of(store, 100, behind) for one in read_of(stretch)]
        assert rest == [rounded(one) for one in kept if one.seq > behind and one.seq in left]


def test_a_block_that_cannot_be_read_is_passed_and_counted(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    with closing(SqliteStore.open(path, "FARM")) as store:
        kept = run(300, step_ms=60_000)
        fill(store, kept, tidy=True)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(
            "UPDATE part SET data = x'00112233' WHERE name = 'level_m' AND block = (SELECT id FROM block "
            "ORDER BY first_seq LIMIT 1 OFFSET 2)"
        )
        connection.commit()
    with closing(SqliteStore.open(path, "FARM")) as store:
        stretches = list(all_of(store, 50))
        found = [one.seq for stretch in stretches for one in read_of(stretch)]
        assert sum(stretch.lost for stretch in stretches) == 60
        assert found == [one.seq for one in kept if not 120 < one.seq <= 180]


@pytest.mark.parametrize("most", [50, 100_000])
def test_a_broken_hour_in_the_midst_of_a_merged_day_hides_nothing_behind_it(tmp_path: Path, most: int) -> None:
    path = tmp_path / "r.sqlite"
    kept = [reading(1 + k, MIDNIGHT_MS + k * 60_000) for k in range(26 * 60)]
    with closing(SqliteStore.open(path, "FARM")) as store:
        fill(store, kept[: 20 * 60], tidy=True)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(
            "UPDATE part SET data = x'00112233' WHERE name = 'seq' AND block = (SELECT id FROM block "
            "ORDER BY first_seq LIMIT 1 OFFSET 9)"
        )
        connection.commit()
    with closing(SqliteStore.open(path, "FARM")) as store:
        fill(store, kept[20 * 60 :], tidy=True)
        stretches = list(all_of(store, most))
        found = [one.seq for stretch in stretches for one in read_of(stretch)]
        assert found == [one.seq for one in kept if not 9 * 60 < one.seq <= 10 * 60]
        assert sum(stretch.lost for stretch in stretches) == 60
