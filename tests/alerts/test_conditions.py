"""One tank's limits in time: deadband, delays, and what readings that cannot be trusted may do.

Source of the traces: tests/data/alarms/alarm_deadband_traces.csv (computed; semantics of OPC UA Part 9, B.1.5).
The other timelines are the house's own rules, written out.
"""

import pytest

from alerts.conditions import LimitWatch, TankFacts, TankWatch, check_limits
from alerts.errors import BadSetup
from alerts.sheet import default_limit
from alerts.spec import Limit, TankAlarms
from models.signal import span_fraction
from tests.alerts.timelines import facts_of, instant, one_tank, play_alarms, reading
from tests.reference import rows

HIGH = default_limit("high", 9.9)


@pytest.mark.parametrize("mirrored", [False, True], ids=["high", "low"])
@pytest.mark.parametrize("row", rows("alarms/alarm_deadband_traces.csv"), ids=lambda row: row["id"])
def test_deadband_traces(row: dict[str, str], mirrored: bool) -> None:
    sign = -1 if mirrored else 1
    delays = [round(1000 * float(row[name])) for name in ("on_delay_s", "off_delay_s")]
    condition = "low" if mirrored else "high"
    watch = LimitWatch(Limit(condition, sign * float(row["high_limit"]), float(row["deadband"]), *delays, 2))
    seen = []
    for second, value in enumerate(map(float, row["values_1s"].split(";"))):
        watch.trusted(1000 * second, sign * value)
        watch.judge(1000 * second)
        seen.append(int(watch.active))
    assert seen == [int(cell) for cell in row["alarm_active_each_sample"].split(";")]


def test_high_is_raised_at_the_first_tick_at_which_it_has_held_for_the_delay() -> None:
    play_alarms(
        one_tank(HIGH),
        """
         0   s 9.80 Good |
         5   s 9.91 Good |
         9   s 9.92 Good |
        10   s 9.92 Good | high raised -> unacknowledged
        20   s 9.895 Good |
        40   s 9.891 Good |
        41   s 9.889 Good |
        46   s 9.889 Good | high returned -> returned_unacknowledged
        """,
    )


def test_a_tick_of_another_instrument_ends_a_delay_too() -> None:
    play_alarms(
        one_tank(HIGH),
        """
        0   s 9.91 Good |
        4.9 s |
        5.1 s | high raised -> unacknowledged
        6   s 9.80 Good |
        12  s | high returned -> returned_unacknowledged
        """,
    )


def test_high_high_and_critical_high_come_at_once_and_bring_the_lower_ones() -> None:
    limits = (default_limit("critical_high", 10.5), default_limit("high_high", 10.2), HIGH)
    play_alarms(
        one_tank(*limits),
        """
        0  s 9.80 Good |
        1  s 10.2 Good | high_high raised -> unacknowledged, high raised -> unacknowledged
        2  s 10.6 Good | critical_high raised -> unacknowledged
        3  s 9.0 Good |
        8  s 9.0 Good | critical_high returned -> returned_unacknowledged, high_high returned -> returned_unacknowledged, high returned -> returned_unacknowledged
        """,  # noqa: E501 - one tick is one line
    )


def test_a_milder_limit_does_not_return_before_a_worse_one() -> None:
    worse = Limit("high_high", 10.2, 0.5, 0, 0, 1)
    play_alarms(
        one_tank(worse, Limit("high", 10.0, 0.01, 0, 0, 2)),
        """
        0 s 10.3 Good | high_high raised -> unacknowledged, high raised -> unacknowledged
        1 s 9.8 Good  |
        2 s 9.69 Good | high_high returned -> returned_unacknowledged, high returned -> returned_unacknowledged
        """,
    )


def test_low_low_implies_low() -> None:
    play_alarms(
        one_tank(default_limit("low", 1.0), Limit("low_low", 0.5, 0.01, 0, 0, 2)),
        """
        0 s 2.0 Good |
        1 s 0.5 Good | low raised -> unacknowledged, low_low raised -> unacknowledged
        """,
    )


def test_uncertain_raises_and_clears_like_good() -> None:
    play_alarms(
        one_tank(HIGH),
        """
         0 s 9.91 Uncertain |
         5 s 9.91 Uncertain | high raised -> unacknowledged
         6 s 9.5 Uncertain  |
        11 s 9.5 Uncertain  | high returned -> returned_unacknowledged
        """,
    )


