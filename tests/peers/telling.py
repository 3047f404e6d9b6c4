"""Registers that tell where and when they were read: a value from another request is known by its looks.

High byte of register n: n modulo 256. Low byte: the age, which is the number of the request that it answers, modulo
256. A bit n is bit n modulo 8 of the age. The age counts the requests of all units together, so it tells the unit too.
"""

from modbus.signals import BIT_FUNCTIONS


def tell(function: int, address: int, age: int) -> int:
    """What stands in a register (or bit) when request number `age` reads it."""
    if function in BIT_FUNCTIONS:
        return age >> (address & 7) & 1
    return (address & 0xFF) << 8 | age & 0xFF


def told(register: int) -> tuple[int, int]:
    """(address, age), both modulo 256."""
    return register >> 8, register & 0xFF
