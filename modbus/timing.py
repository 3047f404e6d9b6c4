"""How long things take on a serial line. Source: Modbus over Serial Line V1.02, 2.5.1 and 2.5.1.1."""

from typing import Final

BITS_PER_CHARACTER: Final = 11
SILENCE_CHARACTERS: Final = 3.5
PAUSE_CHARACTERS: Final = 1.5
FIXED_ABOVE_BAUD: Final = 19200
FIXED_SILENCE_MS: Final = 1.75
FIXED_PAUSE_MS: Final = 0.75
_REQUEST_BYTES: Final = 8
_REPLY_BYTES: Final = 5


def bytes_ms(count: int, baud: int) -> float:
    """Time to send so many characters, in ms."""
    return count * BITS_PER_CHARACTER * 1000.0 / baud


def silence_ms(baud: int) -> float:
    """The quiet time between two frames (t3.5), in ms; fixed above 19200 baud."""
    return FIXED_SILENCE_MS if baud > FIXED_ABOVE_BAUD else SILENCE_CHARACTERS * BITS_PER_CHARACTER * 1000.0 / baud


def pause_ms(baud: int) -> float:
    """The longest pause inside a frame (t1.5), in ms; fixed above 19200 baud."""
    return FIXED_PAUSE_MS if baud > FIXED_ABOVE_BAUD else PAUSE_CHARACTERS * BITS_PER_CHARACTER * 1000.0 / baud


def read_ms(baud: int, registers: int, answer_ms: float = 0.0) -> float:
    """One read of so many registers, in ms: request, the unit's own delay, reply and the two silences."""
    return (
        bytes_ms(_REQUEST_BYTES, baud) + bytes_ms(_REPLY_BYTES + 2 * registers, baud) + 2 * silence_ms(baud) + answer_ms
    )


def exchange_ms(function_counts_bits: bool, quantity: int, baud: int) -> float:
    """What a request and its reply take on the wire alone, in ms, with the silence that ends each."""
    data = (quantity + 7) // 8 if function_counts_bits else 2 * quantity
    return bytes_ms(_REQUEST_BYTES + _REPLY_BYTES + data, baud) + 2 * silence_ms(baud)
