"""Columns of numbers as bytes: back to the bit, by either compressor, and broken bytes never pass for numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from history import codec
from history.codec import Column, decode, encode, whole
from history.errors import StoreDamaged

INTS = st.lists(st.one_of(st.none(), st.integers(-(2**60), 2**60)), min_size=1, max_size=300)
FLOATS = st.lists(st.one_of(st.none(), st.floats(allow_nan=False)), min_size=1, max_size=300)


def column(values: list[float | None] | list[int | None], kind: type) -> Column:
    return Column(
        np.array([0 if v is None else v for v in values], kind), np.array([v is not None for v in values], np.bool_)
    )


def assert_same(found: Column, expected: Column) -> None:
    assert found.values.dtype == expected.values.dtype
    assert found.values.tobytes() == expected.values.tobytes()  # -0.0 stays -0.0
    assert (found.known == expected.known).all()


@pytest.fixture(params=["pcodec", "zlib"])
def compressor(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    if request.param == "zlib":
        monkeypatch.setattr(codec, "standalone", None)
    else:
        assert codec.standalone is not None, "pcodec is a dependency and is not installed"
    return str(request.param)


@settings(max_examples=150)
@given(INTS)
def test_whole_numbers_come_back(values: list[int | None]) -> None:
    assert_same(decode(encode(column(values, np.int64))), column(values, np.int64))


@settings(max_examples=150)
@given(FLOATS)
def test_floats_come_back_to_the_bit(values: list[float | None]) -> None:
    assert_same(decode(encode(column(values, np.float64)), floats=True), column(values, np.float64))


@pytest.mark.parametrize("kind", [np.int64, np.float64])
def test_each_compressor_gives_back_what_it_took(compressor: str, kind: type) -> None:
    rng = np.random.default_rng(3)
    steps = np.cumsum(rng.integers(-3, 4, 5000)).astype(kind)
    holed = Column(np.where(np.arange(5000) % 7 == 0, 0, steps).astype(kind), np.arange(5000) % 7 != 0)
    for one in (whole(steps), holed, whole(steps[:0])):
        assert_same(decode(encode(one), floats=kind is np.float64), one)


def test_a_constant_costs_next_to_nothing_and_an_empty_column_too() -> None:
    assert len(encode(whole(np.full(86_400, 17)))) < 20
    assert len(encode(Column(np.zeros(86_400, np.int64), np.zeros(86_400, np.bool_)))) < 10


def test_what_pcodec_wrote_needs_pcodec_and_the_error_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    data = encode(whole(np.arange(100) ** 2))
    monkeypatch.setattr(codec, "standalone", None)
    with pytest.raises(StoreDamaged, match="package pcodec, which is not installed"):
        decode(data)


@pytest.mark.parametrize(
    "data", [b"", b"\x63abc", b"\x01ab", b"\x06\xff\xff\xff\xff\x01\x00\x00\x00zz", b"\x04zzzz", b"\x02zz"]
)
def test_bytes_of_no_program_are_called_damaged(data: bytes) -> None:
    with pytest.raises(StoreDamaged):
        decode(data)
