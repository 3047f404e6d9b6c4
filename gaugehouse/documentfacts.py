"""Documents as the console asks for them: what a form may offer, and the list with what may still be done to each."""

from typing import Any, Final

from gaugehouse.core import Core
from gaugehouse.days import Days
from gaugehouse.documentcsv import csv_of
from gaugehouse.documentfields import TAKES, fields_of
from gaugehouse.documentrecords import Kept, documents_between, kept_json, put_right
from history.book import BookReader
from inventory.documentdraft import said_of

Json = dict[str, Any]

EVER: Final = ("0001-01-01", "9999-12-31")


def document_facts(core: Core, now_ms: int) -> Json:
    """See `console.facts.Facts.document_facts`."""
    site, rules = core.site, core.site.documents
    return {
        "today": Days(site.zone, site.day_starts_min).at(now_ms).date,
        "tanks": [{"id": tank.id, "name": tank.name, "product": tank.product} for tank in site.tanks],
        "owners": [{"id": one.id, "name": one.name} for one in rules.owners],
        "places": [
            {"id": one.id, "name": one.name, "kind": one.kind.value, "product": one.product} for one in rules.places
        ],
        "meters": [
            {
                "id": one.id, "name": one.name, "tank": one.tank, "direction": one.direction.value,
                "counts": one.counts.value, "factor": one.factor,
            }
            for one in rules.meters
        ],
        "kinds": {kind.value: {"needs": list(takes.needs), "may": list(takes.may)} for kind, takes in TAKES.items()},
        "closed": {product.id: core.documents.closed_through(product.id) for product in site.products},
    }  # fmt: skip


def asked(book: BookReader, question: Json) -> list[Kept]:
    """Documents of first <= day < before, by day and number. question: `{first, before, tank, kind, undone}`."""
    first, before = question["first"] or EVER[0], question["before"]
    tank, kind = question["tank"], question["kind"]
    return [
        one
        for one in documents_between(book, first, before or EVER[1])
        if (not before or one.document.day < before)
        and (question["undone"] or one.undone is None)
        and (tank is None or tank in (one.document.tank, one.document.details.get("to_tank")))
        and (kind is None or one.document.kind.value == kind)
    ]


def document_rows(book: BookReader, core: Core, question: Json) -> list[Json]:
    """The list, each with what its paper said and with what may be done to it."""
    found = asked(book, question)
    mended = put_right(documents_between(book, *EVER)) if found else {}
    return [
        kept_json(one)
        | {
            "said": fields_of(said_of(one.document)),
            "open": one.undone is None and core.documents.get(one.document.number) is not None,
            "put_right_by": mended.get(one.document.number, []),
        }
        for one in found
    ]


def documents_csv(book: BookReader, question: Json) -> str:
    """The same as a file that can be read in again."""
    return csv_of(one.document for one in asked(book, question | {"undone": False}))
