import pytest
from hypothesis import given
from hypothesis import strategies as st

from modbus.frames import Request
from modbus.reply import Failure, FailureKind, check

HOLDING = Request(unit=7, function=3, start=100, quantity=2)
COILS = Request(unit=7, function=1, start=0, quantity=10)


def test_a_right_reply_is_its_registers() -> None:
    assert check(HOLDING, 7, bytes.fromhex("03 04 00 01 FF FE")) == (1, 0xFFFE)


def test_bits_come_in_the_order_of_their_addresses() -> None:
    """Source: Modbus Application Protocol V1.1b3, 6.1: CD 6B 05 are coils 20-38, least significant bit first."""
    request = Request(unit=7, function=1, start=19, quantity=19)
    bits = check(request, 7, bytes.fromhex("01 03 CD 6B 05"))
    assert bits == (1, 0, 1, 1, 0, 0, 1, 1, 1, 1, 0, 1, 0, 1, 1, 0, 1, 0, 1)


@pytest.mark.parametrize(
    ("request_", "unit", "pdu", "why"),
    [
        (HOLDING, 8, "03 04 00 01 00 02", "reply of unit 8 to a request to unit 7"),
        (HOLDING, 7, "04 04 00 01 00 02", "reply of function 4 to a request of function 3"),
        (HOLDING, 7, "84 02", "reply of function 132 to a request of function 3"),
        (HOLDING, 7, "03 02 00 01", "2 registers are 4"),
        (HOLDING, 7, "03 04 00 01", "counts 4 data bytes and brings 2"),
        (HOLDING, 7, "03 05 00 01 00 02 00", "2 registers are 4"),
        (HOLDING, 7, "03 04 00 01 00 02 00 03", "brings 6"),
        (HOLDING, 7, "03", "brings 0"),
        (HOLDING, 7, "", "empty reply"),
        (HOLDING, 7, "83", "without a code"),
        (HOLDING, 7, "83 00", "without a code"),
        (HOLDING, 7, "83 02 02", "without a code"),
        (COILS, 7, "01 01 FF", "10 bits are 2"),
    ],
)
def test_a_wrong_reply_says_why(request_: Request, unit: int, pdu: str, why: str) -> None:
    failure = check(request_, unit, bytes.fromhex(pdu))
    assert isinstance(failure, Failure)
    assert failure.kind is FailureKind.WRONG_REPLY
    assert why in failure.text


@given(st.sampled_from([HOLDING, COILS]), st.integers(0, 255), st.binary(max_size=260))
def test_any_bytes_are_registers_of_the_right_number_or_a_named_failure(
    request_: Request, unit: int, pdu: bytes
) -> None:
    result = check(request_, unit, pdu)
    if isinstance(result, Failure):
        assert result.text
        assert (result.exception_code != 0) == (result.kind is FailureKind.EXCEPTION)
    else:
        assert unit == request_.unit
        assert pdu[0] == request_.function
        assert len(result) == request_.quantity
