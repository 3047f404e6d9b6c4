"""Stretches found bad only afterwards: every store tells them as such, in rows, columns, trends and the newest good."""

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from history.memory import MemoryStore
from history.requalify import MEASURED_BESIDE, Requalified, Stretch, painted
from history.scale import rounded
from history.sqlite import SqliteStore
from history.store import Store
from history.tidying import Kept
from models.reading import BAD, GOOD, QUANTITIES, UNCERTAIN, Bound, Quality, Reason
from tests.history.samples import NOON_MS, bad, reading, run

HOUR_MS, DAY_MS = 3_600_000, 86_400_000
MIDNIGHT_MS = NOON_MS - 12 * HOUR_MS


def stretch(start_s: float, end_s: float, quality: Quality = BAD, reason: Reason = Reason.DEVICE_FAILURE) -> Stretch:
    return Stretch(NOON_MS + round(start_s * 1000), NOON_MS + round(end_s * 1000), quality, reason)


def test_a_reading_in_a_bad_stretch_is_told_without_what_rests_on_its_level(store: Store) -> None:
    store.append(run(10))
    store.requalify(Requalified({"T-1": [stretch(3, 6)]}))
    told = list(store.read("T-1", NOON_MS, NOON_MS + 10_000))
    assert [one.quality for one in told] == [GOOD] * 3 + [BAD] * 3 + [GOOD] * 4
    inside = told[3]
    assert (inside.reason, inside.stock_quality, inside.bound) == (Reason.DEVICE_FAILURE, BAD, Bound.NONE)
    for quantity in QUANTITIES:
        stands = getattr(inside, quantity.column) is not None
        assert stands == (quantity.column in MEASURED_BESIDE), quantity.column
    assert told[2] == rounded(run(10)[2])
    store.requalify(Requalified())
    assert list(store.read("T-1", NOON_MS, NOON_MS + 10_000)) == [rounded(one) for one in run(10)]


def test_a_doubtful_stretch_keeps_its_figures(store: Store) -> None:
    store.append([*run(3), bad(4, NOON_MS + 3000)])
    store.requalify(Requalified({"T-1": [stretch(1, 9, UNCERTAIN, Reason.SUB_NORMAL)]}))
    told = list(store.read("T-1", NOON_MS, NOON_MS + 10_000))
    assert [one.quality for one in told] == [GOOD, UNCERTAIN, UNCERTAIN, BAD], "a failed loop gets no better by it"
    assert told[1].level_m == pytest.approx(5.002)
    assert (told[1].reason, told[1].stock_quality) == (Reason.SUB_NORMAL, UNCERTAIN)
    assert told[3].reason is Reason.SENSOR_FAILURE


def test_another_tank_is_left_alone(store: Store) -> None:
    store.append([reading(1, NOON_MS, "T-1"), reading(1, NOON_MS, "T-2")])
    store.requalify(Requalified({"T-2": [stretch(0, 9)]}))
    assert [store.latest(tank).quality for tank in ("T-1", "T-2")] == [GOOD, BAD]  # type: ignore[union-attr]  # both are
    assert store.latest_good("T-2") is None


@pytest.mark.parametrize("from_s", [300, 4500, 7000])
def test_the_newest_good_reading_lies_before_the_stretch(store: Store, from_s: int) -> None:
    store.append(run(7200))
    store.requalify(Requalified({"T-1": [stretch(100, 200), stretch(from_s, 9000)]}))
    found = store.latest_good("T-1")
    assert found is not None
    assert found.seq == from_s
    latest = store.latest("T-1")
    assert latest is not None
    assert (latest.quality, latest.level_m) == (BAD, None)
    store.requalify(Requalified({"T-1": [stretch(0, 9000)]}))
    assert store.latest_good("T-1") is None


@pytest.mark.parametrize("quality", [BAD, UNCERTAIN])
def test_trends_are_those_of_the_readings_as_they_are_told(store: Store, quality: Quality) -> None:
    """Buckets of 1 s, of whole minutes and of whole hours: from single readings, from minutes, from hours."""
    readings = run(7300)
    found = Requalified({"T-1": [stretch(150.5, 170, quality), stretch(3500, 3700.2, quality), stretch(7250, 7290)]})
    told = MemoryStore()
    told.append([found.reading(one) for one in readings])
    asked = [
        ("T-1", quantity, NOON_MS, span_ms, points)
        for quantity in ("level_m", "current_mA")
        for span_ms, points in ((600_000, 600), (3 * HOUR_MS, 60), (40 * HOUR_MS, 20))
    ]
    store.append(readings)
    before = [store.trend(*one) for one in asked]
    store.requalify(found)
    for one, stood in zip(asked, before, strict=True):
        now = store.trend(*one)
        assert now == told.trend(*one), one
        assert now != stood, one


