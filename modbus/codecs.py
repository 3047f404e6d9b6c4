"""Registers to a number and back: every type, word and byte order, scale and offset, and what means "no value".

Knows bits; refuses to know units, tanks and trust. The result of decoding is None where the instrument answered with
something that is not a number: NaN, infinity, one of the signal's `invalid` codes, a BCD digit above nine, or a value
beyond `valid_min`..`valid_max`. Never a guess, never zero.
"""

import math
import struct
import sys
from collections.abc import Callable, Sequence
from functools import partial
from typing import Final

from modbus.errors import NotEncodable
from modbus.signals import BIT_FUNCTIONS, Order, RegisterSignal, RegisterType

Decoder = Callable[[Sequence[int]], float | None]

_FORMAT: Final = {
    RegisterType.INT16: ">h",
    RegisterType.UINT16: ">H",
    RegisterType.INT32: ">i",
    RegisterType.UINT32: ">I",
    RegisterType.INT64: ">q",
    RegisterType.UINT64: ">Q",
    RegisterType.FLOAT32: ">f",
    RegisterType.FLOAT64: ">d",
}
_LARGEST: Final = sys.float_info.max
_FLOATS: Final = frozenset({RegisterType.FLOAT32, RegisterType.FLOAT64})
_BCDS: Final = frozenset({RegisterType.BCD16, RegisterType.BCD32})


def decode(signal: RegisterSignal, registers: Sequence[int]) -> float | None:
    """The value of a signal from its own registers, in its unit; None = answered, but not with a number.

    Integers above 2**53 lose their last digits: a value is a float. Raises ValueError when the number of registers is
    not the signal's: that is a mistake of the caller, for a short reply never gets here (`modbus.reply`).
    """
    return decoder(signal)(registers)


def decoder(signal: RegisterSignal) -> Decoder:
    """The same, prepared once for a signal that is read often."""
    words, scale, offset = signal.words, signal.scale, signal.offset
    reverse = signal.word_order is Order.LOW_FIRST and words > 1
    pack = struct.Struct(_layout(signal)).pack
    number = _number(signal)
    invalid = frozenset(code & ((1 << 16 * words) - 1) for code in signal.invalid)
    low = -_LARGEST if signal.valid_min is None else max(signal.valid_min, -_LARGEST)
    high = _LARGEST if signal.valid_max is None else min(signal.valid_max, _LARGEST)

    def value(registers: Sequence[int]) -> float | None:
        if len(registers) != words:
            raise ValueError(f"signal {signal.name} takes {words} register(s), not {len(registers)}")
        data = pack(*(reversed(registers) if reverse else registers))
        if invalid and int.from_bytes(data, "big") in invalid:
            return None
        raw = number(data)
        if raw is None:
            return None
        result = raw * scale + offset
        return result if low <= result <= high else None  # NaN and infinity fail this too

    return value


def _number(signal: RegisterSignal) -> Callable[[bytes], float | None]:
    """From ordered bytes to the number before scale and offset."""
    if signal.type is RegisterType.BIT:
        return partial(_flag, 0 if signal.function in BIT_FUNCTIONS else signal.bit)
    if signal.type in _BCDS:
        return _bcd
    unpack = struct.Struct(_FORMAT[signal.type]).unpack
    return lambda data: float(unpack(data)[0])


def _flag(place: int, data: bytes) -> float:
    return float(int.from_bytes(data, "big") >> place & 1)


def _layout(signal: RegisterSignal) -> str:
    """How the registers lie in bytes; single bits of functions 1 and 2 have no byte order."""
    low_first = signal.byte_order is Order.LOW_FIRST and signal.function not in BIT_FUNCTIONS
    return ("<" if low_first else ">") + "H" * signal.words


def _bcd(data: bytes) -> float | None:
    """Binary-coded decimal, four bits a digit, unsigned; None when a digit is above nine."""
    text = data.hex()
    return float(text) if text.isdecimal() else None


def encode(signal: RegisterSignal, value: float | None) -> tuple[int, ...]:
    """The registers that `decode` turns back into the value (to the nearest raw step).

    None asks for "no value": NaN in a float, else the signal's first `invalid` code. A flag takes 0 or 1 and leaves the
    other bits of its register 0. Raises `NotEncodable`, never clamps.
    """
    words = signal.words
    bits = 16 * words
    if value is None:
        pattern = _no_value(signal)
    else:
        raw = (value - signal.offset) / signal.scale
        pattern = _pattern(signal, value, raw)
    data = pattern.to_bytes(bits // 8, "big")
    registers = struct.unpack(_layout(signal), data)
    return registers[::-1] if signal.word_order is Order.LOW_FIRST else registers


def _no_value(signal: RegisterSignal) -> int:
    if signal.invalid:
        return signal.invalid[0] & ((1 << 16 * signal.words) - 1)
    if signal.type in _FLOATS:
        return int.from_bytes(struct.pack(_FORMAT[signal.type], math.nan), "big")
    raise NotEncodable(f'signal {signal.name}: {signal.type} has no way to say "no value"; give it an invalid code')


def _pattern(signal: RegisterSignal, value: float, raw: float) -> int:
    """The bit pattern, high byte first, of a raw number."""
    kind = signal.type
    if kind in _FLOATS:
        try:
            return int.from_bytes(struct.pack(_FORMAT[kind], raw), "big")
        except OverflowError:
            raise NotEncodable(f"signal {signal.name}: {value:g} {signal.unit} does not fit a {kind}") from None
    if not math.isfinite(raw):
        raise NotEncodable(f"signal {signal.name}: {value:g} does not fit a {kind}")
    number = round(raw)
    low, high = _range(kind)
    if not low <= number <= high:
        raise NotEncodable(
            f"signal {signal.name}: {value:g} {signal.unit} is raw {number}; a {kind} holds {low} to {high}"
        )
    if kind in _BCDS:
        return int(str(number), 16)
    if kind is RegisterType.BIT:
        return number if signal.function in BIT_FUNCTIONS else number << signal.bit
    return number & ((1 << 16 * signal.words) - 1)


def _range(kind: RegisterType) -> tuple[int, int]:
    if kind is RegisterType.BIT:
        return 0, 1
    if kind in _BCDS:
        return 0, 10 ** (4 * kind.registers) - 1
    bits = 16 * kind.registers
    if kind in (RegisterType.UINT16, RegisterType.UINT32, RegisterType.UINT64):
        return 0, (1 << bits) - 1
    return -(1 << bits - 1), (1 << bits - 1) - 1
