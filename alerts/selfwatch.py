"""Conditions of the system itself: what the daemon found out about its stores, disk, publisher, clock and checks.

Plain facts in, what is known of the conditions out. Refuses to find anything out: no clock, no file, no socket.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Final, NamedTuple

from alerts.watched import Told

SYSTEM: Final = "system"
"""The source of alarms of the system itself."""

HOUR_MS: Final = 3_600_000
DAY_MS: Final = 86_400_000


class SystemFacts(NamedTuple):
    """What was found out at one moment.

    store_lag_s: for how long the oldest reading has waited to be stored. publisher_away_s: for how long no broker has
    been reached, None without one. disk_used_percent: of the disk that holds the stores, None when it does not say.
    clock_behind: the clock is before the last stored time. step_ms, stepped_ms: size of the newest clock step and how
    long ago it was, None for none. tests_overdue: alarms whose test is. failed_checks_ms: by instrument, how long ago
    its newest loop check failed. damages: what is damaged in the files that are kept.
    """

    store_lag_s: float
    publisher_away_s: float | None = None
    disk_used_percent: float | None = None
    clock_behind: bool = False
    step_ms: int | None = None
    stepped_ms: int | None = None
    tests_overdue: int = 0
    failed_checks_ms: Mapping[str, int] = {}
    damages: int = 0


class SystemRules(NamedTuple):
    """What the site allows itself. clock_step_ms: a step of the clock from which on it is called wrong, for an hour.
    failed_check_ms: how long a failed loop check may go without one that passes."""

    store_late_s: float = 60.0
    publisher_late_s: float = 300.0
    disk_used_percent: float = 90.0
    clock_step_ms: int = 60_000
    failed_check_ms: int = 7 * DAY_MS


def judged(facts: SystemFacts, rules: SystemRules, instruments: Iterable[str]) -> Iterator[Told]:
    """What is known of every condition of the system, and of the failed checks of these instruments."""
    yield Told(SYSTEM, "store_late", facts.store_lag_s)
    if facts.publisher_away_s is not None:
        yield Told(SYSTEM, "publisher_late", facts.publisher_away_s)
    yield Told(SYSTEM, "disk_filling", facts.disk_used_percent)
    lately = facts.stepped_ms is not None and facts.stepped_ms < HOUR_MS
    stepped = lately and abs(facts.step_ms or 0) >= rules.clock_step_ms
    yield Told(SYSTEM, "clock_wrong", (facts.step_ms or 0) / 1000 if lately else None, facts.clock_behind or stepped)
    yield Told(SYSTEM, "store_damaged", float(facts.damages), facts.damages > 0)
    yield Told(SYSTEM, "check_overdue", float(facts.tests_overdue), facts.tests_overdue > 0)
    for instrument in instruments:
        age_ms = facts.failed_checks_ms.get(instrument)
        days = None if age_ms is None else age_ms / DAY_MS
        yield Told(instrument, "check_overdue", days, age_ms is not None and age_ms >= rules.failed_check_ms)
