"""What a variance is made of: parts that add up to it, and uncertainties that fall by what two stands share."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.account import ZERO, Physical, Volumes
from inventory.crossing import Running, crossings
from inventory.documents import DocumentKind
from inventory.variance import (
    Part,
    SplitRules,
    Stretch,
    Term,
    combined,
    measured_u95,
    split,
    split_of_all,
)
from models.capacity import CapacityTable
from models.quantity import Gauging, Product, Vessel
from models.stock import StockModel
from models.stock_budget import Rest, accuracy_of
from tests.inventory.books import paper

AREA_M2 = math.pi * 5**2
TABLE = CapacityTable([0.0, 14.0], [0.0, 14.0 * AREA_M2])
MODEL = StockModel(
    Vessel(TABLE, 14.5, water_measured=False),
    Product("refined", 800.0),
    {rest: accuracy_of(None, rest) for rest in Rest},
)  # fmt: skip
SILENT = SplitRules(0.001, "a meter")


def stand(level_m: float, degC: float = 15.0, water_m: float | None = None, source: str = "gauge") -> Physical:
    gauging = Gauging(level_m, degC, water_m)
    q = MODEL.calculate(gauging)
    budget = MODEL.budget(q, gauging, Rest.AT_REST)
    assert budget is not None
    return Physical(
        "palm", 0, source, "", Volumes(q.gov_m3, q.gsv_m3), budget.expanded, budget, level_m, degC, None,
        q.area_m2,
    )  # fmt: skip


def stretch(variance: Volumes, opening: Physical | None, closing: Physical, **more: object) -> Stretch:
    rest = {"metered": ZERO, "receipts_m3": 0.0, "drawn_water_m3": 0.0, "days": 1, **more}
    return Stretch(variance, opening, closing, **rest)  # type: ignore[arg-type]


def by_part(terms: tuple[Term, ...]) -> dict[Part, Term]:
    return {term.part: term for term in terms}


@given(
    st.floats(-50, 50), st.floats(-50, 50), st.floats(0.5, 13), st.floats(0.5, 13), st.floats(-5, 40),
    st.none() | st.floats(0, 0.01), st.floats(0, 1000), st.floats(0, 3),
)  # fmt: skip
def test_the_parts_add_up_to_the_variance_as_it_was_measured(
    gross: float, standard: float, before: float, after: float, degC: float, evaporation: float | None,
    receipts: float, drawn: float,
) -> None:  # fmt: skip
    rules = SplitRules(0.001, "a meter", evaporation, 2.5, 0.005)
    terms = split(
        stretch(
            Volumes(gross, standard), stand(before), stand(after, degC), receipts_m3=receipts, drawn_water_m3=drawn,
            days=3,
        ), rules,
    )  # fmt: skip
    assert [term.part for term in terms] == list(Part)
    assert math.fsum(term.amount_m3 or 0.0 for term in terms) == pytest.approx(gross, abs=1e-9)
    assert by_part(terms)[Part.TEMPERATURE].amount_m3 == pytest.approx(gross - standard)
    assert terms[-1].u95_m3 == pytest.approx(combined(terms[:-1]))


def test_a_tank_that_hardly_moved_is_known_better_than_either_stand() -> None:
    still = measured_u95(stand(6.0), stand(6.01))
    far = measured_u95(stand(1.0), stand(11.0))
    assert still is not None and far is not None
    alone = stand(6.0).u95_m3
    assert alone is not None
    assert math.hypot(*still.values()) < alone / 3
    assert far[Part.MEASUREMENT] > 10 * still[Part.MEASUREMENT]


def test_a_dip_and_a_gauge_do_not_share_their_zero() -> None:
    one = measured_u95(stand(6.0), stand(6.0))
    two = measured_u95(stand(6.0, source="dip"), stand(6.0))
    assert one is not None and two is not None
    zero_m3 = 2 * math.sqrt(2) * 0.004 / math.sqrt(3) * AREA_M2  # +-4 mm rectangular, twice, k = 2
    assert two[Part.MEASUREMENT] > 0.95 * zero_m3
    assert one[Part.MEASUREMENT] < zero_m3 / 2


def test_an_opening_by_document_leaves_the_closing_s_own_uncertainty() -> None:
    closing = stand(6.0)
    known = measured_u95(None, closing)
    assert known is not None
    assert math.hypot(*known.values()) == pytest.approx(closing.u95_m3)


def test_water_that_was_found_was_fuel_in_the_book_between_none_and_all_of_it() -> None:
    opening, closing = stand(6.0)._replace(water_m3=0.1), stand(6.0)._replace(water_m3=0.3)
    term = by_part(split(stretch(ZERO, opening, closing, drawn_water_m3=0.2), SILENT))[Part.WATER]
    assert term.amount_m3 == pytest.approx(-0.2)
    assert term.u95_m3 is not None
    assert term.u95_m3 >= 2 * 0.2 / math.sqrt(3)


def test_what_is_not_known_says_so_and_is_in_no_sum() -> None:
    parts = by_part(split(stretch(Volumes(-1.0, None), None, stand(6.0)), SILENT))
    for part in (Part.TEMPERATURE, Part.WATER, Part.EVAPORATION, Part.LINE_FILL, Part.SAMPLES):
        assert parts[part].amount_m3 is None
        assert parts[part].why
    assert parts[Part.UNEXPLAINED].amount_m3 == pytest.approx(-1.0)
    nothing = split(stretch(Volumes(None, None), None, Physical("palm", None, "", "no reading", ZERO)), SILENT)
    assert nothing[-1].amount_m3 is None


def test_meters_err_together_over_tanks_and_measurements_do_not() -> None:
    one = split(stretch(ZERO, stand(6.0), stand(5.0), metered=Volumes(80.0, 80.0)), SILENT)
    assert by_part(one)[Part.METER].u95_m3 == pytest.approx(2 * 0.001 * 80)
    two = by_part(split_of_all([one, one], 0.0))
    assert two[Part.METER].u95_m3 == pytest.approx(2 * 2 * 0.001 * 80)
    measured = by_part(one)[Part.MEASUREMENT].u95_m3
    assert measured is not None
    assert two[Part.MEASUREMENT].u95_m3 == pytest.approx(math.sqrt(2) * measured)


RUNNING = Running("palm", "2026-01-01", "2026-01-02", 36.0, 12.0, 0.4)


def test_the_one_paper_of_a_movement_over_the_boundary_is_split_by_the_readings() -> None:
    papers = [
        paper(2, DocumentKind.DELIVERY, "2026-01-01", 36.3),
        paper(3, DocumentKind.DELIVERY, "2026-01-01", 20.0),
        paper(4, DocumentKind.DELIVERY, "2026-01-03", 36.0),
        paper(5, DocumentKind.DELIVERY, "2026-01-01", 36.0, "elm"),
    ]
    found = crossings([RUNNING], papers)
    assert [(one.number, one.share_before) for one in found.crossings] == [(2, pytest.approx(1 / 3))]
    assert not found.unsplit


def test_two_papers_that_fit_equally_are_not_told_apart() -> None:
    papers = [paper(n, DocumentKind.DELIVERY, "2026-01-02", 36.0) for n in (2, 3)]
    assert crossings([RUNNING], papers) == ((), (RUNNING,))
