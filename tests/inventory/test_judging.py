"""A row of the stock book judged: of which days it is."""

import pytest

from inventory.account import entries_of, in_force, openings_of
from inventory.accountrules import AccountRules
from inventory.book import Day, month_row, tank_days
from inventory.documents import DocumentKind
from inventory.judging import judged_tank
from inventory.tolerances import Base, Rule
from inventory.variance import Part
from tests.inventory.books import held, paper

K = DocumentKind
RULES = AccountRules(rule=Rule("own", "1 %", "invented", Base.FLOW_THROUGH, 1.0), samples_m3=0.002)


def test_a_month_is_of_the_days_since_its_book_began() -> None:
    """Samples, and what the percentage is of: a ticket of the week before the opening balance is in neither."""
    papers = [
        paper(1, K.TICKET, "2026-01-03", -40.0),
        paper(2, K.OPENING, "2026-01-25", 100.0),
        paper(3, K.TICKET, "2026-01-26", -10.0),
    ]
    days = [Day(f"2026-01-{n:02d}", held(90.0 if n > 25 else 100.0), True) for n in range(1, 32)]
    rows = tank_days("palm", "jet", openings_of(papers)["palm"], days, entries_of(in_force(papers)))
    month = judged_tank(RULES, 15.0, month_row(rows), rows, {})
    last = judged_tank(RULES, 15.0, rows[-1], rows, {})
    samples = next(term.amount_m3 for term in month.terms if term.part is Part.SAMPLES)
    assert samples == pytest.approx(-7 * 0.002)
    assert month.basis.out_m3 == last.basis.out_m3 == 10.0


def test_a_day_after_a_month_s_end_that_nobody_measured_has_the_samples_of_both() -> None:
    papers = [paper(1, K.OPENING, "2026-01-01", 100.0)]
    names = ["2026-01-30", "2026-01-31", "2026-02-01"]
    days = [Day(name, held(None if name == "2026-01-31" else 100.0), True) for name in names]
    before = held(100.0)
    rows = tank_days("palm", "jet", openings_of(papers)["palm"], days, entries_of(in_force(papers)), before)
    day = judged_tank(RULES, 15.0, rows[-1], rows[-1:], {})
    assert next(term.amount_m3 for term in day.terms if term.part is Part.SAMPLES) == pytest.approx(-2 * 0.002)
