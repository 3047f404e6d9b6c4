"""How many days the stock lasts, by the pattern of past issues, and when the next load must be ordered.

The pattern is a mean for each weekday, drawn towards the mean of all days where a weekday was seen seldom, newer days
weighing more; single days far beyond all others are cut back. A day that nobody measured is left out, never taken as a
day without issues. Each answer has an interval (k = 2), says on how many days it rests, and below a number of days none
is given. No I/O, no clock. Method: our own, plain on purpose; compared with the mean of all days by
`python -m tests.bench.bench_forecast`.
"""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, NamedTuple

WEEK: Final = 7
SHRINK: Final = 0.7
"""So many days of the common mean are mixed into each weekday's own. Our own choice."""

COVERAGE: Final = 2.0
HORIZON_DAYS: Final = 730
FAR_OUT_IQR: Final = 3.0
"""Values above the upper quartile by more than so many interquartile ranges are cut back to there (Tukey's far out)."""

MOST_CORRELATION: Final = 0.6


class IssueDay(NamedTuple):
    """A site day (ISO date) and what was issued on it; None where that is not known."""

    date: str
    issued_m3: float | None


@dataclass(frozen=True, slots=True)
class ForecastRules:
    """look_back_days: how far back days count. least_days: with fewer known ones nothing is told. half_life_days: so
    long until a day weighs half."""

    look_back_days: int = 56
    least_days: int = 14
    half_life_days: float = 14.0


@dataclass(frozen=True, slots=True)
class Pattern:
    """by_weekday: expected issues in m3 a day, Monday first. sd_m3: of a single day around its weekday's mean.

    level_sd_m3: how well the level of the whole is known, and how far weeks lie apart. stretch: by how much days that
    follow each other alike widen a sum's variance.
    """

    by_weekday: tuple[float, ...]
    sd_m3: float
    level_sd_m3: float
    stretch: float
    days: int
    asked: int

    @property
    def mean_m3(self) -> float:
        return math.fsum(self.by_weekday) / WEEK

    def sum_of(self, start: date, days: int) -> tuple[float, float]:
        """Issues of so many days from `start` on, and one standard deviation of them."""
        mean = math.fsum(self.by_weekday[(start.weekday() + k) % WEEK] for k in range(days))
        return mean, self.sd_of(days)

    def sd_of(self, days: float) -> float:
        """One standard deviation of the issues of so many days."""
        return math.sqrt(days * self.sd_m3**2 * self.stretch + (days * self.level_sd_m3) ** 2)


class Refusal(NamedTuple):
    """Why no pattern is told."""

    why: str
    days: int
    asked: int


class Cover(NamedTuple):
    """Days that a stock lasts: as expected, and between what it lies. None: longer than `HORIZON_DAYS`."""

    days: float | None
    earliest: float | None
    latest: float | None


class OrderPoint(NamedTuple):
    """usable_m3: with so much usable stock left the next load must be on order. lead_days: from order to release.

    in_days: until then, as expected and at the earliest; 0 = now, None = beyond the horizon.
    """

    usable_m3: float
    lead_days: float
    in_days: float | None
    earliest_in_days: float | None


def pattern(days: Sequence[IssueDay], today: date, rules: ForecastRules) -> Pattern | Refusal:
    """The pattern of the days before `today`; which itself is not over and does not count."""
    oldest = today - timedelta(days=rules.look_back_days)
    inside = [(date.fromisoformat(day.date), day.issued_m3) for day in days]
    known = sorted((on, issued) for on, issued in inside if oldest <= on < today and issued is not None)
    asked = rules.look_back_days
    if len(known) < max(2, rules.least_days):
        why = f"only {len(known)} of the last {asked} days are known; a forecast is told from {rules.least_days} on"
        return Refusal(why, len(known), asked)
    values = _cut_back([issued for _, issued in known])
    weights = [0.5 ** ((today - on).days / rules.half_life_days) for on, _ in known]
    by_weekday = _by_weekday([on.weekday() for on, _ in known], values, weights)
    left = [value - by_weekday[on.weekday()] for (on, _), value in zip(known, values, strict=True)]
    whole = math.fsum(weights)
    worth = whole**2 / math.fsum(weight**2 for weight in weights)  # as many equal days (Kish)
    spread = math.fsum(weight * one**2 for weight, one in zip(weights, left, strict=True)) / whole
    free = max(1.0, worth - min(WEEK, len({on.weekday() for on, _ in known})))
    sd = math.sqrt(spread * worth / free)
    stretch = _stretch([on for on, _ in known], left)
    level = math.sqrt(sd**2 * stretch / worth + _drift(known, left, today, sd))
    return Pattern(by_weekday, sd, level, stretch, len(known), asked)


