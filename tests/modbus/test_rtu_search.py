"""The search for an answer in what a serial line brings: found in any noise, and never anything else."""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from modbus.frames import Request, read_request, rtu_frame
from modbus.reply import Failure, FailureKind
from modbus.rtu_search import frame_size, search, whole_frames, without_answer

TIMEOUT, WRONG, EXCEPTION = FailureKind.TIMEOUT, FailureKind.WRONG_REPLY, FailureKind.EXCEPTION
REQUEST = Request(3, 3, 100, 2)
SENT = rtu_frame(3, read_request(3, 100, 2))
RIGHT = rtu_frame(3, bytes.fromhex("03 04 00 0A 00 0B"))
OTHER = rtu_frame(3, bytes.fromhex("03 04 00 0A 00 0C"))
VALUES = (10, 11)


def found(data: bytes, request: Request = REQUEST, sent: bytes = SENT) -> object:
    return search(request, sent, data).verdict


@pytest.mark.parametrize(
    ("unit", "noise"),
    list(product((1, 3, 16, 17, 100, 247), ("00", "ff", "01", "03 03", "10 11 01 83", "01 03 04 00 01", "83 90"))),
)
def test_noise_before_a_reply_is_passed_over_for_low_units_too(unit: int, noise: str) -> None:
    """Units 1, 3, 16 and 17 are function numbers as well: pymodbus 3.16.1 loses their replies in such noise (run)."""
    request = Request(unit, 3, 100, 2)
    sent = rtu_frame(unit, read_request(3, 100, 2))
    reply = rtu_frame(unit, bytes.fromhex("03 04 00 0A 00 0B"))
    assert found(bytes.fromhex(noise) + reply, request, sent) == VALUES
    assert found(bytes.fromhex(noise) + sent + bytes.fromhex(noise) + reply + b"\xff", request, sent) == VALUES


@pytest.mark.parametrize(
    ("data", "verdict"),
    [
        (b"", None),
        (RIGHT, VALUES),
        (RIGHT[:-1], None),
        (RIGHT + RIGHT, VALUES),
        (SENT, None),
        (SENT + RIGHT, VALUES),
        (rtu_frame(4, RIGHT[1:-2]), None),
        (rtu_frame(4, RIGHT[1:-2]) + RIGHT, VALUES),
        (RIGHT[:4] + RIGHT, VALUES),
        (b"\x03\x03\x04" * 9 + RIGHT, VALUES),
        (RIGHT[:-1] + b"\x00", None),
    ],
)
def test_what_is_taken_and_what_is_waited_past(data: bytes, verdict: object) -> None:
    assert found(data) == verdict


@pytest.mark.parametrize(
    ("data", "kind", "words"),
    [
        (rtu_frame(3, b"\x83\x02"), EXCEPTION, "illegal data address"),
        (rtu_frame(3, b"\x84\x02"), WRONG, "function 132"),
        (rtu_frame(3, b"\x04" + RIGHT[2:-2]), WRONG, "function 4"),
        (rtu_frame(3, b"\x03\x02\x00\x0a"), WRONG, "2 registers are 4"),
        (rtu_frame(3, b"\x03\x06" + bytes(6)), WRONG, "2 registers are 4"),
        (rtu_frame(3, b"\x83\x00"), WRONG, "without a code"),
        (RIGHT + OTHER, WRONG, "two different replies"),
        (RIGHT + rtu_frame(3, b"\x83\x02"), WRONG, "two different replies"),
        (RIGHT + b"\xff" + OTHER + RIGHT, WRONG, "two different replies"),
        (rtu_frame(3, b"\x04" + RIGHT[2:-2]) + RIGHT, WRONG, "two different replies"),
    ],
)
def test_what_the_unit_said_instead_settles_it(data: bytes, kind: FailureKind, words: str) -> None:
    verdict = found(data)
    assert isinstance(verdict, Failure)
    assert verdict.kind is kind
    assert words in verdict.text


