"""Reads the check values under tests/data: one dict a row, each with the source that it names."""

import csv
from pathlib import Path

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    """The rows of tests/data/NAME; a row without a source is a mistake."""
    with (DATA / name).open(newline="", encoding="utf-8") as file:
        found = list(csv.DictReader(file))
    assert found, f"{name} is empty"
    assert all(row.get("source") for row in found), f"{name}: a row names no source"
    return found
