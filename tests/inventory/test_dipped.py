"""What dips say of a movement: which of them count, and what they make of its volume."""

import pytest

from inventory.dipped import REST_MS, GaugeError, by_dips
from inventory.movement import ByDips, Movement, Stage, Stand, movement_of
from models.capacity import CapacityTable

HOUR = 3_600_000
T0 = 1_790_000_000_000
TABLE = CapacityTable([0.0, 10.0], [0.0, 785.0])


def moved() -> Movement:
    stands = Stand(5.0, 392.5, 392.5, None, None), Stand(6.0, 471.0, 471.0, None, None)
    return Movement("palm", 1, 1, 0, T0, None, *stands, end_at_ms=HOUR, end_ms=T0 + HOUR, stage=Stage.FINAL)


def told(*dips: GaugeError, low: int = 0, high: int = T0 + 100 * HOUR) -> ByDips:
    return by_dips(moved(), low, high, dips, TABLE.volume_m3)


def test_two_dips_make_a_volume_and_one_makes_none():
    both = told(GaugeError(T0 - HOUR, 0.05, False), GaugeError(T0 + 2 * HOUR, -0.01, True))
    assert both.start_m == pytest.approx(4.95)
    assert both.end_m == pytest.approx(6.01)
    assert both.volume_m3 == pytest.approx(78.5 * 1.06)
    assert told(GaugeError(T0 + 2 * HOUR, 0.05, False)) == (None, pytest.approx(5.95), None)


def test_nothing_is_told_where_dips_and_gauge_agree():
    assert told(GaugeError(T0 - HOUR, 0.005, True), GaugeError(T0 + 2 * HOUR, -0.01, True)) == ByDips()
    assert told() == ByDips()


@pytest.mark.parametrize("at", [T0 - REST_MS - 1, T0 + 1, T0 + HOUR + REST_MS])
def test_a_dip_out_of_its_rest_says_nothing(at):
    assert told(GaugeError(at, 0.05, False)) == ByDips()


def test_a_dip_beyond_another_movement_says_nothing():
    assert told(GaugeError(T0 - 2 * HOUR, 0.05, False), low=T0 - HOUR) == ByDips()
    assert told(GaugeError(T0 + 3 * HOUR, 0.05, False), high=T0 + 2 * HOUR) == ByDips()


def test_the_dips_nearest_to_the_movement_count():
    found = told(
        GaugeError(T0 - 3 * HOUR, 0.09, False), GaugeError(T0 - HOUR, 0.05, False),
        GaugeError(T0 + 2 * HOUR, 0.02, False), GaugeError(T0 + 4 * HOUR, 0.08, False),
    )  # fmt: skip
    assert (found.start_m, found.end_m) == (pytest.approx(4.95), pytest.approx(5.98))


def test_a_level_off_the_table_has_no_volume():
    high = by_dips(
        moved(), 0, T0 + 9 * HOUR, [GaugeError(T0 - 1, 5.5, False), GaugeError(T0 + 2 * HOUR, 0, True)], TABLE.volume_m3
    )
    assert high.volume_m3 is None


def test_it_outlives_a_restart():
    one = moved()
    one.by_dips = ByDips(4.95, None, None)
    assert movement_of(one.json()).by_dips == one.by_dips
    old = one.json()
    del old["by_dips"]
    assert movement_of(old).by_dips == ByDips()
