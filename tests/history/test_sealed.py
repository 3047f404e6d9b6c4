"""Sealed hours and days: nothing changes by it, versions of a model are kept apart, a broken block harms no other."""

import logging
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from history.block import Deriver, Measured, joined
from history.errors import PointsRejected
from history.layout import FORMAT
from history.scale import rounded
from history.sqlite import SqliteStore
from history.tidying import Kept, Pinned
from models.reading import Reading
from tests.history.samples import NOON_MS, bad, reading, run
from tests.history.test_block import columns

ROOT = Path(__file__).parents[2]
FOR_GOOD = Kept()
HOUR_MS, DAY_MS = 3_600_000, 86_400_000
MIDNIGHT_MS = NOON_MS - 12 * HOUR_MS
ALWAYS = (0, 2 * NOON_MS)


class Height:
    """Volume by a made-up model: `area_m2` per metre. The version is the area."""

    def __init__(self, area_m2: float) -> None:
        self.area_m2 = area_m2
        self.version = str(area_m2)

    def derive(self, measured: Measured, wanted: Iterable[str]) -> Mapping[str, np.ndarray]:
        return {"tov_m3": measured.level_m * self.area_m2}


class Heights:
    """Models that know how to make an earlier one again."""

    def __init__(self, area_m2: float, *, forgetful: bool = False) -> None:
        self._now, self._forgetful = Height(area_m2), forgetful

    def current(self, tank: str) -> Deriver:
        return self._now

    def definition(self, tank: str) -> str:
        return f"area {self._now.area_m2}"

    def earlier(self, tank: str, version: str, definition: str) -> Deriver | None:
        return None if self._forgetful else Height(float(definition.removeprefix("area ")))


def fill(store: SqliteStore, readings: Sequence[Reading], batch: int = 500) -> None:
    for start in range(0, len(readings), batch):
        store.append(readings[start : start + batch])


def tidied(store: SqliteStore, kept: Kept = FOR_GOOD, pinned: Sequence[Pinned] = ()) -> int:
    pieces = 0
    while store.tidy(kept, pinned):
        pieces += 1
    return pieces


def blocks(path: Path) -> list[tuple[str, int, int]]:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("SELECT span, readings, thinned FROM block ORDER BY first_seq").fetchall()


def many(days: float, step_ms: int = 60_000, first_seq: int = 1) -> list[Reading]:
    """A level that wanders, with failed stretches."""
    rng = np.random.default_rng(11)
    count = int(days * DAY_MS / step_ms)
    levels = 5 + np.cumsum(rng.normal(0, 0.002, count))
    return [
        bad(first_seq + i, MIDNIGHT_MS + i * step_ms) if i % 611 < 7
        else reading(first_seq + i, MIDNIGHT_MS + i * step_ms, level_m=float(levels[i]))
        for i in range(count)
    ]  # fmt: skip


