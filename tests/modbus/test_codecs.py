import math
import struct
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modbus.codecs import decode, decoder, encode
from modbus.errors import BadSignal, NotEncodable
from modbus.signals import Order, RegisterSignal, RegisterType
from tests.modbus.tables import rows, words

HIGH, LOW = Order.HIGH_FIRST, Order.LOW_FIRST
LAYOUTS = {
    "ABCD_big_endian": (HIGH, HIGH),
    "CDAB_word_swapped": (LOW, HIGH),
    "BADC_byte_swapped": (HIGH, LOW),
    "DCBA_little_endian": (LOW, LOW),
}
WIDE = [t for t in RegisterType if t.registers > 1]


def signal(kind: RegisterType, **more: object) -> RegisterSignal:
    return replace(RegisterSignal("level", 3, 0, kind), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("row", rows("float32_word_order"), ids=lambda r: r["id"])
def test_floats_of_all_four_layouts(row: dict[str, str], layout: str) -> None:
    """Source: the row's (IEEE 754 binary32)."""
    word_order, byte_order = LAYOUTS[layout]
    described = signal(RegisterType.FLOAT32, word_order=word_order, byte_order=byte_order)
    value = float(row["value"])
    if math.isfinite(value):
        single = struct.unpack(">f", struct.pack(">f", value))[0]
        assert decode(described, words(row[layout])) == single
        assert encode(described, value) == words(row[layout])
    else:
        assert decode(described, words(row[layout])) is None


@pytest.mark.parametrize(("column", "order"), [("high_word_first", HIGH), ("low_word_first", LOW)])
@pytest.mark.parametrize("row", rows("int32_word_order"), ids=lambda r: r["id"])
def test_integers_of_both_word_orders(row: dict[str, str], column: str, order: Order) -> None:
    """Source: the row's (two's complement)."""
    described = signal(RegisterType.INT32, word_order=order)
    assert decode(described, words(row[column])) == float(row["value_int32"])
    assert encode(described, float(row["value_int32"])) == words(row[column])


@pytest.mark.parametrize(
    ("kind", "registers", "value"),
    [  # computed: two's complement, IEEE 754, decimal digits in four bits each
        (RegisterType.INT16, (0xFFFF,), -1.0),
        (RegisterType.UINT16, (0xFFFF,), 65535.0),
        (RegisterType.UINT32, (0xFFFF, 0xFFFF), 4294967295.0),
        (RegisterType.INT64, (0xFFFF, 0xFFFF, 0xFFFF, 0xFFFE), -2.0),
        (RegisterType.UINT64, (0, 0, 1, 0), 65536.0),
        (RegisterType.FLOAT64, (0x3FF8, 0, 0, 0), 1.5),
        (RegisterType.BCD16, (0x1234,), 1234.0),
        (RegisterType.BCD32, (0x0012, 0x3456), 123456.0),
        (RegisterType.BCD16, (0x12A4,), None),
        (RegisterType.FLOAT32, (0x7FC0, 0), None),
        (RegisterType.FLOAT32, (0xFF80, 0), None),
        (RegisterType.FLOAT64, (0x7FF0, 0, 0, 0), None),
    ],
)
def test_types(kind: RegisterType, registers: tuple[int, ...], value: float | None) -> None:
    assert decode(signal(kind), registers) == value
    if value is not None:
        assert encode(signal(kind), value) == registers


BYTES_OF_64 = bytes.fromhex("0123456789ABCDEF")


@pytest.mark.parametrize(
    ("word_order", "byte_order", "registers"),
    [  # computed by hand: the bytes 01 23 45 67 89 AB CD EF laid out in words, and each word's bytes
        (HIGH, HIGH, (0x0123, 0x4567, 0x89AB, 0xCDEF)),
        (LOW, HIGH, (0xCDEF, 0x89AB, 0x4567, 0x0123)),
        (HIGH, LOW, (0x2301, 0x6745, 0xAB89, 0xEFCD)),
        (LOW, LOW, (0xEFCD, 0xAB89, 0x6745, 0x2301)),
    ],
)
@pytest.mark.parametrize(
    ("kind", "layout"), [(RegisterType.INT64, ">q"), (RegisterType.UINT64, ">Q"), (RegisterType.FLOAT64, ">d")]
)
def test_64_bits_in_all_four_layouts(
    kind: RegisterType, layout: str, word_order: Order, byte_order: Order, registers: tuple[int, ...]
) -> None:
    value = float(struct.unpack(layout, BYTES_OF_64)[0])
    assert decode(signal(kind, word_order=word_order, byte_order=byte_order), registers) == value


@pytest.mark.parametrize(
    ("word_order", "byte_order", "registers"),
    [
        (HIGH, HIGH, (0x1234, 0x5678)),
        (LOW, HIGH, (0x5678, 0x1234)),
        (HIGH, LOW, (0x3412, 0x7856)),
        (LOW, LOW, (0x7856, 0x3412)),
    ],
)
def test_decimal_digits_in_all_four_layouts(word_order: Order, byte_order: Order, registers: tuple[int, ...]) -> None:
    described = signal(RegisterType.BCD32, word_order=word_order, byte_order=byte_order, scale=0.01)
    assert decode(described, registers) == pytest.approx(123_456.78)
    assert encode(described, 123_456.78) == registers


@pytest.mark.parametrize(
    ("kind", "registers"),
    [  # IEEE 754: an exponent of ones is no number, whatever the fraction: quiet and signalling NaN, both infinities
        (RegisterType.FLOAT32, (0x7FC0, 0x0000)),
        (RegisterType.FLOAT32, (0xFFC0, 0x0001)),
        (RegisterType.FLOAT32, (0x7FA0, 0x0000)),
        (RegisterType.FLOAT32, (0x7F80, 0x0001)),
        (RegisterType.FLOAT32, (0xFFFF, 0xFFFF)),
        (RegisterType.FLOAT32, (0x7F80, 0x0000)),
        (RegisterType.FLOAT32, (0xFF80, 0x0000)),
        (RegisterType.FLOAT64, (0x7FF8, 0, 0, 0)),
        (RegisterType.FLOAT64, (0x7FF0, 0, 0, 1)),
        (RegisterType.FLOAT64, (0xFFFF, 0xFFFF, 0xFFFF, 0xFFFF)),
        (RegisterType.FLOAT64, (0xFFF0, 0, 0, 0)),
        (RegisterType.BCD16, (0xFFFF,)),
        (RegisterType.BCD32, (0x0000, 0x000A)),
    ],
)
@pytest.mark.parametrize("scale", [1.0, 0.001, -1.0])
def test_what_is_no_number_is_no_value_however_it_is_scaled(
    kind: RegisterType, registers: tuple[int, ...], scale: float
) -> None:
    assert decode(signal(kind, scale=scale, offset=4.0, valid_min=-1e9, valid_max=1e9), registers) is None


@pytest.mark.parametrize(
    ("kind", "code", "registers"),
    [
        (RegisterType.UINT16, 0xFFFF, (0xFFFF,)),
        (RegisterType.INT32, -(2**31), (0x8000, 0x0000)),
        (RegisterType.INT32, 0x80000000, (0x8000, 0x0000)),
        (RegisterType.UINT64, 2**64 - 1, (0xFFFF,) * 4),
        (RegisterType.INT64, -1, (0xFFFF,) * 4),
        (RegisterType.FLOAT32, 0xC61C3C00, (0xC61C, 0x3C00)),  # -9999.0
        (RegisterType.FLOAT64, 0, (0, 0, 0, 0)),
        (RegisterType.BCD16, 0x9999, (0x9999,)),
    ],
)
def test_an_invalid_code_of_any_type_is_no_value(kind: RegisterType, code: int, registers: tuple[int, ...]) -> None:
    assert decode(signal(kind, invalid=(code,), scale=0.1), registers) is None
    assert decode(signal(kind, scale=0.1), registers) is not None
    assert encode(signal(kind, invalid=(code,)), None) == registers


@pytest.mark.parametrize(
    ("bounds", "inside", "outside"),
    [
        ({"valid_min": 3.6}, (3.6, 100.0), (3.5, -1.0)),
        ({"valid_max": 22.0}, (22.0, -100.0), (22.1, 1000.0)),
        ({"valid_min": 0.0, "valid_max": 0.0}, (0.0,), (0.1, -0.1)),
    ],
)
def test_bounds_hold_by_themselves_and_together_and_take_their_ends(
    bounds: dict[str, float], inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    described = signal(RegisterType.INT16, scale=0.1, **bounds)
    for value in inside:
        assert decode(described, encode(signal(RegisterType.INT16, scale=0.1), value)) == pytest.approx(value)
    for value in outside:
        assert decode(described, encode(signal(RegisterType.INT16, scale=0.1), value)) is None


@pytest.mark.parametrize(
    ("kind", "registers", "value"),
    [  # two's complement and a scale of either sign, by hand
        (RegisterType.INT16, (0xFF38,), -20.0),
        (RegisterType.UINT16, (0xFF38,), 6533.6),
        (RegisterType.INT32, (0xFFFF, 0xFF38), -20.0),
        (RegisterType.UINT32, (0xFFFF, 0xFF38), 429496709.6),
    ],
)
def test_signed_and_unsigned_are_scaled_alike(kind: RegisterType, registers: tuple[int, ...], value: float) -> None:
    assert decode(signal(kind, scale=0.1), registers) == pytest.approx(value)
    assert decode(signal(kind, scale=-0.1, offset=1.0), registers) == pytest.approx(1.0 - value)


def test_scale_and_offset_make_the_value() -> None:
    described = signal(RegisterType.UINT16, scale=0.001, offset=4.0, unit="mA")
    assert decode(described, (8000,)) == pytest.approx(12.0)
    assert encode(described, 12.0) == (8000,)


@pytest.mark.parametrize("bit", range(16))
def test_a_flag_inside_of_a_register(bit: int) -> None:
    described = signal(RegisterType.BIT, bit=bit)
    assert decode(described, (1 << bit,)) == 1.0
    assert decode(described, (0xFFFF ^ 1 << bit,)) == 0.0
    assert encode(described, 1.0) == (1 << bit,)
    swapped = replace(described, byte_order=LOW)
    assert decode(swapped, (1 << (bit + 8) % 16,)) == 1.0


def test_a_bit_of_the_bit_functions_has_no_place_and_no_byte_order() -> None:
    described = replace(signal(RegisterType.BIT, bit=5, byte_order=LOW), function=2)
    assert [decode(described, (b,)) for b in (0, 1)] == [0.0, 1.0]
    assert encode(described, 1.0) == (1,)


@pytest.mark.parametrize("code", [0x8000, -32768])
def test_an_invalid_code_is_no_value_however_it_is_written(code: int) -> None:
    described = signal(RegisterType.INT16, invalid=(0x7FFF, code))
    assert decode(described, (0x8000,)) is None
    assert decode(described, (0x7FFF,)) is None
    assert decode(described, (0x8001,)) == -32767.0
    assert encode(described, None) == (0x7FFF,)


def test_an_invalid_code_is_compared_after_ordering() -> None:
    described = signal(RegisterType.UINT32, word_order=LOW, invalid=(0xFFFF0000,))
    assert decode(described, (0x0000, 0xFFFF)) is None
    assert decode(described, (0xFFFF, 0x0000)) == 65535.0


def test_beyond_the_valid_bounds_there_is_no_value() -> None:
    described = signal(RegisterType.INT16, scale=0.1, valid_min=-40.0, valid_max=85.0)
    assert decode(described, (850,)) == pytest.approx(85.0)
    assert decode(described, (851,)) is None
    assert decode(described, (65536 - 401,)) is None


def test_a_value_that_overflows_by_its_scale_is_no_value() -> None:
    assert decode(signal(RegisterType.FLOAT64, scale=1e300), encode(signal(RegisterType.FLOAT64), 1e300)) is None


def test_a_wrong_number_of_registers_is_a_mistake_of_the_caller() -> None:
    with pytest.raises(ValueError, match="takes 2"):
        decode(signal(RegisterType.INT32), (1,))


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (RegisterType.INT16, 32768.0),
        (RegisterType.UINT16, -1.0),
        (RegisterType.BCD16, 10_000.0),
        (RegisterType.BIT, 2.0),
        (RegisterType.FLOAT32, 1e39),
        (RegisterType.INT16, math.nan),
        (RegisterType.UINT32, math.inf),
        (RegisterType.UINT16, None),
    ],
)
def test_what_does_not_fit_is_refused_not_clamped(kind: RegisterType, value: float | None) -> None:
    with pytest.raises(NotEncodable, match="level"):
        encode(signal(kind), value)


