"""Papers of a tank's day beside the movements of its gauge; sums done by hand."""

from dataclasses import replace

from inventory.documents import Document, DocumentKind
from inventory.papercheck import Beside, Checked, SeenMove, checked

DAY = "2026-03-10"
NEXT = "2026-03-11"


def paper(number: int, m3: float | None, kind: DocumentKind = DocumentKind.TICKET, **more: object) -> Document:
    base = Document(
        number=number, kind=kind, day=DAY, product="jet", tank="palm", owner="", paper=f"T{number}", observed_m3=m3,
        standard_m3=m3, temperature_degC=None, density_kg_m3=None, by="Ada", time_ms=0, corrects=None, comment="",
        details={},
    )  # fmt: skip
    return replace(base, **more)  # type: ignore[arg-type]  # fields by name


def moved(
    number: int, m3: float, u95: float = 0.3, *, day: str = DAY, end_day: str = "", tank: str = "palm"
) -> SeenMove:
    kind = "receipt" if m3 > 0 else "issue"
    return SeenMove(tank, number, kind, day, end_day or day, 0, 1, m3, m3, u95, u95)


def only(documents: list[Document], seen: list[SeenMove]) -> Checked:
    (found,) = checked(documents, seen)
    return found


def test_tickets_of_a_day_are_held_together_against_what_the_gauge_saw_together() -> None:
    found = only([paper(1, -5.0), paper(2, -6.0), paper(3, -4.0)], [moved(1, -9.2, 0.3), moved(2, -5.7, 0.4)])
    assert (found.paper_m3, round(found.moved_m3 or 0.0, 9)) == (-15.0, -14.9)
    assert round(found.u95_m3 or 0.0, 9) == 0.5  # the root of 0.09 + 0.16
    assert found.difference_m3 is not None
    assert round(found.difference_m3, 9) == -0.1
    assert found.verdict is Beside.AGREE


def test_further_apart_than_the_gauges_own_doubt_is_said_with_its_size() -> None:
    found = only([paper(1, -5.0), paper(2, -6.0)], [moved(1, -12.0, 0.3)])
    assert (found.verdict, found.difference_m3) == (Beside.APART, 1.0)
    assert only([paper(1, -5.0)], []).verdict is Beside.NO_MOVEMENT
    assert only([], [moved(1, -12.0)]).verdict is Beside.NO_PAPER
    assert only([paper(1, -5.0, standard_m3=None, observed_m3=-5.0)], [moved(1, -5.0)]).standard is False


def test_what_came_and_what_went_are_never_held_against_each_other() -> None:
    note = paper(1, 36.0, DocumentKind.DELIVERY)
    found = checked([note, paper(2, -5.0)], [moved(1, 35.9, 0.3), moved(2, -5.1, 0.2)])
    assert [(one.inward, one.documents, one.verdict) for one in found] == [
        (True, (1,), Beside.AGREE),
        (False, (2,), Beside.AGREE),
    ]


def test_a_movement_stands_beside_the_one_paper_that_it_fits_and_beside_none_where_two_fit() -> None:
    different = only([paper(1, -5.0), paper(2, -9.0)], [moved(1, -9.1), moved(2, -4.9)])
    assert [pair.document for pair in different.moves] == [2, 1]
    alike = only([paper(1, -5.0), paper(2, -5.1)], [moved(1, -5.0), moved(2, -5.1)])
    assert [pair.document for pair in alike.moves] == [0, 0]


def test_a_transfer_note_answers_to_the_movements_of_both_its_tanks() -> None:
    note = paper(7, -20.0, DocumentKind.TRANSFER, details={"to_tank": "ridge"})
    out, into = checked([note], [moved(1, -20.1), moved(1, 19.9, tank="ridge")])
    assert (out.tank, out.documents, out.others, out.verdict) == ("palm", (7,), (), Beside.AGREE)
    assert (into.tank, into.documents, into.others, into.verdict) == ("ridge", (), (7,), Beside.AGREE)


def test_a_movement_over_midnight_answers_to_the_papers_of_the_day_that_has_some() -> None:
    (found,) = checked([paper(1, -5.0, day=NEXT)], [moved(1, -5.0, end_day=NEXT)])
    assert (found.day, found.verdict) == (NEXT, Beside.AGREE)
    (found,) = checked([paper(1, -5.0)], [moved(1, -5.0, end_day=NEXT)])
    assert (found.day, found.verdict) == (DAY, Beside.AGREE)


def test_what_no_gauge_sees_and_what_only_checks_is_left_out() -> None:
    draw = paper(1, -0.01, DocumentKind.WATER_DRAW)
    watcher = paper(2, -5.0, DocumentKind.METER, details={"only_checks": True})
    assert checked([draw, watcher], [moved(1, 0.1, u95=0.3)]) == []


def test_a_difference_as_large_as_one_movement_or_one_paper_names_it() -> None:
    papers = [paper(1, -30.0), paper(2, -20.0)]
    lacks = only(papers, [moved(4, -30.1, 0.2), moved(5, -12.4, 0.1), moved(6, -20.0, 0.2)])
    assert (lacks.verdict, lacks.like_movement, lacks.like_document) == (Beside.APART, 5, 0)
    twice = only([*papers, paper(3, -20.1)], [moved(4, -30.1, 0.2), moved(6, -20.0, 0.2)])
    assert (twice.verdict, twice.like_movement, twice.like_document) == (Beside.APART, 0, 0)  # 2 or 3: nobody can say
    other = only([*papers, paper(3, -8.0)], [moved(4, -30.1, 0.2), moved(6, -20.0, 0.2)])
    assert (other.like_movement, other.like_document) == (0, 3)
    unlike = only(papers, [moved(4, -30.1, 0.2), moved(5, -6.0, 0.1), moved(6, -20.0, 0.2), moved(7, -5.0, 0.1)])
    assert (unlike.verdict, unlike.like_movement) == (Beside.APART, 0)


def test_a_paper_that_was_written_before_the_fuel_moved_is_not_of_that_movement() -> None:
    early = paper(1, -5.0)
    late = moved(1, -5.0)._replace(start_ms=10, end_ms=20)
    assert only([early], [late]).moves[0].document == 0
    assert only([replace(early, time_ms=15)], [late]).moves[0].document == 1


def test_what_puts_a_paper_of_a_closed_day_right_answers_to_no_movement() -> None:
    out = paper(8, 5.0, day=NEXT, corrects=1, details={"reverses": 1})
    right = paper(9, -4.9, day=NEXT, corrects=1)
    (found,) = checked([paper(1, -5.0), out, right], [moved(1, -5.0)])
    assert (found.day, found.documents, found.verdict) == (DAY, (1,), Beside.AGREE)
    # one of an open day takes the place of the old one, which is undone and not among them
    (found,) = checked([paper(2, -4.9, corrects=1)], [moved(1, -5.0)])
    assert (found.documents, found.verdict) == ((2,), Beside.AGREE)
