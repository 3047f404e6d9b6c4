"""The line's meters beside tank and papers. Reference: arithmetic by hand, and the volume correction of API MPMS 11.1
for jet of 800 kg/m3, whose own tables are tested in tests/models."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.moved import Moved
from inventory.receiptmatch import Verdict
from inventory.receiptmeter import METER, NO_READING, PAPER, TANK, WENT_BACK, Count, metered, three
from inventory.receiptprogress import line_check
from inventory.receiptrules import ReceiptRules
from inventory.receipts import DeliveryPaper, DeliverySample
from models.correction import ctl
from models.quantity import Product

JET = Product("jet", 800.0)
RULES = ReceiptRules()


def count(
    closing_m3: float | None, *, opening_m3: float = 1000.0, factor: float = 1.0, compensated: bool = False,
    rolls: float | None = None, u95: float = 0.002,
) -> Count:  # fmt: skip
    return Count("m1", "Line meter", opening_m3, closing_m3, factor, compensated, rolls, u95)


def paper(observed_m3: float | None = 36.0, temperature_degC: float | None = 25.0) -> DeliveryPaper:
    return DeliveryPaper(observed_m3, None, temperature_degC, 800.0)


def gained(standard_m3: float, u95_m3: float = 0.05) -> Moved:
    return Moved(standard_m3, u95_m3, standard_m3, u95_m3, standard_m3, u95_m3)


def test_a_totaliser_counts_what_lies_between_its_readings_times_its_factor() -> None:
    found = metered([count(1036.0, factor=1.0012)], paper(), JET, None)
    assert found is not None
    assert found.observed_m3 == pytest.approx(36.0432)
    assert found.observed_u95_m3 == pytest.approx(0.002 * 36.0432)
    assert found.standard_m3 == pytest.approx(36.0432 * ctl("jet", 800.0, 25.0))
    by_degC = 36.0432 * (ctl("jet", 800.0, 25.0) - ctl("jet", 800.0, 26.0))
    counted = 0.0720864 * ctl("jet", 800.0, 25.0)
    assert found.standard_u95_m3 == pytest.approx((counted**2 + by_degC**2) ** 0.5, rel=1e-3)


def test_the_samples_own_temperature_goes_before_the_papers() -> None:
    sample = DeliverySample("Ann", 0, 800.0, 30.0)
    found = metered([count(1036.0)], paper(), JET, sample)
    assert found is not None
    assert found.temperature_degC == 30.0
    assert found.standard_m3 == pytest.approx(36.0 * ctl("jet", 800.0, 30.0))


def test_a_compensated_register_needs_no_temperature_and_tells_none() -> None:
    found = metered([count(1036.0, compensated=True)], paper(temperature_degC=None), JET, None)
    assert found is not None
    assert found.observed_m3 is None
    assert found.standard_m3 == pytest.approx(36.0)
    assert found.standard_u95_m3 == pytest.approx(0.072)
    plain = metered([count(1036.0)], paper(temperature_degC=None), JET, None)
    assert plain is not None
    assert (plain.observed_m3, plain.standard_m3) == (36.0, None)


def test_two_meters_add_up_and_one_of_another_kind_is_brought_to_the_same_temperature() -> None:
    found = metered([count(1020.0), count(1010.0, compensated=True)], paper(), JET, None)
    assert found is not None
    assert found.observed_m3 is None
    assert found.standard_m3 == pytest.approx(20.0 * ctl("jet", 800.0, 25.0) + 10.0)


def test_a_register_that_turns_over_goes_on_and_one_that_was_reset_tells_nothing() -> None:
    over = count(12.5, opening_m3=999_980.0, rolls=1_000_000.0)
    assert over.counted_m3 == pytest.approx(32.5)
    reset = metered([count(12.5, opening_m3=999_980.0)], paper(), JET, None)
    silent = metered([count(None)], paper(), JET, None)
    assert (reset and reset.why_not, silent and silent.why_not) == (WENT_BACK, NO_READING)
    assert metered([], paper(), JET, None) is None


@given(
    st.floats(0, 9e5), st.floats(0.001, 5e4), st.floats(0.95, 1.05), st.sampled_from([1e6, None]), st.booleans()
)  # fmt: skip
def test_whatever_the_registers_show_the_volume_is_never_negative(
    opening: float, volume: float, factor: float, rolls: float | None, compensated: bool
) -> None:
    closing = opening + volume
    closing = closing - 1e6 if rolls and closing >= 1e6 else closing
    one = count(closing, opening_m3=opening, factor=factor, rolls=rolls, compensated=compensated)
    found = metered([one], paper(), JET, None)
    assert found is not None
    assert found.standard_m3 is not None
    assert found.standard_m3 >= 0
    assert one.counted_m3 == pytest.approx(volume, abs=1e-6)


STANDARD = 36.0 * ctl("jet", 800.0, 25.0)


@pytest.mark.parametrize(
    ("tank", "counted", "apart"),
    [
        (STANDARD, 36.0, ""),
        (STANDARD - 0.4, 36.0, TANK),
        (STANDARD, 36.6, METER),
        (STANDARD + 0.5, 36.5, PAPER),  # as the two of them say: less was written than came
        (STANDARD - 0.4, 36.6, ""),  # nobody agrees with anybody
    ],
)
def test_three_figures_two_and_two_and_the_one_that_stands_apart(tank: float, counted: float, apart: str) -> None:
    line = metered([count(1000 + counted)], paper(), JET, None)
    found = three(paper(), JET, gained(tank), line, RULES)
    assert found is not None
    assert (found.basis, found.apart) == ("standard", apart)
    assert [(one.of, one.against) for one in found.pairs] == [(TANK, PAPER), (TANK, METER), (PAPER, METER)]
    sizes = {one.of: one.u95_m3 for one in found.figures}
    for pair in found.pairs:
        assert pair.u95_m3 == pytest.approx((sizes[pair.of] ** 2 + sizes[pair.against] ** 2) ** 0.5)
        assert (pair.verdict is Verdict.BEYOND) == (abs(pair.difference_m3) > max(pair.limit_m3, pair.u95_m3))
    assert sum(one.difference_m3 for one in found.pairs[::2]) == pytest.approx(found.pairs[1].difference_m3)


def test_what_a_tall_tank_cannot_tell_the_meter_and_the_papers_can() -> None:
    line = metered([count(1036.0)], paper(), JET, None)
    found = three(paper(), JET, gained(STANDARD + 0.25, 0.31), line, RULES)
    assert found is not None
    told = {(one.of, one.against): (one.resolves, one.verdict) for one in found.pairs}
    assert told[TANK, PAPER] == (False, Verdict.NOT_TOLD)
    assert told[PAPER, METER] == (True, Verdict.WITHIN)


def test_without_the_tank_papers_and_meter_still_stand_beside_each_other() -> None:
    found = three(paper(), JET, None, metered([count(1036.0)], paper(), JET, None), RULES)
    assert found is not None
    assert [(one.of, one.against) for one in found.pairs] == [(PAPER, METER)]
    assert three(paper(), JET, None, None, RULES) is None
    assert three(paper(), JET, gained(36.0), metered([count(None)], paper(), JET, None), RULES) is None
    cold = paper(temperature_degC=None)
    observed = three(cold, JET, gained(36.0), metered([count(1036.0)], cold, JET, None), RULES)
    assert observed is not None
    assert observed.basis == "observed"


def test_the_lines_figure_of_a_check_may_be_the_meters_own() -> None:
    line = metered([count(1012.0, compensated=True)], paper(), JET, None)
    check = line_check(0, "Ann", 12.0, gained(12.0), paper(), JET, RULES, "", line)
    assert (check.basis, check.line_m3, check.metered, check.beyond) == ("standard", 12.0, True, False)
    typed = line_check(0, "Ann", 12.0, gained(12.0), paper(), JET, RULES)
    assert not typed.metered
    assert typed.line_m3 == pytest.approx(12.0 * ctl("jet", 800.0, 25.0))
