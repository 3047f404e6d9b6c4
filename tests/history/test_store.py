"""The contract that every store of readings keeps, run against each of them."""

from itertools import islice

import pytest

from history.errors import BadQuestion, PointsRejected, StoreError
from history.scale import rounded
from history.store import Store
from models.reading import QUANTITIES, Bound, Quality, Reading, Reason
from tests.history.samples import NOON_MS, bad, reading, run

HOUR_MS = 3_600_000


def test_an_empty_store_knows_nothing_and_says_so(store: Store) -> None:
    assert store.last_seq() == 0
    assert store.latest("T-1") is None
    assert store.latest_good("T-1") is None
    assert list(store.read("T-1", 0, NOON_MS)) == []
    trend = store.trend("T-1", "level_m", NOON_MS, HOUR_MS, 10)
    assert trend.mean == trend.good == (None,) * 10


def test_what_is_kept_comes_back_to_its_fixed_decimals(store: Store) -> None:
    kept = [
        reading(1, NOON_MS, level_m=9.123456789, mass_kg=571_234.56, rate_m3_per_h=-0.00049),
        reading(2, NOON_MS + 1, quality=Quality.UNCERTAIN, reason=Reason.SUB_NORMAL, stock_quality=Quality.UNCERTAIN),
        reading(3, NOON_MS + 2, bound=Bound.AT_LEAST, gsv_m3=None, mass_kg=None, water_m=None),
        bad(4, NOON_MS + 3),
        Reading(5, NOON_MS + 4, "T-1", Quality.BAD, Reason.NO_COMMUNICATION),
    ]
    store.append(kept)
    back = list(store.read("T-1", NOON_MS, NOON_MS + 5))
    assert back == [rounded(one) for one in kept]
    assert back[0].level_m == 9.12346
    assert back[0].mass_kg == 571_234.6
    assert back[0].rate_m3_per_h == 0.0
    assert back[4] == kept[4]


@pytest.mark.parametrize("reason", list(Reason))
def test_each_reason_comes_back(store: Store, reason: Reason) -> None:
    store.append([reading(1, NOON_MS, reason=reason)])
    latest = store.latest("T-1")
    assert latest is not None
    assert latest.reason is reason


def test_a_time_range_holds_its_start_and_not_its_end(store: Store) -> None:
    store.append(run(10))
    assert [one.seq for one in store.read("T-1", NOON_MS + 2000, NOON_MS + 5000)] == [3, 4, 5]
    assert list(store.read("T-1", NOON_MS + 2000, NOON_MS + 2000)) == []
    assert list(store.read("T-1", NOON_MS + 5000, NOON_MS + 2000)) == []


def test_tanks_are_kept_apart(store: Store) -> None:
    store.append([reading(1, NOON_MS, "T-1"), reading(1, NOON_MS, "T-2"), reading(2, NOON_MS, "T-2")])
    assert [one.tank for one in store.read("T-2", NOON_MS, NOON_MS + 1)] == ["T-2", "T-2"]
    assert store.latest("T-1") == rounded(reading(1, NOON_MS, "T-1"))
    assert store.last_seq() == 2


def test_a_clock_that_steps_back_an_hour_loses_and_doubles_nothing(store: Store) -> None:
    before = run(5400)  # an hour and a half
    after = run(5400, first_seq=5401, start_ms=before[-1].time_ms - HOUR_MS)
    for start in range(0, 5400, 900):
        store.append(before[start : start + 900])
    for start in range(0, 5400, 900):
        store.append(after[start : start + 900])
    everything = list(store.read("T-1", 0, NOON_MS + 10 * HOUR_MS))
    assert everything == [rounded(one) for one in before + after]
    twice_lived = range(NOON_MS + HOUR_MS, NOON_MS + HOUR_MS + 60_000)
    expected = [one.seq for one in before + after if one.time_ms in twice_lived]
    assert [one.seq for one in store.read("T-1", twice_lived.start, twice_lived.stop)] == expected
    assert len(expected) == 120


def test_latest_goes_by_seq_and_not_by_the_clock(store: Store) -> None:
    store.append([reading(7, NOON_MS), reading(8, NOON_MS - HOUR_MS)])
    latest = store.latest("T-1")
    assert latest is not None
    assert latest.seq == 8


