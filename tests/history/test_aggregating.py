"""Points for aggregates out of the stores: qualities, gaps, clocks that step back, stretches that are thinned."""

from pathlib import Path

import pytest

from history.aggregating import Question, aggregated
from history.errors import BadQuestion
from history.sqlite import SqliteStore
from history.tidying import Kept
from models.reading import Quality
from tests.history.samples import NOON_MS, bad, reading, run

HOUR_MS, DAY_MS = 3_600_000, 86_400_000


def asked(name: str, span_ms: int = HOUR_MS, interval_ms: int = HOUR_MS, quantity: str = "level_m") -> Question:
    return Question("T-1", quantity, name, NOON_MS, NOON_MS + span_ms, interval_ms, 5000)


def test_where_nobody_wrote_nothing_is_known(sqlite: SqliteStore) -> None:
    """Half an hour on, then the daemon was off for a quarter: a straight line across it would be a lie."""
    sqlite.append(run(1800))
    sqlite.append(run(900, first_seq=1801, start_ms=NOON_MS + 2_700_000))
    (mean,) = aggregated(sqlite, asked("TimeAverage2"))
    assert mean.good_percent == pytest.approx(75, abs=0.1)
    assert mean.status == "UncertainDataSubNormal"
    (off,) = aggregated(sqlite, Question("T-1", "level_m", "TimeAverage2", NOON_MS + 1_900_000, NOON_MS + 2_600_000,
                                         700_000, 5000))  # fmt: skip
    assert (off.value, off.status, off.good_percent) == (None, "BadNoData", 0.0)


def test_what_was_last_measured_is_not_held_until_the_end(sqlite: SqliteStore) -> None:
    """Ten minutes of a rise, then nothing: the mean is that of the ten minutes, whatever came hours later."""
    rise = [one._replace(level_m=5 + k / 600) for k, one in enumerate(run(600))]
    sqlite.append(rise)
    for _ in range(2):
        (mean,) = aggregated(sqlite, asked("TimeAverage2"))
        assert mean.value == pytest.approx(5.5, abs=0.002)
        assert mean.good_percent == pytest.approx(16.7, abs=0.1)
        sqlite.append([reading(1000 + sqlite.last_seq(), NOON_MS + 2 * HOUR_MS)])
    assert aggregated(sqlite, asked("TimeAverage2", 600_000, 600_000))[0].value == pytest.approx(5.5, abs=0.002)
    to_the_last = asked("TimeAverage2", 603_000, 603_000)  # not a gap yet: the last value holds
    assert aggregated(sqlite, to_the_last)[0].value == pytest.approx(5.502, abs=0.001)


def test_a_gap_is_no_reading(sqlite: SqliteStore) -> None:
    sqlite.append(run(60))
    sqlite.append(run(60, first_seq=100, start_ms=NOON_MS + HOUR_MS))
    for name, value in (("End", run(60)[-1].level_m), ("WorstQuality", 0), ("Count", 60)):
        (found, _) = aggregated(sqlite, asked(name, 2 * HOUR_MS))
        assert (found.value, found.status) == (value, "Good")
        assert found.good_percent == pytest.approx(1.64, abs=0.1)


def test_a_failed_loop_counts_as_bad_and_its_current_as_measured(sqlite: SqliteStore) -> None:
    sqlite.append(run(1800))
    sqlite.append([bad(1801 + i, NOON_MS + (1800 + i) * 1000) for i in range(1800)])
    sqlite.append([reading(3601, NOON_MS + HOUR_MS)])
    assert aggregated(sqlite, asked("PercentGood"))[0].value == pytest.approx(50, abs=0.1)
    assert aggregated(sqlite, asked("PercentGood", quantity="current_mA"))[0].value == pytest.approx(100)
    assert aggregated(sqlite, asked("Minimum", quantity="current_mA"))[0].value == 3.5


def test_a_stock_figure_goes_by_the_quality_of_the_stock(sqlite: SqliteStore) -> None:
    sqlite.append([one._replace(stock_quality=Quality.UNCERTAIN) for one in run(60)])
    question = asked("PercentGood", 60_000, 60_000)
    assert aggregated(sqlite, question)[0].value == pytest.approx(100, abs=2)
    assert aggregated(sqlite, question._replace(quantity="gsv_m3"))[0].value == 0


def test_of_two_readings_of_one_instant_the_later_counts(sqlite: SqliteStore) -> None:
    sqlite.append(run(60))
    sqlite.append([reading(61, NOON_MS + 30_000, level_m=9.0), reading(62, NOON_MS + 60_000)])
    assert aggregated(sqlite, asked("Maximum", 60_000, 60_000))[0].value == 9.0
    assert aggregated(sqlite, asked("Count", 60_000, 60_000))[0].value == 60


def test_sealed_and_new_readings_answer_alike(tmp_path: Path) -> None:
    store = SqliteStore.open(tmp_path / "r.sqlite", "FARM")
    store.append(run(9000))
    question = asked("TimeAverage2", 9_000_000, 600_000)
    before = aggregated(store, question)
    while store.tidy():
        pass
    assert aggregated(store, question) == before
    store.close()


def test_what_is_left_as_roll_ups_is_not_passed_off_as_readings(tmp_path: Path) -> None:
    store = SqliteStore.open(tmp_path / "r.sqlite", "FARM")
    store.append(run(3 * 1440, step_ms=60_000))
    while store.tidy(Kept(DAY_MS)):
        pass
    with pytest.raises(BadQuestion, match="no longer kept; a trend tells"):
        aggregated(store, asked("Average"))
    store.close()


@pytest.mark.parametrize(
    ("change", "words"),
    [({"quantity": "level"}, "no quantity"), ({"end_ms": NOON_MS + 401 * DAY_MS, "interval_ms": DAY_MS}, "400 days")],
)
def test_a_question_without_an_answer_says_why(sqlite: SqliteStore, change: dict[str, object], words: str) -> None:
    with pytest.raises(BadQuestion, match=words):
        aggregated(sqlite, asked("Average")._replace(**change))  # type: ignore[arg-type]  # fields of a question
