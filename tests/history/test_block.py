"""A stretch of readings as packed columns: back as it was, whatever the model that works figures out."""

from collections.abc import Iterable, Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from history.block import FIGURES, Columns, Deriver, Measured, columns_of, joined, pack, rows_of, unpack
from history.errors import StoreDamaged
from history.scale import reading_of, rounded, row_of
from models.reading import Reading
from tests.history.samples import NOON_MS, bad, reading
from tests.history.test_trend import histories


class Slope:
    """A deriver of the tests' own tank: 78.54 m3 per m, and wrong by `off` in places."""

    version = "slope"

    def __init__(self, off: float = 0.0) -> None:
        self._off = off

    def derive(self, measured: Measured, wanted: Iterable[str]) -> Mapping[str, np.ndarray]:
        tov = measured.level_m * 78.54 + self._off * (measured.time_ms % 7)
        return {
            "tov_m3": tov,
            "gov_m3": tov - 0.9,
            "gsv_m3": measured.level_m * 78.3,
            "ullage_m": 12.5 - measured.level_m,
        }


def columns(readings: list[Reading]) -> Columns:
    rows = [row_of(one) for one in readings]
    return columns_of([(*row[:6], one.level_m, *row[6:]) for row, one in zip(rows, readings, strict=True)])


def back(found: Columns) -> list[Reading]:
    return [reading_of("T-1", row) for row in rows_of(found)]


@pytest.mark.parametrize("deriver", [None, Slope(), Slope(0.37)])
@settings(max_examples=60, deadline=None)
@given(readings=histories())
def test_readings_come_back_whatever_the_model_says(deriver: Deriver | None, readings: list[Reading]) -> None:
    packed = pack(columns(readings), deriver)
    assert back(unpack(packed, deriver)) == [rounded(one) for one in readings]


def test_one_figure_can_be_asked_for_alone() -> None:
    whole = columns([reading(i, NOON_MS + i) for i in range(1, 50)])
    found = unpack(pack(whole, Slope()), Slope(), ["gsv_m3"])
    assert set(found.figures) == {"gsv_m3"}
    assert found.figures["gsv_m3"].values.tolist() == whole.figures["gsv_m3"].values.tolist()


def test_what_a_model_works_out_costs_nothing_and_without_it_cannot_come_back() -> None:
    levels = np.random.default_rng(8).uniform(1, 9, 3000).tolist()
    whole = columns([reading(i + 1, NOON_MS + i, level_m=level) for i, level in enumerate(levels)])
    plain, derived = pack(whole, None), pack(whole, Slope())
    assert len(derived["tov_m3"]) < 40 < 1000 < len(plain["tov_m3"])
    with pytest.raises(StoreDamaged, match="tov_m3 was kept as what a tank model leaves over"):
        unpack(derived, None)
    assert set(unpack(derived, None, ["level_m", "temperature_degC"]).figures) == {"level_m", "temperature_degC"}


def test_stretches_join_in_order() -> None:
    readings = [reading(i, NOON_MS + i) if i % 5 else bad(i, NOON_MS + i) for i in range(1, 90)]
    halves = columns(readings[:40]), columns(readings[40:])
    assert back(joined(halves)) == [rounded(one) for one in readings]


@given(st.sampled_from(FIGURES), st.integers(0, 3))
def test_a_block_whose_columns_are_of_two_lengths_is_damaged(name: str, places: int) -> None:
    packed = pack(columns([reading(i, NOON_MS + i) for i in range(1, 9)]), None)
    packed["seq"] = pack(columns([reading(i, NOON_MS + i) for i in range(1, 10 + places)]), None)["seq"]
    with pytest.raises(StoreDamaged, match="not of one length"):
        unpack(packed, None, [name])
