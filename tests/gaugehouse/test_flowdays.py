"""What went into and out of a tank on a day: papers of every kind, each where it tells something."""

from gaugehouse.flowdays import GAUGE, PAPER, Flow, by_day, paper_flows
from inventory.documents import DocumentKind
from tests.inventory.books import paper

K = DocumentKind
DAY = "2026-01-05"


def test_what_a_refueller_took_has_left_the_tank_beside_the_tickets_of_the_same_day() -> None:
    papers = [
        paper(1, K.TICKET, DAY, -5.0),
        paper(2, K.TRANSFER, DAY, -18.0, place="bowser-1"),
        paper(3, K.TICKET, DAY, -7.0, "", place="bowser-1"),
    ]
    flows = paper_flows(papers)
    assert by_day(flows, out=True) == {("palm", DAY): (23.0, PAPER)}
    assert not any(flow.kind.startswith("transfer") for flow in flows)


def test_a_note_from_tank_to_tank_stands_beside_other_papers_and_never_in_place_of_the_gauge() -> None:
    note = paper(1, K.TRANSFER, DAY, -40.0, to_tank="ridge")
    seen = Flow("palm", DAY, -52.0, GAUGE, None, "issue")
    assert by_day([*paper_flows([note]), seen], out=True) == {("palm", DAY): (52.0, GAUGE)}
    papers = [note, paper(2, K.TICKET, DAY, -12.0), paper(3, K.DELIVERY, DAY, 30.0, "ridge")]
    flows = paper_flows(papers)
    assert by_day([*flows, seen], out=True) == {("palm", DAY): (52.0, PAPER)}
    assert by_day(flows, out=False) == {("ridge", DAY): (70.0, PAPER)}
