"""The published and computed tables of the wire, and their hexadecimal cells."""

from tests import reference


def rows(name: str) -> list[dict[str, str]]:
    return reference.rows(f"modbus/{name}.csv")


def hexes(text: str) -> bytes:
    return bytes.fromhex(text)


def words(text: str) -> tuple[int, ...]:
    return tuple(int(word, 16) for word in text.split())
