"""What a tank's content is made of: both models conserve, no batch is ever below zero, a lack is told."""

import math
from collections.abc import Iterable
from functools import reduce

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.batches import (
    UNKNOWN_ORIGIN,
    Content,
    Flow,
    Inflow,
    Mixing,
    Outflow,
    Stand,
    after,
)

FLOWS: list[Flow] = [
    Stand(0, 100.0),
    Inflow(1, 60.0, "B-1", "C-1", 1),
    Outflow(2, 80.0),
    Inflow(3, 20.0, "B-2", "C-2", 2),
]


def content_of(flows: Iterable[Flow], mixing: Mixing) -> Content:
    return reduce(lambda content, flow: after(content, flow, mixing), flows, Content())


def told(content: Content) -> list[tuple[str, float]]:
    return [(batch.batch or batch.origin, pytest.approx(batch.volume_m3)) for batch in content.batches]


def test_fully_mixed_an_issue_takes_of_each_batch_its_share():
    """Computed by hand: of 160 m3, 100 and 60, half is issued."""
    assert told(content_of(FLOWS, Mixing.MIXED)) == [(UNKNOWN_ORIGIN, 50.0), ("B-1", 30.0), ("B-2", 20.0)]


def test_first_in_first_out_an_issue_takes_the_oldest():
    assert told(content_of(FLOWS, Mixing.FIRST_OUT)) == [(UNKNOWN_ORIGIN, 20.0), ("B-1", 60.0), ("B-2", 20.0)]


def test_shares_are_parts_of_the_content():
    assert content_of(FLOWS, Mixing.MIXED).shares() == pytest.approx([0.5, 0.3, 0.2])
    assert Content().shares() == []


def test_what_went_out_beyond_the_papers_is_a_lack_that_the_next_receipt_makes_up():
    content = content_of([Inflow(0, 10.0, "B-1"), Outflow(1, 15.0)], Mixing.MIXED)
    assert (content.batches, content.lack_m3, content.book_m3) == ((), 5.0, -5.0)
    content = after(content, Inflow(2, 12.0, "B-2"), Mixing.MIXED)
    assert told(content) == [("B-2", 7.0)]
    assert content.lack_m3 == 0.0


def test_an_opening_balance_ends_a_lack_and_its_excess_is_of_unknown_origin():
    content = content_of([Outflow(0, 5.0), Inflow(1, 8.0, "B-1"), Stand(2, 10.0)], Mixing.MIXED)
    assert told(content) == [("B-1", 3.0), (UNKNOWN_ORIGIN, 7.0)]


@pytest.mark.parametrize("volume", [-1.0, math.nan, math.inf])
def test_a_volume_that_is_none_is_refused(volume):
    with pytest.raises(ValueError, match="no volume"):
        after(Content(), Inflow(0, volume), Mixing.MIXED)


VOLUMES = st.floats(0.0, 500.0, allow_subnormal=False)
ANY_FLOW = st.one_of(
    st.builds(Inflow, st.just(0), VOLUMES, st.sampled_from(["B-1", "B-2", "B-3"])),
    st.builds(Outflow, st.just(0), VOLUMES),
    st.builds(Stand, st.just(0), VOLUMES),
)


def book_of(flows: list[Flow]) -> float:
    """The content as a book adds it up, with nothing of batches in it."""
    book = 0.0
    for flow in flows:
        match flow:
            case Inflow():
                book += flow.volume_m3
            case Outflow():
                book -= flow.volume_m3
            case Stand():
                book = flow.volume_m3
    return book


@given(st.lists(ANY_FLOW, max_size=40), st.sampled_from(Mixing))
def test_the_batches_sum_to_the_book_and_none_is_below_zero(flows: list[Flow], mixing: Mixing):
    content = content_of(flows, mixing)
    assert content.book_m3 == pytest.approx(book_of(flows), abs=1e-6)
    assert all(batch.volume_m3 > 0 for batch in content.batches)
    assert content.lack_m3 >= 0
    assert content.lack_m3 < 1e-6 or content.volume_m3 < 1e-6  # never both


@given(st.lists(ANY_FLOW, max_size=30))
def test_both_models_hold_the_same_content(flows: list[Flow]):
    mixed, first_out = (content_of(flows, mixing) for mixing in Mixing)
    assert mixed.volume_m3 == pytest.approx(first_out.volume_m3, abs=1e-6)
    assert mixed.lack_m3 == pytest.approx(first_out.lack_m3, abs=1e-6)


@given(st.lists(ANY_FLOW, max_size=30), st.integers(0, 30))
def test_it_does_not_matter_where_a_restart_falls(flows: list[Flow], at: int):
    content = content_of(flows[:at], Mixing.MIXED)
    for flow in flows[at:]:
        content = after(content, flow, Mixing.MIXED)
    assert content == content_of(flows, Mixing.MIXED)
