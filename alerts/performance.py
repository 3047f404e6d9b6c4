"""How the alarms perform as a whole: figures of a day, a month or any other period beside what the standard aims at.

Pure: rows and the period come in, figures go out. How alarms are counted, and in which windows, is in `nuisance`.

Averages are annunciations divided by the length of the period and by the operator positions that share them. Peaks are
the largest number in any sliding window that lies in the period. Shares of ten minutes and of hours are of clock bins
that begin with the period. Hours in which nothing was recorded count as quiet ones. Nothing is drawn out: there is no
average of a day over less than a day, and none of an hour over less than an hour.

Source: ANSI/ISA-18.2 / IEC 62682 performance table as in tests/data/alarms/alarm_kpi.csv, which says of each figure
where it was read; the table itself was not at hand.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import Final, NamedTuple

from alerts.nuisance import (
    HOUR_MS,
    TEN_MIN_MS,
    AlarmRow,
    Stand,
    bins,
    by_alarm,
    chattering,
    fleeting,
    floods,
    most_within,
    stale,
    stands,
)

DAY_MS: Final = 24 * HOUR_MS
ENOUGH_DAYS: Final = 30
"""Figures of a shorter time say little (kpi-21): they are shown and not judged."""
SHORTEST_DAY_MS: Final = 23 * HOUR_MS
"""A day in which clocks go forward is a whole day too."""
TOP: Final = 10
PRIORITIES: Final = (1, 2, 3)

CONVENTION: Final = (
    "Counted are annunciations: moments at which an alarm asks a person to look; hidden alarms ask nobody. Averages "
    "are per operator position over the whole period. Peaks and floods are judged in sliding windows of 10 min (60 min "
    "for the hourly peak); a flood begins with the alarm that makes 10 in 10 min and ends when the last 10 min hold "
    "fewer than 5. Shares of 10-min periods and of hours are of clock bins from the start of the period."
)


class Period(NamedTuple):
    """start <= t < end in UTC ms. name: a date, a month, or what else the period is called."""

    name: str
    start_ms: int
    end_ms: int


class Count(NamedTuple):
    """An alarm and a number of annunciations."""

    id: str
    times: int


class Figures(NamedTuple):
    """One period. Rates and peaks are per operator position; percentages are 0 to 100, None where nothing was counted.

    average_10min, average_hour, average_day: None where the period is shorter than that.
    stale: alarms that stood for more than 24 h at some time of the period. flood_s: time in flood in s.
    """

    period: Period
    positions: int
    annunciations: int
    average_10min: float | None
    average_hour: float | None
    average_day: float | None
    peak_10min: float
    peak_hour: float
    over_10_percent: float
    hours_over_30_percent: float
    floods: int
    flood_s: float
    flood_percent: float
    largest_flood: int
    chattering: tuple[Count, ...]
    fleeting: tuple[Count, ...]
    stale: tuple[str, ...]
    top: tuple[Count, ...]
    top_percent: float | None
    by_priority: tuple[int, int, int]
    priority_percent: tuple[float, float, float] | None


class Verdict(StrEnum):
    """How a figure stands to its aim."""

    MET = "met"
    MANAGEABLE = "manageable"  # above what is acceptable, within what a person can still manage
    MISSED = "missed"
    NOTHING = "nothing counted"
    NOT_JUDGED = "not judged"  # the time is too short to judge by


class Aim(NamedTuple):
    """What the standard aims at for one figure. below: the bound itself misses it. kpi: row of alarm_kpi.csv."""

    figure: str
    words: str
    unit: str
    acceptable: float
    manageable: float | None
    below: bool
    kpi: str


AIMS: Final = (
    Aim("average_10min", "average in 10 min", "alarms", 1, 2, False, "kpi-01 kpi-02"),
    Aim("average_hour", "average in an hour", "alarms", 6, 12, False, "kpi-03 kpi-04"),
    Aim("average_day", "average in a day", "alarms", 150, 300, False, "kpi-05 kpi-06"),
    Aim("peak_10min", "most in any 10 min", "alarms", 10, None, False, "kpi-07"),
    Aim("over_10_percent", "10-min periods with more than 10 alarms", "%", 1, None, True, "kpi-08"),
    Aim("hours_over_30_percent", "hours with more than 30 alarms", "%", 1, None, True, "kpi-10"),
    Aim("flood_percent", "time in flood", "%", 1, None, True, "kpi-09"),
    Aim("top_percent", "share of the ten most frequent alarms", "%", 5, None, False, "kpi-11"),
    Aim("nuisances", "chattering and fleeting alarms", "alarms", 0, None, False, "kpi-12"),
    Aim("stale", "stale alarms", "alarms", 5, None, True, "kpi-13"),
    Aim("priority_3_percent", "share of priority 3", "%", 80, None, False, "kpi-15"),
    Aim("priority_2_percent", "share of priority 2", "%", 15, None, False, "kpi-16"),
    Aim("priority_1_percent", "share of priority 1", "%", 5, None, False, "kpi-17"),
)
"""Priorities are shares to come near to: those of 1 and 2 are met up to their share, that of 3 from its share on."""


class Judged(NamedTuple):
    """A figure beside its aim. value: None where nothing was counted."""

    aim: Aim
    value: float | None
    verdict: Verdict


def figures(
    rows: Sequence[AlarmRow], period: Period, positions: int = 1, stood: Iterable[Stand] | None = None
) -> Figures:
    """The figures of a period. rows: in their order, from the beginning of the alarms on (a stale alarm began earlier).

    positions: operator positions that share the alarms, 1 or more. stood: `nuisance.stands(rows)`, where it is known.
    """
    inside = [row for row in rows if period.start_ms <= row.time_ms < period.end_ms]
    asking = [row for row in inside if row.asks]
    times = sorted(row.time_ms for row in asking)
    length_ms = max(1, period.end_ms - period.start_ms)
    flooded = floods(times, period.end_ms, positions)
    flood_ms = sum(flood.end_ms - flood.start_ms for flood in flooded)
    times_of = by_alarm(inside)
    chatters = chattering(times_of)
    top = tuple(_counts({alarm: len(of) for alarm, of in times_of.items()}))[:TOP]
    n = len(asking)
    shares = [sum(row.priority == priority for row in asking) for priority in PRIORITIES]
    tens = bins(times, period.start_ms, period.end_ms, TEN_MIN_MS)
    hours = bins(times, period.start_ms, period.end_ms, HOUR_MS)
    per_ms = n / length_ms / positions
    return Figures(
        period=period,
        positions=positions,
        annunciations=n,
        average_10min=per_ms * TEN_MIN_MS if length_ms >= TEN_MIN_MS else None,
        average_hour=per_ms * HOUR_MS if length_ms >= HOUR_MS else None,
        average_day=per_ms * DAY_MS if length_ms >= SHORTEST_DAY_MS else None,
        peak_10min=most_within(times, TEN_MIN_MS) / positions,
        peak_hour=most_within(times, HOUR_MS) / positions,
        over_10_percent=_share(tens, 10 * positions),
        hours_over_30_percent=_share(hours, 30 * positions),
        floods=len(flooded),
        flood_s=flood_ms / 1000,
        flood_percent=100 * flood_ms / length_ms,
        largest_flood=max((flood.alarms for flood in flooded), default=0),
        chattering=tuple(_counts(chatters)),
        fleeting=tuple(_counts(fleeting(inside, chatters))),
        stale=tuple(stale(stands(rows) if stood is None else stood, period.start_ms, period.end_ms)),
        top=top,
        top_percent=100 * sum(count for _, count in top) / n if n else None,
        by_priority=(shares[0], shares[1], shares[2]),
        priority_percent=(100 * shares[0] / n, 100 * shares[1] / n, 100 * shares[2] / n) if n else None,
    )


def judged(made: Figures, *, enough: bool = True) -> list[Judged]:
    """Each figure beside its aim, in the order of `AIMS`. enough: False where the time is too short to judge by."""
    return [
        Judged(aim, value, _verdict(aim, value) if enough else Verdict.NOT_JUDGED)
        for aim in AIMS
        for value in [_value(made, aim.figure)]
    ]


def _value(made: Figures, figure: str) -> float | None:
    if figure == "nuisances":
        return len(made.chattering) + len(made.fleeting)
    if figure == "stale":
        return len(made.stale)
    if figure.startswith("priority_"):
        return None if made.priority_percent is None else made.priority_percent[int(figure[9]) - 1]
    value: float | None = getattr(made, figure)
    return value


def _verdict(aim: Aim, value: float | None) -> Verdict:
    if value is None:
        return Verdict.NOTHING
    if aim.figure == "priority_3_percent":
        return Verdict.MET if value >= aim.acceptable else Verdict.MISSED
    if value < aim.acceptable or (value == aim.acceptable and not aim.below):
        return Verdict.MET
    return Verdict.MANAGEABLE if aim.manageable is not None and value <= aim.manageable else Verdict.MISSED


def _share(counts: Sequence[int], above: int) -> float:
    """Percent of the bins that hold more than so many."""
    return 100 * sum(count > above for count in counts) / len(counts) if counts else 0.0


def _counts(counts: dict[str, int]) -> list[Count]:
    """Most first, then by name."""
    return [Count(alarm, count) for alarm, count in sorted(Counter(counts).items(), key=lambda c: (-c[1], c[0]))]
