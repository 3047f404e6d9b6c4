"""A past for the water account and the forecast: weeks of readings of one tank, movements, papers, dips and checks.

All of it is invented and known exactly, so that sums can be done by hand.
"""

from dataclasses import replace
from pathlib import Path
from typing import Any

from gaugehouse.acts import act_of
from gaugehouse.core import Tick
from gaugehouse.days import iso_ms, parse_ms
from gaugehouse.movementrecords import COLUMNS
from gaugehouse.site import Site, load_site
from gaugehouse.stores import open_stores
from gaugehouse.wiring import core_of
from history.chain import Entry
from inventory.documents import Document, DocumentKind, document_json
from models.reading import Instant, Quality, Reading, Reason
from tests.gaugehouse.sites import LOOP_SITE, write_site

DAY_MS = 86_400_000
HOUR_MS = 3_600_000
START_MS = 1_772_323_200_000  # 2026-03-01T00:00:00Z, a Sunday
DAYS = 40
NOW_MS = START_MS + DAYS * DAY_MS + 9 * HOUR_MS
AREA = 78.53981633974483
CONTENT_M3 = 500.0
WEEK_M3 = (12.0, 30.0, 20.0, 20.0, 20.0, 40.0, 12.0)  # Sunday first: what is issued at noon
STEP_MS = 30 * 60_000

MORE = """
[stock.water]
working_within = "2 d"

[stock.forecast]
delivery = "2 d"
settling = "24 h"
"""


def site_of(folder: Path, more: str = MORE, water: str = "none") -> Site:
    text = LOOP_SITE.replace('water = "none"', f'water = "{water}"')
    head, bus = text.split("[[bus]]", 1)
    return load_site(write_site(folder, f"{head}{more}\n[[bus]]{bus}"))


def issued(day: int) -> float:
    return WEEK_M3[day % 7]


def reading(seq: int, at_ms: int, blind: bool = False) -> Reading:
    """Each noon's issue is made up for at midnight, so that the tank swings between two contents."""
    day, within = divmod(at_ms - START_MS, DAY_MS)
    tov = CONTENT_M3 - (issued(day) if within >= 12 * HOUR_MS else 0.0)
    warm = 28.0 + (1.0 if 10 * HOUR_MS <= within < 20 * HOUR_MS else 0.0)
    if blind:
        return Reading(seq, at_ms, "palm", Quality.BAD, Reason.NO_COMMUNICATION)
    return Reading(
        seq, at_ms, "palm", Quality.GOOD, Reason.NONE, level_m=tov / AREA, temperature_degC=warm, tov_m3=tov,
        gsv_m3=tov, stock_quality=Quality.GOOD,
    )  # fmt: skip


def movement(number: int, kind: str, end_ms: int, gov_m3: float) -> dict[str, Any]:
    row: dict[str, Any] = dict.fromkeys(COLUMNS)
    row |= {
        "tank": "palm", "number": number, "kind": kind, "stage": "final", "gov_m3": gov_m3, "gsv_m3": gov_m3,
        "start": iso_ms(end_ms - HOUR_MS), "end": iso_ms(end_ms), "start_ms": end_ms - HOUR_MS, "end_ms": end_ms,
        "revision": 2, "amends": 1, "change": "final", "ordered": "", "pair": "", "faults": "", "rough": "",
    }  # fmt: skip
    return row


def document(number: int, kind: DocumentKind, day: str, m3: float, **more: Any) -> Document:
    plain = Document(
        number, kind, day, parse_ms(f"{day}T09:00:00Z"), "palm", "jet", "", f"p{number}", m3, None, None, None, "Ada"
    )
    return replace(plain, **more)


def fill(site: Site, *, blind: frozenset[int] = frozenset(), movements: bool = True, last: int = DAYS) -> None:
    """Readings of every day (of `blind` ones bad), and an issue and a receipt a day as the gauge found them."""
    entries = []
    with open_stores(site) as stores:
        batch, seq = [], 0
        for at_ms in range(START_MS, START_MS + last * DAY_MS + 9 * HOUR_MS + 1, STEP_MS):
            seq += 1
            batch.append(reading(seq, at_ms, (at_ms - START_MS) // DAY_MS in blind))
        stores.readings.append(batch)
        for day in range(last):
            if movements and day not in blind:
                noon, night = START_MS + day * DAY_MS + 12 * HOUR_MS, START_MS + (day + 1) * DAY_MS - 1
                rows = [(2 * day + 1, "issue", noon, -issued(day)), (2 * day + 2, "receipt", night, issued(day))]
                entries += [Entry("movement", end_ms, seq, movement(n, kind, end_ms, v)) for n, kind, end_ms, v in rows]
        if entries:
            stores.book.commit(entries, {})


def write(site: Site, *documents: Document) -> None:
    with open_stores(site) as stores:
        seq = stores.book.last_seq() + 1
        stores.book.commit([Entry("document", one.time_ms, seq, document_json(one)) for one in documents], {})


def act(site: Site, name: str, at_ms: int, **fields: Any) -> dict[str, Any]:
    """An act as a command does it when no daemon runs, at a time of our own."""
    core = core_of(site)
    with open_stores(site) as stores:
        core.restore(stores.book.state())
        seq = max(stores.book.last_seq(), stores.readings.last_seq()) + 1
        result = core.step(Tick(Instant(seq, at_ms, at_ms - START_MS), (), [act_of(name, fields)]))
        entries = [Entry(d.kind, at_ms, seq, d.body) for d in result.decisions]
        stores.book.commit(entries, core.changed_state())
    assert result.answers[0].status.value == "done", result.answers[0].text
    return dict(result.answers[0].body)
