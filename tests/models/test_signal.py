import struct

import pytest

from models.signal import NE43_2003, Band, Ne43, span_fraction
from tests.reference import rows


@pytest.mark.parametrize("row", rows("signal/ne43_bands.csv"), ids=lambda row: row["id"])
def test_a_current_lies_in_the_band_that_ne43_gives_it(row: dict[str, str]) -> None:
    current = float(row["current_mA"])
    assert NE43_2003.band(current).name == row["expected_band"], row["source"]
    assert 100 * span_fraction(current) == pytest.approx(float(row["linear_percent_of_span"]), abs=5e-5)


@pytest.mark.parametrize(
    ("edge", "band"),
    [
        (3.6, Band.FAIL_LOW),
        (3.8, Band.UNDER_RANGE),
        (20.5, Band.OVER_RANGE),
        (21.0, Band.FAIL_HIGH),
        (20.6, Band.GAP_HIGH),
        (3.7, Band.GAP_LOW),
    ],
)
def test_an_edge_keeps_its_side_after_a_trip_through_a_32_bit_float(edge: float, band: Band) -> None:
    """Source of the edges: NAMUR NE 43 (2003), secondary texts; of the rounding: IEEE 754 binary32 (computed)."""
    (as_float32,) = struct.unpack("f", struct.pack("f", edge))
    assert NE43_2003.band(as_float32) is band


def test_only_3_8_to_20_5_mA_measures() -> None:
    assert [band for band in Band if band.measures] == [Band.UNDER_RANGE, Band.NORMAL, Band.OVER_RANGE]


def test_a_site_may_set_its_own_limits() -> None:
    strict = Ne43(fail_low_mA=3.5, low_mA=3.9, high_mA=20.2, fail_high_mA=22.0)
    assert strict.band(3.55) is Band.GAP_LOW
    assert strict.band(20.4) is Band.GAP_HIGH
    assert strict.band(21.5) is Band.GAP_HIGH
    assert strict.band(22.0) is Band.FAIL_HIGH
