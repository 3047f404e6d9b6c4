"""The stock book: sums that conserve over whatever comes, and an opening that is always the closing before."""

import csv
import io
import itertools
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.account import (
    UNKNOWN,
    ZERO,
    Crossing,
    Opening,
    Volumes,
    entries_of,
    exact,
    in_force,
    less,
    openings_of,
    total,
)
from inventory.book import (
    BY_BOOK,
    BY_DOCUMENT,
    BY_MEASURE,
    INCOMPLETE,
    NO_BOOK,
    Day,
    Row,
    month_row,
    product_row,
    tank_days,
)
from inventory.documents import Document, DocumentKind
from inventory.outside import outside_rows
from inventory.owners import allotted, owner_rows
from tests.inventory.books import held, paper

K = DocumentKind
US_GALLON_M3 = 0.003785411784
"""231 in3. Source: NIST HB 44 App. C."""


def days_from(first: str, count: int) -> list[str]:
    return [(date.fromisoformat(first) + timedelta(days=n)).isoformat() for n in range(count)]


def account(
    papers: list[Document], measured: dict[str, float | None], days: list[str], tank: str = "palm", **split: object
) -> list[Row]:
    entries = entries_of(in_force(papers), **split)  # type: ignore[arg-type]
    with_paper = {one.day for one in papers}
    known = [Day(day, held(measured.get(day), tank), day in with_paper) for day in days]
    return tank_days(tank, "jet", openings_of(papers).get(tank), known, entries)


OPENED = [paper(1, K.OPENING, "2026-01-01", 100.0)]


def test_the_printed_figures_of_an_army_course_come_out_as_an_account() -> None:
    """Source: QM5097 p. 51, QM5180 p. 42: 17,181.4 - 255.6 gal, x 0.9950 = 16,841 gal at 60 degF."""
    gross = exact(17181.4 * US_GALLON_M3, -255.6 * US_GALLON_M3)
    assert gross / US_GALLON_M3 == pytest.approx(16925.8, abs=0.05)
    assert exact(gross * 0.9950) / US_GALLON_M3 == pytest.approx(16841, abs=0.5)


def test_a_day_is_opening_plus_what_papers_say_beside_what_was_measured() -> None:
    papers = [
        *OPENED,
        paper(2, K.DELIVERY, "2026-01-01", 36.0),
        paper(3, K.TICKET, "2026-01-01", -12.5),
        paper(4, K.ADJUSTMENT, "2026-01-01", -0.25),
        paper(5, K.WATER_DRAW, "2026-01-01", -0.005, water_m3=0.02, fuel_m3=0.005),
    ]
    (row,) = account(papers, {"2026-01-01": 123.2}, ["2026-01-01"])
    assert row.opening == Volumes(100.0, 100.0)
    assert row.opening_from == BY_DOCUMENT
    assert [column.gross_m3 for column in row.sums] == [36.0, -12.5, 0.0, -0.005, -0.25]
    assert row.book.gross_m3 == 123.245
    assert row.variance.gross_m3 == -0.045
    assert row.complete


def test_a_day_without_papers_is_incomplete_and_a_day_without_measurement_hands_the_book_on() -> None:
    papers = [*OPENED, paper(2, K.TICKET, "2026-01-01", -10.0), paper(3, K.TICKET, "2026-01-03", -5.0)]
    days = days_from("2026-01-01", 3)
    first, second, third = account(papers, {"2026-01-01": 89.9, "2026-01-03": 84.7}, days)
    assert first.variance.gross_m3 == -0.1
    assert INCOMPLETE in second.missing
    assert second.variance == UNKNOWN
    assert (second.opening.gross_m3, second.opening_from) == (89.9, BY_MEASURE)
    assert (third.opening.gross_m3, third.opening_from, third.since_days) == (89.9, BY_BOOK, 2)
    assert third.variance.gross_m3 == -0.2
    assert third.cumulative.gross_m3 == -0.3


def test_before_the_opening_balance_there_is_no_book() -> None:
    rows = account(OPENED, {"2025-12-31": 99.0, "2026-01-01": 100.0}, days_from("2025-12-31", 2))
    assert rows[0].missing == (NO_BOOK,)
    assert rows[0].book == UNKNOWN
    assert rows[1].opening.gross_m3 == 100.0


def test_a_transfer_is_nothing_to_the_product_and_no_flow_through() -> None:
    papers = [
        *OPENED,
        paper(2, K.OPENING, "2026-01-01", 50.0, "elm"),
        paper(3, K.TRANSFER, "2026-01-01", -20.0, to_tank="elm"),
        paper(4, K.TICKET, "2026-01-01", -3.0, "elm"),
    ]
    day = ["2026-01-01"]
    palm = account(papers, {"2026-01-01": 80.0}, day)[0]
    elm = account(papers, {"2026-01-01": 67.1}, day, "elm")[0]
    assert (palm.out.gross_m3, elm.out.gross_m3) == (20.0, 3.0)
    both = product_row([palm, elm], Volumes(20.0, 20.0))
    assert both.sums.transfers.gross_m3 == 0.0
    assert both.out.gross_m3 == 3.0
    assert both.book.gross_m3 == 147.0
    assert both.variance.gross_m3 == 0.1


