"""Where a signal lives in an instrument's registers, and how its bits become a number.

Only says what is there; `modbus.codecs` does it, `modbus.plan` decides how to ask.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from modbus.errors import BadSignal

READ_COILS: Final = 1
READ_DISCRETE_INPUTS: Final = 2
READ_HOLDING_REGISTERS: Final = 3
READ_INPUT_REGISTERS: Final = 4
READ_FUNCTIONS: Final = frozenset({READ_COILS, READ_DISCRETE_INPUTS, READ_HOLDING_REGISTERS, READ_INPUT_REGISTERS})
BIT_FUNCTIONS: Final = frozenset({READ_COILS, READ_DISCRETE_INPUTS})
LAST_ADDRESS: Final = 65535


class RegisterType(StrEnum):
    INT16 = "int16"
    UINT16 = "uint16"
    INT32 = "int32"
    UINT32 = "uint32"
    INT64 = "int64"
    UINT64 = "uint64"
    FLOAT32 = "float32"
    FLOAT64 = "float64"
    BCD16 = "bcd16"
    BCD32 = "bcd32"
    BIT = "bit"

    @property
    def registers(self) -> int:
        """Registers taken (one bit for BIT, whose functions count bits)."""
        return _REGISTERS.get(self, 1)


_REGISTERS: Final = {
    RegisterType.INT32: 2,
    RegisterType.UINT32: 2,
    RegisterType.FLOAT32: 2,
    RegisterType.BCD32: 2,
    RegisterType.INT64: 4,
    RegisterType.UINT64: 4,
    RegisterType.FLOAT64: 4,
}


class Order(StrEnum):
    HIGH_FIRST = "high first"
    LOW_FIRST = "low first"


@dataclass(frozen=True, slots=True)
class RegisterSignal:
    """One signal of an instrument. `address` is the PDU address, 0 to 65535, whatever the maker counts from.

    value = raw * scale + offset, in `unit` (a unit name as the site file writes it, "" for a bare number).
    bit: for type BIT read with function 3 or 4, which flag of the register (0 = least significant).
    invalid: codes that stand for "no value", as bit patterns after ordering (0x8000 and -32768 are the same int16).
    valid_min, valid_max: bounds of the value; beyond them the instrument answered, but with no number.
    """

    name: str
    function: int
    address: int
    type: RegisterType
    word_order: Order = Order.HIGH_FIRST
    byte_order: Order = Order.HIGH_FIRST
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""
    bit: int = 0
    invalid: tuple[int, ...] = ()
    valid_min: float | None = None
    valid_max: float | None = None

    @property
    def words(self) -> int:
        """How many registers (with functions 1 and 2: bits) a request must cover for this signal."""
        return self.type.registers

    def check(self) -> None:
        """Raise `BadSignal` where no instrument could answer this. Says which key and what is allowed."""
        if self.function not in READ_FUNCTIONS:
            raise BadSignal(f"signal {self.name}: function {self.function}; allowed 1, 2, 3 or 4 (reading only)")
        if self.function in BIT_FUNCTIONS and self.type is not RegisterType.BIT:
            raise BadSignal(
                f"signal {self.name}: function {self.function} reads bits, type {self.type} needs function 3 or 4"
            )
        if not 0 <= self.address <= LAST_ADDRESS + 1 - self.words:
            raise BadSignal(
                f"signal {self.name}: address {self.address} with {self.words} register(s); allowed 0 to "
                f"{LAST_ADDRESS + 1 - self.words}"
            )
        if not 0 <= self.bit <= 15:
            raise BadSignal(f"signal {self.name}: bit {self.bit}; allowed 0 to 15")
        if self.scale == 0 or not math.isfinite(self.scale) or not math.isfinite(self.offset):
            raise BadSignal(f"signal {self.name}: scale {self.scale:g}, offset {self.offset:g}; scale must not be 0")
        bits = 16 * self.words
        for code in self.invalid:
            if not -(1 << bits - 1) <= code < 1 << bits:
                raise BadSignal(f"signal {self.name}: invalid code {code:#x} does not fit {bits} bits")
        if self.valid_min is not None and self.valid_max is not None and not self.valid_min <= self.valid_max:
            raise BadSignal(f"signal {self.name}: valid from {self.valid_min:g} to {self.valid_max:g} holds no value")
