"""What the words of the wire raise. `modbus` stands alone, so this branch has a root of its own.

Whoever speaks to people (`collector`, `gaugehouse`) names the bus and the instrument and raises an error of its own.
"""

from typing import Final

ILLEGAL_FUNCTION: Final = 0x01
ILLEGAL_DATA_ADDRESS: Final = 0x02
ILLEGAL_DATA_VALUE: Final = 0x03
SERVER_DEVICE_FAILURE: Final = 0x04
ACKNOWLEDGE: Final = 0x05
SERVER_DEVICE_BUSY: Final = 0x06
MEMORY_PARITY_ERROR: Final = 0x08
GATEWAY_PATH_UNAVAILABLE: Final = 0x0A
GATEWAY_TARGET_FAILED: Final = 0x0B

_NAMES: Final = {
    ILLEGAL_FUNCTION: "illegal function",
    ILLEGAL_DATA_ADDRESS: "illegal data address",
    ILLEGAL_DATA_VALUE: "illegal data value",
    SERVER_DEVICE_FAILURE: "server device failure",
    ACKNOWLEDGE: "acknowledge",
    SERVER_DEVICE_BUSY: "server device busy",
    MEMORY_PARITY_ERROR: "memory parity error",
    GATEWAY_PATH_UNAVAILABLE: "gateway path unavailable",
    GATEWAY_TARGET_FAILED: "gateway target device failed to respond",
}


def exception_name(code: int) -> str:
    """The name of an exception code. Source: Modbus Application Protocol V1.1b3, 7."""
    return _NAMES.get(code, f"code {code:#04x}, not in the protocol's list")


class ModbusError(Exception):
    """Anything that the words of the wire refuse."""


class BadSignal(ModbusError):
    """A signal is described in a way that no instrument can answer (address beyond 65535, scale 0). Not retried."""


class NotEncodable(ModbusError):
    """A value does not fit into the registers of its signal. Names the signal, the value and what fits."""


class BadRequest(ModbusError):
    """A request that the protocol does not know, or that is not a read."""


class BadFrame(ModbusError):
    """Bytes that are no frame (length, protocol identifier, CRC)."""


class ModbusException(ModbusError):
    """Raised by a responder's source of registers: answer this request with an exception reply of that code."""

    def __init__(self, code: int) -> None:
        if not 1 <= code <= 255:
            raise ValueError(f"exception code {code}; allowed 1 to 255")
        super().__init__(f"exception {code:02X}, {exception_name(code)}")
        self.code = code