def test_a_totaliser_that_only_checks_is_in_no_sum_and_one_that_makes_the_book_is() -> None:
    papers = [
        *OPENED,
        paper(2, K.METER, "2026-01-01", -7.0, meter="rack"),
        paper(3, K.METER, "2026-01-01", -6.9, meter="old", only_checks=True),
        paper(4, K.METER, "2026-01-01", 2.0, meter="in", counts_in=True),
    ]
    (row,) = account(papers, {}, ["2026-01-01"])
    assert (row.sums.issues.gross_m3, row.sums.receipts.gross_m3) == (-7.0, 2.0)


def test_a_volume_that_is_missing_at_one_temperature_takes_only_that_sum_away() -> None:
    papers = [*OPENED, paper(2, K.DELIVERY, "2026-01-01", 36.0, standard=None)]
    (row,) = account(papers, {"2026-01-01": 136.0}, ["2026-01-01"])
    assert row.variance == Volumes(0.0, None)


def test_a_paper_over_the_boundary_is_split_and_its_parts_are_the_whole() -> None:
    papers = [*OPENED, paper(2, K.DELIVERY, "2026-01-01", 36.001)]
    crossing = Crossing(2, "2026-01-01", "2026-01-02", 1 / 3)
    rows = account(papers, {}, days_from("2026-01-01", 2), crossings=[crossing])
    parts = [row.sums.receipts.gross_m3 for row in rows]
    assert parts == [12.0003, 24.0007]
    assert total(row.sums.receipts for row in rows).gross_m3 == 36.001


VOLUME = st.integers(-4_000_000, 4_000_000).map(lambda tenths: tenths / 10_000)
KINDS = st.sampled_from([K.DELIVERY, K.TICKET, K.METER, K.TRANSFER, K.WATER_DRAW, K.ADJUSTMENT])


@st.composite
def histories(draw: st.DrawFn) -> tuple[list[str], list[Document], dict[str, dict[str, float | None]]]:
    """Two tanks over up to six weeks: papers of every kind, days without any, dips and readings that come and go."""
    days = days_from(draw(st.sampled_from(["2026-01-20", "2026-03-20", "2026-10-18"])), draw(st.integers(2, 42)))
    papers = [
        paper(1, K.OPENING, days[0], abs(draw(VOLUME)), "palm"),
        paper(2, K.OPENING, days[draw(st.integers(0, 1))], abs(draw(VOLUME)), "elm"),
    ]
    for number in range(3, 3 + draw(st.integers(0, 30))):
        kind = draw(KINDS)
        tank = draw(st.sampled_from(["palm", "elm"]))
        other = {"palm": "elm", "elm": "palm"}[tank]
        details = {"to_tank": other} if kind is K.TRANSFER and draw(st.booleans()) else {}
        m3, standard = draw(VOLUME), draw(VOLUME)
        papers.append(paper(number, kind, draw(st.sampled_from(days)), m3, tank, standard=standard, **details))
    held_ = {tank: {day: draw(st.none() | VOLUME) for day in days} for tank in ("palm", "elm")}
    return days, papers, held_


@given(histories())
def test_sums_conserve_and_every_opening_is_the_closing_before(
    history: tuple[list[str], list[Document], dict[str, dict[str, float | None]]],
) -> None:
    days, papers, measured = history
    for tank in ("palm", "elm"):
        rows = account(papers, measured[tank], days, tank)
        for before, after in itertools.pairwise(rows):
            if before.opening_from:
                assert after.opening == before.closing
        begun = [row for row in rows if row.opening_from]
        everything = total([begun[0].opening, *(v for row in begun for v in row.sums)])
        gains = total(row.variance for row in begun if row.variance.known)
        assert begun[-1].closing == total((everything, gains))
        for month in {row.period[:7] for row in begun}:
            of_month = [row for row in rows if row.period[:7] == month]
            whole = month_row(of_month)
            if of_month[-1].physical.measured and of_month[-1].opening_from:
                assert whole.variance == of_month[-1].cumulative
                assert whole.closing == of_month[-1].closing
            assert whole.book == total((whole.opening, *whole.sums))


@given(histories())
def test_what_one_tank_gives_to_another_the_other_gets(
    history: tuple[list[str], list[Document], dict[str, dict[str, float | None]]],
) -> None:
    days, papers, measured = history
    transfers = [entry for entry in entries_of(in_force(papers)) if entry.inner and entry.day in days]
    assert total(entry.volumes for entry in transfers) == ZERO
    inner = [e for e in transfers if (e.volumes.gross_m3 or 0) < 0]
    rows = [account(papers, measured[tank], days[1:2], tank)[0] for tank in ("palm", "elm")]
    product = product_row(rows, less(ZERO, total(e.volumes for e in inner if e.day == days[1])))
    alone = [e for e in entries_of(in_force(papers)) if e.day == days[1] and not e.inner]
    assert product.sums.transfers == total(e.volumes for e in alone if e.column == "transfers")


