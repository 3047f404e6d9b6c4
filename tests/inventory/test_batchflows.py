"""From papers to batches: which papers act on which tank, in what order, and when found movements stand in for them."""

from collections.abc import Sequence
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.batches import NO_PAPERS, UNKNOWN_ORIGIN, Batch, Content, Mixing
from inventory.batchflows import EMPTY, Found, contents_of
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


def held(
    documents: Sequence[Document], found: Sequence[Found] = (), mixing: Mixing = Mixing.MIXED, tank: str = "t1"
) -> Content:
    return contents_of(documents, {"t1": found}, starts, mixing).get(tank, EMPTY)


def batch_m3(content: Content) -> dict[str, float]:
    return {batch.batch: batch.volume_m3 for batch in content.batches}


def test_papers_act_in_the_order_of_days_openings_and_receipts_first():
    content = held([TICKET, DELIVERY, OPENING], mixing=Mixing.FIRST_OUT)
    assert content.batches == (
        Batch("", "", DAY_MS, 80.0, None, UNKNOWN_ORIGIN), Batch("B-17", "C-9", 2 * DAY_MS, 36.0, 2),
    )  # fmt: skip


def test_a_delivery_without_a_batch_number_bears_its_papers_number():
    assert list(batch_m3(held([paper(7, DocumentKind.DELIVERY, 2, 36.0)]))) == ["paper P-7"]


NOTE = paper(4, DocumentKind.TRANSFER, 3, -68.0, to_tank="t2")


@pytest.mark.parametrize(
    ("mixing", "went", "stayed"),
    [(Mixing.MIXED, {"": 50.0, "B-17": 18.0}, {"": 50.0, "B-17": 18.0}),
     (Mixing.FIRST_OUT, {"": 68.0}, {"": 32.0, "B-17": 36.0})],
)  # fmt: skip
def test_a_transfer_hands_the_batches_over(mixing: Mixing, went: dict[str, float], stayed: dict[str, float]):
    papers = [OPENING, DELIVERY, NOTE]
    assert batch_m3(held(papers, mixing=mixing)) == pytest.approx(stayed)
    taken = held(papers, mixing=mixing, tank="t2")
    assert batch_m3(taken) == pytest.approx(went)
    assert {(batch.via, batch.since_ms) for batch in taken.batches} == {("t1", 3 * DAY_MS)}
    if mixing is Mixing.MIXED:
        delivered = taken.batches[1]
        assert (delivered.certificate, delivered.number) == ("C-9", 2)


def test_fuel_that_goes_on_the_same_day_keeps_its_batch_whatever_the_numbers_of_the_papers():
    papers = [
        paper(3, DocumentKind.TRANSFER, 2, -10.0, "t2", to_tank="t3"),
        paper(4, DocumentKind.TRANSFER, 2, -30.0, to_tank="t2"),
        paper(5, DocumentKind.DELIVERY, 2, 36.0, batch="B-17"),
    ]
    assert batch_m3(held(papers, tank="t3")) == {"B-17": 10.0}
    assert batch_m3(held(papers, tank="t2")) == {"B-17": 20.0}


def test_a_batch_that_comes_in_two_transfers_is_one_and_a_ring_of_transfers_ends():
    papers = [
        paper(3, DocumentKind.DELIVERY, 2, 36.0, batch="B-17"),
        paper(4, DocumentKind.TRANSFER, 3, -10.0, to_tank="t2"),
        paper(5, DocumentKind.TRANSFER, 4, -6.0, to_tank="t2"),
        paper(6, DocumentKind.TRANSFER, 5, -4.0, to_tank="t2"),
        paper(7, DocumentKind.TRANSFER, 5, -4.0, "t2", to_tank="t1"),
    ]
    assert [batch.volume_m3 for batch in held(papers[:3], tank="t2").batches] == [16.0]
    assert held(papers, tank="t2").volume_m3 == pytest.approx(16.0)
    assert held(papers).volume_m3 == pytest.approx(20.0)