def cover(usable_m3: float, by: Pattern, start: date) -> Cover:
    """How long a usable stock lasts when the days from `start` on bring what the pattern says."""
    return Cover(
        _until(usable_m3, by, start, 0.0),
        _until(usable_m3, by, start, COVERAGE),
        _until(usable_m3, by, start, -COVERAGE),
    )


def order_point(usable_m3: float, by: Pattern, start: date, lead_days: float) -> OrderPoint:
    """When to order, so that the load is delivered, settled and released before the stock is used up.

    lead_days: delivery and settling together. The point holds what the worst run of weekdays may take in that time,
    with two standard deviations on top.
    """
    needed = max(_taken(by, weekday, lead_days) for weekday in range(WEEK)) + COVERAGE * by.sd_of(lead_days)
    if usable_m3 <= needed:
        return OrderPoint(needed, lead_days, 0.0, 0.0)
    spare = usable_m3 - needed
    return OrderPoint(needed, lead_days, _until(spare, by, start, 0.0), _until(spare, by, start, COVERAGE))


def _taken(by: Pattern, weekday: int, days: float) -> float:
    whole = int(days)
    taken = math.fsum(by.by_weekday[(weekday + k) % WEEK] for k in range(whole))
    return taken + (days - whole) * by.by_weekday[(weekday + whole) % WEEK]


def _until(usable_m3: float, by: Pattern, start: date, k: float) -> float | None:
    """Days until the issues, k standard deviations above their mean, have taken it."""
    if usable_m3 <= 0:
        return 0.0
    mean = before = 0.0
    for day in range(HORIZON_DAYS):
        mean += by.by_weekday[(start.weekday() + day) % WEEK]
        taken = max(before, mean + k * by.sd_of(day + 1))
        if taken >= usable_m3:
            return day + (usable_m3 - before) / (taken - before)
        before = taken
    return None


def _by_weekday(weekdays: Sequence[int], values: Sequence[float], weights: Sequence[float]) -> tuple[float, ...]:
    whole = math.fsum(w * v for w, v in zip(weights, values, strict=True)) / math.fsum(weights)
    found = []
    for weekday in range(WEEK):
        own = [(w, v) for on, w, v in zip(weekdays, weights, values, strict=True) if on == weekday]
        weight = math.fsum(w for w, _ in own)
        found.append((math.fsum(w * v for w, v in own) + SHRINK * whole) / (weight + SHRINK) if own else whole)
    return tuple(found)


def _cut_back(values: Sequence[float]) -> list[float]:
    """A single refuelling of a wide-body does not make a pattern."""
    low, _, high = statistics.quantiles(values, n=4, method="inclusive")
    if high <= low:
        return list(values)
    top = high + FAR_OUT_IQR * (high - low)
    return [min(value, top) for value in values]


def _drift(known: Sequence[tuple[date, float]], left: Sequence[float], today: date, sd: float) -> float:
    """Variance by which weeks to come lie off the pattern beyond what single days bring about: busy and quiet weeks, a
    season. Twice that between the known weeks: theirs is in the pattern's own level as well.
    """
    weeks: dict[int, list[float]] = {}
    for (on, _), one in zip(known, left, strict=True):
        weeks.setdefault((today - on).days // WEEK, []).append(one)
    full = [week for week in weeks.values() if len(week) > WEEK // 2]
    if len(full) < 3:
        return 0.0
    between = math.fsum(statistics.fmean(week) ** 2 for week in full) / (len(full) - 1)
    return max(0.0, 2 * (between - sd**2 * statistics.fmean(1 / len(week) for week in full)))


def _stretch(days: Sequence[date], left: Sequence[float]) -> float:
    """(1 + r) / (1 - r) of the correlation between one day and the next, where both are known; never below 1."""
    by_day = dict(zip(days, left, strict=True))
    pairs = [(one, by_day[day + timedelta(days=1)]) for day, one in by_day.items() if day + timedelta(days=1) in by_day]
    power = math.fsum(one * one for one in left) / len(left)
    if len(pairs) < WEEK or power <= 0:
        return 1.0
    r = math.fsum(a * b for a, b in pairs) / len(pairs) / power
    r = min(MOST_CORRELATION, max(0.0, r))
    return (1 + r) / (1 - r)
