from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from modbus.errors import ModbusException
from modbus.frames import MAX_RTU_ADU, MAX_TCP_ADU, read_request, rtu_frame, tcp_frame
from modbus.responder import RtuResponder, TcpResponder
from tests.modbus.tables import hexes, rows

FRAMES = {row["id"]: row for row in rows("modbus_frames")}


class Bank:
    """Registers that count up from 0 to 99; unit 9 is dead, unit 10 is not there, units 11 and 12 are broken."""

    def registers(self, unit: int, function: int, start: int, count: int) -> Sequence[int] | None:
        if unit == 9:
            return None
        if unit == 10:
            raise ModbusException(0x0B)
        if unit == 11:
            return [1] * (count - 1)
        if unit == 12:
            return [70_000] * count
        if start + count > 100:
            raise ModbusException(0x02)
        if function in (1, 2):
            return [(start + i) % 2 for i in range(count)]
        return list(range(start, start + count))


def ask(pdu: bytes, unit: int = 1, transaction: int = 1) -> bytes:
    return TcpResponder(Bank()).feed(tcp_frame(transaction, unit, pdu))


def test_the_published_tcp_request_is_answered_with_its_own_header() -> None:
    reply = TcpResponder(Bank()).feed(hexes(FRAMES["mb-08"]["request_or_frame_hex"]))
    assert reply == bytes.fromhex("15 01 00 00 00 05 FF 03 02 00 04")


def test_four_of_a_hundred_registers_from_96_are_there_and_five_are_not() -> None:
    """Source: Modbus Application Protocol V1.1b3, 7, exception 02 (row mb-06)."""
    assert ask(read_request(3, 96, 4))[7:] == bytes((3, 8, 0, 96, 0, 97, 0, 98, 0, 99))
    assert ask(read_request(3, 96, 5))[7:] == bytes((0x83, 2))


def test_the_published_serial_exception_reply_is_ours() -> None:
    reply = RtuResponder(Bank()).feed(rtu_frame(1, read_request(3, 99, 2)))
    assert reply == hexes(FRAMES["mb-16"]["request_or_frame_hex"])


COUNTING_UP = bytes((3, 20)) + b"".join(n.to_bytes(2, "big") for n in range(10))


@pytest.mark.parametrize(("row", "pdu"), [("mb-11", COUNTING_UP), ("mb-12", bytes((0x83, 2))), ("mb-14", None)])
def test_the_serial_requests_with_a_known_crc_are_answered(row: str, pdu: bytes | None) -> None:
    """Unit 1 has registers 0-9, unit 17 has none from 107 on, unit 10 is another device on the line."""
    request = hexes(FRAMES[row]["request_or_frame_hex"])
    reply = RtuResponder(Bank(), units={1, 17}).feed(request)
    assert reply == (b"" if pdu is None else rtu_frame(request[0], pdu))


def test_bits_are_packed_least_significant_first() -> None:
    assert ask(read_request(1, 0, 10))[7:] == bytes((1, 2, 0b10101010, 0b10))


def test_requests_in_one_burst_are_all_answered_in_order_under_their_own_numbers() -> None:
    burst = b"".join(tcp_frame(t, 1, read_request(3, t, 1)) for t in (5, 6, 7))
    replies = TcpResponder(Bank()).feed(burst)
    assert replies == b"".join(tcp_frame(t, 1, bytes((3, 2, 0, t))) for t in (5, 6, 7))


def test_a_dead_unit_is_silent_and_its_neighbour_is_not() -> None:
    burst = tcp_frame(1, 9, read_request(3, 0, 1)) + tcp_frame(2, 1, read_request(3, 0, 1))
    assert TcpResponder(Bank()).feed(burst) == tcp_frame(2, 1, bytes((3, 2, 0, 0)))


def test_a_unit_that_is_not_there_is_an_exception_of_the_gateway() -> None:
    assert ask(read_request(4, 0, 1), unit=10)[7:] == bytes((0x84, 0x0B))


@pytest.mark.parametrize("unit", [11, 12])
def test_a_source_that_gives_nonsense_is_a_broken_device_not_false_data(unit: int) -> None:
    assert ask(read_request(3, 0, 2), unit=unit)[7:] == bytes((0x83, 0x04))


@pytest.mark.parametrize("function", [0, 5, 6, 7, 8, 15, 16, 22, 23, 43, 0x80, 0xFF])
def test_nothing_but_reading_is_done(function: int) -> None:
    assert ask(bytes((function, 0, 0, 0, 1)))[7:] == bytes((function | 0x80, 0x01))


@pytest.mark.parametrize(
    ("pdu", "code"),
    [
        ("03 00 00 00 00", 0x03),
        ("03 00 00 00 7E", 0x03),
        ("01 00 00 07 D1", 0x03),
        ("03 00 00 00", 0x03),
        ("03 FF FF 00 02", 0x02),
    ],
)
def test_impossible_requests_are_refused(pdu: str, code: int) -> None:
    asked = bytes.fromhex(pdu)
    assert ask(asked)[7:] == bytes((asked[0] | 0x80, code))


