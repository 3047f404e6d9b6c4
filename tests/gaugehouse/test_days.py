from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugehouse.days import Days, iso_ms, parse_ms
from gaugehouse.extremes import Extremes
from models.reading import Quality, Reading, Reason

HOUR_MS = 3_600_000


def ms(text: str) -> int:
    return parse_ms(text)


@pytest.mark.parametrize(
    ("zone", "moment", "date", "hours"),
    [  # source of the changes of clock: IANA tz database, by way of the tzdata package
        ("Europe/Oslo", "2026-03-29T12:00:00+02:00", "2026-03-29", 23),
        ("Europe/Oslo", "2026-10-25T12:00:00+01:00", "2026-10-25", 25),
        ("Europe/Oslo", "2026-06-01T00:00:00+02:00", "2026-06-01", 24),
        ("Asia/Kolkata", "2026-01-31T18:30:00Z", "2026-02-01", 24),
        ("Etc/UTC", "2026-01-31T23:59:59.999Z", "2026-01-31", 24),
    ],
)
def test_a_day_has_the_hours_that_the_zone_gives_it(zone: str, moment: str, date: str, hours: int) -> None:
    day = Days(zone, 0).at(ms(moment))
    assert day.date == date
    assert day.end_ms - day.start_ms == hours * HOUR_MS


def test_a_day_may_begin_at_seven() -> None:
    days = Days("Etc/UTC", 7 * 60)
    assert days.at(ms("2026-01-31T06:59:59.999Z")).date == "2026-01-30"
    assert days.at(ms("2026-01-31T07:00:00Z")).date == "2026-01-31"


@pytest.mark.parametrize(
    ("zone", "starts", "moment", "date"),
    [  # the hour in which the day begins comes twice; the day begins with the first
        ("America/New_York", 90, "2026-11-01T01:29:59-04:00", "2026-10-31"),
        ("America/New_York", 90, "2026-11-01T01:30:00-04:00", "2026-11-01"),
        ("America/New_York", 90, "2026-11-01T01:10:00-05:00", "2026-11-01"),
        ("Europe/Oslo", 150, "2026-10-25T02:10:00+01:00", "2026-10-25"),
    ],
)
def test_a_day_that_begins_in_the_hour_that_comes_twice_begins_once(
    zone: str, starts: int, moment: str, date: str
) -> None:
    day = Days(zone, starts).at(ms(moment))
    assert day.date == date
    assert day.start_ms <= ms(moment) < day.end_ms


@given(
    st.integers(0, 4_102_444_800_000),
    st.sampled_from(["Europe/Oslo", "America/St_Johns", "Asia/Kolkata", "Pacific/Apia", "Australia/Lord_Howe"]),
    st.integers(0, 1439),
)
def test_days_follow_each_other_without_a_gap(moment: int, zone: str, starts: int) -> None:
    days = Days(zone, starts)
    day = days.at(moment)
    assert day.start_ms <= moment < day.end_ms
    assert days.at(day.end_ms).start_ms == day.end_ms
    assert days.at(day.start_ms) == day


@given(st.integers(0, 4_102_444_800_000))
def test_times_come_back_from_their_text(moment: int) -> None:
    assert parse_ms(iso_ms(moment)) == moment
    assert iso_ms(moment) == datetime.fromtimestamp(moment / 1000, UTC).isoformat(timespec="milliseconds").replace(
        "+00:00", "Z"
    )


def test_a_time_without_an_offset_is_refused() -> None:
    with pytest.raises(ValueError, match="has no offset"):
        parse_ms("2026-01-31T08:00:00")


def reading(at: int, level: float | None, quality: Quality = Quality.GOOD) -> Reading:
    return Reading(1, at, "palm", quality, Reason.NONE, level_m=level)


def test_extremes_begin_anew_with_the_site_s_day_and_by_hand() -> None:
    extremes = Extremes(Days("Europe/Oslo", 0))
    noon = round(datetime(2026, 1, 31, 12, tzinfo=ZoneInfo("Europe/Oslo")).timestamp() * 1000)
    for hour, level in enumerate((6.0, 7.0, 5.0)):
        extremes.add(reading(noon + hour * HOUR_MS, level))
    extremes.add(reading(noon + 3 * HOUR_MS, 9.0, Quality.UNCERTAIN))
    extremes.add(reading(noon + 3 * HOUR_MS, None, Quality.BAD))
    assert (extremes.day.low_m, extremes.day.high_m) == (5.0, 7.0)
    assert extremes.day.high_ms == noon + HOUR_MS
    extremes.add(reading(noon + 13 * HOUR_MS, 6.5))
    assert (extremes.day.low_m, extremes.day.high_m) == (6.5, 6.5)
    assert (extremes.since_reset.low_m, extremes.since_reset.high_m) == (5.0, 7.0)
    extremes.reset(noon + 13 * HOUR_MS, "Ana")
    extremes.add(reading(noon + 14 * HOUR_MS, 6.4))
    assert (extremes.since_reset.low_m, extremes.since_reset.high_m, extremes.reset_by) == (6.4, 6.4, "Ana")

    again = Extremes(Days("Europe/Oslo", 0))
    again.restore(extremes.save())
    again.add(reading(noon + 15 * HOUR_MS, 6.6))
    assert (again.day.low_m, again.day.high_m) == (6.4, 6.6)
