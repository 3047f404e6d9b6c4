"""What could these registers mean? Every plausible decoding of a block against a level that somebody knows, best first.

Pure: registers and a level in, candidates out. Knows types, orders, units and steps; refuses to decide (two decodings
that say the same stand both, and a second level, after the tank has moved, tells them apart).

How candidates are ranked, our own choice: first how improbable it is that random bits would come this near (a float
that fits is better evidence than a 16-bit number that does), then how near it comes, then how common the form is.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Final, NamedTuple

from modbus.codecs import decoder
from modbus.signals import Order, RegisterSignal, RegisterType

LEVEL: Final = "level"
DISTANCE: Final = "distance"
PERCENT: Final = "percent"
CURRENT: Final = "current"

_METRES: Final = {"m": 1.0, "mm": 0.001, "cm": 0.01, "ft": 0.3048, "in": 0.0254}
"""Units of length in m. Source: international foot and inch, exact by definition (NIST SP 811, B.8)."""

_SCALES: Final = (1.0, 0.1, 0.01, 0.001)
_FORMS: Final = (
    RegisterType.FLOAT32, RegisterType.INT16, RegisterType.UINT16, RegisterType.INT32, RegisterType.UINT32,
    RegisterType.FLOAT64, RegisterType.INT64, RegisterType.UINT64, RegisterType.BCD16, RegisterType.BCD32,
)  # fmt: skip
_FLOAT_BITS: Final = {RegisterType.FLOAT32: (23, 32), RegisterType.FLOAT64: (52, 64)}
_UNCOMMON: Final = {
    RegisterType.INT32: 0.1, RegisterType.UINT32: 0.1, RegisterType.FLOAT64: 0.2, RegisterType.INT64: 0.4,
    RegisterType.UINT64: 0.4, RegisterType.BCD16: 0.3, RegisterType.BCD32: 0.3,
}  # fmt: skip
_UNITS_UNCOMMON: Final = {"cm": 0.15, "ft": 0.15, "in": 0.15}


class Known(NamedTuple):
    """What somebody knows of the tank now. reference_height_m: to look for distances too; range_m: innages at 4 and at
    20 mA, to look for percent of the range and for the current; within_m: how far a decoding may be off."""

    level_m: float
    within_m: float
    reference_height_m: float | None = None
    range_m: tuple[float, float] | None = None


class Reading(NamedTuple):
    """A way to read a level: quantity, unit and scale; level = constant + factor * raw number."""

    quantity: str
    unit: str
    scale: float
    factor: float
    constant: float


class Candidate(NamedTuple):
    """A decoding that comes near. `address` is the PDU address, counted from 0. also: types that read the same here.

    value: in `unit`; level_m: what it says of the innage; error_m: that less the known level; step_m: of one bit, None
    for floats; score: higher is better, of no meaning by itself.
    """

    address: int
    type: RegisterType
    word_order: Order
    byte_order: Order
    quantity: str
    unit: str
    scale: float
    value: float
    level_m: float
    error_m: float
    step_m: float | None
    score: float
    also: tuple[RegisterType, ...] = ()


def decodings(start: int, registers: Sequence[int], known: Known, expected: int | None = None) -> list[Candidate]:
    """Every plausible decoding of a block, best first. `start`: PDU address of the first register; `expected`: the
    address that a manual names: it and its two neighbours (a manual that counts from 1, or from 0) come before equals.
    """
    found: dict[tuple[object, ...], Candidate] = {}
    for candidate in _all(start, registers, known):
        key = (candidate.address, candidate.type.registers, candidate.word_order, candidate.byte_order,
               candidate.quantity, candidate.level_m)  # fmt: skip
        first = found.get(key)
        if first is None:
            found[key] = candidate
        elif candidate.type is not first.type and candidate.type not in first.also:
            found[key] = first._replace(also=(*first.also, candidate.type))
    told = [c._replace(score=c.score + _nearness(c.address, expected)) for c in found.values()]
    return sorted(told, key=lambda c: (-c.score, c.address, c.type.value, c.word_order.value, c.unit))


def _nearness(address: int, expected: int | None) -> float:
    if expected is None or abs(address - expected) > 1:
        return 0.0
    return 0.3 if address == expected else 0.2


def _all(start: int, registers: Sequence[int], known: Known) -> Iterator[Candidate]:
    readings = list(_readings(known))
    for form in _FORMS:
        width = form.registers
        orders = tuple(Order) if width > 1 else (Order.HIGH_FIRST,)
        for word_order in orders:
            for byte_order in Order:
                signal = RegisterSignal("x", 3, 0, form, word_order, byte_order)
                number = decoder(signal)
                for at in range(len(registers) - width + 1):
                    words = registers[at : at + width]
                    raw = number(words)
                    if raw:  # zero says nothing: half of an unused map is zero
                        yield from _near(start + at, signal, words, raw, readings, known)


def _readings(known: Known) -> Iterator[Reading]:
    """Every way in which a number could stand for the level; of two that reckon alike, the plainer one."""
    seen: set[tuple[str, float]] = set()
    for quantity, constant, sign in _lengths(known):
        for scale in _SCALES:
            for unit, metres in _METRES.items():
                factor = sign * metres * scale
                key = (quantity, round(factor, 12))
                if key not in seen:
                    seen.add(key)
                    yield Reading(quantity, unit, scale, factor, constant)
    if known.range_m is not None:
        zero, full = known.range_m
        for scale in _SCALES:
            yield Reading(PERCENT, "%", scale, (full - zero) / 100 * scale, zero)
            yield Reading(CURRENT, "mA", scale, (full - zero) / 16 * scale, zero - (full - zero) / 4)


def _lengths(known: Known) -> Iterable[tuple[str, float, float]]:
    yield LEVEL, 0.0, 1.0
    if known.reference_height_m is not None:
        yield DISTANCE, known.reference_height_m, -1.0


def _near(
    address: int, signal: RegisterSignal, words: Sequence[int], raw: float, readings: list[Reading], known: Known
) -> Iterator[Candidate]:
    for reading in readings:
        level = reading.constant + reading.factor * raw
        error = level - known.level_m
        if abs(error) > known.within_m:
            continue
        step = None if signal.type in _FLOAT_BITS else abs(reading.factor)
        evidence = -math.log10(_chance(signal.type, words, raw, reading, known))
        score = 0.3 * evidence - abs(error) / known.within_m - _uncommon(signal, reading)
        yield Candidate(
            address, signal.type, signal.word_order, signal.byte_order, reading.quantity, reading.unit, reading.scale,
            raw * reading.scale, level, error, step, score,
        )  # fmt: skip


def _chance(kind: RegisterType, words: Sequence[int], raw: float, reading: Reading, known: Known) -> float:
    """How probable it is that random bits of this form come as near. Words that only extend a number do not count."""
    half = known.within_m / abs(reading.factor)
    if kind in _FLOAT_BITS:
        mantissa, bits = _FLOAT_BITS[kind]
        low = max(abs(raw) - half, abs(raw) / 2)
        return float(min(1.0, math.log2((abs(raw) + half) / low) * 2.0 ** (mantissa - bits)))
    telling = sum(1 for word in words if word not in (0, 0xFFFF)) or 1
    half, size = (
        max(half, 0.5),
        abs(raw),
    )  # small numbers are common in any map: each size counts alike, not each number
    return float(min(1.0, math.log2((size + half) / max(size - half, size / 2)) / (16 * telling)))


def _uncommon(signal: RegisterSignal, reading: Reading) -> float:
    out = _UNCOMMON.get(signal.type, 0.0) + _UNITS_UNCOMMON.get(reading.unit, 0.0)
    out += 0.0 if reading.scale == 1 else 0.1
    out += 0.0 if reading.quantity == LEVEL else 0.05
    out += 0.0 if signal.word_order is Order.HIGH_FIRST else 0.1
    return out + (0.0 if signal.byte_order is Order.HIGH_FIRST else 0.3)