def test_what_the_giver_never_had_is_of_unknown_origin_and_a_batch_on_the_note_is_of_all_of_it():
    (more,) = held([NOTE], tank="t2").batches
    assert (more.origin, more.via, more.volume_m3) == (UNKNOWN_ORIGIN, "t1", 68.0)
    assert held([NOTE]).lack_m3 == 68.0
    named = paper(4, DocumentKind.TRANSFER, 3, -68.0, to_tank="t2", batch="B-20", certificate="C-3")
    (whole,) = held([OPENING, named], tank="t2").batches
    assert (whole.batch, whole.certificate, whole.via) == ("B-20", "C-3", "")


def test_stock_outside_the_tanks_other_tanks_and_papers_that_only_check_do_nothing():
    others = [
        paper(5, DocumentKind.OUTSIDE, 2, 12.0),
        paper(6, DocumentKind.DELIVERY, 2, 36.0, tank="t2"),
        paper(7, DocumentKind.METER, 2, -20.0, only_checks=True),
        paper(8, DocumentKind.WATER_DRAW, 2, None),
        paper(9, DocumentKind.TICKET, 2, -2.0, tank="", place="bowser"),
    ]
    assert held(others) == EMPTY


def test_a_found_receipt_stands_in_until_a_paper_of_its_day_comes():
    found = [Found("2026-03-02", 2 * DAY_MS + 5, 35.6, 1), Found("2026-03-02", 2 * DAY_MS + 9, -19.8, 2)]
    first = held([OPENING], found)
    assert [batch.origin for batch in first.batches] == [UNKNOWN_ORIGIN, NO_PAPERS]
    assert first.volume_m3 == pytest.approx(115.8)
    then = held([OPENING, DELIVERY], found)
    assert [batch.batch for batch in then.batches] == ["", "B-17"]
    assert then.volume_m3 == pytest.approx(116.2)  # the receipt by paper, the issue still as it was found


def test_what_moved_before_the_book_began_is_in_its_opening():
    found = [Found("2026-02-28", 0, 40.0, 1)]
    assert held([OPENING], found).volume_m3 == 100.0


VOLUMES = st.floats(-80.0, 80.0, allow_subnormal=False)
KINDS = st.sampled_from([DocumentKind.DELIVERY, DocumentKind.TICKET, DocumentKind.ADJUSTMENT, DocumentKind.WATER_DRAW])
PAPERS = st.lists(st.tuples(KINDS, st.integers(2, 9), VOLUMES), max_size=20)


@given(PAPERS, st.sampled_from(Mixing))
def test_the_batches_sum_to_what_the_papers_add_up_to(papers: list[tuple[DocumentKind, int, float]], mixing: Mixing):
    documents = [OPENING] + [paper(10 + n, kind, day, volume) for n, (kind, day, volume) in enumerate(papers)]
    content = held(documents, mixing=mixing)
    book = 100.0 + sum(volume for _, _, volume in papers)
    assert content.book_m3 == pytest.approx(book, abs=1e-6)
    assert all(batch.volume_m3 > 0 for batch in content.batches)


MOVES = st.lists(st.tuples(st.sampled_from("123"), st.sampled_from("123"), st.integers(2, 9), st.floats(0.1, 80.0)))


@given(MOVES, st.sampled_from(Mixing))
def test_transfers_lose_and_make_nothing(moves: list[tuple[str, str, int, float]], mixing: Mixing):
    documents = [OPENING, DELIVERY]
    for n, (giver, taker, day, volume) in enumerate(moves):
        if giver != taker:
            documents.append(paper(10 + n, DocumentKind.TRANSFER, day, -volume, f"t{giver}", to_tank=f"t{taker}"))
    contents = contents_of(documents, {}, starts, mixing)
    assert sum(content.book_m3 for content in contents.values()) == pytest.approx(136.0)
    assert all(batch.volume_m3 > 0 for content in contents.values() for batch in content.batches)
