"""The papers of some days beside the movements that the gauges saw, for the console. Reads, and changes nothing."""

from typing import Any

from gaugehouse.days import Days, iso_ms, parse_ms
from gaugehouse.documentrecords import documents_between
from gaugehouse.movementrecords import movement_rows
from gaugehouse.site import Site
from history.book import BookReader
from inventory.papercheck import Checked, Pair, SeenMove, checked

Json = dict[str, Any]


def document_moves(site: Site, book: BookReader, first: str, before: str, tank: str | None) -> list[Json]:
    """Of the days first <= day < before, every tank's day with a paper or a movement, what came and what went apart."""
    documents = [one.document for one in documents_between(book, first, before) if one.undone is None]
    days = Days(site.zone, site.day_starts_min)
    rows = movement_rows(book, None, days.on(first).start_ms, days.on(before).start_ms)
    found = checked([one for one in documents if one.day < before], [one for row in rows for one in _seen(days, row)])
    return [checked_json(one) for one in found if first <= one.day < before and tank in (None, one.tank)]


def _seen(days: Days, row: Json) -> list[SeenMove]:
    """The movement of a row, none while it runs or its volume is not known."""
    if row["end"] is None or row["gsv_m3"] is None or row["gov_m3"] is None:
        return []
    start_ms, end_ms = parse_ms(row["start"]), parse_ms(row["end"])
    return [
        SeenMove(
            row["tank"], row["number"], row["kind"], days.at(start_ms).date, days.at(end_ms).date, start_ms, end_ms,
            row["gov_m3"], row["gsv_m3"], row["gov_u95_m3"], row["gsv_u95_m3"],
        )
    ]  # fmt: skip


def checked_json(one: Checked) -> Json:
    return {
        "day": one.day,
        "tank": one.tank,
        "way": "in" if one.inward else "out",
        "documents": list(one.documents),
        "others": list(one.others),
        "movements": [_pair_json(pair) for pair in one.moves],
        "standard": one.standard,
        "paper_m3": _rounded(one.paper_m3),
        "moved_m3": _rounded(one.moved_m3),
        "u95_m3": _rounded(one.u95_m3),
        "difference_m3": _rounded(one.difference_m3),
        "verdict": one.verdict.value,
        "like_movement": one.like_movement or None,
        "like_document": one.like_document or None,
    }


def _pair_json(pair: Pair) -> Json:
    seen = pair.seen
    return {
        "number": seen.number,
        "kind": seen.kind,
        "start": iso_ms(seen.start_ms),
        "end": iso_ms(seen.end_ms),
        "gov_m3": seen.gov_m3,
        "gsv_m3": seen.gsv_m3,
        "gsv_u95_m3": seen.gsv_u95_m3,
        "document": pair.document or None,
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4) + 0.0