@pytest.mark.parametrize(
    "stream",
    ["00 01 00 01 00 06 01 03 00 00 00 01", "00 01 00 00 00 01 01", "00 01 00 00 01 00 01"],
    ids=["protocol 1", "length 1", "length 256"],
)
def test_a_stream_out_of_step_is_given_up_and_says_why(stream: str) -> None:
    responder = TcpResponder(Bank())
    assert responder.feed(bytes.fromhex(stream)) == b""
    assert responder.fault
    assert responder.feed(tcp_frame(1, 1, read_request(3, 0, 1))) == b""


def test_the_serial_responder_hears_only_its_own_units() -> None:
    responder = RtuResponder(Bank(), units={1})
    assert responder.feed(rtu_frame(2, read_request(3, 0, 1))) == b""
    assert responder.feed(rtu_frame(0, read_request(3, 0, 1))) == b""
    assert responder.feed(rtu_frame(1, read_request(3, 0, 1))) == rtu_frame(1, bytes((3, 2, 0, 0)))


@pytest.mark.parametrize("noise", ["00", "01", "FF 03", "11 03 00 6B", "10", "03 10 00 00 00 00 F0"])
def test_noise_before_a_serial_request_costs_at_most_that_request(noise: str) -> None:
    request, reply = rtu_frame(1, read_request(3, 0, 1)), rtu_frame(1, bytes((3, 2, 0, 0)))
    responder = RtuResponder(Bank(), units={1})
    responder.feed(bytes.fromhex(noise))
    responder.silence()
    assert responder.feed(request) == reply


def test_a_serial_frame_of_unknown_length_is_judged_at_the_silence() -> None:
    responder = RtuResponder(Bank(), units={1})
    encapsulated = rtu_frame(1, bytes((0x2B, 0x0E, 1, 0)))
    assert responder.feed(encapsulated) + responder.silence() == rtu_frame(1, bytes((0xAB, 1)))
    assert responder.feed(rtu_frame(1, read_request(3, 0, 1))) == rtu_frame(1, bytes((3, 2, 0, 0)))


def test_writing_on_the_serial_line_is_refused_too() -> None:
    responder = RtuResponder(Bank(), units={1})
    write_one = rtu_frame(1, bytes.fromhex("06 00 01 00 03"))
    write_many = rtu_frame(1, bytes.fromhex("10 00 01 00 01 02 00 0A"))
    assert responder.feed(write_one) == rtu_frame(1, bytes((0x86, 1)))
    assert responder.feed(write_many) == rtu_frame(1, bytes((0x90, 1)))


REQUESTS = st.builds(read_request, st.sampled_from([1, 2, 3, 4]), st.integers(0, 120), st.integers(1, 30))
BLOBS = st.binary(min_size=1, max_size=40)
PIECES = st.lists(st.one_of(st.tuples(st.just(1), REQUESTS), st.tuples(st.just(2), BLOBS)))


def tcp_stream(pieces: list[tuple[int, bytes]]) -> bytes:
    return b"".join(tcp_frame(n, unit, pdu) for n, (unit, pdu) in enumerate(pieces))


def rtu_stream(pieces: list[tuple[int, bytes]]) -> bytes:
    return b"".join(rtu_frame(unit, pdu) if unit == 1 else pdu for unit, pdu in pieces)


@settings(deadline=None)
@given(PIECES, st.binary(max_size=60), st.lists(st.integers(1, 50), min_size=1, max_size=8))
def test_one_feed_is_the_same_bytes_in_pieces(pieces: list[tuple[int, bytes]], garbage: bytes, cuts: list[int]) -> None:
    for make, stream in ((TcpResponder, tcp_stream(pieces)), (RtuResponder, rtu_stream(pieces))):
        data = stream + garbage
        whole = make(Bank()).feed(data)
        single = make(Bank())
        assert b"".join(single.feed(data[i : i + 1]) for i in range(len(data))) == whole
        cut, at, replies = make(Bank()), 0, b""
        for n in cuts:
            replies += cut.feed(data[at : at + n])
            at += n
        assert replies + cut.feed(data[at:]) == whole


@settings(deadline=None)
@given(st.binary(max_size=2000))
def test_garbage_never_raises_and_is_never_hoarded(data: bytes) -> None:
    for responder, most in ((TcpResponder(Bank()), MAX_TCP_ADU), (RtuResponder(Bank()), MAX_RTU_ADU)):
        responder.feed(data)
        responder.feed(data)
        assert len(responder._kept) <= most
        assert len(getattr(responder, "_since", b"")) <= most + 1
    RtuResponder(Bank()).silence()


def test_a_megabyte_of_garbage_is_swallowed() -> None:
    data = bytes(range(256)) * 4096
    for responder in (TcpResponder(Bank()), RtuResponder(Bank())):
        responder.feed(data)
        assert len(responder._kept) <= MAX_TCP_ADU
