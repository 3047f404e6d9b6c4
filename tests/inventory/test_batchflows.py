"""From papers to batches: which papers act on which tank, in what order, and when found movements stand in for them."""

from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.batches import NO_PAPERS, UNKNOWN_ORIGIN, Inflow, Mixing, Outflow, Stand, content_of
from inventory.batchflows import Found, flows_of
from inventory.documents import Document, DocumentKind

DAY_MS = 86_400_000


def starts(day: str) -> int:
    return int(day[-2:]) * DAY_MS


def paper(
    number: int, kind: DocumentKind, day: int, volume: float | None, tank: str = "t1", **details: Any
) -> Document:
    return Document(
        number, kind, f"2026-03-{day:02}", 0, tank, "jet", "", f"P-{number}", None, volume, None, None, "Ada",
        details=MappingProxyType(details),
    )  # fmt: skip


OPENING = paper(1, DocumentKind.OPENING, 1, 100.0)
DELIVERY = paper(2, DocumentKind.DELIVERY, 2, 36.0, batch="B-17", certificate="C-9")
TICKET = paper(3, DocumentKind.TICKET, 2, -20.0)


def test_papers_become_flows_in_the_order_of_days_openings_and_receipts_first():
    assert flows_of("t1", [TICKET, DELIVERY, OPENING], [], starts) == [
        Stand(DAY_MS, 100.0), Inflow(2 * DAY_MS, 36.0, "B-17", "C-9", 2), Outflow(2 * DAY_MS, 20.0),
    ]  # fmt: skip


def test_a_delivery_without_a_batch_number_bears_its_papers_number():
    (flow,) = flows_of("t1", [paper(7, DocumentKind.DELIVERY, 2, 36.0)], [], starts)
    assert isinstance(flow, Inflow)
    assert flow.batch == "paper P-7"


def test_a_transfer_acts_on_both_tanks():
    note = paper(4, DocumentKind.TRANSFER, 3, -30.0, to_tank="t2")
    assert flows_of("t1", [note], [], starts) == [Outflow(3 * DAY_MS, 30.0)]
    assert flows_of("t2", [note], [], starts) == [Inflow(3 * DAY_MS, 30.0, "from tank t1", "", 4)]


def test_stock_outside_the_tanks_other_tanks_and_papers_that_only_check_do_nothing():
    others = [
        paper(5, DocumentKind.OUTSIDE, 2, 12.0),
        paper(6, DocumentKind.DELIVERY, 2, 36.0, tank="t2"),
        paper(7, DocumentKind.METER, 2, -20.0, only_checks=True),
        paper(8, DocumentKind.WATER_DRAW, 2, None),
    ]
    assert flows_of("t1", others, [], starts) == []


def test_a_found_receipt_stands_in_until_a_paper_of_its_day_comes():
    found = [Found("2026-03-02", 2 * DAY_MS + 5, 35.6, 1), Found("2026-03-02", 2 * DAY_MS + 9, -19.8, 2)]
    first = content_of(flows_of("t1", [OPENING], found, starts), Mixing.MIXED)
    assert [batch.origin for batch in first.batches] == [UNKNOWN_ORIGIN, NO_PAPERS]
    assert first.volume_m3 == pytest.approx(115.8)
    then = content_of(flows_of("t1", [OPENING, DELIVERY], found, starts), Mixing.MIXED)
    assert [batch.batch for batch in then.batches] == ["", "B-17"]
    assert then.volume_m3 == pytest.approx(116.2)  # the receipt by paper, the issue still as it was found


def test_what_moved_before_the_book_began_is_in_its_opening():
    found = [Found("2026-02-28", 0, 40.0, 1)]
    assert flows_of("t1", [OPENING], found, starts) == [Stand(DAY_MS, 100.0)]


VOLUMES = st.floats(-80.0, 80.0, allow_subnormal=False)
KINDS = st.sampled_from([DocumentKind.DELIVERY, DocumentKind.TICKET, DocumentKind.ADJUSTMENT, DocumentKind.WATER_DRAW])
PAPERS = st.lists(st.tuples(KINDS, st.integers(2, 9), VOLUMES), max_size=20)


@given(PAPERS, st.sampled_from(Mixing))
def test_the_batches_sum_to_what_the_papers_add_up_to(papers: list[tuple[DocumentKind, int, float]], mixing: Mixing):
    documents = [OPENING] + [paper(10 + n, kind, day, volume) for n, (kind, day, volume) in enumerate(papers)]
    content = content_of(flows_of("t1", documents, [], starts), mixing)
    book = 100.0 + sum(volume for _, _, volume in papers)
    assert content.book_m3 == pytest.approx(book, abs=1e-6)
    assert all(batch.volume_m3 > 0 for batch in content.batches)
