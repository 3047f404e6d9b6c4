"""Every plausible decoding of a block: nothing that was encoded is missed, and the true one comes first among noise."""

import random
import struct

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from modbus.codecs import encode
from modbus.decodings import Candidate, Known, decodings
from modbus.signals import Order, RegisterSignal, RegisterType
from tests.reference import rows

T = RegisterType
WIDE = [T.INT32, T.UINT32, T.FLOAT32, T.FLOAT64, T.INT64, T.UINT64, T.BCD32]
ORDERS = [(word, byte) for word in Order for byte in Order]

NAMES = ("ABCD_big_endian", "BADC_byte_swapped", "CDAB_word_swapped", "DCBA_little_endian")
FLOAT_ORDERS = dict(zip(NAMES, ORDERS, strict=True))
LEVELS = [row for row in rows("modbus/float32_word_order.csv") if 0.01 <= float(row["value"]) <= 100]
UNITS = [(1.0, 1.0), (0.01, 1.0), (1.0, 1000.0), (1.0, 1 / 0.3048), (0.1, 1 / 0.0254)]
"""Scale, and units to a metre."""


def is_of(candidate: Candidate, kind: RegisterType) -> bool:
    return kind is candidate.type or kind in candidate.also


@pytest.mark.parametrize("column", list(FLOAT_ORDERS))
@pytest.mark.parametrize("row", LEVELS, ids=lambda row: row["id"])
def test_a_float_is_found_in_each_of_its_four_orders(row: dict[str, str], column: str) -> None:
    """Source: in the row (IEEE 754 binary32)."""
    value = float(row["value"])
    orders = FLOAT_ORDERS[column]
    registers = [int(word, 16) for word in row[column].split()]
    found = decodings(100, registers, Known(value, 0.001))
    mine = [c for c in found if is_of(c, T.FLOAT32) and (c.word_order, c.byte_order) == orders and c.unit == "m"]
    assert [(c.address, c.level_m) for c in mine] == [(100, pytest.approx(value, rel=1e-6))]


@given(
    st.floats(0.5, 20.0),
    st.sampled_from([T.FLOAT32, T.FLOAT64, T.INT16, T.UINT16, T.INT32, T.UINT32, T.BCD16, T.BCD32]),
    st.sampled_from(ORDERS),
    st.sampled_from(UNITS),
    st.integers(0, 6),
)
def test_what_was_encoded_is_among_the_decodings(
    level: float, kind: RegisterType, order: tuple[Order, Order], unit: tuple[float, float], before: int
) -> None:
    """The codecs' own encoding, read back by the search: law of the pair, not of the world."""
    scale, per_m = unit
    raw, largest = level * per_m / scale, {T.BCD16: 9999, T.INT16: 32767, T.UINT16: 65535}.get(kind, 1e8)
    assume(raw <= largest and (kind in (T.FLOAT32, T.FLOAT64) or round(raw) != 0))
    signal = RegisterSignal("x", 3, 0, kind, *order, scale=scale)
    registers = [0xABCD] * before + list(encode(signal, level * per_m))
    step_m = 0.0 if kind in (T.FLOAT32, T.FLOAT64) else scale / per_m
    within = max(0.002, 0.6 * step_m)
    found = decodings(10, registers, Known(level, within))
    assert any(
        c.address == 10 + before and is_of(c, kind) and abs(c.error_m) <= max(0.51 * step_m, 1e-5) for c in found
    )


@pytest.mark.parametrize("seed", range(20))
def test_a_true_float_comes_first_among_a_hundred_registers_of_noise(seed: int) -> None:
    noise = random.Random(seed)
    registers = [noise.randrange(65536) for _ in range(100)]
    registers[40:42] = struct.unpack(">2H", struct.pack(">f", 9.2034))
    best = decodings(0, registers, Known(9.204, 0.03))[0]
    assert (best.address, best.type, best.unit, best.word_order) == (40, T.FLOAT32, "m", Order.HIGH_FIRST)


def test_a_plain_millimetre_register_comes_first_in_an_ordinary_map() -> None:
    registers = [1, 0, 247, 9600, 0, 3, 9207, 0, 812, 215, 65535, 100, 1, 0, 0, 2024]
    best = decodings(0, registers, Known(9.204, 0.03))[0]
    assert (best.address, best.unit, best.scale, best.value) == (6, "mm", 1.0, 9207.0)
    assert set((best.type, *best.also)) >= {T.INT16, T.UINT16}
    assert best.step_m == pytest.approx(0.001)


def test_percent_current_and_distance_are_looked_for_when_what_they_need_is_known() -> None:
    registers = [*struct.unpack(">2H", struct.pack(">f", 15.28)), 705, *struct.unpack(">2H", struct.pack(">f", 4.04))]
    plain = decodings(0, registers, Known(8.46, 0.02))
    assert {c.quantity for c in plain} <= {"level"}
    found = decodings(0, registers, Known(8.46, 0.02, 12.5, (0.0, 12.0)))
    by_quantity = {c.quantity: c for c in reversed(found)}
    assert by_quantity["current"].level_m == pytest.approx(8.46, abs=1e-4)  # (15.28 - 4) / 16 of 12 m
    assert by_quantity["percent"].value == pytest.approx(70.5)
    assert by_quantity["distance"].level_m == pytest.approx(8.46, abs=1e-4)


def test_the_address_of_the_manual_and_its_neighbours_come_before_equals() -> None:
    registers = [9204, 0, 0, 0, 9204, 0, 0]
    assert decodings(0, registers, Known(9.204, 0.01))[0].address == 0
    for manual in (4, 5):  # a manual that counts from 0, and one that counts from 1
        assert decodings(0, registers, Known(9.204, 0.01), manual)[0].address == 4


def test_zeros_and_what_is_no_number_say_nothing() -> None:
    assert decodings(0, [0] * 50, Known(0.01, 0.03)) == []
    assert decodings(0, [0x7FC0, 0, 0xFFFF, 0xFFFF], Known(9.2, 0.03)) == []
    assert decodings(0, [], Known(9.2, 0.03)) == []