def test_columns_tell_the_same_as_rows(tmp_path: Path) -> None:
    store = SqliteStore.open(tmp_path / "r.sqlite", "FARM")
    store.append(run(9000))
    found = Requalified({"T-1": [stretch(10, 20), stretch(4000, 4100, UNCERTAIN), stretch(8990, 9100)]})
    store.requalify(found)
    for _ in range(2):
        rows = list(store.read("T-1", 0, 2 * NOON_MS))
        parts = store.columns("T-1", 0, 2 * NOON_MS)
        assert np.concatenate([part.quality for part in parts]).tolist() == [one.quality for one in rows]
        for name in ("level_m", "gsv_m3", "current_mA"):
            told = np.concatenate([part.figure(name) for part in parts])
            expected = [np.nan if (value := getattr(one, name)) is None else value for one in rows]
            np.testing.assert_array_equal(told, expected)
        while store.tidy():
            pass
    store.close()


@pytest.mark.parametrize("unit_points", [(60_000, 1440), (HOUR_MS, 24)])
def test_where_only_roll_ups_are_left_each_touched_minute_counts_as_bad(
    tmp_path: Path, unit_points: tuple[int, int]
) -> None:
    unit_ms, points = unit_points
    store = SqliteStore.open(tmp_path / "r.sqlite", "FARM")
    store.append(run(3 * 1440 * 4, start_ms=MIDNIGHT_MS, step_ms=15_000))
    while store.tidy(Kept(DAY_MS)):
        pass
    assert list(store.read("T-1", MIDNIGHT_MS, MIDNIGHT_MS + DAY_MS)) == []
    span = DAY_MS if unit_ms == 60_000 else 2 * DAY_MS
    asked = ("T-1", "level_m", MIDNIGHT_MS, span, points)
    before = store.trend(*asked)
    start = MIDNIGHT_MS + 2 * HOUR_MS + 90_000
    store.requalify(Requalified({"T-1": [Stretch(start, start + 60_000, BAD, Reason.DEVICE_FAILURE)]}))
    after = store.trend(*asked)
    changed = [place for place, pair in enumerate(zip(before.good, after.good, strict=True)) if pair[0] != pair[1]]
    if unit_ms == 60_000:
        assert [after.t[place] for place in changed] == [MIDNIGHT_MS + 2 * HOUR_MS + 60_000 * k for k in (1, 2)]
        assert {after.mean[place] for place in changed} == {None}
    else:
        (place,) = changed
        assert after.good[place] == pytest.approx(1 - 2 / 120)
        assert after.mean[place] is not None
    currents = store.trend("T-1", "current_mA", *asked[2:])
    assert None not in currents.mean, "what was measured beside the level stands"
    store.close()


times = st.integers(0, 60)
stretches = st.lists(
    st.tuples(times, times, st.sampled_from(list(Quality)), st.sampled_from([Reason.DEVICE_FAILURE, Reason.NONE])),
    max_size=12,
)


@given(stretches)
def test_of_stretches_that_overlap_the_newest_wins_everywhere(said: Sequence[tuple[int, int, Quality, Reason]]) -> None:
    kept: list[Stretch] = []
    plain: dict[int, tuple[Quality, Reason]] = {}
    for first, second, quality, reason in said:
        start, end = sorted((first, second))
        kept = painted(kept, Stretch(start, end + 1, quality, reason))
        plain |= dict.fromkeys(range(start, end + 1), (quality, reason))
    assert all(one.start_ms < one.end_ms for one in kept)
    assert all(one.end_ms <= other.start_ms for one, other in pairwise(kept))
    found = Requalified({"T-1": kept})
    for at in range(62):
        told = found.at("T-1", at)
        expected = plain.get(at, (GOOD, Reason.NONE))
        assert (told[2:] if told else (GOOD, Reason.NONE)) == (expected if expected[0] else (GOOD, Reason.NONE))
