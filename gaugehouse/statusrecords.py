"""What the record book tells of tank status and of batches, as rows for pages, the API and the command."""

from collections.abc import Collection, Iterable
from typing import Any, Final

from gaugehouse.days import Days, iso_ms, parse_ms
from gaugehouse.documentrecords import documents_of
from gaugehouse.movementrecords import movement_rows
from gaugehouse.site import Site
from gaugehouse.statusroom import STATUS
from history.book import BookReader
from inventory import batchflows
from inventory.batches import Batch, Content, Mixing
from inventory.batchflows import Found
from inventory.movement import Stage
from inventory.tankstate import Release

Json = dict[str, Any]


MODELS: Final = {
    Mixing.MIXED: "fully mixed: an issue takes of each batch its share",
    Mixing.FIRST_OUT: "first in, first out: an issue takes the oldest batch",
}
"""How batches leave a tank, in words; both are models, nobody sees a batch in a tank."""


def status_rows(
    book: BookReader, tanks: Collection[str] | None = None, from_ms: int | None = None, to_ms: int | None = None
) -> list[Json]:
    """What became of the tanks' status in from <= t < to, oldest first, each as it was written."""
    rows = [dict(entry.body) for entry in book.entries([STATUS], from_ms, to_ms)]
    return [row for row in rows if tanks is None or row["tank"] in tanks]


def contents_of(site: Site, book: BookReader, tanks: Iterable[str]) -> dict[str, Content]:
    """What each tank's content is made of, by all that the record book holds now."""
    settling = site.settling
    mixing = Mixing.MIXED if settling is None else settling.mixing
    days = Days(site.zone, site.day_starts_min)
    found: dict[str, list[Found]] = {}
    for row in movement_rows(book):
        found.setdefault(row["tank"], []).extend(_found(row, days))

    def starts_ms(day: str) -> int:
        return days.on(day).start_ms

    contents = batchflows.contents_of(documents_of(book), found, starts_ms, mixing)
    return {tank: contents.get(tank, batchflows.EMPTY) for tank in tanks}


def _found(row: Json, days: Days) -> Iterable[Found]:
    """A final movement with its volume; water draws are papers' own."""
    volume = row["gsv_m3"] if row["gsv_m3"] is not None else row["gov_m3"]
    if row["stage"] == Stage.FINAL.value and row["end"] is not None and volume:
        end_ms = parse_ms(row["end"])
        yield Found(days.at(end_ms).date, end_ms, volume, row["number"])


def batches_json(site: Site, tank: str, content: Content, release: Release | None, now_ms: int) -> Json:
    """A tank's batches with their papers and shares, the release in force and when it is due to be tested again."""
    settling = site.settling
    mixing = Mixing.MIXED if settling is None else settling.mixing
    return {
        "tank": tank,
        "mixing": mixing.value,
        "model": MODELS[mixing],
        "content_m3": content.volume_m3,
        "lack_m3": content.lack_m3,
        "batches": [
            _batch(batch, share, now_ms) for batch, share in zip(content.batches, content.shares(), strict=True)
        ],
        "release": None if release is None else {"by": release.by, "time": iso_ms(release.time_ms),
                                                 "certificate": release.result.certificate},
        **_recertify(site, release, now_ms),
    }  # fmt: skip


def _batch(batch: Batch, share: float, now_ms: int) -> Json:
    return {
        "batch": batch.batch,
        "certificate": batch.certificate,
        "document": batch.number,
        "since": iso_ms(batch.since_ms),
        "age_days": max(0.0, (now_ms - batch.since_ms) / 86_400_000),
        "volume_m3": batch.volume_m3,
        "share_percent": 100 * share,
        "origin": batch.origin,
        "via": batch.via,
    }


def _recertify(site: Site, release: Release | None, now_ms: int) -> Json:
    """When the fuel is to be tested again by the site's limit of age; None without a limit or a release."""
    settling = site.settling
    after_ms = None if settling is None else settling.recertify_after_ms
    due_ms = None if release is None or after_ms is None else release.time_ms + after_ms
    return {
        "recertify_due": None if due_ms is None else iso_ms(due_ms),
        "recertify_overdue": due_ms is not None and now_ms >= due_ms,
        "recertify_source": "" if settling is None else settling.recertify_source,
    }