def test_hours_become_blocks_and_days_one_block_and_nothing_changes(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    store = SqliteStore.open(path, "FARM")
    kept = many(2.5)
    fill(store, kept)
    before = list(store.read("T-1", *ALWAYS))
    questions = [("level_m", MIDNIGHT_MS + 3_000_017, span, 10) for span in (HOUR_MS, DAY_MS, 3 * DAY_MS)]
    trends = [store.trend("T-1", *question) for question in questions]
    assert tidied(store) > 48
    assert list(store.read("T-1", *ALWAYS)) == before == [rounded(one) for one in kept]
    assert [store.trend("T-1", *question) for question in questions] == trends
    assert store.latest("T-1") == before[-1]
    good = [one for one in before if one.quality == 0]
    assert store.latest_good("T-1") == good[-1]
    assert [(span, thinned) for span, _, thinned in blocks(path)] == [("day", 0)] * 2 + [("hour", 0)] * 11
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("SELECT count(*) FROM reading").fetchone()[0] <= 61
        assert connection.execute("SELECT count(*) FROM minute").fetchone()[0] <= 60
    start, end = MIDNIGHT_MS + 30 * HOUR_MS + 1, MIDNIGHT_MS + 59 * HOUR_MS
    assert list(store.read("T-1", start, end)) == [one for one in before if start <= one.time_ms < end]
    found = store.columns("T-1", start, end, ["gsv_m3"])
    gsv = [value for part in found for value in part.figure("gsv_m3").tolist()]
    expected = [np.nan if one.gsv_m3 is None else one.gsv_m3 for one in before if start <= one.time_ms < end]
    np.testing.assert_array_equal(gsv, expected)
    store.close()


def test_the_last_good_reading_is_found_although_it_is_sealed(tmp_path: Path) -> None:
    store = SqliteStore.open(tmp_path / "r.sqlite", "FARM")
    kept = run(300, step_ms=60_000) + [bad(301 + i, NOON_MS + (300 + i) * 60_000) for i in range(600)]
    fill(store, kept)
    assert tidied(store) > 10
    assert store.latest_good("T-1") == rounded(kept[299])
    store.close()
    again = SqliteStore.open(tmp_path / "r.sqlite", "FARM")
    again.append([bad(2000, NOON_MS + 2000 * 60_000)])
    assert again.latest_good("T-1") == rounded(kept[299])
    again.close()


def test_a_reader_that_thinks_while_hours_are_sealed_sees_each_reading_once(tmp_path: Path) -> None:
    store = SqliteStore.open(tmp_path / "r.sqlite", "FARM")
    kept = many(1.6, step_ms=10_000)
    fill(store, kept)
    seen = []
    for place, one in enumerate(store.read("T-1", *ALWAYS)):
        seen.append(one.seq)
        if place % 700 == 0:
            store.tidy()
    assert seen == [one.seq for one in kept]
    store.close()


def test_each_version_of_a_model_is_kept_with_what_it_worked_out(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    first = many(1.5)
    store = SqliteStore.open(path, "FARM", models=Heights(78.54))
    fill(store, first)
    store.close()
    second = [one._replace(tov_m3=None if one.level_m is None else one.level_m * 80.0)
              for one in many(3.2)[len(first):]]  # fmt: skip
    store = SqliteStore.open(path, "FARM", models=Heights(80.0))
    fill(store, second)
    tidied(store)
    assert list(store.read("T-1", *ALWAYS)) == [rounded(one) for one in first + second]
    store.close()
    with closing(sqlite3.connect(path)) as connection:
        versions = connection.execute("SELECT version, definition FROM model ORDER BY id").fetchall()
        spans = connection.execute(
            "SELECT version, span FROM block JOIN model ON model.id = block.model ORDER BY first_seq"
        ).fetchall()
    assert versions == [("78.54", "area 78.54"), ("80.0", "area 80.0")]
    assert spans[:3] == [("78.54", "day"), ("78.54", "day"), ("80.0", "day")], "a day of two versions is two blocks"
    with SqliteStoreOpen(path, Heights(80.0)) as again:
        assert list(again.read("T-1", *ALWAYS)) == [rounded(one) for one in first + second]


class SqliteStoreOpen:
    def __init__(self, path: Path, models: Heights) -> None:
        self._store = SqliteStore.open(path, "FARM", read_only=True, models=models)

    def __enter__(self) -> SqliteStore:
        return self._store

    def __exit__(self, *_: object) -> None:
        self._store.close()


def test_a_model_that_nobody_can_make_again_takes_its_figures_away_and_says_so(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    path = tmp_path / "r.sqlite"
    store = SqliteStore.open(path, "FARM", models=Heights(78.54))
    fill(store, many(1.1))
    tidied(store)
    store.close()
    with SqliteStoreOpen(path, Heights(80.0, forgetful=True)) as again:
        level = again.trend("T-1", "level_m", MIDNIGHT_MS + HOUR_MS, HOUR_MS // 6, 10)
        tov = again.trend("T-1", "tov_m3", MIDNIGHT_MS + HOUR_MS, HOUR_MS // 6, 10)
        by_minutes = again.trend("T-1", "tov_m3", MIDNIGHT_MS, DAY_MS, 10)
    assert None not in level.mean
    assert tov.mean == (None,) * 10
    assert None not in by_minutes.mean, "roll-ups hold what was worked out then"
    assert "tov_m3 was kept as what a tank model leaves over" in caplog.text


def test_a_broken_block_is_named_once_and_the_rest_is_read(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    path = tmp_path / "r.sqlite"
    store = SqliteStore.open(path, "FARM")
    kept = many(2.2)
    fill(store, kept)
    tidied(store)
    store.close()
    with closing(sqlite3.connect(path)) as connection:
        broken = connection.execute("SELECT id, first_seq, last_seq FROM block ORDER BY first_seq LIMIT 1").fetchone()
        data = bytearray(
            connection.execute("SELECT data FROM part WHERE block = ? AND name = 'fine_m'", broken[:1]).fetchone()[0]
        )
        data[len(data) // 2] ^= 0x10  # one bit
        connection.execute("UPDATE part SET data = ? WHERE block = ? AND name = 'fine_m'", (bytes(data), broken[0]))
        connection.commit()
    store = SqliteStore.open(path, "FARM")
    with caplog.at_level(logging.ERROR):
        for _ in range(3):
            found = [one.seq for one in store.read("T-1", *ALWAYS)]
    assert found == [one.seq for one in kept if not broken[1] <= one.seq <= broken[2]]
    told = [record.getMessage() for record in caplog.records]
    assert len(told) == 1
    assert f"block {broken[0]} (seq {broken[1]} to {broken[2]}" in told[0]
    assert "fine_m does not match its checksum" in told[0]
    assert None not in store.trend("T-1", "level_m", MIDNIGHT_MS, DAY_MS, 10).mean, "its roll-ups are whole"
    store.close()


def test_a_broken_hour_is_set_aside_and_the_others_of_its_day_are_merged(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    store = SqliteStore.open(path, "FARM")
    kept = many(0.9)
    fill(store, kept)
    tidied(store)
    store.close()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(
            "UPDATE part SET data = x'0011223344' WHERE name = 'seq' AND block = (SELECT id FROM block ORDER BY "
            "first_seq LIMIT 1 OFFSET 9)"
        )
        connection.commit()
    store = SqliteStore.open(path, "FARM")
    following = many(2.0)[len(kept) :]
    fill(store, following)
    tidied(store)
    seqs = [one.seq for one in store.read("T-1", *ALWAYS)]
    assert seqs == [one.seq for one in kept + following if not 9 * 60 < one.seq <= 10 * 60]
    with closing(sqlite3.connect(path)) as connection:
        aside = connection.execute("SELECT span, damaged FROM block WHERE damaged != ''").fetchall()
    assert [(span, "checksum" in why) for span, why in aside] == [("hour", True)]
    assert blocks(path)[:3] == [("day", 540, 0), ("hour", 60, 0), ("day", 840, 0)]
    store.close()


def test_old_days_are_thinned_to_their_roll_ups_but_not_what_is_pinned(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    store = SqliteStore.open(path, "FARM")
    kept = many(6.2)
    fill(store, kept)
    tidied(store)
    long = store.trend("T-1", "gsv_m3", MIDNIGHT_MS, 6 * DAY_MS, 30)
    pinned = Pinned(MIDNIGHT_MS + DAY_MS + HOUR_MS, MIDNIGHT_MS + DAY_MS + 2 * HOUR_MS)
    assert tidied(store, Kept(readings_ms=3 * DAY_MS), [pinned]) == 2
    assert [thinned for _, _, thinned in blocks(path)][:6] == [1, 0, 1, 0, 0, 0]
    assert store.trend("T-1", "gsv_m3", MIDNIGHT_MS, 6 * DAY_MS, 30) == long
    days = {(one.time_ms - MIDNIGHT_MS) // DAY_MS for one in store.read("T-1", *ALWAYS)}
    assert days == {1, 3, 4, 5, 6}
    store.close()


def test_a_clock_that_is_years_ahead_for_some_hours_lets_nothing_go(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    store = SqliteStore.open(path, "FARM")
    kept = many(3.1)
    fill(store, kept)
    for k in range(60):
        ahead_ms = 800 * DAY_MS if 10 <= k < 40 else 0
        time_ms = kept[-1].time_ms + ahead_ms + (k + 1) * 600_000
        store.append([reading(kept[-1].seq + 1 + k, time_ms)])
        tidied(store, Kept(readings_ms=7 * DAY_MS))
    assert len(blocks(path)) >= 4
    assert not any(thinned for _, _, thinned in blocks(path))
    store.close()


def test_a_file_of_format_1_is_brought_up_with_all_that_it_holds(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript((ROOT / "tests/data/history/format1.sql").read_text())
    expected = run(150, step_ms=60_000)
    expected[20] = bad(21, expected[20].time_ms)
    store = SqliteStore.open(path, "FARM")
    for _ in range(2):
        assert list(store.read("T-1", *ALWAYS)) == [rounded(one) for one in expected]
        assert len(list(store.read("T-2", *ALWAYS))) == 5
        tidied(store)
    assert [span for span, _, _ in blocks(path)] == ["hour", "hour"]
    store.append(run(3, first_seq=300, start_ms=NOON_MS + 200 * 60_000))
    store.close()
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone()[0] == FORMAT


def test_a_file_of_format_2_is_brought_up_with_all_that_it_holds(tmp_path: Path) -> None:
    """Its first day is thinned: of that the roll-ups are left."""
    path = tmp_path / "r.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript((ROOT / "tests/data/history/format2.sql").read_text())
    expected = run(75, start_ms=MIDNIGHT_MS, step_ms=2_400_000)
    expected[20] = bad(21, expected[20].time_ms)
    store = SqliteStore.open(path, "FARM")
    assert list(store.read("T-1", *ALWAYS)) == [rounded(one) for one in expected[36:]]
    assert [one.seq for one in store.read("T-2", *ALWAYS)] == [1, 2, 3, 4, 5]
    levels = store.trend("T-1", "level_m", MIDNIGHT_MS, DAY_MS, 12).max
    assert levels == tuple(rounded(expected[19 if k == 6 else 3 * k + 2]).level_m for k in range(12))
    store.close()
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone()[0] == FORMAT
        assert connection.execute("SELECT count(*) FROM outlet").fetchone()[0] == 0


def test_a_file_of_format_1_waits_for_its_daemon_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript((ROOT / "tests/data/history/format1.sql").read_text())
    with pytest.raises(Exception, match="format 1; the daemon of this version brings it to format 3 at its start"):
        SqliteStore.open(path, "FARM", read_only=True)


def test_a_long_stretch_is_kept_at_once_and_goes_on_by_single_readings(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    store = SqliteStore.open(path, "FARM")
    kept = many(3.3)
    fill(store, kept[:700])
    long = columns(kept[700:4000])
    with pytest.raises(PointsRejected, match="seq 701: seq must rise"):
        store.append_columns("T-1", joined([long, long]))
    assert store.append_columns("T-1", long) == 3300
    assert store.latest("T-1") == rounded(kept[3999])
    fill(store, kept[4000:])
    with pytest.raises(PointsRejected, match="seq must rise"):
        store.append_columns("T-1", long)
    assert list(store.read("T-1", *ALWAYS)) == [rounded(one) for one in kept]
    tidied(store)
    assert list(store.read("T-1", *ALWAYS)) == [rounded(one) for one in kept]
    assert store.seal("T-1") > 0
    assert store.latest("T-1") == rounded(kept[-1])
    assert list(store.read("T-1", *ALWAYS)) == [rounded(one) for one in kept]
    with pytest.raises(PointsRejected, match=f"the last one kept is seq {kept[-1].seq}"):
        store.append(kept[-1:])
    store.append([reading(kept[-1].seq + 1, kept[-1].time_ms + 1000)])
    assert len(list(store.read("T-1", *ALWAYS))) == len(kept) + 1
    store.close()
