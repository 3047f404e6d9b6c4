"""Time watched, availability, repeats, and a mean time between failures only from five faults on.

Every figure is computed by hand beside its case. Source of the least number: common practice, no source.
"""

import json

import pytest

from alerts.faultfigures import loop_figures, repeats
from alerts.watchtime import DAY_MS, KEPT_DAYS, Watched, WatchTime

HOUR = 3_600_000
NOW = 1_700_000_000_000


@pytest.mark.parametrize(("faults", "mean_h"), [(0, None), (1, None), (4, None), (5, 144.0), (8, 90.0)])
def test_a_mean_time_between_failures_is_told_from_five_faults_on(faults: int, mean_h: float | None) -> None:
    starts = [NOW - k * DAY_MS for k in range(faults)]
    figures = loop_figures(starts, Watched(720 * HOUR, 18 * HOUR), NOW, 30)
    assert (figures.faults, figures.watched_h, figures.lost_h) == (faults, 720.0, 18.0)
    assert figures.availability == pytest.approx(0.975)  # 1 - 18/720
    assert figures.mean_h == mean_h


def test_faults_of_other_days_do_not_count_and_nothing_watched_is_nothing_known() -> None:
    figures = loop_figures([NOW - 31 * DAY_MS, NOW - 2 * DAY_MS], Watched(0, 0), NOW, 30)
    assert (figures.faults, figures.availability, figures.mean_h) == (1, None, None)


@pytest.mark.parametrize(("days", "expected"), [(30, 3), (90, 4), (1, 1)])
def test_repeats_count_the_fault_itself_and_those_of_the_days_before(days: int, expected: int) -> None:
    starts = [NOW - k * DAY_MS for k in (200, 60, 30, 5, 0)]
    assert repeats(starts, NOW, days) == expected


def watched(watch: WatchTime, seconds: range, *, trusted: bool = True, offset_ms: int = 0) -> None:
    for second in seconds:
        watch.heard("L1", second * 1000, NOW + second * 1000 + offset_ms, trusted=trusted)


def test_time_is_watched_from_poll_to_poll_and_lost_while_the_signal_is_not_trusted() -> None:
    watch = WatchTime({"L1": 1000})
    watched(watch, range(101))
    watched(watch, range(101, 111), trusted=False)
    assert watch.over("L1", NOW, 30) == Watched(110_000, 10_000)
    assert watch.over("L9", NOW, 30) == Watched(0, 0)


def test_a_hole_was_not_watched_and_the_daemon_s_own_rest_neither() -> None:
    watch = WatchTime({"L1": 1000})
    watched(watch, range(11))
    watched(watch, range(60, 71))
    assert watch.over("L1", NOW, 30) == Watched(20_000, 0)
    again = WatchTime({"L1": 1000})
    again.restore(json.loads(json.dumps(watch.save(False))) | {"L9": {}})
    watched(again, range(70, 81), offset_ms=10 * HOUR)
    assert again.over("L1", NOW + 10 * HOUR, 30) == Watched(30_000, 0)


def test_a_dead_unit_that_is_asked_less_often_is_lost_between_two_askings() -> None:
    watch = WatchTime({"L1": 1000})
    watched(watch, range(11))
    watched(watch, (11, 41, 71, 101), trusted=False)
    watched(watch, (131, 132, 133))
    assert watch.over("L1", NOW, 30) == Watched(133_000, 121_000)
    watched(watch, (200,), trusted=False)
    watched(watch, (300,))
    assert watch.over("L1", NOW, 30) == Watched(133_000, 121_000), "holes of a minute and more were not watched"


def test_days_are_summed_and_the_oldest_are_dropped() -> None:
    watch = WatchTime({"L1": HOUR})
    for hour in range(24 * 120):
        watch.heard("L1", hour * HOUR, NOW + hour * HOUR, trusted=True)
    end = NOW + 24 * 120 * HOUR
    saved = watch.save(False)["L1"]
    assert len(saved) == KEPT_DAYS
    assert watch.save(False) == {}
    assert watch.save(True) == {}
    assert 90 * 24 <= watch.over("L1", end, 90).watched_ms / HOUR <= 91 * 24
    assert 30 * 24 <= watch.over("L1", end, 30).watched_ms / HOUR <= 31 * 24
