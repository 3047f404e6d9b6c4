"""The forecast of issues over simulated years, beside the mean of all days: ratio of errors, and how often it held.

The years are harder than the pattern that the forecast assumes: a season, a trend, busy and quiet weeks that cling
together, single days of many times the usual, days that nobody measured. Seeds apart from those of the tests.
`python -m tests.bench.bench_forecast [--short]`
"""

import argparse
import math
import statistics
from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from inventory.forecast import COVERAGE, ForecastRules, IssueDay, Refusal, cover, pattern

FIRST = date(2025, 1, 1)
FIRST_SEED = 9_000
RULES = ForecastRules()
WEEKDAYS = (1.25, 0.9, 0.85, 0.95, 1.6, 1.0, 0.45)
SPANS = (2, 3, 5, 10)


class Year(NamedTuple):
    truth: list[float]
    seen: list[IssueDay]


def year(seed: int) -> Year:
    """A year of daily issues in m3, and what of it was known."""
    rng = np.random.default_rng(seed)
    truth, seen, clings = [], [], 0.0
    phase, trend = rng.uniform(0, 2 * math.pi), rng.uniform(-0.25, 0.35)
    uneven = rng.uniform(0.3, 1.2)
    for day in range(365):
        on = FIRST + timedelta(days=day)
        clings = 0.6 * clings + rng.normal(0, 0.15)
        level = 40 * (1 + 0.25 * math.sin(2 * math.pi * day / 365 + phase) + trend * day / 365)
        usual = level * (1 + uneven * (WEEKDAYS[on.weekday()] - 1)) * math.exp(clings)
        issued = usual * rng.gamma(12, 1 / 12) * (rng.uniform(3, 6) if rng.random() < 0.01 else 1.0)
        truth.append(issued)
        seen.append(IssueDay(on.isoformat(), None if rng.random() < 0.06 else issued))
    return Year(truth, seen)


class Score(NamedTuple):
    own: float
    naive: float
    held: bool


def scores(one: Year, span: int) -> list[Score]:
    """Every third day of the year: issues of the next `span` days as forecast, as the plain mean, and as they came."""
    found = []
    for day in range(RULES.look_back_days, 365 - span, 3):
        today = FIRST + timedelta(days=day)
        by = pattern(one.seen[:day], today, RULES)
        assert not isinstance(by, Refusal)
        mean, sd = by.sum_of(today, span)
        came = math.fsum(one.truth[day : day + span])
        known = [d.issued_m3 for d in one.seen[:day][-RULES.look_back_days :] if d.issued_m3 is not None]
        naive = span * statistics.fmean(known)
        found.append(Score(abs(mean - came), abs(naive - came), abs(mean - came) <= COVERAGE * sd))
    return found


def cover_held(one: Year, usable_m3: float) -> Sequence[tuple[bool, float]]:
    """Whether the days that a stock really lasted lay between the bounds, and how wide those were."""
    found = []
    for day in range(RULES.look_back_days, 330, 5):
        today = FIRST + timedelta(days=day)
        by = pattern(one.seen[:day], today, RULES)
        assert not isinstance(by, Refusal)
        left, lasted = usable_m3, 0.0
        for issued in one.truth[day:]:
            if issued >= left:
                lasted += left / issued
                break
            left -= issued
            lasted += 1
        else:
            continue
        told = cover(usable_m3, by, today)
        assert told.earliest is not None
        latest = math.inf if told.latest is None else told.latest
        found.append((told.earliest <= lasted <= latest, latest - told.earliest))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    years = [year(FIRST_SEED + k) for k in range(4 if parser.parse_args().short else 40)]
    print(f"{len(years)} simulated years, forecast from {RULES.look_back_days} days back, 6 % of the days unknown")
    for span in SPANS:
        all_of = [score for one in years for score in scores(one, span)]
        own, naive = (statistics.fmean(getattr(s, name) for s in all_of) for name in ("own", "naive"))
        held = statistics.fmean(s.held for s in all_of)
        print(
            f"issues of {span:2d} days: mean error {own / naive:.3f} of the plain mean's; "
            f"{100 * held:.1f} % within the interval (k = 2), {len(all_of)} forecasts"
        )
    lasted = [pair for one in years for pair in cover_held(one, 400.0)]
    held, wide = statistics.fmean(one for one, _ in lasted), statistics.median(width for _, width in lasted)
    print(f"cover of 400 m3: {100 * held:.1f} % within the interval, {wide:.1f} days wide, {len(lasted)} forecasts")


if __name__ == "__main__":
    main()
