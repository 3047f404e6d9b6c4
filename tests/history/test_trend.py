"""Trends against a computation of each bucket from its single readings, done here and with numpy."""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from history.memory import MemoryStore
from history.sqlite import SqliteStore
from history.store import Store, Trend, grid_of
from models.reading import QUANTITY, Quality, Reading
from tests.history.conftest import Tidied
from tests.history.samples import NOON_MS, bad, reading, run

DAY_MS = 86_400_000
ALWAYS = {"current_mA", "temperature_degC"}


def edges(start_ms: int, span_ms: int, points: int) -> list[int]:
    """Where buckets begin, and the end of the last: to the millisecond, or on whole minutes or hours where they are
    longer than two of them, the first rounded down and the last up."""
    unit = next((unit for unit in (3_600_000, 60_000) if Fraction(span_ms, points) >= 2 * unit), 1)
    exact = [start_ms + Fraction(i * span_ms, points) for i in range(points + 1)]
    if unit == 1:
        return [ceil(edge) for edge in exact]
    return [floor(edge / unit) * unit for edge in exact[:-1]] + [ceil(exact[-1] / unit) * unit]


def by_hand(readings: Sequence[Reading], quantity: str, start_ms: int, span_ms: int, points: int) -> Trend:
    """Each bucket from the readings whose time lies between its edges."""
    unit, decimals = QUANTITY[quantity].unit, QUANTITY[quantity].decimals
    columns: list[list[float | None]] = [[], [], [], []]
    found = edges(start_ms, span_ms, points)
    for first, end in pairwise(found):
        inside = [one for one in readings if first <= one.time_ms < end]
        counted = [one for one in inside if one.quality is not Quality.BAD or quantity in ALWAYS]
        printed = [float(f"{v:.{decimals}f}") for one in counted if (v := getattr(one, quantity)) is not None]
        values = np.array(printed, dtype=np.float64)
        columns[0].append(values.min() if values.size else None)
        columns[1].append(values.mean() if values.size else None)
        columns[2].append(values.max() if values.size else None)
        columns[3].append(np.mean([one.quality is Quality.GOOD for one in inside]) if inside else None)
    return Trend(unit, tuple(found[:-1]), *(tuple(column) for column in columns))


def assert_same(found: Trend, expected: Trend) -> None:
    assert (found.unit, found.t) == (expected.unit, expected.t)
    assert found.min == expected.min
    assert found.max == expected.max
    assert found.good == expected.good
    for one, other in zip(found.mean, expected.mean, strict=True):
        assert one == (None if other is None else pytest.approx(other, rel=1e-12, abs=1e-12))


STEPS_MS = st.sampled_from([1, 1000, 1000, 1000, 10_000, 59_000, 60_000, 3_600_000, -3_600_000, -3000, 40_000_000])
KINDS = st.sampled_from(["good", "good", "uncertain", "bad", "bad with water", "silent"])


@st.composite
def histories(draw: st.DrawFn) -> list[Reading]:
    at_ms, found = NOON_MS, []
    for seq, (step, kind) in enumerate(draw(st.lists(st.tuples(STEPS_MS, KINDS), min_size=1, max_size=60)), start=1):
        at_ms += step
        level = draw(st.floats(-1, 20))
        match kind:
            case "bad":
                found.append(bad(seq, at_ms))
            case "bad with water":
                found.append(bad(seq, at_ms)._replace(water_m=0.5))
            case "silent":
                found.append(bad(seq, at_ms, current_mA=None)._replace(temperature_degC=None))
            case _:
                quality = Quality.UNCERTAIN if kind == "uncertain" else Quality.GOOD
                found.append(reading(seq, at_ms, level_m=level, quality=quality))
    return found


