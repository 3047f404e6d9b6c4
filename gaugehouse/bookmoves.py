"""Movements that the gauges saw, beside the papers: they check them, and split the one that ran over a boundary.

Never feeds the book: how much there was is the papers' word.
"""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Any, NamedTuple

from gaugehouse.boundary import Boundaries
from gaugehouse.days import Days, parse_ms
from gaugehouse.site import Site
from inventory.crossing import Running
from inventory.documents import Document, DocumentKind


class Seen(NamedTuple):
    """A movement that is over, with its times in UTC ms."""

    row: dict[str, Any]
    start_ms: int
    end_ms: int


class Moves:
    """rows: movements with the columns of movements.csv, by their newest entries. Kept by tank and the day they began
    on, so that a month of many years is found as quickly as the first."""

    def __init__(self, site: Site, boundaries: Boundaries, rows: Sequence[dict[str, Any]]) -> None:
        self._site, self._boundaries = site, boundaries
        self._days = Days(site.zone, site.day_starts_min)
        self._seen: dict[tuple[str, str], list[Seen]] = {}
        for row in rows:
            if row["end"] is not None and row["gsv_m3"] is not None:
                seen = Seen(row, parse_ms(row["start"]), parse_ms(row["end"]))
                self._seen.setdefault((row["tank"], self._days.at(seen.start_ms).date), []).append(seen)

    def running(self, tanks: Sequence[str], days: Sequence[str]) -> Iterable[Running]:
        """Movements that ran over one end of one of the days. Those over several days are not split."""
        first = (date.fromisoformat(days[0]) - timedelta(days=1)).isoformat()
        for day in (first, *days):
            bounds = self._days.on(day)
            after = self._days.at(bounds.end_ms)
            for tank in tanks:
                for seen in self._seen.get((tank, day), ()):
                    if bounds.end_ms < seen.end_ms <= after.end_ms:
                        share = self._share(seen.row, bounds.end_ms)
                        if share is not None:
                            moved, u95 = seen.row["gsv_m3"], seen.row["gsv_u95_m3"]
                            yield Running(tank, day, after.date, moved, share * moved, u95 or 0.0)

    def _share(self, row: dict[str, Any], boundary_ms: int) -> float | None:
        """How much of a movement the readings saw before a boundary, by observed volume."""
        at_m = self._boundaries.level_m(row["tank"], boundary_ms)
        if at_m is None:
            return None
        table = self._site.tank(row["tank"]).table
        start, end, at = (
            table.volume_m3(table.nearest_m(level_m)) for level_m in (row["level_start_m"], row["level_end_m"], at_m)
        )
        return None if start == end else (at - start) / (end - start)

    def unpapered(
        self, tank: str, day: str, documents: Sequence[Document], after: Sequence[Document] = ()
    ) -> tuple[str, ...]:
        """Movements that the gauge saw on a day of which no paper goes that way. documents: those of the day; after:
        of the next one, for what ran over the day's end."""
        end_ms = self._days.on(day).end_ms
        today, either = _all_ways(documents, tank), _all_ways((*documents, *after), tank)
        said = []
        for seen in self._seen.get((tank, day), ()):
            row, ways = seen.row, either if seen.end_ms > end_ms else today
            if abs(row["gsv_m3"]) > (row["gsv_u95_m3"] or 0.0) and (row["gsv_m3"] > 0) not in ways:
                kind = str(row["kind"]).replace("_", " ")
                said.append(f"the gauge saw a movement without a paper: {kind} of {abs(row['gsv_m3']):.3f} m3")
        return tuple(said)


def _all_ways(documents: Sequence[Document], tank: str) -> set[bool]:
    moving = (one for one in documents if one.kind not in (DocumentKind.OPENING, DocumentKind.OUTSIDE))
    return {way for one in moving for way in _ways(one, tank)}


def _ways(document: Document, tank: str) -> set[bool]:
    volume = document.standard_m3 if document.standard_m3 is not None else document.observed_m3
    if volume is None:
        return {True, False} if document.tank == tank else set()
    if document.tank == tank:
        return {volume > 0}
    return {volume < 0} if document.details.get("to_tank") == tank else set()
