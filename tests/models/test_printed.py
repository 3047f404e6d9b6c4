"""Printed tables: centimetre rows and proportional parts. Form: common practice, no source; figures computed."""

import pytest

from models.errors import BadTable
from models.printed import Parts, with_parts

CM = [k / 100 for k in range(6)]
LITRES = [0.0, 0.785, 1.571, 2.356, 3.142, 3.927]
LOWER = Parts(0.0, 0.03, (0.079, 0.157, 0.236, 0.314, 0.393, 0.471, 0.55, 0.628, 0.707))


def test_millimetres_come_from_the_parts_of_their_course() -> None:
    table = with_parts(CM, LITRES, [LOWER])
    assert table.volume_m3(0.023) == pytest.approx(1.571 + 0.236)
    assert len(table.levels_m) == 6 + 3 * 9
    assert table.volume_m3(0.045) == pytest.approx((3.142 + 3.927) / 2)  # above the parts: a straight line


def test_flat_stretches_of_whole_litres_are_legal() -> None:
    flat = with_parts([0.0, 0.01, 0.02], [0.0, 0.0, 0.001], [Parts(0, 0.02, (0.0,) * 9)])
    assert flat.levels_of(0.0).high_m == pytest.approx(0.019)


@pytest.mark.parametrize(
    ("words", "call"),
    [
        ("below the datum plate", lambda: with_parts([-0.01, 0.0], [0.0, 1.0], [])),
        ("2 levels but 1 volumes", lambda: with_parts([0.0, 0.01], [0.0], [])),
        ("8 values", lambda: with_parts(CM, LITRES, [Parts(0, 1, (0.1,) * 8)])),
        ("parts 1: a volume falls", lambda: with_parts(CM, LITRES, [Parts(0, 1, (0.2, 0.1) + (0.3,) * 7)])),
        ("lower end comes first", lambda: with_parts(CM, LITRES, [Parts(1, 0, (0.1,) * 9)])),
        ("row 1: 9 mm more hold", lambda: with_parts(CM, LITRES, [Parts(0, 1, (0.1,) * 8 + (0.9,))])),
        ("no centimetre", lambda: with_parts([0, 0.1], [0, 8], [Parts(0, 1, (0.1,) * 9)])),
        ("at least two rows", lambda: with_parts([], [], [])),
    ],
)
def test_sheets_that_do_not_fit_together_name_the_row(words: str, call: object) -> None:
    with pytest.raises(BadTable, match=words):
        call()  # type: ignore[operator]
