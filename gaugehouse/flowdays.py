"""What went into and out of each tank, day by day: by its papers where there are any, else as the gauge found it.

For the forecast and the water account only: the stock book is made of papers and of nothing else. Each figure says
which of the two it rests on.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple

from gaugehouse.days import Days, parse_ms
from gaugehouse.documentrecords import documents_between
from gaugehouse.movementrecords import movement_rows
from history.book import BookReader
from inventory.documentdraft import booked
from inventory.documents import Document, DocumentKind

PAPER: Final = "papers"
GAUGE: Final = "gauge"

OUT: Final = ("issue", "transfer_out")
IN: Final = ("receipt", "transfer_in")

OUTSIDE: Final = "outside the tanks"
"""The kind of what went to a place, or came from one."""


class Flow(NamedTuple):
    """One movement of a tank. volume_m3: positive in, negative out; by: "papers" or "gauge"; temperature as the paper
    tells it."""

    tank: str
    day: str
    volume_m3: float
    by: str
    temperature_degC: float | None = None
    kind: str = ""


def standing_between(book: BookReader, first: str, last: str) -> list[Document]:
    """The documents of the days first <= day <= last that stand."""
    return [one.document for one in documents_between(book, first, last) if one.undone is None]


def gauge_flows(book: BookReader, days: Days, from_ms: int, to_ms: int) -> list[Flow]:
    """Final movements that ended in from <= t < to, by the site day of their end."""
    found = []
    for row in movement_rows(book, None, from_ms, to_ms):
        if row["end"] is None or row["gov_m3"] is None or row["kind"] not in (*OUT, *IN):
            continue
        end_ms = parse_ms(row["end"])
        if from_ms <= end_ms < to_ms:
            found.append(Flow(row["tank"], days.at(end_ms).date, row["gov_m3"], GAUGE, None, row["kind"]))
    return found


def paper_flows(documents: Iterable[Document]) -> list[Flow]:
    """Issues and receipts by documents. A day with tickets is told by them, one without by its meters.

    What goes to a refueller or a line, or comes from there, has left the tanks, or come into them. A note from tank to
    tank says nothing of what else moved: it counts where other papers tell that tank's day and direction.
    """
    documents = [one for one in documents if one.tank and booked(one)]
    with_tickets = {(one.tank, one.day) for one in documents if one.kind is DocumentKind.TICKET}
    found, between = [], []
    for one in documents:
        volume = one.standard_m3 if one.standard_m3 is not None else one.observed_m3
        if volume is None or (one.kind is DocumentKind.METER and (one.tank, one.day) in with_tickets):
            continue
        flow = Flow(one.tank, one.day, volume, PAPER, one.temperature_degC, one.kind.value)
        to_tank = one.details.get("to_tank")
        if one.kind in (DocumentKind.TICKET, DocumentKind.METER, DocumentKind.DELIVERY):
            found.append(flow)
        elif one.kind is DocumentKind.TRANSFER and to_tank:
            between += [flow, flow._replace(tank=to_tank, volume_m3=-volume)]
        elif one.kind is DocumentKind.TRANSFER:
            found.append(flow._replace(kind=OUTSIDE))
    told = {_way(flow) for flow in found}
    return found + [flow for flow in between if _way(flow) in told]


def _way(flow: Flow) -> tuple[str, str, bool]:
    return flow.tank, flow.day, flow.volume_m3 < 0


def by_day(flows: Sequence[Flow], *, out: bool) -> Mapping[tuple[str, str], tuple[float, str]]:
    """What was issued (out) or received of each tank and day, positive, with the word that it rests on.

    Papers win over the gauge for a whole tank-day: the two tell the same fuel twice.
    """
    found: dict[tuple[str, str], tuple[float, str]] = {}
    for word in (GAUGE, PAPER):
        sums: dict[tuple[str, str], float] = {}
        for flow in flows:
            if flow.by == word and (flow.volume_m3 < 0) is out and flow.volume_m3:
                key = flow.tank, flow.day
                sums[key] = sums.get(key, 0.0) + abs(flow.volume_m3)
        found |= {key: (value, word) for key, value in sums.items()}
    return found