@pytest.mark.parametrize("bad_ones", [1, 59, 600])
def test_the_last_good_reading_is_found_behind_bad_ones(store: Store, bad_ones: int) -> None:
    store.append(run(100))
    store.append([bad(101 + i, NOON_MS + 100_000 + i * 1000) for i in range(bad_ones)])
    good, latest = store.latest_good("T-1"), store.latest("T-1")
    assert good is not None
    assert latest is not None
    assert (good.seq, latest.seq) == (100, 100 + bad_ones)


def test_a_tank_that_was_never_good_has_no_last_good(store: Store) -> None:
    store.append([bad(i, NOON_MS + i * 1000) for i in range(1, 200)])
    assert store.latest_good("T-1") is None


def test_a_seq_that_does_not_rise_is_refused_and_the_others_are_kept(store: Store) -> None:
    store.append(run(3))
    with pytest.raises(PointsRejected, match="seq must rise") as caught:
        store.append([reading(3, NOON_MS + 9000), reading(4, NOON_MS + 9000), reading(4, NOON_MS + 9001)])
    assert list(caught.value.refused) == [0, 2]
    assert caught.value.accepted == (1,)
    assert [one.seq for one in store.read("T-1", 0, NOON_MS + HOUR_MS)] == [1, 2, 3, 4]


@pytest.mark.parametrize(
    ("poison", "word"),
    [
        (reading(2, NOON_MS)._replace(level_m=float("nan")), "level_m nan is not a finite number"),
        (reading(2, NOON_MS, mass_kg=float("inf")), "mass_kg inf is not a finite number"),
        (reading(2, NOON_MS, tov_m3=1e30), "tov_m3 1e\\+30 is beyond any tank"),
        (reading(2, -1), "before 1970"),
        (reading(0, NOON_MS, "T-2"), "seq 0 is below 1"),
    ],
)
def test_a_reading_that_can_never_be_kept_is_named(store: Store, poison: Reading, word: str) -> None:
    store.append([reading(1, NOON_MS)])
    with pytest.raises(PointsRejected, match=word) as caught:
        store.append([poison, reading(5, NOON_MS + 5000)])
    assert list(caught.value.refused) == [0]
    assert store.last_seq() == 5


def test_an_iterator_shows_the_store_as_it_was_when_asked_and_may_be_left(store: Store) -> None:
    store.append(run(5000))
    rows = store.read("T-1", 0, NOON_MS + 100 * HOUR_MS)
    first = list(islice(rows, 10))
    store.append(run(10, first_seq=5001, start_ms=NOON_MS + 5_000_000))
    assert [one.seq for one in first + list(rows)] == list(range(1, 5001))
    left = store.read("T-1", 0, NOON_MS + 100 * HOUR_MS)
    next(left)
    del left
    store.append(run(1, first_seq=5011, start_ms=NOON_MS + 6_000_000))
    assert store.last_seq() == 5011


@pytest.mark.parametrize(
    ("quantity", "span_ms", "points", "word"),
    [
        ("quality", HOUR_MS, 10, "no quantity is called 'quality'; there are current_mA"),
        ("level", HOUR_MS, 10, "no quantity is called 'level'"),
        ("level_m", HOUR_MS, 9, "9 points asked for; allowed are 10 to 2000"),
        ("level_m", HOUR_MS, 2001, "2001 points"),
        ("level_m", 0, 10, "a span of 0 ms"),
        ("level_m", 99, 100, "1 ms a point"),
        ("level_m", 101 * 366 * 24 * HOUR_MS, 100, "100 years"),
    ],
)
def test_a_question_without_an_answer_says_what_is_allowed(
    store: Store, quantity: str, span_ms: int, points: int, word: str
) -> None:
    with pytest.raises(BadQuestion, match=word):
        store.trend("T-1", quantity, NOON_MS, span_ms, points)


def test_every_quantity_has_a_trend_in_its_own_unit(store: Store) -> None:
    kept = run(20)
    store.append(kept)
    for quantity in QUANTITIES:
        trend = store.trend("T-1", quantity.column, NOON_MS, 20_000, 20)
        assert trend.unit == quantity.unit
        assert trend.mean == tuple(getattr(rounded(one), quantity.column) for one in kept)


def test_a_closed_store_says_that_it_is_closed(store: Store) -> None:
    store.append(run(1))
    store.close()
    store.close()
    for call in (
        lambda: store.append(run(1)),
        lambda: store.latest("T-1"),
        lambda: list(store.read("T-1", 0, NOON_MS)),
        store.last_seq,
    ):
        with pytest.raises(StoreError, match="closed"):
            call()