def test_bad_neither_raises_nor_clears_freezes_the_on_delay_and_restarts_the_off_delay() -> None:
    play_alarms(
        one_tank(HIGH),
        """
         0 s 9.91 Good |
         3 s - Bad     |
        60 s - Bad     |
        61 s 9.91 Good |
        62 s 9.91 Good |
        63 s 9.91 Good | high raised -> unacknowledged
        70 s 9.5 Good  |
        74 s - Bad     |
        80 s - Bad     |
        81 s 9.5 Good  |
        85 s 9.5 Good  |
        86 s 9.5 Good  | high returned -> returned_unacknowledged
        """,
    )


def test_a_frozen_on_delay_is_gone_when_the_next_good_value_is_below() -> None:
    play_alarms(
        one_tank(HIGH),
        """
        0 s 9.91 Good |
        3 s - Bad     |
        4 s 9.8 Good  |
        5 s 9.91 Good |
        9 s 9.91 Good |
        10 s 9.91 Good | high raised -> unacknowledged
        """,
    )


def test_the_high_side_is_never_held_but_a_gap_current_clears_nothing_and_touches_no_low_or_fall_alarm() -> None:
    limits = (
        default_limit("critical_high", 11.9), default_limit("high_high", 11.5), default_limit("high", 11.0),
        default_limit("low", 1.0), Limit("low_low", 0.5, 0.01, 0, 0, 2), Limit("fall_fast", 0.001, 0.0, 0, 0, 2, "m/s"),
    )  # fmt: skip
    engine = one_tank(*limits)
    play_alarms(
        engine,
        """
         0 s 0.4 Good   | low raised -> unacknowledged, low_low raised -> unacknowledged
         1 s 12 Bad ge  | critical_high raised -> unacknowledged, high_high raised -> unacknowledged, high raised -> unacknowledged
        30 s - Bad ge   |
        60 s - Bad      |
        """,  # noqa: E501 - one tick is one line
    )


def test_the_on_delay_of_high_runs_on_through_a_gap_current() -> None:
    play_alarms(
        one_tank(HIGH),
        """
        0 s 9.95 Good  |
        2 s 12 Bad ge  |
        5 s 12 Bad ge  | high raised -> unacknowledged
        6 s 9.5 Good   |
        9 s 12 Bad ge  |
        12 s 9.5 Good  |
        16 s 9.5 Good  |
        17 s 9.5 Good  | high returned -> returned_unacknowledged
        """,
    )


def test_a_limit_above_the_end_of_the_range_is_not_raised_by_at_least() -> None:
    play_alarms(one_tank(Limit("high", 12.5, 0.01, 0, 0, 2)), "0 s 12 Bad ge |\n1 s 12 Uncertain ge |")


def test_rates_rise_and_fall_and_a_missing_rate_is_like_bad() -> None:
    limits = (Limit("rise_fast", 0.01, 0.002, 0, 5000, 2, "m/s"), Limit("fall_fast", 0.02, 0.002, 2000, 0, 2, "m/s"))
    play_alarms(
        one_tank(*limits),
        """
         0 s rise 0.009 |
         1 s rise 0.01  | rise_fast raised -> unacknowledged
         2 s rise 0.0081 |
         3 s rise 0.0079 |
         7 s rise -     |
         8 s rise 0.0   |
        12 s rise 0.0   |
        13 s fall 0.0   | rise_fast returned -> returned_unacknowledged
        14 s fall 0.02  |
        15 s fall -     |
        20 s fall 0.02  |
        21 s fall 0.02  | fall_fast raised -> unacknowledged
        22 s fall 0.017 | fall_fast returned -> returned_unacknowledged
        """,
    )


def test_no_rate_counts_while_the_level_is_bad() -> None:

    engine = one_tank(Limit("rise_fast", 0.01, 0.0, 0, 0, 2, "m3/s"))
    assert engine.step(instant(0), [TankFacts(reading(None, "Bad"), rise_m3_per_s=1.0)], {}) == []
    (raised,) = engine.step(instant(1), [TankFacts(reading(5.0), rise_m3_per_s=1.0)], {})
    assert (raised.condition, raised.value) == ("rise_fast", 1.0)


