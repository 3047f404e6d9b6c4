"""Movements that the gauges saw, beside the papers: they check them, and split the one that ran over a boundary.

Never feeds the book: how much there was is the papers' word.
"""

from collections.abc import Iterable, Sequence
from typing import Any

from gaugehouse.boundary import Boundaries
from gaugehouse.days import Days, parse_ms
from gaugehouse.site import Site
from inventory.crossing import Running
from inventory.documents import Document, DocumentKind


class Moves:
    """rows: movements with the columns of movements.csv, by their newest entries."""

    def __init__(self, site: Site, boundaries: Boundaries, rows: Sequence[dict[str, Any]]) -> None:
        self._site, self._boundaries, self._rows = site, boundaries, rows
        self._days = Days(site.zone, site.day_starts_min)

    def running(self, tanks: Sequence[str], days: Sequence[str]) -> Iterable[Running]:
        for row in self._rows:
            if row["tank"] not in tanks or row["end"] is None or row["gsv_m3"] is None or not row["gsv_u95_m3"]:
                continue
            start_ms, end_ms = parse_ms(row["start"]), parse_ms(row["end"])
            before = self._days.at(start_ms)
            if not before.start_ms <= start_ms < before.end_ms < end_ms:
                continue
            after = self._days.at(before.end_ms)
            if end_ms > after.end_ms or not {before.date, after.date} & set(days):
                continue
            at_m = self._boundaries.level_m(row["tank"], before.end_ms)
            table = self._site.tank(row["tank"]).table
            ends = [table.volume_m3(table.nearest_m(row[f"level_{end}_m"])) for end in ("start", "end")]
            if at_m is None or ends[0] == ends[1]:
                continue
            share = (table.volume_m3(table.nearest_m(at_m)) - ends[0]) / (ends[1] - ends[0])
            moved = row["gsv_m3"]
            yield Running(row["tank"], before.date, after.date, moved, share * moved, row["gsv_u95_m3"])

    def unpapered(self, tank: str, day: str, documents: Sequence[Document]) -> tuple[str, ...]:
        """Movements that the gauge saw on a day on which no paper of the tank goes that way."""
        bounds = self._days.on(day)
        ways = {
            way
            for one in documents
            if one.day == day and one.kind not in (DocumentKind.OPENING, DocumentKind.OUTSIDE)
            for way in _ways(one, tank)
        }
        said = []
        for row in self._rows:
            if row["tank"] != tank or row["gsv_m3"] is None or row["end"] is None:
                continue
            if not bounds.start_ms <= parse_ms(row["start"]) < bounds.end_ms:
                continue
            if abs(row["gsv_m3"]) > (row["gsv_u95_m3"] or 0.0) and (row["gsv_m3"] > 0) not in ways:
                kind = str(row["kind"]).replace("_", " ")
                said.append(f"the gauge saw a movement without a paper: {kind} of {abs(row['gsv_m3']):.3f} m3")
        return tuple(said)


def _ways(document: Document, tank: str) -> set[bool]:
    volume = document.standard_m3 if document.standard_m3 is not None else document.observed_m3
    if volume is None:
        return {True, False} if document.tank == tank else set()
    if document.tank == tank:
        return {volume > 0}
    return {volume < 0} if document.details.get("to_tank") == tank else set()
