"""The certificate of a capacity table and what follows from having one or none."""

import pytest

from models.certificate import (
    FROM_DRAWING,
    CapacityCertificate,
    TankForm,
    reference_height_objection,
    signature_objection,
    stated_of,
)
from models.errors import OutOfRange
from tests.reference import rows


def paper(**changes: object) -> CapacityCertificate:
    facts: dict[str, object] = {
        "number": "SIM-17",
        "laboratory": "simulated laboratory",
        "calibrated_on": "2020-05-04",
        "form": TankForm.UPRIGHT,
        "reference_height_m": 13.5,
        "datum": "datum plate",
        "next_due": "2030-05-04",
    }
    return CapacityCertificate(**(facts | changes))  # type: ignore[arg-type]


def test_without_a_certificate_the_table_is_good_to_one_percent_and_needs_a_name_to_sign() -> None:
    stated = stated_of(None)
    assert stated is FROM_DRAWING
    assert (stated.expanded_frac, stated.coverage) == (0.01, 2.0)
    assert "from drawing dimensions" in stated.source
    assert "named person" in str(signature_objection(None))
    assert signature_objection(None, "stock keeper of the site") is None
    assert signature_objection(paper()) is None


def test_a_certificates_own_figure_comes_before_that_of_its_class() -> None:
    assert stated_of(paper(expanded_frac=0.0015, coverage=2.2)).standard_frac == pytest.approx(0.0015 / 2.2)
    assert "SIM-17" in stated_of(paper(expanded_frac=0.0015)).source
    for form, expected in ((TankForm.UPRIGHT, 0.002), (TankForm.LYING, 0.003), (TankForm.OTHER, 0.005)):
        assert stated_of(paper(form=form)).expanded_frac == expected  # OIML R 71 (secondary; 0.3 and 0.5 % from memory)


def test_classes_of_tanks_have_the_figures_of_the_authorities() -> None:
    """OIML R 71 (0.2 % as a national page quotes it; 0.3 and 0.5 % from memory); no table is believed better without a
    figure of its own, and none from a drawing better than 1 %, twice the widest class (common practice)."""
    of = {r["quantity"]: r for r in rows("stock/tolerances.csv") if "OIML R 71" in r["source"]}
    for form, name in (
        (TankForm.UPRIGHT, "capacity table, vertical cylinder"),
        (TankForm.LYING, "capacity table, horizontal"),
        (TankForm.OTHER, "capacity table, other"),
    ):
        assert 100 * stated_of(paper(form=form)).expanded_frac == pytest.approx(float(of[name]["value"]))
    assert FROM_DRAWING.expanded_frac >= max(stated_of(paper(form=form)).expanded_frac for form in TankForm)


def test_a_certificate_is_overdue_from_the_day_after() -> None:
    assert not paper().is_overdue("2030-05-04")
    assert paper().is_overdue("2030-05-05")
    assert not paper(next_due=None).is_overdue("2099-01-01")


def test_a_reference_height_two_millimetres_off_is_still_the_same() -> None:
    assert reference_height_objection(paper(), 13.502) is None
    assert "-2.1 mm" in str(reference_height_objection(paper(), 13.4979))


@pytest.mark.parametrize("wrong", [{"reference_height_m": 0}, {"expanded_frac": 0.2}, {"coverage": 0.5}])
def test_a_certificate_that_cannot_be_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(OutOfRange, match="SIM-17"):
        paper(**wrong)