@settings(max_examples=120, deadline=None)
@given(
    histories(),
    st.sampled_from(["level_m", "current_mA", "temperature_degC", "water_m", "rate_m3_per_h"]),
    st.integers(-DAY_MS // 2, DAY_MS // 2),
    st.sampled_from([1000, 3_600_000, DAY_MS, 7 * DAY_MS]),
    st.sampled_from([10, 11, 97]),
    st.integers(1, 60),
)
def test_a_trend_is_that_of_its_single_readings(
    readings: list[Reading], quantity: str, shift_ms: int, span_ms: int, points: int, batch: int
) -> None:
    expected = by_hand(readings, quantity, NOON_MS + shift_ms, span_ms, points)
    with TemporaryDirectory() as folder:
        stores: list[Store] = [MemoryStore(), SqliteStore.open(Path(folder) / "r.sqlite", "FARM")]
        stores.append(Tidied.open(Path(folder) / "tidied.sqlite", "FARM"))
        for store in stores:
            for start in range(0, len(readings), batch):
                store.append(readings[start : start + batch])
            assert_same(store.trend("T-1", quantity, NOON_MS + shift_ms, span_ms, points), expected)
            store.close()


@settings(max_examples=200)
@given(st.integers(0, 2 * NOON_MS), st.integers(2000, 10**12), st.integers(10, 2000))
def test_edges_are_where_they_are_said_to_be(start_ms: int, span_ms: int, points: int) -> None:
    _, grid = grid_of("level_m", start_ms, span_ms, points)
    found = edges(start_ms, span_ms, points)
    assert list(grid.starts()) == found[:-1]
    assert (grid.first_ms, grid.end_ms) == (found[0], found[-1])


def test_a_gap_is_a_gap_and_never_zero_nor_the_value_before_it(store: Store) -> None:
    store.append(run(10))
    store.append(run(10, first_seq=11, start_ms=NOON_MS + 20_000))
    trend = store.trend("T-1", "level_m", NOON_MS, 30_000, 30)
    for column in (trend.min, trend.mean, trend.max, trend.good):
        assert [value is None for value in column] == [False] * 10 + [True] * 10 + [False] * 10


def test_a_stretch_of_failed_signal_has_no_level_but_its_current_and_says_that_none_was_good(store: Store) -> None:
    store.append([bad(i + 1, NOON_MS + 1000 * i, current_mA=3.5) for i in range(10)])
    level = store.trend("T-1", "level_m", NOON_MS, 10_000, 10)
    current = store.trend("T-1", "current_mA", NOON_MS, 10_000, 10)
    assert level.mean == (None,) * 10
    assert level.good == (0.0,) * 10
    assert current.mean == (3.5,) * 10


def test_water_measured_under_a_failed_level_does_not_count(store: Store) -> None:
    store.append([bad(1, NOON_MS)._replace(water_m=0.5), reading(2, NOON_MS + 1, water_m=0.1)])
    assert store.trend("T-1", "water_m", NOON_MS, 10, 10).max[:2] == (None, 0.1)


def test_a_level_of_zero_is_a_value(store: Store) -> None:
    store.append([reading(1, NOON_MS, level_m=0.0)])
    assert store.trend("T-1", "level_m", NOON_MS, 10, 10).min[0] == 0.0


@pytest.mark.parametrize("kind", [SqliteStore, Tidied])
def test_long_buckets_answer_from_minutes_to_the_same_bit_as_short_ones(
    kind: type[SqliteStore], tmp_path: Path
) -> None:
    """Rolled-up minutes, minutes cut by a bucket's edge and the open minute, against plain sums of scaled numbers."""
    sqlite = kind.open(tmp_path / "long.sqlite", "FARM")
    rng = np.random.default_rng(20260101)
    levels = 5 + np.cumsum(rng.normal(0, 0.003, 20_000))
    kept = [
        bad(i + 1, NOON_MS + i * 1000) if 4000 <= i < 4100 or i % 997 == 0
        else reading(i + 1, NOON_MS + i * 1000, level_m=float(levels[i]))
        for i in range(20_000)
    ]  # fmt: skip
    for start in range(0, 20_000, 137):
        sqlite.append(kept[start : start + 137])
    start_ms, span_ms, points = NOON_MS + 12_345, 19_000_000, 31
    trend = sqlite.trend("T-1", "level_m", start_ms, span_ms, points)
    times = np.array([one.time_ms for one in kept])
    scaled = np.array([-1 if one.level_m is None else round(round(one.level_m, 5) * 10**5) for one in kept])
    for i in range(points):
        inside = (times >= trend.t[i]) & (
            times < (trend.t[i + 1] if i + 1 < points else -(-(start_ms + span_ms) // 60_000) * 60_000)
        )
        values = scaled[inside & (scaled >= 0)]
        assert trend.min[i] == int(values.min()) / 10**5
        assert trend.max[i] == int(values.max()) / 10**5
        assert trend.mean[i] == int(values.sum()) / (len(values) * 10**5)
        assert trend.good[i] == len(values) / int(inside.sum())
    sqlite.close()