ORDERS = st.sampled_from([HIGH, LOW])


@given(st.sampled_from(list(RegisterType)), ORDERS, ORDERS, st.integers(0, 15), st.data())
def test_any_registers_give_a_number_or_none_and_encode_back(
    kind: RegisterType, word_order: Order, byte_order: Order, bit: int, data: st.DataObject
) -> None:
    described = signal(kind, word_order=word_order, byte_order=byte_order, bit=bit)
    registers = tuple(data.draw(st.lists(st.integers(0, 65535), min_size=kind.registers, max_size=kind.registers)))
    value = decode(described, registers)
    assert value == decoder(described)(registers)
    if value is None:
        assert kind in (RegisterType.FLOAT32, RegisterType.FLOAT64, RegisterType.BCD16, RegisterType.BCD32)
        return
    assert math.isfinite(value)
    if kind is RegisterType.BIT:
        assert value in (0.0, 1.0)
    elif kind not in (RegisterType.INT64, RegisterType.UINT64) or abs(value) < 2**53:
        assert encode(described, value) == registers


@given(
    st.sampled_from([RegisterType.INT16, RegisterType.INT32, RegisterType.UINT32]),
    st.floats(-30_000, 30_000),
    st.sampled_from([1.0, 0.1, 0.001, -0.5, 2.5]),
    st.floats(-100, 100),
)
def test_a_value_comes_back_to_within_half_a_raw_step(
    kind: RegisterType, raw: float, scale: float, offset: float
) -> None:
    described = signal(kind, scale=scale, offset=offset)
    value = (abs(raw) if kind is RegisterType.UINT32 else raw) * scale + offset
    back = decode(described, encode(described, value))
    assert back is not None
    assert abs(back - value) <= abs(scale) / 2 + 1e-9


