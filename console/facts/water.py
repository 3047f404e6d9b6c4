"""Water in the tanks: accounts of it, and looks at the drains."""

from collections.abc import Sequence
from typing import Protocol

from console.facts.answers import Json


class WaterFacts(Protocol):
    """Water accounts and drain checks."""

    async def water(self, tanks: Sequence[str]) -> list[Json]:
        """The water accounts of known tanks over the site's number of days, up to the last day that is over.

        Each ``{tank, from, to, days, unmeasured_days, flows_by, terms: [{term, low_m3, high_m3, note}],
        expected_low_m3, expected_high_m3, drained_*, lying_*, found_* (the same two; `lying` None where no water cut is
        known), verdict, why, trend: {slope_m_per_day, standard_error_m_per_day, rises, cuts, stretches, days, why},
        cuts: [{time, water_m, source}], drained: [{time, day, water_m3, by, how}]}``. `verdict`: "more than expected",
        "within", "cannot tell"; `source`: "signal" (one a day) or "dip"; `flows_by`: "papers", "gauge", both or "".
        """
        ...

    async def drain_checks(self, tank: str | None) -> list[Json]:
        """Drain checks, newest first: ``{number, tank, day, time, by, result, appearance, water_m3, fuel_m3, document,
        why, comment, withdrawn: {by, time, comment} | None}``, `result` one of "clear", "water", "not done"."""
        ...
