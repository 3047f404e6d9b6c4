"""Frames against the published ones (Modbus Application Protocol V1.1b3, TCP guide V1.0b, Serial Line V1.02)."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modbus import errors, frames
from modbus.errors import BadFrame, BadRequest, ModbusException, exception_name
from modbus.frames import (
    crc16,
    read_mbap,
    read_request,
    rtu_frame,
    split_rtu_frame,
    split_tcp_frame,
    tcp_frame,
)
from modbus.reply import check
from tests.modbus.tables import hexes, rows

FRAMES = {row["id"]: row for row in rows("modbus_frames")}
LIMITS = {row["item"]: int(row["value"]) for row in rows("modbus_limits")}


def test_the_published_read_request_is_what_we_build() -> None:
    assert read_request(3, 107, 3) == hexes(FRAMES["mb-01"]["request_or_frame_hex"])


def test_the_published_read_reply_is_three_registers() -> None:
    request = frames.Request(unit=1, function=3, start=107, quantity=3)
    assert check(request, 1, hexes(FRAMES["mb-01"]["response_hex_or_result"])) == (555, 0, 100)


def test_the_published_exception_reply_is_code_02() -> None:
    request = frames.Request(unit=1, function=1, start=0x04A1, quantity=1)
    assert read_request(1, 0x04A1, 1) == hexes(FRAMES["mb-05"]["request_or_frame_hex"])
    failure = check(request, 1, hexes(FRAMES["mb-05"]["response_hex_or_result"]))
    assert failure == ("exception", "exception 02, illegal data address", 2)


def test_the_published_tcp_frame_is_what_we_build_and_read() -> None:
    published = hexes(FRAMES["mb-08"]["request_or_frame_hex"])
    assert tcp_frame(0x1501, 0xFF, read_request(3, 4, 1)) == published
    assert split_tcp_frame(published) == (0x1501, 0xFF, read_request(3, 4, 1))


def test_the_published_crc_is_ours() -> None:
    row = FRAMES["mb-09"]
    assert crc16(hexes(row["request_or_frame_hex"])).to_bytes(2, "little") == hexes(row["response_hex_or_result"])
    assert crc16(hexes(row["request_or_frame_hex"])) == 0x1241


@pytest.mark.parametrize("row", [r for r in FRAMES.values() if r["kind"] == "RTU"], ids=lambda r: r["id"])
def test_serial_frames_with_a_known_crc_are_built_and_read(row: dict[str, str]) -> None:
    frame = hexes(row["request_or_frame_hex"])
    unit, pdu = split_rtu_frame(frame)
    assert rtu_frame(unit, pdu) == frame


@pytest.mark.parametrize(
    ("item", "ours"),
    [
        ("max RTU ADU bytes", frames.MAX_RTU_ADU),
        ("max PDU bytes", frames.MAX_PDU),
        ("max TCP ADU bytes", frames.MAX_TCP_ADU),
        ("MBAP header bytes", frames.MBAP_HEADER),
        ("max registers per FC03/FC04 read", frames.most(3)),
        ("max registers per FC03/FC04 read", frames.most(4)),
        ("max coils per FC01 read", frames.most(1)),
        ("max coils per FC01 read", frames.most(2)),
        ("unicast address min", frames.FIRST_UNIT),
        ("unicast address max", frames.LAST_UNIT),
        ("broadcast address", frames.BROADCAST),
        ("default TCP port", frames.DEFAULT_PORT),
        ("recommended non-significant unit id", frames.UNIT_OF_A_DIRECT_SERVER),
        ("protocol identifier", frames.PROTOCOL),
        ("exception flag added to function code", frames.EXCEPTION_FLAG),
        ("CRC polynomial (reflected)", frames.CRC_POLYNOMIAL),
        ("CRC preset", frames.CRC_PRESET),
    ],
)
def test_limits_are_the_published_ones(item: str, ours: int) -> None:
    assert ours == LIMITS[item]


@pytest.mark.parametrize("row", rows("modbus_exceptions"), ids=lambda r: r["id"])
def test_exception_codes_have_their_published_names(row: dict[str, str]) -> None:
    assert exception_name(int(row["code_hex"], 16)) == row["name"].lower()


def test_an_unknown_exception_code_is_said_to_be_one() -> None:
    assert "0x7b" in exception_name(0x7B)
    assert ModbusException(errors.GATEWAY_TARGET_FAILED).code == 0x0B
    with pytest.raises(ValueError, match="allowed 1 to 255"):
        ModbusException(0)


@given(st.integers(-5, 300))
def test_only_reading_can_be_asked_for(function: int) -> None:
    if function in (1, 2, 3, 4):
        assert read_request(function, 0, 1)[0] == function
    else:
        with pytest.raises(BadRequest, match="only reading"):
            read_request(function, 0, 1)


@pytest.mark.parametrize(("function", "most"), [(1, 2000), (2, 2000), (3, 125), (4, 125)])
def test_no_request_asks_for_more_than_the_protocol_allows(function: int, most: int) -> None:
    assert read_request(function, 0, most)
    for quantity in (0, most + 1, -1):
        with pytest.raises(BadRequest, match=f"allowed 1 to {most}"):
            read_request(function, 0, quantity)


def test_no_request_reaches_beyond_the_last_address() -> None:
    assert read_request(3, 65535, 1)
    with pytest.raises(BadRequest, match="65535"):
        read_request(3, 65535, 2)
    with pytest.raises(BadRequest, match="65535"):
        read_request(3, -1, 2)


@given(st.integers(0, 65535), st.integers(0, 255), st.binary(min_size=1, max_size=253))
def test_what_is_put_into_an_envelope_comes_out(transaction: int, unit: int, pdu: bytes) -> None:
    assert split_tcp_frame(tcp_frame(transaction, unit, pdu)) == (transaction, unit, pdu)
    assert split_rtu_frame(rtu_frame(unit, pdu)) == (unit, pdu)


@given(st.binary(max_size=300))
def test_any_bytes_are_a_frame_or_a_named_error(data: bytes) -> None:
    for split in (split_tcp_frame, split_rtu_frame):
        with suppress(BadFrame):
            *_, pdu = split(data)
            assert pdu


@given(st.binary(min_size=4, max_size=256), st.integers(0, 2047))
def test_a_serial_frame_with_one_flipped_bit_is_refused(body: bytes, place: int) -> None:
    """Source: any CRC-16 finds every single-bit error (elementary property of the code)."""
    frame = bytearray(rtu_frame(body[0], body[1:-2]))
    place %= 8 * len(frame)
    frame[place // 8] ^= 1 << place % 8
    with pytest.raises(BadFrame):
        split_rtu_frame(bytes(frame))


def test_a_header_is_read_only_when_it_is_whole() -> None:
    frame = tcp_frame(1, 2, read_request(3, 0, 1))
    assert read_mbap(frame[:6]) is None
    header = read_mbap(frame)
    assert header is not None
    assert (header.unit, header.size, header.fault) == (2, 12, "")
