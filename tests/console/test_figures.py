"""How figures, lengths of time and moments are written."""

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from console.figures import MINUS, NBSP, THIN, clock, date, duration, figure, moment, number, plainly, written

DUBLIN = ZoneInfo("Europe/Dublin")


@pytest.mark.parametrize(
    ("value", "decimals", "signed", "text"),
    [
        (48001.4, 0, False, f"48{THIN}001"),
        (1234567.0, 0, False, f"1{THIN}234{THIN}567"),
        (999.0, 0, False, "999"),
        (-3.25, 1, False, f"{MINUS}3.2"),
        (406.0, 0, True, "+406"),
        (-406.0, 0, True, f"{MINUS}406"),
        (-0.2, 0, True, "0"),
        (0.0, 1, True, "0.0"),
        (9999.96, 1, False, f"10{THIN}000.0"),
    ],
)
def test_numbers_are_grouped_by_three_with_a_true_minus(value: float, decimals: int, signed: bool, text: str) -> None:
    assert number(value, decimals, signed=signed) == text


@given(st.floats(-1e9, 1e9), st.integers(0, 4))
def test_a_written_number_reads_back_to_its_last_digit(value: float, decimals: int) -> None:
    read = float(number(value, decimals).replace(THIN, "").replace(MINUS, "-"))
    assert abs(read - value) <= 0.5 * 10**-decimals * (1 + 1e-9) + 1e-6


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (95, "95 s"),
        (119.9, "119 s"),
        (120, "2 min"),
        (185, "3 min 5 s"),
        (600, "10 min"),
        (3599, "59 min"),
        (3600, "1 h"),
        (6360, "1 h 46 min"),
        (86400, "1 d"),
        (90000, "1 d 1 h"),
        (-5, "0 s"),
    ],
)
def test_a_length_of_time_has_two_units_and_is_never_rounded_up(seconds: float, text: str) -> None:
    assert duration(seconds).replace("\N{NO-BREAK SPACE}", " ") == text


def test_times_are_the_sites_over_a_change_of_clock() -> None:
    """Europe/Dublin left summer time on 2026-10-25 at 01:00 UTC (IANA time zone database)."""
    assert clock("2026-10-25T00:59:59.000Z", DUBLIN) == "01:59:59"
    assert clock("2026-10-25T01:00:00.000Z", DUBLIN) == "01:00:00"
    assert date("2026-10-25T01:00:00.000Z", DUBLIN) == "Sun 25 Oct 2026 GMT"


@pytest.mark.parametrize(
    ("then", "text"),
    [
        ("2026-11-25T11:58:25.000Z", "11:58:25"),
        ("2026-11-24T11:58:25.000Z", "24 Nov 11:58:25"),
        ("2025-11-24T11:58:25.000Z", "24 Nov 2025 11:58:25"),
        (None, "– – –"),
    ],
)
def test_a_past_moment_says_its_day_when_it_was_not_today(then: str | None, text: str) -> None:
    assert moment(then, "2026-11-25T12:00:00.000Z", DUBLIN) == text


@pytest.mark.parametrize(
    ("value", "quality", "bound", "stale", "text", "trust"),
    [
        (48.001, "Good", "", "", f"48{THIN}001", "good"),
        (48.001, "Uncertain", "", "", f"≈ 48{THIN}001", "uncertain"),
        (48.001, "Uncertain", "ge", "", f"≥ 48{THIN}001", "bound"),
        (48.001, "Bad", "ge", "", f"≥ 48{THIN}001", "bound"),
        (48.001, "Good", "le", "", f"≤ 48{THIN}001", "bound"),
        (48.001, "Bad", "", "", "– – –", "bad"),
        (None, "Good", "", "", "– – –", "bad"),
        (48.001, "Good", "", "no reading for 95 s", f"48{THIN}001", "stale"),
        (None, "Bad", "", "no reading for 95 s", "– – –", "bad"),
    ],
)
def test_a_figure_is_marked_by_what_to_think_of_it(
    value: float | None, quality: str, bound: str, stale: str, text: str, trust: str
) -> None:
    made = figure("tov_m3", value, quality=quality, bound=bound, stale=stale)
    assert (made.text, made.trust) == (text, trust)


def test_a_missing_figure_is_never_blank_nor_zero() -> None:
    assert written("gsv_m3", None) == "– – –"


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("no sample before 2026-07-14T12:30:00.000Z", "no sample before 13:30"),
        ("no sample before 2026-07-16T23:30:00.000Z", "no sample before 17 Jul 00:30"),
        ("2026-07-01 by Ada: clear", f"1{NBSP}Jul by Ada: clear"),
        ("2025-12-31 by Ada", f"31{NBSP}Dec 2025 by Ada"),
        ("certificate C-2026-02-11 ends", "certificate C-2026-02-11 ends"),
        ("paper 2026-77-01", "paper 2026-77-01"),
    ],
)
def test_days_and_times_in_a_sentence_are_told_on_the_sites_clock(said: str, told: str) -> None:
    # Dublin is an hour ahead of UTC in July.
    assert plainly(said, "2026-07-14T09:00:00Z", DUBLIN) == told