@given(histories())
def test_a_month_as_csv_read_again_gives_the_same_sums(
    history: tuple[list[str], list[Document], dict[str, dict[str, float | None]]],
) -> None:
    days, papers, measured = history
    rows = account(papers, measured["palm"], days)
    out = io.StringIO()
    csv.writer(out).writerows([f"{v.gross_m3:.4f}" for v in row.sums] for row in rows)
    again = [[float(cell) for cell in line] for line in csv.reader(io.StringIO(out.getvalue()))]
    for place, column in enumerate(zip(*again, strict=True)):
        assert exact(*column) == total(row.sums[place] for row in rows).gross_m3


@given(VOLUME, st.lists(st.floats(0, 1e6), min_size=1, max_size=7))
def test_shares_of_owners_add_up_to_what_was_gained_or_lost(gain: float, weights: list[float]) -> None:
    shares = allotted(Volumes(exact(gain), exact(gain / 2)), weights)
    assert total(shares) == Volumes(exact(gain), exact(gain / 2))
    assert all(abs(share.gross_m3 or 0.0) <= abs(gain) + 0.001 for share in shares)


def test_owners_share_a_loss_by_what_they_moved() -> None:
    papers = [
        paper(1, K.OPENING, "2026-01-01", 60.0, owner="north"),
        paper(2, K.OPENING, "2026-01-01", 40.0, owner="south"),
        paper(3, K.DELIVERY, "2026-01-02", 30.0, owner="north"),
        paper(4, K.TICKET, "2026-01-02", -10.0, owner="south"),
    ]
    opening = openings_of(papers)["palm"]
    assert opening == Opening(
        "2026-01-01", Volumes(100.0, 100.0), {"north": Volumes(60.0, 60.0), "south": Volumes(40.0, 40.0)}
    )
    entries = entries_of(in_force(papers))
    north, south = owner_rows("jet", "2026-01", opening.owners, entries, Volumes(-0.4, -0.4), "throughput")
    assert (north.book.gross_m3, north.allotted.gross_m3, north.closing.gross_m3) == (90.0, -0.3, 89.7)
    assert (south.book.gross_m3, south.allotted.gross_m3, south.closing.gross_m3) == (30.0, -0.1, 29.9)


def test_stock_outside_the_tanks_has_its_own_line() -> None:
    papers = [
        paper(1, K.OUTSIDE, "2025-12-31", 10.0, "", place="bowser-1"),
        paper(2, K.TRANSFER, "2026-01-03", -8.0, "palm", place="bowser-1"),
        paper(3, K.TICKET, "2026-01-03", -9.0, "", place="bowser-1"),
        paper(4, K.OUTSIDE, "2026-01-31", 8.9, "", place="bowser-1"),
    ]
    entries = entries_of(in_force(papers))
    stands = [(p.day, "bowser-1", "jet", Volumes(p.observed_m3, p.standard_m3)) for p in papers if p.kind is K.OUTSIDE]
    (row,) = outside_rows(stands, entries, "2026-01")
    assert (row.opening.gross_m3, row.moved.gross_m3, row.book.gross_m3) == (10.0, -1.0, 9.0)
    assert (row.stand.gross_m3, row.variance.gross_m3, row.stated_on) == (8.9, -0.1, "2026-01-31")


def test_a_place_stands_at_what_its_owners_have_in_it_together() -> None:
    """Each owner's stand is a document of its own; one of them may lack its standard volume."""
    stands = [
        ("2026-01-30", "bowser-1", "jet", Volumes(7.0, 7.0)),
        ("2026-01-31", "bowser-1", "jet", Volumes(2.9, None)),
        ("2026-01-31", "bowser-1", "jet", Volumes(1.0, 1.0)),
    ]
    (row,) = outside_rows(stands, [], "2026-01")
    assert (row.stand, row.stated_on) == (Volumes(3.9, None), "2026-01-31")


def test_a_place_opens_its_first_month_with_its_first_stand() -> None:
    papers = [
        paper(1, K.TRANSFER, "2026-01-09", -3.0, "palm", place="bowser-1"),
        paper(2, K.TRANSFER, "2026-01-20", -8.0, "palm", place="bowser-1"),
    ]
    stands = [
        ("2026-01-10", "bowser-1", "jet", Volumes(3.1, 3.1)),
        ("2026-01-31", "bowser-1", "jet", Volumes(11.0, 11.0)),
    ]
    (row,) = outside_rows(stands, entries_of(in_force(papers)), "2026-01")
    assert (row.opening.gross_m3, row.moved.gross_m3, row.variance.gross_m3) == (3.1, 8.0, -0.1)
    (once,) = outside_rows(stands[:1], entries_of(in_force(papers)), "2026-01")
    assert (once.opening, once.stand.gross_m3) == (UNKNOWN, 3.1)
