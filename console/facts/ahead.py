"""What lies ahead: how long the fuel lasts, and what somebody has to do."""

from typing import Protocol

from console.facts.answers import Json


class AheadFacts(Protocol):
    """What lies ahead."""

    async def forecast(self) -> list[Json]:
        """Products first, then tanks: ``{of, id, tanks, time, usable_m3, held_m3, parts, above, missing, days_known,
        days_asked, days_by_papers, days_by_gauge, mean_m3_per_day, sd_m3, by_weekday_m3, cover_days,
        cover_earliest_days, cover_latest_days, lead_days, order_point_m3, order_in_days, order_earliest_in_days,
        order_by, order_now, why, notes}``. `of`: "product" or "tank"; `usable_m3`: what may be issued, `held_m3`: what
        would be usable and is not released; `parts`: of each tank ``{tank, usable_m3, held_m3, status, until,
        minimum_m3, above, notes, known, seen}``, `status` of what is held or None, `until`: when it has settled,
        `seen`: the last reading of a tank that is silent; `by_weekday_m3`: seven, Monday first; a cover of None where
        `usable_m3` and the mean are known: longer than two years; `why`: why nothing is told.
        """
        ...

    async def due(self) -> Json:
        """``{time, counts, dues}``: what somebody has to do, the most pressing first.

        A due: ``{state, kind, about, what, from, until, who, link, rule, last, note}``; `state` "overdue", "due",
        "coming" (within a week) or "later"; `from` and `until` None for what was never done; `about` the id of a tank,
        loop, alarm or product. `counts`: how many of each state.
        """
        ...