@pytest.mark.parametrize(
    ("data", "kind", "words"),
    [
        (b"", TIMEOUT, "no answer within 500 ms"),
        (SENT, TIMEOUT, "only the echo of the request"),
        (b"\xff\x00", TIMEOUT, "only 2 byte(s) of noise"),
        (SENT + b"\xff", TIMEOUT, "only 1 byte(s) of noise"),
        (RIGHT[:2], WRONG, "no whole frame with a right CRC in 2 bytes: 03 03"),
        (b"\x03\x83", WRONG, "no whole frame"),
        (RIGHT[:-1], WRONG, "in 8 bytes"),
        (b"\xaa" * 40, WRONG, "in 40 bytes: aa aa aa aa aa aa aa aa aa aa aa aa aa aa aa aa ..."),
        (rtu_frame(9, RIGHT[1:-2]), WRONG, "reply of unit 9 to a request to unit 3"),
        (rtu_frame(3, b"\x03\x06" + bytes(4)), WRONG, "counts 6 data bytes and brings 4"),
        (rtu_frame(3, b"\x03\x02" + bytes(4)), WRONG, "counts 2 data bytes and brings 4"),
    ],
)
def test_silence_noise_and_wrong_replies_are_told_apart(data: bytes, kind: FailureKind, words: str) -> None:
    finding = search(REQUEST, SENT, data)
    assert finding.verdict is None
    failure = without_answer(REQUEST, finding, 500)
    assert failure.kind is kind
    assert words in failure.text


def test_an_echo_that_could_pass_for_a_reply_is_not_believed() -> None:
    """24 bits from 0x0305: the request read as a reply counts three data bytes, and its CRC is right of course."""
    request = Request(3, 1, 0x0305, 24)
    sent = rtu_frame(3, read_request(1, 0x0305, 24))
    assert frame_size(sent, 0) == len(sent)
    assert search(request, sent, sent) == (None, True, 0, b"")
    reply = rtu_frame(3, b"\x01\x03\xff\x00\x01")
    assert found(sent + reply, request, sent) == (1,) * 8 + (0,) * 8 + (1,) + (0,) * 7
    assert found(sent + sent, request, sent) == tuple(0x180005 >> n & 1 for n in range(24))


@given(st.binary(max_size=40), st.binary(max_size=40), st.sampled_from([1, 2, 3, 4]), st.integers(1, 247), st.data())
def test_an_answer_between_any_bytes_is_found_or_called_wrong_but_never_another(
    before: bytes, after: bytes, function: int, unit: int, data: st.DataObject
) -> None:
    quantity = data.draw(st.integers(1, 20))
    size = (quantity + 7) // 8 if function < 3 else 2 * quantity
    body = data.draw(st.binary(min_size=size, max_size=size))
    request = Request(unit, function, 0, quantity)
    sent = rtu_frame(unit, read_request(function, 0, quantity))
    verdict = found(before + rtu_frame(unit, bytes((function, size)) + body) + after, request, sent)
    if function < 3:
        expected = tuple(int.from_bytes(body, "little") >> n & 1 for n in range(quantity))
    else:
        expected = tuple(int.from_bytes(body[n : n + 2], "big") for n in range(0, size, 2))
    # CRCs are 16 bits: of the bytes before, some may make a frame by chance; hypothesis does not find one in practice
    assert verdict == expected


@settings(max_examples=300)
@given(st.binary(max_size=300))
def test_any_bytes_give_a_verdict_or_a_named_failure(data: bytes) -> None:
    finding = search(REQUEST, SENT, data)
    assert finding.verdict is None or isinstance(finding.verdict, tuple)
    if finding.verdict is None:
        assert without_answer(REQUEST, finding, 100).kind in (TIMEOUT, WRONG)
    assert 0 <= whole_frames(data) <= len(data) // 5


@pytest.mark.parametrize(
    ("frame", "size"),
    [  # sizes of replies: Modbus Application Protocol V1.1b3, 6 and 7
        ("01 83 02", 5),
        ("01 03 02 00 00", 7),
        ("01 01 01 00", 6),
        ("01 06 00 01 00 03", 8),
        ("01 10 00 01 00 02", 8),
        ("01 07 6D", 5),
        ("01 0B FF FF 01 08", 8),
        ("01 11 02 AA FF", 7),
        ("01 16 00 04 00 F2 00 25", 10),
        ("01 17 02 00 FE", 7),
        ("01 63 00 00", 0),
    ],
)
def test_replies_of_all_functions_with_a_known_length_are_known_as_frames(frame: str, size: int) -> None:
    raw = bytes.fromhex(frame)
    whole = rtu_frame(raw[0], raw[1:])
    assert frame_size(whole, 0) == size
    assert whole_frames(b"\xff" + whole) == (size > 0)