def test_a_level_that_equals_its_limit_on_paper_raises_in_floats_too() -> None:
    # computed: 0 to 12 m over 4-20 mA, all limits of three decimals; 5.6e-17 of a float must not decide
    for mm in range(1, 12_000, 7):
        limit = mm / 1000
        level = span_fraction(4 + 16 * limit / 12) * 12
        watch = LimitWatch(Limit("high", limit, 0.0, 0, 0, 2))
        watch.trusted(0, level)
        assert watch.judge(0), limit


def test_a_watch_at_rest_asks_for_no_further_ticks() -> None:

    watch = TankWatch(TankAlarms("T1", "L1", (HIGH,)))
    watch.take(0, facts_of(["9.5", "Good"])[0])
    assert not watch.running
    watch.take(0, facts_of(["9.95", "Good"])[0])
    assert watch.running
    assert [change.on for change in watch.judge(5000)] == [True]
    assert not watch.running


@pytest.mark.parametrize("row", rows("alarms/overfill_latency.csv"), ids=lambda row: row["id"])
def test_poll_and_on_delay_cost_no_more_than_the_latency_budget_says(row: dict[str, str]) -> None:
    # Source: the budget's row (computed: worst case = poll period + ... + on-delay); the level rises at the row's rate
    poll_ms, delay_ms = round(1000 * float(row["poll_s"])), round(1000 * float(row["on_delay_s"]))
    rise_m_per_ms = float(row["rise_mm_per_min"]) / 1000 / 60_000
    for crossing_ms in range(0, poll_ms, 173):
        watch = LimitWatch(Limit("high", 9.0, 0.01, delay_ms, 0, 2))
        tick_ms = 0
        while not watch.active:
            watch.trusted(tick_ms, 9.0 + (tick_ms - crossing_ms) * rise_m_per_ms)
            if watch.judge(tick_ms):
                break
            tick_ms += poll_ms
        waited_ms = tick_ms - crossing_ms
        whole_polls_ms = -(-delay_ms // poll_ms) * poll_ms  # the delay is judged at ticks
        assert delay_ms <= waited_ms <= poll_ms + whole_polls_ms


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ((Limit("hi", 9.0, 0.01, 0, 0, 1),), "no such limit"),
        ((HIGH, HIGH), "given twice"),
        ((Limit("high", 9.0, -0.01, 0, 0, 1),), "must not be negative"),
        ((Limit("high", 9.0, 0.01, -1, 0, 1),), "must not be negative"),
        ((Limit("high", 9.0, 0.01, 0, 0, 1, "m/s"),), "takes no 'per'"),
        ((Limit("rise_fast", 0.1, 0.01, 0, 0, 1),), "per m/s or m3/s"),
        ((Limit("fall_fast", 0.01, 0.01, 0, 0, 1, "m/s"),), "above its deadband"),
    ],
)
def test_limits_that_cannot_be_judged_are_refused_by_tank_and_name(limits: tuple[Limit, ...], words: str) -> None:
    with pytest.raises(BadSetup, match=rf"tank T1, limit \w+: .*{words}"):
        check_limits(TankAlarms("T1", "L1", limits))


RANGE_M = 12.0


@pytest.mark.parametrize("row", rows("alarms/alarm_deadband_delay.csv"), ids=lambda row: row["id"])
def test_the_usual_starting_values_of_deadband_and_delay_are_kept_to_the_tick(row: dict[str, str]) -> None:
    """A limit set to a row's share of range and its delay: on after the delay, held by the deadband, off after it."""
    deadband, delay_s = RANGE_M * float(row["deadband_pct_of_range"]) / 100, int(row["delay_s"])
    watch = LimitWatch(Limit("high", 9.0, deadband, 1000 * delay_s, 1000 * delay_s, 2))
    active = []
    inside = 9.0 - deadband + 0.001
    for second in range(4 * delay_s):
        watch.trusted(1000 * second, 9.0 if second < delay_s + 1 else inside if second < 2 * delay_s else 8.0)
        watch.judge(1000 * second)
        active.append(watch.active)
    # on at the sample that is a delay old; held inside the deadband; off a delay after the level fell below it
    expected = [False] * delay_s + [True] * (2 * delay_s) + [False] * delay_s
    assert active == expected, row["source"]