@pytest.mark.parametrize(
    ("wrong", "words_of_it"),
    [
        ({"function": 6}, "reading only"),
        ({"function": 1, "type": RegisterType.INT16}, "reads bits"),
        ({"address": 65536}, "allowed 0 to 65535"),
        ({"address": 65535, "type": RegisterType.INT32}, "allowed 0 to 65534"),
        ({"address": -1}, "allowed 0"),
        ({"bit": 16, "type": RegisterType.BIT}, "allowed 0 to 15"),
        ({"scale": 0.0}, "scale must not be 0"),
        ({"offset": math.nan}, "offset nan"),
        ({"invalid": (0x10000,)}, "invalid code 0x10000 does not fit 16 bits"),
        ({"invalid": (-32769,)}, "does not fit 16 bits"),
        ({"valid_min": 5.0, "valid_max": 3.0}, "valid from 5 to 3 holds no value"),
        ({"valid_min": math.nan, "valid_max": 3.0}, "holds no value"),
    ],
)
def test_a_signal_that_cannot_be_is_refused_by_name(wrong: dict[str, object], words_of_it: str) -> None:
    with pytest.raises(BadSignal, match=f"(?s)level.*{words_of_it}"):
        replace(signal(RegisterType.UINT16), **wrong).check()  # type: ignore[arg-type]


def test_every_type_says_how_many_registers_it_takes() -> None:
    assert {t.value: t.registers for t in WIDE} == {
        "int32": 2, "uint32": 2, "int64": 4, "uint64": 4, "float32": 2, "float64": 4, "bcd32": 2,
    }  # fmt: skip
